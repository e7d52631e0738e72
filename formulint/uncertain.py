"""What is known of a formula whose materials have figures given as ranges: outer bounds that are as narrow as proven.

An uncertain input is one figure of one material. It is one number, however many lines, intermediates and laws it goes
through: the formula is resolved again on ``Swing`` values, which carry it from the figure to the property. The shares
of a material that close to 100 % move on that slice: the widest of them that is a range is what the others leave.
``extremes`` then looks for both ends. Nothing is assumed about a law, so that it holds for any property that is declared;
no end is ever inside the truth, and both are within 1 % of its width unless the evaluations are used up first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Protocol

from msgspec import Struct
from msgspec.structs import replace

from formulint.amounts import Supply, resolve
from formulint.circumstances import Circumstances
from formulint.content import CLOSES, SHARES, Gap, Surroundings, Value, shares_close
from formulint.errors import UserError
from formulint.evaluate import Evaluation
from formulint.extras import extras
from formulint.extremes import Box, Bracket, Search, Sum, contracted, hull
from formulint.figure import Figure
from formulint.finding import KeyPath, Mark, Place
from formulint.formula import Formula
from formulint.intermediate import as_supply
from formulint.interval import AtLeast, Interval, Number, ends, outward
from formulint.material import Material
from formulint.subject import FormulaSubject, Measure, Stock
from formulint.swing import centre_of, half_width, moving
from formulint.verdict import Sharp

MOST_INPUTS = 40  # more of them stay plain intervals: still an outer bound
EFFORT = 400_000  # lines times inputs, over all evaluations of one formula; then what is left stays as wide as it is
MOST_EFFORT = 100_000_000  # of one run
TRIED = 3  # inputs of which it is tried how much they narrow a value
TRIES = 30  # evaluations for each of them
MOST_OF_IT = 0.5  # an input that takes so much of the width with it brings most of it


class Record(Protocol):
    """A formula's file."""

    @property
    def name(self) -> str: ...
    @property
    def record(self) -> Formula | None: ...


class Shelf(Protocol):
    """Where materials and intermediates are found."""

    around: Surroundings
    ranged: dict[str, tuple[Input, ...]]
    effort: int

    def made(self, material: Material, path: str) -> Stock: ...
    def supply(self, code: str) -> Supply | None: ...
    def leaves(self, code: str) -> tuple[str, ...]: ...
    def find_formula(self, code: str) -> Record | None: ...
    def locate(self, place: Place) -> Mark: ...


class Input(Struct, frozen=True):
    """A figure that is known only to lie between two ends; ``left`` are those it is what is left of, up to ``whole``."""

    code: str
    path: str
    keys: KeyPath
    figure: Figure
    lo: float
    hi: float
    left: tuple[int, ...] = ()
    whole: Number = 0.0


class Cause(Struct, frozen=True):
    """The input that makes a value wide: in words, where it stands, and the share of the width that goes when it is known.

    ``slack`` is the most by which the bounds of the value are wider than the truth, as a share of its width.
    """

    words: str
    material: str
    place: Place
    share: float
    slack: float

    @property
    def lead(self) -> str:
        """How much of the width it brings, in words."""
        return "Most of that width comes" if self.share >= MOST_OF_IT else "More of that width than from anything else comes"


class Varied(Figure):
    """A figure that stands for part of its range, or moves in it; what it is written as is that of the whole range."""

    __slots__ = ("_span",)
    known = False
    derived = False

    def __init__(self, whole: Figure, span: Number) -> None:
        super().__init__(whole.lo, whole.hi)
        self._span = span

    @property
    def span(self) -> Number:
        """The part of the range, or what it is at a point."""
        return self._span


