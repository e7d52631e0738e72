"""The dose of a material, a function or a substance stays inside its window, on the basis the trade quotes it on."""

from collections.abc import Hashable, Iterator, Sequence
from functools import lru_cache
from math import fsum, inf
from operator import attrgetter
from typing import Literal, Self

from msgspec.structs import replace

from formulint.amounts import over
from formulint.content import Gap, Value, add
from formulint.errors import Misread
from formulint.evaluate import BASIS_COLUMN, strength, substance
from formulint.finding import Fault, Place
from formulint.interval import AtLeast
from formulint.material import DoseWindow
from formulint.properties import DOSES, NO_CAS, is_cas
from formulint.quantity import Quantity
from formulint.rule import Goal, Pick, Rule, the_one
from formulint.subject import FormulaSubject, Measure
from formulint.verdict import KEPT, judge_bounds, read_bound, read_bounds, refuse_crossed
from formulint.wording import pick_words, window

ANYTHING = Pick()
_HAS_DOSE = attrgetter("material.dose")
_UNDISCLOSED = attrgetter("content.undisclosed")
ANY_DOSE = DOSES[0].id  # all doses are shares by mass
STRENGTH = {"active": "by the active part", "supplied": "as supplied", "nonvolatile": "by what stays in the film"}
BASIS_WORDS = {"pigment": "on pigment", "binder": "on binder solids", "batch": "in the paint"}


@lru_cache(maxsize=KEPT)
def pick_of(cas: str) -> Pick:
    """The selector of materials that hold a substance."""
    return the_one(Pick(cas=(cas,)))


@lru_cache(maxsize=KEPT)
def _span(least: str | None, most: str | None) -> tuple[float, float]:
    """Both bounds as numbers [kg/kg]; every dose of every formula is held against them, and nearly all lie inside."""
    low, high = (None if text is None else read_bound(text, "mass share").base for text in (least, most))
    return -inf if low is None else low, inf if high is None else high


def _written(window: DoseWindow) -> tuple[tuple[Quantity | None, Quantity | None], tuple[str, int]]:
    """A supplier's window, and the unit and digits in which a dose is shown beside it."""
    bounds = (None if window.min is None else window.min.lo, None if window.max is None else window.max.lo)
    return bounds, ("%", max((bound.decimals for bound in bounds if bound is not None), default=1) + 1)


def _share_of(code: str) -> Measure:
    """From a formula to the share of a material as supplied in the batch."""
    return lambda one: over(one.resolved.leaves.get(code, 0.0), one.resolved.totals.get("total_mass", 0.0))


