"""One thing is in the vessel before another."""

from collections.abc import Iterator
from itertools import combinations, dropwhile, takewhile
from typing import Literal

from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.quantity import read
from formulint.rule import Pick, Rule
from formulint.subject import FormulaSubject
from formulint.vessels import Charge, Spot
from formulint.wording import pick_words

MOST_CHOSEN = 6  # additions of which every choice is looked at: sixty-four


class Order(Rule, frozen=True, kw_only=True, tag="order", tag_field="kind"):
    """Contact in a vessel, in the order of charging.

    ``first``: whenever a ``then`` goes in, some ``first`` is there already (silent where the formula has no ``first``).
    ``every``: whenever a ``first`` goes in, no ``then`` is there yet. ``enough``: whenever a ``then`` goes in, at
    least ``share`` of all ``first`` is there. With ``may_join``, a ``then`` may also lie in the vessel alone, if what joins
    it first brings a ``first`` along.
    """

    first: Pick
    then: Pick
    quantifier: Literal["first", "every", "enough"] = "first"
    share: str | None = None
    may_join: bool = False
    must: bool = False

    @property
    def about(self) -> tuple[Pick, ...]:
        """Both sides: with one of them absent there is no order."""
        return self.first, self.then

    def plainly_holds(self, subject: FormulaSubject) -> bool:
        """True where all go into one vessel and the first (or else all) of the ones lie deeper there than each of the others."""
        first, then = self.first, self.then
        if first.stages or then.stages or (first.but and first.staged) or (then.but and then.staged):
            return False
        spans, every = subject.spans, self.quantifier != "first"
        codes, others = subject.picked[first], subject.picked[then]
        if len(codes) == 1 == len(others):  # as nearly always
            one, other = spans.get(codes[0]), spans.get(others[0])
            return one is not None and other is not None and one[0] is other[0] and other[1] > (one[2] if every else one[1])
        vessel: list[Spot] | None = None
        top = -1
        for code in codes:
            span = spans.get(code)
            if span is None or (vessel is not None and span[0] is not vessel):
                return False
            vessel, _, last = span
            deep = last if every else span[1]
            if top < 0 or (deep > top if every else deep < top):
                top = deep
        for code in others:  # loops, not lists: twenty rules of each formula are looked at so
            span = spans.get(code)
            if span is None or span[0] is not vessel or span[1] <= top:
                return False
        return vessel is not None

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """A fault for what goes in at the wrong moment."""
        firsts = subject.charged(self.first)
        thens = subject.charged(self.then) if firsts else []
        if not thens:
            return
        if self.quantifier == "every":
            # An intermediate was made in a vessel of its own: what it met there was judged there.
            firsts = [charge for charge in firsts if charge.code in subject.stocks]
            others = {charge.spot: charge for charge in thens}
            for charge in firsts:
                met = next((others[spot] for spot in charge.before if spot in others), None)
                if met is not None:
                    yield self._too_late(subject, charge, met)
            return
        inside = {charge.spot for charge in firsts}
        thens = [charge for charge in thens if charge.spot not in inside]
        if self.quantifier == "first":
            early = [charge for charge in thens if inside.isdisjoint(charge.before) and not self._joined(charge, inside, thens)]
            if early:
                yield self._too_early(subject, early, firsts[0])
            return
        yield from self._short(subject, firsts, thens)

    def ways(self, subject: FormulaSubject) -> tuple[tuple[tuple[Spot, Spot], ...], ...]:
        """All ways to keep the rule; each is a list of pairs of which one addition must go in before the other.

        With ``every`` there is one way. With ``first``, one for each that may be the first; with ``enough``, one for
        each choice of additions that make up the share and of which none can be spared.
        """
        firsts = subject.charged(self.first)
        thens = subject.charged(self.then) if firsts else []
        if self.quantifier == "every":
            pairs = ((one, other) for one in firsts if one.code in subject.stocks for other in thens)
            return (tuple((one.spot, other.spot) for one, other in pairs if one.spot != other.spot),)
        inside = {charge.spot for charge in firsts}
        late = [charge.spot for charge in thens if charge.spot not in inside and not self._joined(charge, inside, thens)]
        choices = [(charge.spot,) for charge in firsts] if self.quantifier == "first" else self._enough(subject, firsts)
        return tuple(tuple((one, other) for one in choice for other in late) for choice in choices) if late else ()

    def _joined(self, charge: Charge, firsts: set[Spot], thens: list[Charge]) -> bool:
        """True for what lies in the vessel with none but its like, until something comes that brings a ``first`` along."""
        like = {one.spot for one in thens}
        if not self.may_join or not like.issuperset(charge.before):
            return False
        coming = list(dropwhile(lambda spot: spot in like, charge.vessel[charge.depth :]))
        poured = list(takewhile(lambda spot: spot[0] < charge.spot[0], coming))  # a stage that was made before
        return not firsts.isdisjoint(poured or coming[:1])

    def _enough(self, subject: FormulaSubject, firsts: list[Charge]) -> list[tuple[Spot, ...]]:
        """Choices of additions that make up the share, the smallest first; of many additions only the row as charged."""
        mass, whole = self._masses(subject, firsts)
        needed = self._needed() * (1 - 1e-9) * whole
        spots = [charge.spot for charge in firsts]
        sets = [tuple(spots[:size]) for size in range(1, len(spots) + 1)]
        if len(spots) <= MOST_CHOSEN:
            sets = [one for size in range(1, len(spots) + 1) for one in combinations(spots, size)]
        found: list[tuple[Spot, ...]] = []
        for one in sets:
            if sum(mass.get(spot, 0.0) for spot in one) >= needed and not any(set(other) <= set(one) for other in found):
                found.append(one)
        return found

    def _masses(self, subject: FormulaSubject, firsts: list[Charge]) -> tuple[dict[Spot, float], float]:
        """Mass [kg] of each that must be there, and their sum."""
        spots = {charge.spot for charge in firsts}
        mass: dict[Spot, float] = {
            (line.stage, line.at): line.kg
            for line in subject.resolved.lines
            if isinstance(line.kg, float) and (line.stage, line.at) in spots
        }
        return mass, sum(mass.values())

    def _short(self, subject: FormulaSubject, firsts: list[Charge], thens: list[Charge]) -> Iterator[Fault]:
        mass, whole = self._masses(subject, firsts)
        needed = self._needed() * (1 - 1e-9)
        for charge in thens:
            there = sum(mass[spot] for spot in charge.before if spot in mass)
            share = there / whole if whole > 0 else 0.0
            if share < needed:
                yield self._too_little(subject, charge, firsts, share)

    def _needed(self) -> float:
        return read(self.share or "100 %", ("mass share",)).base

    def _said(self, subject: FormulaSubject, charge: Charge) -> str:
        stock = subject.stocks.get(charge.code)
        name = f"{stock.material.name} ({charge.code})" if stock is not None else charge.code
        return f"{name} in {subject.formula.stage[charge.spot[0]].name}"

    def _place(self, subject: FormulaSubject, charge: Charge) -> Place:
        return Place(subject.path, ("stage", charge.spot[0], "additions", charge.spot[1], "material"))

    def _too_early(self, subject: FormulaSubject, early: list[Charge], first: Charge) -> Fault:
        charge, others = early[0], len(early) - 1
        more = f", and so {'does 1 addition' if others == 1 else f'do {others} additions'} after it" if others else ""
        words = f"{self._said(subject, charge)} goes in before {self._said(subject, first)}{more}"
        remedy = f"charge {first.code} before {charge.code}"
        return Fault(self._place(subject, charge), words, remedy, related=(self._place(subject, first),))

    def _too_late(self, subject: FormulaSubject, charge: Charge, met: Charge) -> Fault:
        words = f"{self._said(subject, charge)} goes in when {self._said(subject, met)} is already there"
        remedy = f"charge {charge.code} before {met.code}, or in a vessel of its own"
        return Fault(self._place(subject, charge), words, remedy, related=(self._place(subject, met),))

    def _too_little(self, subject: FormulaSubject, charge: Charge, firsts: list[Charge], share: float) -> Fault:
        words = f"{self._said(subject, charge)} goes in when {100 * share:.0f} % of {firsts[0].code} is there; {self.share} is asked"
        remedy = f"charge more of {firsts[0].code} before {charge.code}"
        return Fault(self._place(subject, charge), words, remedy, related=tuple(self._place(subject, one) for one in firsts))

    def says(self) -> tuple[str, ...]:
        """Which goes in before which, and what is as good."""
        first, then = pick_words(self.first), pick_words(self.then)
        if self.quantifier == "every":
            asked = f"Whenever {first} goes in, none of this is in the vessel yet: {then}."
        elif self.quantifier == "enough":
            asked = f"Whenever {then} goes in, at least {self.share} of all this is in the vessel: {first}."
        else:
            asked = f"Whenever {then} goes in, some of this is in the vessel already: {first}."
        joins = ["It may also lie in its vessel alone, if what joins it first brings that along."] if self.may_join else []
        must = ["It must be so, or the batch is lost: only two people together may concede it."] if self.must else []
        return (asked, *joins, *must)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself."""
        if (self.quantifier == "enough") != (self.share is not None):
            yield Misread('"enough" needs a share, and only "enough" does', at=("quantifier",))
        elif self.may_join and self.quantifier != "first":
            yield Misread('only "first" may be joined', at=("may_join",))
        elif self.share is not None:
            try:
                self._needed()
            except Misread as error:
                yield Misread(error.message, error.remedy, ("share",))
