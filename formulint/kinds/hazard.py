"""Hazard classes or statements that a paint, or a component of a material, must not have."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Literal

from msgspec import Meta, UnsetType

from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.rule import Pick, Rule
from formulint.subject import FormulaSubject, MaterialSubject
from formulint.wording import listed

if TYPE_CHECKING:
    from fractions import Fraction

    from formulint.hazard.classify import Classification, Outcome

ASK = "the safety data sheets of what brings it, the law in force and a qualified person decide"


class Hazard(Rule, frozen=True, kw_only=True, tag="hazard", tag_field="kind"):
    """The paint has none of the ``unwanted`` classes ("Skin Sens.", "Carc. 1", "Aquatic Chronic 2") or statements ("H317", "EUH208") by the
    calculation of a ``scheme``: un, eu or us. ``by``: only where one of these CAS numbers brings it. ``of`` component: no component
    of a material carries one. An error is open where records leave it open; a warning or a note is silent then.
    """

    scheme: Literal["un", "eu", "us"]
    unwanted: Annotated[tuple[str, ...], Meta(min_length=1)]
    by: tuple[str, ...] = ()
    of: Literal["paint", "component"] = "paint"

    @property
    def about(self) -> tuple[Pick, ...]:
        """What must be there to bring it."""
        return (Pick(cas=self.by),) if self.by else ()

    @property
    def of_formulas(self) -> bool:
        """True where the paint is asked about."""
        return self.of == "paint"

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """A fault for each unwanted class of the paint."""
        if self.level != "error" and not _any_hazard(subject):
            return
        from formulint.hazard.classify import of_subject  # with all its figures; not where nothing is hazardous

        found = of_subject(self.scheme, subject, distances=False)
        sure = [one for one in found.of("known", "statement") if self._meant(one)]
        if sure:
            yield self._fault(subject, sure)
        elif self.level == "error":
            yield from self._open(subject, found)

    def _meant(self, one: Outcome) -> bool:
        named = any(unwanted in (one.statement, one.result) or _begins(one.result, unwanted) for unwanted in self.unwanted)
        return named and (not self.by or any(cause.cas in self.by for cause in one.causes))

    def _fault(self, subject: FormulaSubject, found: list[Outcome]) -> Fault:
        """All that is unwanted as one fault: a milder class in place of another is not a new one."""
        words = "; ".join(_told(one) for one in found)
        codes = {code for one in found for cause in one.causes for code in cause.materials}
        checked = "memory" if any(one.checked == "memory" for one in found) else found[0].checked
        return Fault(_place(subject, codes), f"by calculation ({self.scheme}) the paint is due {words}", self.remedy or ASK, checked=checked, property=self._key)

    @property
    def _key(self) -> str:
        return f"hazard {self.scheme}"

    def _open(self, subject: FormulaSubject, found: Classification) -> Iterator[Fault]:
        doubtful = [one for one in found.of("open", "conditional") if self._meant(one)]
        unwanted = ", ".join(self.unwanted)
        if not doubtful and found.known:
            return
        if not found.known:
            words = f"whether the paint is {unwanted} by calculation ({self.scheme}) {found.remarks[0]}"
            yield Fault(Place(subject.path), words, "mend what keeps it from being computed", "open")
            return
        missing = [Place(subject.stocks[code].path, ("component",)) for one in found.unknown for code in one.materials]
        missing += [Place(stock.path, ("disclosure",)) for stock in subject.stocks.values() if stock.content.undisclosed > 0]
        if doubtful:
            words = "; ".join(f"{one.result} ({one.why})" for one in doubtful)
            codes = {code for one in doubtful for cause in one.causes for code in cause.materials}
            remedy = "write what the safety data sheets say into the records: hazards of every component, and what is not named"
            said = f"by calculation ({self.scheme}) it cannot be excluded that the paint is {words}"
            yield Fault(_place(subject, codes), said, remedy, "open", missing=tuple(missing), checked=doubtful[0].checked, property=self._key)

    def check_material(self, subject: MaterialSubject) -> Iterator[Fault]:
        """A fault for each component that carries an unwanted class."""
        if self.of != "component":
            return
        material, path = subject.stock.material, subject.stock.path
        for at, one in enumerate(material.component):
            if self.by and one.cas not in self.by:
                continue
            place = Place(path, ("component", at, "hazards"))
            if isinstance(one.hazards, UnsetType):
                if self.level == "error":
                    yield Fault(Place(path, ("component", at)), f"{one.name} has no hazards in its record", "write them; [] means none", "open", missing=(place,))
                continue
            for held in one.hazards:
                if any(_begins(held, unwanted) for unwanted in self.unwanted):
                    yield Fault(place, f"{one.name} carries {held}", self.remedy)

    def says(self) -> tuple[str, ...]:
        """What is unwanted, by which scheme, and by which substances."""
        by = f" because of CAS {listed(self.by)}" if self.by else ""
        if self.of == "component":
            which = f" with CAS {listed(self.by)}" if self.by else ""
            return (f"No component{which} of a material carries {listed(self.unwanted)}.",)
        return (f"By the calculation of the scheme {self.scheme}, no paint is {listed(self.unwanted)}{by}.",)

    def unchecked(self, subject: FormulaSubject) -> str:
        """What a warning or a note is silent about, because records leave it open."""
        if self.level == "error":
            return ""
        from formulint.hazard.classify import of_subject

        return next((fault.message for fault in self._open(subject, of_subject(self.scheme, subject, distances=False))), "")

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: a class or a statement that no scheme gives."""
        from formulint.hazard.scheme import carried, results

        known = results() if self.of == "paint" else carried()
        for at, unwanted in enumerate(self.unwanted):
            if not any(unwanted == one or _begins(one, unwanted) for one in known):
                yield Misread(f'"{unwanted}" is no class or statement that is computed', 'such as "Skin Sens.", "Carc. 1", "H317", "EUH208"', ("unwanted", at))


def _told(one: Outcome) -> str:
    names = ", ".join(f"{cause.name} {_percent(cause.high)}" for cause in one.causes)
    statement = "" if one.statement in ("", one.result) else f" ({one.statement})"
    return f"{one.result}{statement}" + (f": {names}" if names else f" {one.why}")


def _begins(held: str, unwanted: str) -> bool:
    """True for a class or code itself, a class with its category, a category with its letter; never a part of a code."""
    rest = held.removeprefix(unwanted)
    return held.startswith(unwanted) and (not rest or rest[0] == " " or (unwanted[-1].isdigit() and rest[0] in "ABC"))


def _any_hazard(subject: FormulaSubject) -> bool:
    """True where any component is classified: without one there is nothing to add up."""
    for stock in subject.stocks.values():
        for one in stock.material.component:
            if not isinstance(one.hazards, UnsetType) and one.hazards:
                return True
    return False


def _percent(value: Fraction) -> str:
    from formulint.hazard.scheme import percent

    return percent(value)


def _place(subject: FormulaSubject, codes: set[str]) -> Place:
    """The line that brings most of it; the formula where no line does."""
    lines = [line for line in subject.resolved.lines if not codes.isdisjoint(subject.leaves_of(line.code))]
    if not lines:
        return Place(subject.path)
    heaviest = max(lines, key=lambda line: line.kg if isinstance(line.kg, float) else 0.0)
    return Place(subject.path, (*heaviest.keys, "amount"))