class Dose(Rule, frozen=True, kw_only=True, tag="dose", tag_field="kind", rename={"as_": "as"}):
    """The share of what is picked must stay inside its window, bounds included; silent where the formula holds none.

    ``component`` counts one substance (by CAS number), in everything or in what ``of`` picks; without it the materials
    that ``of`` picks are added up as supplied, by their active part or by what stays in the film. It is about paints; of
    intermediates it speaks where ``where`` names that class, or the code.
    """

    of: Pick = Pick()
    component: str = ""
    as_: Literal["active", "supplied", "nonvolatile"] = "supplied"
    on: Literal["pigment", "binder", "batch"] = "batch"
    min: str | None = None
    max: str | None = None
    name: str = ""
    window: Literal["rule", "supplier"] = "rule"

    def about_paints(self) -> bool:
        """In a premix stands more than its share of the paint."""
        return True

    @property
    def about(self) -> tuple[Pick, ...]:
        """What is dosed, and what holds the component."""
        return (self.of, pick_of(self.component)) if self.component else (self.of,)

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The fault of a dose outside its window, at the line that brings most of it."""
        if self.window == "supplier":
            yield from self._suppliers(subject)
            return
        codes = self.counted(subject)
        if not codes:
            return
        value = self._value(subject, codes)
        least, most = _span(self.min, self.max)
        if isinstance(value, float) and least <= value <= most:
            return
        bounds, look = self._bounds()
        name = f"{self._name(subject, codes)} {BASIS_WORDS[self.on]}"
        sharpen = subject.sharpen(lambda one: self._value(one, codes))
        for fault in judge_bounds(name, value, bounds, look, self._place(subject, codes), sharpen):
            yield self._asking(subject, fault) if fault.kind == "open" and isinstance(value, AtLeast) else fault

    @property
    def kin(self) -> Hashable | None:
        """Windows of one dose on one basis: a house narrows what the trade allows, and a ceiling stands above a window."""
        return None if self.window == "supplier" else (self.of, self.component, self.as_, self.on)

    def narrowed(self, kin: Sequence[Self]) -> Self:
        """The window that lies inside all of them."""
        least = [(read_bound(one.min, "mass share").base, one.min) for one in (self, *kin) if one.min is not None]
        most = [(read_bound(one.max, "mass share").base, one.max) for one in (self, *kin) if one.max is not None]
        return replace(self, min=max(least)[1] if least else None, max=min(most)[1] if most else None)

    def plainly_holds(self, subject: FormulaSubject) -> bool:
        """True inside the window: nearly every dose of every formula is that, and most are of one material, counted as a whole."""
        if self.window == "supplier":
            return not any(map(_HAS_DOSE, subject.stocks.values()))
        codes = subject.picked[self.of]
        if self.component or len(codes) != 1:
            return self._inside(subject)
        resolved = subject.evaluation.resolved
        kg, basis = resolved.leaves.get(codes[0]), resolved.totals.get(BASIS_COLUMN[self.on])
        if self.as_ == "supplied":
            amount: Value | None = kg
        elif kg is None:
            return False
        else:
            amount = strength(kg, subject.stocks[codes[0]].supply, self.as_)
        if not isinstance(amount, float) or not isinstance(basis, float) or basis <= 0.0:
            return False
        least, most = _span(self.min, self.max)
        return least <= amount / basis <= most

    def _inside(self, subject: FormulaSubject) -> bool:
        """True for a sum inside the window, and where there is nothing to add up."""
        if self.component and self.on == "batch" and not any(map(_UNDISCLOSED, subject.stocks.values())):
            return self._named_inside(subject)
        codes = self.counted(subject)
        if not codes:
            return True
        value = self._value(subject, codes)
        least, most = _span(self.min, self.max)
        return isinstance(value, float) and least <= value <= most

    def _named_inside(self, subject: FormulaSubject) -> bool:
        """The same for a substance, where suppliers name everything: those who name this one are all that bring it."""
        resolved, stocks, cas = subject.evaluation.resolved, subject.stocks, self.component
        named: list[float] = []
        codes = subject.picked[pick_of(cas)]
        if self.of != ANYTHING:
            among = subject.picked[self.of]
            codes = [code for code in codes if code in among]
        for code in codes:
            kg, share = resolved.leaves.get(code), stocks[code].content.substances.get(cas) if code in stocks else None
            if type(kg) is not float or type(share) is not float:
                return False
            named.append(kg * share)
        mass = resolved.totals.get("total_mass")
        least, most = _span(self.min, self.max)
        return type(mass) is float and mass > 0.0 and bool(named) and least <= fsum(named) / mass <= most

    def counted(self, subject: FormulaSubject) -> list[str]:
        """Codes of the raw materials that are dosed; none where there is nothing to dose them on."""
        resolved = subject.evaluation.resolved
        codes = [code for code in subject.picked[self.of] if code in resolved.leaves]
        if resolved.totals.get(BASIS_COLUMN[self.on], 0.0) == 0.0:
            return []  # no basis at all: a dose on it says nothing
        if self.component:
            codes = [code for code in codes if self.component in subject.stocks[code].content.substances]
        return codes

    def goal(self, subject: FormulaSubject, fault: Fault) -> Goal | None:
        """The dose inside its window."""
        if self.window == "supplier":
            return self._suppliers_goal(subject, fault)

        def measure(one: FormulaSubject) -> Value:
            codes = self.counted(one)
            return self._value(one, codes) if codes else 0.0

        (least, most), look = self._bounds()
        return Goal(measure, None if least is None else least.base, None if most is None else most.base, look)

    def _bounds(self) -> tuple[tuple[Quantity | None, Quantity | None], tuple[str, int]]:
        """Both bounds, and the unit and digits in which the dose is shown beside them."""
        bounds = (self._read(self.min), self._read(self.max))
        unit = next(bound.unit.symbol for bound in bounds if bound is not None)
        digits = max(bound.decimals for bound in bounds if bound is not None) + (0 if unit == "ppm" else 1)
        return bounds, (unit, digits)

    def _asking(self, subject: FormulaSubject, fault: Fault) -> Fault:
        """A sum that is open for what suppliers do not name, with those who have to be asked."""
        stocks = ((code, subject.stocks[code]) for code in subject.resolved.leaves)
        codes = [code for code, stock in stocks if stock.content.undisclosed > 0 and self.of.holds(stock.material)]
        listed = ", ".join(codes[:3]) + (f" and {len(codes) - 3} more" if len(codes) > 3 else "")
        remedy = f'ask what else is in {listed}; disclosure = "full" says that everything is named'
        return replace(fault, remedy=remedy, missing=tuple(Place(subject.stocks[code].path, ("disclosure",)) for code in codes))

    def _suppliers(self, subject: FormulaSubject) -> Iterator[Fault]:
        """Each material whose file gives its supplier's window: as supplied, on the batch."""
        mass = subject.resolved.totals.get("total_mass", 0.0)
        for code, kg in subject.resolved.leaves.items():
            window = subject.stocks[code].material.dose
            if window is not None and mass != 0.0:
                bounds, look = _written(window)
                name = f"{subject.stocks[code].material.name} ({code}) in the paint"
                sharpen = subject.sharpen(_share_of(code))
                yield from judge_bounds(name, over(kg, mass), bounds, look, self._place(subject, [code]), sharpen)

    def _suppliers_goal(self, subject: FormulaSubject, fault: Fault) -> Goal | None:
        for code in subject.resolved.leaves:
            window = subject.stocks[code].material.dose
            if window is not None and f" ({code}) in the paint " in fault.message:
                (least, most), look = _written(window)
                return Goal(_share_of(code), None if least is None else least.base, None if most is None else most.base, look)
        return None

    def _value(self, subject: FormulaSubject, codes: list[str]) -> Value:
        resolved = subject.evaluation.resolved
        if self.component:
            everything = self.of == ANYTHING
            contents = {code: subject.stocks[code].content for code in (resolved.leaves if everything else codes)}
            share = substance(resolved, contents, self.component)
            if self.on == "batch" or isinstance(share, Gap):
                return share
            mass = resolved.totals["total_mass"]
            amount: Value = mass if isinstance(mass, Gap) else share * mass
        else:
            parts = [strength(resolved.leaves[code], subject.stocks[code].supply, self.as_) for code in codes]
            amount = add(parts) if len(parts) > 1 else parts[0]
        return over(amount, resolved.totals.get(BASIS_COLUMN[self.on], 0.0))

    def _read(self, text: str | None) -> Quantity | None:
        return None if text is None else read_bound(text, "mass share")

    def _name(self, subject: FormulaSubject, codes: list[str]) -> str:
        if self.name:
            return self.name
        if self.component:
            for code in codes:
                for one in subject.stocks[code].material.component:
                    if one.cas == self.component:
                        return one.name
        return " and ".join(f"{subject.stocks[code].material.name} ({code})" for code in codes[:2])

    def _place(self, subject: FormulaSubject, codes: list[str]) -> Place:
        lines = [line for line in subject.resolved.lines if not set(codes).isdisjoint(subject.leaves_of(line.code))]
        heaviest = max(lines, key=lambda line: line.kg if isinstance(line.kg, float) else 0.0)
        return Place(subject.path, (*heaviest.keys, "amount"))

    def says(self) -> tuple[str, ...]:
        """The window, and what is dosed on what."""
        if self.window == "supplier":
            return ("Each material whose file gives its supplier's window of doses: as supplied, in the paint, inside that window.",)
        picked = pick_words(self.of)
        inside = "" if self.of == ANYTHING else f" in {picked}"
        what = f"CAS {self.component}{inside}" if self.component else f"{picked}, {STRENGTH[self.as_]}"
        name = f"{self.name.rstrip(',')} ({what})" if self.name else what
        return (f"{name}: {window(self.min, self.max)} {BASIS_WORDS[self.on]}.",)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: no bound, or a bound that is not a share."""
        if (self.min is None and self.max is None) == (self.window == "rule"):
            yield Misread("a dose needs min, max or both; with the supplier's window it has neither", at=("kind",))
        if self.of.staged:
            yield Misread("a dose is judged in the whole batch: the stage of a charge does not count", "leave out stages", ("of",))
        if self.component and not is_cas(self.component):
            yield Misread(f'"{self.component}" is no CAS number', NO_CAS, ("component",))
        try:
            refuse_crossed(*read_bounds(ANY_DOSE, self.min, self.max))
        except Misread as error:
            yield error
