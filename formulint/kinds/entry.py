"""What is listed of a substance stands in its record."""

from collections.abc import Iterator
from typing import Annotated

from msgspec import Meta

from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.rule import Pick, Rule
from formulint.subject import FormulaSubject
from formulint.wording import listed


class Entry(Rule, frozen=True, kw_only=True, tag="entry", tag_field="kind"):
    """Every substance of a paint among ``by`` (CAS numbers) is written with the classes, limits and M-factors of its European entry, or stricter ones.

    A record without hazards is silent here: it is unknown, and open where a class is asked.
    """

    by: Annotated[tuple[str, ...], Meta(min_length=1)]

    @property
    def about(self) -> tuple[Pick, ...]:
        """The substances."""
        return (Pick(cas=self.by),)

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """A fault for each component that is written more mildly than its entry."""
        charged = {code: charge for charge in reversed(subject.charged(self.about[0])) for code in subject.leaves_of(charge.code) if code in subject.stocks}
        if not charged:
            return
        # With its figures; most paints hold nothing that is listed.
        from formulint.hazard.entries import entries, milder

        for code, charge in charged.items():
            stock = subject.stocks[code]
            for at, component in enumerate(stock.material.component):
                known = entries().get(component.cas) if component.cas in self.by else None
                if known is None or (known.from_ is not None and subject.today < known.from_):
                    continue
                lacks = list(milder(component, known))
                if lacks:
                    words = f"{component.name} ({code}) has in its European entry, but not in its record, {listed(lacks, 'and')} ({known.source})"
                    place = Place(subject.path, ("stage", charge.spot[0], "additions", charge.spot[1], "material"))
                    remedy = f"look the entry up and write it into {code}; the supplier's safety data sheet should say the same"
                    yield Fault(place, words, remedy, checked=known.checked, related=(Place(stock.path, ("component", at)),))

    def says(self) -> tuple[str, ...]:
        """Which substances."""
        return (f"A record says of these substances at least what the European list says (rules/hazard/figures-entries.toml): CAS {listed(self.by)}.",)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: a substance of which nothing is listed."""
        from formulint.hazard.entries import entries

        for at, cas in enumerate(self.by):
            if cas not in entries():
                yield Misread(f'of "{cas}" nothing is listed', "one of those in rules/hazard/figures-entries.toml", ("by", at))