class Uncertain:
    """The uncertain inputs of one formula, and the values over parts of them.

    Parameters
    ----------
    subject : FormulaSubject
        The formula with its values by plain interval arithmetic.
    shelf : Shelf
    """

    def __init__(self, subject: FormulaSubject, shelf: Shelf) -> None:
        self.subject = subject
        self.shelf = shelf
        self.inputs = _inputs(subject.stocks, shelf.ranged)
        self._left = EFFORT
        self.sums = tuple(
            Sum(one.left, ends(one.whole)[0] - one.hi, ends(one.whole)[1] - one.lo) for one in self.inputs if one.left
        )
        free = tuple((centre_of(one.lo, one.hi),) * 2 if one.left else (one.lo, one.hi) for one in self.inputs)
        self.box: Box = contracted(free, self.sums) or free
        self._states: dict[Box, FormulaSubject] = {}

    # --- the formula over a part of its inputs -----------------------------------------------------------------

    def over(self, box: Box) -> FormulaSubject:
        """The formula where each input is anywhere in its part of the box."""
        if box not in self._states:
            self._spend()
            self._states[box] = self._over(self._numbers(box))
        return self._states[box]

    def _spend(self) -> None:
        """Count what is computed, so that ranges, lines and formulas cannot multiply to a run without end.

        Raises
        ------
        UserError
        """
        cost = (len(self.subject.resolved.lines) + 10) * (len(self.inputs) + 4)
        self._left -= cost
        self.shelf.effort += cost
        if self.shelf.effort > MOST_EFFORT:
            message = "ranges, lines and formulas of this repository multiply to more than is computed in one run"
            raise UserError(message, "name some formulas; write figures instead of ranges where they are known")

    def _numbers(self, box: Box) -> list[Number]:
        """Each input as a number; what is left of others follows from them."""
        half = [half_width(*part) for part in box]
        numbers: list[Number] = [moving(at, *part, half) if part[0] < part[1] else Interval(*part) for at, part in enumerate(box)]
        for at, one in enumerate(self.inputs):
            if one.left:
                rest = one.whole
                for member in one.left:
                    rest = rest - numbers[member]
                numbers[at] = rest
        return numbers

    def _over(self, numbers: list[Number]) -> FormulaSubject:
        subject = self.subject
        changes: dict[str, dict[KeyPath, Figure]] = {}
        for one, number in zip(self.inputs, numbers, strict=True):
            changes.setdefault(one.code, {})[one.keys] = Varied(one.figure, number)
        varied = {code: self.shelf.made(with_figures(subject.stocks[code].material, found), subject.stocks[code].path) for code, found in changes.items()}
        supply = supplier(self.shelf, varied)
        resolved = resolve(subject.formula, subject.path, supply, subject.swap)
        around = around_varied(subject, varied, supply, self.shelf.around.water_density)
        evaluation = Evaluation(resolved, subject.path, self.shelf.around.water_density, around)
        return replace(subject, evaluation=evaluation, stocks={**subject.stocks, **varied})

    # --- its values --------------------------------------------------------------------------------------------

    def sharp(self, measure: Measure) -> Value:
        """A value of the formula, as narrow as proven; a gap stays one unless the inputs, moved together, close it."""
        plain = measure(self.subject)
        if isinstance(plain, float) or not self.inputs:
            return plain
        if isinstance(plain, AtLeast):
            low, high = self._narrowed(lambda one: _part(measure(one), "known")), self._narrowed(lambda one: _part(measure(one), "possible"))
            return AtLeast(
                plain.lo if low is None else max(plain.lo, low.lo), plain.hi if high is None else min(plain.hi, high.hi)
            )
        bracket = self._narrowed(measure)
        if bracket is None:
            return plain
        return Interval(bracket.lo, bracket.hi) if isinstance(plain, Gap) else hull(plain, bracket)

    def _narrowed(self, measure: Measure, box: Box | None = None, **more: int) -> Bracket | None:
        def value(part: Box) -> Number | None:
            if self._left < 0 and part not in self._states:
                return None
            found = measure(self.over(part))
            return None if isinstance(found, Gap) else found

        return Search(value, self.sums, **more).bracket(self.box if box is None else box)

    def cause(self, measure: Measure) -> Cause | None:
        """The input that makes a value wide: were it known to be in its middle, the value would be narrowest."""
        whole = self._narrowed(measure)
        slopes = getattr(measure(self.over(self.box)), "slopes", {})
        if whole is None or not slopes or whole.hi <= whole.lo:
            return None
        moves = {at: abs(least + most) * half_width(*self.box[at]) for at, (least, most) in slopes.items()}
        best: tuple[float, int] | None = None
        for at in sorted(moves, key=lambda one: (-moves[one], one))[:TRIED]:
            middle = (centre_of(*self.box[at]),) * 2
            box = contracted((*self.box[:at], middle, *self.box[at + 1 :]), self.sums)
            left = None if box is None else self._narrowed(measure, box, most=TRIES)
            taken = 0.0 if left is None else 1.0 - (left.hi - left.lo) / (whole.hi - whole.lo)
            if best is None or taken > best[0] + 1e-9:
                best = taken, at
        if best is None or best[0] <= 0.0:
            return None
        one = self.inputs[best[1]]
        place = Place(one.path, one.keys)
        mark = self.shelf.locate(place)
        return Cause(f"{self.named(one)}, {mark.path} line {mark.line}", one.code, place, best[0], whole.slack)

    def told(self, measure: Measure) -> Sharp:
        """A value with the words for the input that most of its width comes from."""
        value = self.sharp(measure)
        found = self.cause(measure) if isinstance(value, Interval) and not isinstance(value, AtLeast) else None
        return Sharp(value) if found is None else Sharp(value, f"{found.lead} from {found.words}", (found.place,))

    def named(self, one: Input) -> str:
        """An input in words: ``the density of RM-1301, 8.8 lb/gal to 9.3 lb/gal``."""
        what = str(one.keys[-1]).replace("_", " ")
        if one.keys[0] == "component":
            what = f"{what} of {self.subject.stocks[one.code].material.component[int(one.keys[1])].name} in"
        else:
            what = f"{what} of"
        with_it = [str(other.keys[0]) for other in self.inputs if self.inputs.index(one) in other.left]
        low, high = str(one.figure.lo), str(one.figure.hi)
        if one.figure.lo.spelled == one.figure.hi.spelled:
            low = one.figure.lo.digits
        closes = f", and {with_it[0]} with it" if with_it else ""
        return f"the {what} {one.code}, {low} to {high}{closes}"


