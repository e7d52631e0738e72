"""Two things that do not go together in one paint, or one that has no place in it."""

from collections.abc import Iterator
from itertools import product
from math import inf
from typing import Annotated, Literal, NamedTuple

from msgspec import Meta, Struct

from formulint.amounts import over, times
from formulint.content import WATER, Bounded, Gap, Value, add, number
from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.formula import Formula
from formulint.interval import Interval
from formulint.material import Material
from formulint.quantity import read, show
from formulint.rule import Pick, Rule
from formulint.subject import FormulaSubject
from formulint.verdict import Outcome, outcome, read_bound, shown
from formulint.vessels import Charge
from formulint.vocabulary import Ionic
from formulint.wording import listed, pick_words

Word = Annotated[str, Meta(min_length=1)]
BASIS = {"batch": ("total_mass", "the paint"), "film": ("nonvolatile_mass", "what stays in the film")}


class Side(Pick, frozen=True, cache_hash=True, rename={"but": "except", "any_": "any"}):
    """Selects materials as other rules do, and by their charge; of ``any``, one selector has to hold."""

    ionic: tuple[Ionic, ...] = ()
    any_: tuple["Side", ...] = ()

    @property
    def marks(self) -> tuple[str, ...]:
        """Words of which a material must have one to be picked; empty where it may have any."""
        parts = [one.marks for one in self.any_]
        return super().marks or (tuple(word for part in parts for word in part) if all(parts) else ())

    @property
    def staged(self) -> bool:
        """True where the kind of the stage counts in which a material is charged."""
        for one in self.any_:  # no generators here and below: every material is asked by every side
            if one.staged:
                return True
        return super().staged

    @property
    def substances(self) -> frozenset[str]:
        """CAS numbers by which it selects."""
        return frozenset(self.cas).union(*(one.substances for one in self.any_))

    def holds(self, material: Material, stage: str = "") -> bool:
        """True if every key given holds for the material (charged in a stage of that kind)."""
        for one in self.any_:
            if one.holds(material, stage):
                break
        else:
            if self.any_:
                return False
        return (not self.ionic or material.ionic in self.ionic) and super().holds(material, stage)


class Unnamed(Side, frozen=True, cache_hash=True):
    """Selects of these the materials that may be anything: they name no component, or one without its CAS number.

    Water counts as named. What a supplier leaves out below the cut-offs of safety data sheets is not suspected.
    """

    def holds(self, material: Material, stage: str = "") -> bool:
        """True for a material that is picked and does not say what it is."""
        return super().holds(material, stage) and not _named(material)


def _named(material: Material) -> bool:
    parts = [one for one in material.component if one.volatile != "water" and one.cas != WATER]
    return bool(parts) and all(one.cas for one in parts)


class Window(Struct, frozen=True, forbid_unknown_fields=True):
    """The pH at which something happens, from ``min`` to ``max``."""

    min: str | None = None
    max: str | None = None


class Present(NamedTuple):
    """A raw material that is in the paint, with its charges or those of its intermediates; not ``sure``: it may be it."""

    code: str
    sure: bool
    charges: list[Charge]


class Pair(NamedTuple):
    """Two materials that meet, each with the charge by which it does."""

    one: Present
    other: Present
    first: Charge
    second: Charge