def _part(value: Value, name: str) -> Value:
    return getattr(value, name) if isinstance(value, AtLeast) else value


def _inputs(stocks: Mapping[str, Stock], known: dict[str, tuple[Input, ...]]) -> tuple[Input, ...]:
    """The figures that are ranges, of all materials, in order; of more than ``MOST_INPUTS``, whole materials are left out.

    ``known`` keeps those of each material, where what is left of others counts from the first of that material.
    """
    found: list[Input] = []
    for code, stock in stocks.items():
        if code not in known:
            known[code] = of_material(code, stock)
        if len(found) + len(known[code]) <= MOST_INPUTS:
            start = len(found)
            found += [replace(one, left=tuple(start + at for at in one.left)) if one.left else one for one in known[code]]
    return tuple(found)


def of_material(code: str, stock: Stock) -> tuple[Input, ...]:
    """The figures of one material that are ranges; those of its components only where all together are few enough."""
    ranges = list(_ranges(stock.material))
    if len(ranges) > MOST_INPUTS:
        ranges = [one for one in ranges if len(one[0]) == 1]
    return tuple(_closing(stock.material, [Input(code, stock.path, keys, figure, figure.lo.base, figure.hi.base) for keys, figure in ranges]))


def _ranges(material: Material) -> Iterable[tuple[KeyPath, Figure]]:
    """The figures of a material that are ranges of some width."""
    records: list[tuple[KeyPath, object]] = [((), material), *((("component", at), one) for at, one in enumerate(material.component))]
    for keys, record in records:
        for field in record.__struct_fields__:  # type: ignore[attr-defined]
            figure = getattr(record, field)
            if isinstance(figure, Figure) and not figure.known and figure.lo.base < figure.hi.base:
                yield (*keys, field), figure


def _closing(material: Material, found: list[Input]) -> list[Input]:
    """Where the shares of a material close to 100 %, the widest range among them is what the others leave.

    Then they hardly bind each other: what is left of two wide ranges for a narrow one is a thin slice of their box, and slow to search.
    """
    members = [at for at, one in enumerate(found) if one.keys[0] in SHARES]
    members.sort(key=lambda at: SHARES.index(str(found[at].keys[0])))
    if len(members) < 2 or not shares_close(material):
        return found
    given = [figure.base for field in SHARES if (figure := getattr(material, field)) is not None and figure.lo.base == figure.hi.base]
    whole = 1.0
    for share in given:
        whole -= share
    low, high = sum(found[at].lo for at in members), sum(found[at].hi for at in members)
    if low - CLOSES <= whole <= high + CLOSES:  # else they close only within the digits written
        rest = max(members, key=lambda at: (found[at].hi - found[at].lo, at))
        found[rest] = replace(found[rest], left=tuple(at for at in members if at != rest), whole=outward(whole, whole))
    return found


def with_figures(material: Material, figures: Mapping[KeyPath, Figure]) -> Material:
    """A material with other figures."""
    own = {str(keys[0]): figure for keys, figure in figures.items() if len(keys) == 1}
    parts = list(material.component)
    for keys, figure in figures.items():
        if len(keys) == 3:
            parts[int(keys[1])] = replace(parts[int(keys[1])], **{str(keys[2]): figure})
    return replace(material, **own, component=tuple(parts))


def around_varied(subject: FormulaSubject, varied: Mapping[str, Stock], supply: Callable[[str], Supply | None], water_density: float) -> Circumstances:
    """What values rest on beside the lines, when some raw materials are varied."""
    around = subject.evaluation.around

    def extra(code: str) -> dict[str, Value]:
        stock = varied.get(code)
        return around.extra(code) if stock is None else extras(stock.material, stock.path, stock.content, water_density)

    return replace(around, supply=supply, extra=extra)


def supplier(shelf: Shelf, varied: Mapping[str, Stock]) -> Callable[[str], Supply | None]:
    """From a code to what it brings when some raw materials are varied: these, and intermediates that hold any."""
    blends: dict[str, Supply | None] = {}

    def supply(code: str) -> Supply | None:
        if code in varied:
            return varied[code].supply
        found = shelf.supply(code)
        if found is None or varied.keys().isdisjoint(found.leaves):
            return found
        if code not in blends:
            blends[code] = found  # what uses itself is not gone into again
            file = shelf.find_formula(code)
            if file is not None and file.record is not None:
                blends[code] = as_supply(code, resolve(file.record, file.name, supply))
        return blends[code]

    return supply