class Compatibility(Rule, frozen=True, kw_only=True, tag="compatibility", tag_field="kind"):
    """No ``one`` with any ``other``; without ``other``, no ``one`` at all. ``contact``: in one paint, through intermediates
    too, or charged upon each other in a vessel. The rule speaks where ``one`` reaches the share ``least`` (substances selected by CAS number count with their own share) and the
    sheet asks for a ``ph`` inside the window. An error is open where that is not known, and for materials that
    ``one_may_be`` or ``other_may_be`` select and that do not name their components by CAS number.
    """

    one: Side
    one_is: Word
    other: Side | None = None
    other_is: str = ""
    one_may_be: Unnamed | None = None
    other_may_be: Unnamed | None = None
    contact: Literal["formula", "vessel"] = "formula"
    least: str | None = None
    on: Literal["batch", "film"] = "batch"
    ph: Window | None = None

    @property
    def about(self) -> tuple[Pick, ...]:
        """Both sides, suspects included."""
        one = _either(self.one, self.one_may_be)
        if self.other is None:
            return (one,)
        return one, _either(self.other, self.other_may_be)

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """A fault for each pair of materials, or for each material that is alone with itself."""
        ones = _present(subject, self.one, self.one_may_be)
        others = [] if self.other is None else _present(subject, self.other, self.other_may_be)
        if not ones:
            return
        holds, words, missing = self._conditions(subject, ones)
        if holds == "fail" or (holds == "open" and self.level != "error"):
            return
        for fault in self._excluded(subject, ones, others):
            yield _with(fault, words, missing, holds == "open")

    def _excluded(self, subject: FormulaSubject, ones: list[Present], others: list[Present]) -> Iterator[Fault]:
        if self.other is None:
            yield from (self._banned(subject, one) for one in ones)
            return
        seen: set[frozenset[str]] = set()
        for one, other in product(ones, others):
            codes = frozenset((one.code, other.code))
            pair = self._meeting(one, other)
            if pair is not None and codes not in seen:
                seen.add(codes)
                yield self._together(subject, pair)

    def _meeting(self, one: Present, other: Present) -> Pair | None:
        """How two materials meet; a material with itself only where it is surely both."""
        if one.code == other.code and not (one.sure and other.sure):
            return None
        if self.contact == "formula":
            return Pair(one, other, one.charges[0], other.charges[0])
        for first, second in product(one.charges, other.charges):
            if first.spot in second.before or second.spot in first.before:
                return Pair(one, other, first, second)
        return None

    def _banned(self, subject: FormulaSubject, one: Present) -> Fault:
        words = f"{self._said(subject, one, one.charges[0], self.one_is)} is in the paint"
        return self._doubted(subject, Fault(_place(subject, one.charges[0]), words), [one])

    def _together(self, subject: FormulaSubject, pair: Pair) -> Fault:
        one, other, first, second = pair
        place, related = _place(subject, first), _place(subject, second)
        if one.code == other.code:
            words = f"{self._said(subject, one, first)} is both {self.one_is} and {self.other_is}"
            return Fault(place, words)
        left = self._said(subject, one, first, self.one_is)
        right = self._said(subject, other, second, self.other_is)
        if self.contact == "formula":
            words = f"{left} and {right} are in one paint"
        elif first.spot in second.before:
            words = f"{right}, charged upon {left}"
        else:
            words = f"{left}, charged upon {right}"
        return self._doubted(subject, Fault(place, words, related=(related,)), [one, other])

    def _doubted(self, subject: FormulaSubject, fault: Fault, presents: list[Present]) -> Fault:
        """The fault, open where one of the materials only may be what is meant."""
        codes = [one.code for one in presents if not one.sure]
        if not codes:
            return fault
        names = " and ".join(codes)
        verb = "does" if len(codes) == 1 else "do"
        words = f"{fault.message}: {names} {verb} not name every component by CAS number"
        remedy = f"ask the supplier and name what is in {names}, each component with its CAS number; the safety data sheet is where to look"
        missing = tuple(Place(subject.stocks[code].path, ("component",)) for code in codes)
        return Fault(fault.place, words, remedy, "open", related=fault.related, missing=missing)

    def _said(self, subject: FormulaSubject, present: Present, charge: Charge, what: str = "") -> str:
        inside = f" in {charge.code}" if charge.code != present.code else ""
        kind = f"; {'' if present.sure else 'may be '}{what}" if what else ""
        return f"{subject.stocks[present.code].material.name} ({present.code}{inside}{kind})"

    def _conditions(self, subject: FormulaSubject, ones: list[Present]) -> tuple[Outcome, str, tuple[Place, ...]]:
        """Whether the rule speaks at this share and this pH: how that is, in words what was found, what is missing."""
        asked = [self._enough(subject, ones)] if self.least is not None else []
        asked += [self._alkaline(subject)] if self.ph is not None else []
        answers = [answer for answer, _, _ in asked]
        found: Outcome = "fail" if "fail" in answers else "open" if "open" in answers else "pass"
        return found, "; ".join(words for _, words, _ in asked), tuple(place for *_, places in asked for place in places)

    def _enough(self, subject: FormulaSubject, ones: list[Present]) -> tuple[Outcome, str, tuple[Place, ...]]:
        bound = read_bound(self.least or "0 %", "mass share")
        value = self._share(subject, ones)
        found = outcome(value, bound, None)[0]
        column = BASIS[self.on][1]
        digits = bound.decimals + (0 if bound.unit.symbol == "ppm" else 1)
        if isinstance(value, Gap):
            words = "; ".join(dict.fromkeys(one.what for one in value.missing)) or "the lines do not add up to a batch"
            if isinstance(value, Bounded) and found == "pass":
                return found, f"at least {show(value.between.lo, bound.unit.symbol, digits)} of {column}, {bound} is enough; {words}", ()
            return found, f"its share of {column} cannot be computed: {words}", tuple(one.place for one in value.missing)
        return found, f"{shown(value, bound.unit.symbol, digits)} of {column}, {bound} is enough", ()

    def _share(self, subject: FormulaSubject, ones: list[Present]) -> Value:
        """The share of what is selected: substances by their own share, other materials as supplied; suspects, up to that."""
        substances, parts = self.one.substances, list[Value]()
        for present in ones:
            components = subject.stocks[present.code].material.component
            named: list[Value] = [number(one.share) for one in components if one.cas in substances]
            part = (add(named) if named else 1.0) if present.sure else Interval(0.0, 1.0)
            parts.append(times(subject.resolved.leaves.get(present.code, 0.0), part))
        return over(add(parts), subject.resolved.totals.get(BASIS[self.on][0], 0.0))

    def _alkaline(self, subject: FormulaSubject) -> tuple[Outcome, str, tuple[Place, ...]]:
        low, high = _asked(subject.formula)
        least, most = _ends(self.ph or Window())
        if low >= least and high <= most:
            return "pass", f"the sheet asks for pH {_range(low, high)}", ()
        if high < least or low > most:
            return "fail", "", ()
        place = Place(subject.path, ("tests", "ph"))
        return "open", f"it happens at pH {_range(least, most)}; the sheet allows {_range(low, high)}", (place,)

    def says(self) -> tuple[str, ...]:
        """What does not go together, and from when on."""
        one = f"{self.one_is} ({side_words(self.one)})"
        if self.other is None:
            asked = f"No {one} in the paint."
        else:
            meet = "in one paint" if self.contact == "formula" else "charged upon each other in a vessel"
            asked = f"No {one} together with {self.other_is} ({side_words(self.other)}), {meet}."
        enough = [f"From {self.least} of {BASIS[self.on][1]} on."] if self.least is not None else []
        ph = [f"Where the sheet asks for pH {_range(*_ends(self.ph))}."] if self.ph is not None else []
        suspects = [side_words(one) for one in (self.one_may_be, self.other_may_be) if one is not None]
        open_ = [f"Open for what may be it and does not name each component by CAS number: {listed(suspects)}."] if suspects else []
        return (asked, *enough, *ph, *open_)

    def unchecked(self, subject: FormulaSubject) -> str:
        """The conditions of a rule that is no error, where nobody can say whether they hold."""
        ones = _present(subject, self.one, self.one_may_be) if self.level != "error" else []
        if not ones or (self.other is not None and not _present(subject, self.other, self.other_may_be)):
            return ""
        holds, words, _ = self._conditions(subject, ones)
        return words if holds == "open" else ""

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself."""
        yield from self._faults_of_sides()
        if self.ph is not None and _crossed(self.ph):
            yield Misread("the window of ph needs min, max or both, as numbers, min not above max", at=("ph",))
        if self.on != "batch" and self.least is None:
            yield Misread("on says of what least is a share: without least it says nothing", at=("on",))
        try:
            read_bound(self.least or "0 %", "mass share")
        except Misread as error:
            yield Misread(error.message, error.remedy, ("least",))

    def _faults_of_sides(self) -> Iterator[Misread]:
        named = {"one": self.one, "other": self.other, "one_may_be": self.one_may_be, "other_may_be": self.other_may_be}
        for key, side in named.items():
            if side is not None and selects_everything(side):
                yield Misread("this selects every material", "name functions, tags, cas, codes or any", (key,))
        suspects = [key for key in ("one_may_be", "other_may_be") if named[key] is not None]
        if suspects and self.level != "error":
            yield Misread("what may be it is asked only by an error", "leave it out", (suspects[0],))
        if (self.other is None) != (not self.other_is):
            yield Misread("other and other_is stand together", "say in a word or two what other selects", ("other_is",))
        if self.other is None and (self.contact == "vessel" or self.other_may_be is not None):
            yield Misread("without other, a rule can only keep one out of the paint", "add other and other_is", ("other",))


def side_words(side: Side) -> str:
    """What a side selects, in words."""
    own = pick_words(side)
    if side.ionic:
        own = f"any {listed(side.ionic)} material" if own == "any material" else f"{listed(side.ionic)} {own}"
    if not side.any_:
        return own
    either = listed(map(side_words, side.any_))
    left = f" (not: {listed(map(pick_words, side.but))})" if side.but else ""
    asked = side.functions or side.forms or side.tags or side.codes or side.cas or side.states or side.ionic
    return f"{own}, if it is {either}" if asked else f"{either}{f', in each case{left}' if left else ''}"


def _either(sure: Side, maybe: Unnamed | None) -> Side:
    return sure if maybe is None else Side(any_=(sure, maybe))


def selects_everything(side: Side) -> bool:
    """True for a selector without anything to select by."""
    return not (side.functions or side.forms or side.tags or side.codes or side.cas or side.states or side.ionic or side.any_)


def _present(subject: FormulaSubject, sure: Side, maybe: Unnamed | None) -> list[Present]:
    """The raw materials that a side selects, those inside intermediates too, in the order in which they go in."""
    found: dict[str, Present] = {}
    for side in (sure, maybe) if maybe is not None else (sure,):
        for charge in subject.charged(side):
            for code in subject.leaves_of(charge.code):
                stock = subject.stocks.get(code)
                if stock is not None and side.holds(stock.material, charge.kind):
                    present = found.setdefault(code, Present(code, side is sure, []))
                    if present.sure == (side is sure):
                        present.charges.append(charge)
    return list(found.values())


def _place(subject: FormulaSubject, charge: Charge) -> Place:
    return Place(subject.path, ("stage", charge.spot[0], "additions", charge.spot[1], "material"))


def _with(fault: Fault, words: str, missing: tuple[Place, ...], unknown: bool) -> Fault:
    """The fault with what its conditions found; open where they could not be judged."""
    message = f"{fault.message} ({words})" if words else fault.message
    kind = "open" if unknown else fault.kind
    return Fault(fault.place, message, fault.remedy, kind, related=fault.related, missing=(*fault.missing, *missing))


def _asked(formula: Formula) -> tuple[float, float]:
    """Between which ends the sheet asks the pH to be; without bounds where it asks for none."""
    test = formula.tests.get("ph")
    return (-inf, inf) if test is None else _ends(Window(test.min, test.max))


def _ends(window: Window) -> tuple[float, float]:
    low = -inf if window.min is None else read(window.min, ("number",)).value
    return low, inf if window.max is None else read(window.max, ("number",)).value


def _crossed(window: Window) -> bool:
    try:
        low, high = _ends(window)
    except Misread:
        return True
    return low > high or window == Window()


def _range(low: float, high: float) -> str:
    if low == -inf:
        return "any value" if high == inf else f"up to {high:g}"
    return f"{low:g} and above" if high == inf else f"{low:g} to {high:g}"
