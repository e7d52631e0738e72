"""One number of one line changed, a line taken out that stands there twice, or one material exchanged, so that a value of the formula comes to lie inside its bounds.

The line's amount is found as a root over the same resolving and evaluating that judges the sheet, so doses and ``q.s.``
follow by themselves. It is rounded to the digits of the line, and must hold after that. Then every formula that the
change touches is judged again.
"""

from __future__ import annotations

from collections.abc import Iterator
from heapq import nsmallest
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from formulint.catalog import File
from formulint.content import Gap
from formulint.document import Document
from formulint.errors import Misread
from formulint.finding import Edit, Finding, Remedy
from formulint.formula import Addition, Formula
from formulint.kinds.closure import BATCH
from formulint.kinds.dose import Dose
from formulint.quantity import Quantity, show
from formulint.rule import Goal
from formulint.slip import closing
from formulint.splice import removal, value, written
from formulint.subject import FormulaSubject
from formulint.suspect import FINEST
from formulint.trial import Trial, distance, lacking
from formulint.verdict import shown
from formulint.vessels import Spot

if TYPE_CHECKING:
    from decimal import Decimal

MOST_LINES = 40
MOST_SHOWN = 3
MOST_JUDGED = 8  # changes that are judged for one finding
MOST_SWAPS = 60  # exchanges of a material that are computed for one finding
STEPS = 30  # towards the root; a value is a quotient of two straight lines in the amount, so ten are usual
CLOSE = 1e-9  # relative: nearer than this two amounts are one
FINER = 2  # digits beyond those of the line that are tried where its own do not hit the window
HALF, TWICE = 0.5, 2.0  # a line is lowered to half or raised to twice itself; more makes another formula, which nobody should compute unasked

PRESERVATIVES = frozenset({"in-can-preservative", "dry-film-preservative"})
GUARDED = PRESERVATIVES | {"dispersant", "neutralizer", "coalescent"}
"""Functions of which the dose is lowered only where a window in force says that it may be."""
CAUTION = "arithmetic only, test due"


class Option(Struct, frozen=True):
    """A line with another amount, or another material too; ``size`` is the relative change."""

    spot: Spot
    amount: Quantity
    size: float
    material: str = ""


class Retouch:
    """Changes of the lines of one formula for one finding."""

    def __init__(self, trial: Trial, file: File[Formula], finding: Finding, goal: Goal, exchange: bool) -> None:
        assert file.record is not None
        self.trial = trial
        self.file = file
        self.formula: Formula = file.record
        self.finding = finding
        self.goal = goal
        self.exchange = exchange
        self.subject = trial.subject(file, {})
        off = distance(goal, self.subject)
        self.off = 0.0 if off is None else off
        self.unclosed = False  # whether a change was refused for nothing but the batch that no longer closes

    def remedies(self) -> Iterator[Remedy]:
        """Changes that were judged to mend the finding, the smallest first."""
        document = self.file.document
        if not self.off or document is None:
            return
        found = 0
        for option in nsmallest(MOST_JUDGED, self._options(), key=lambda one: (self._drains(one), one.size, one.spot, one.material)):
            after = self._after(option)
            if not self._keeps_windows(option, after):
                continue
            try:
                edits = self._edits(document, option)
            except Misread:
                continue
            against = self.trial.against(self.finding, self.file.name, edits)
            self.unclosed = self.unclosed or against == (BATCH,)
            if not against:
                yield Remedy(self._text(option, after, document), edits)
                found += 1
                if found == MOST_SHOWN:
                    return

    def _drains(self, option: Option) -> bool:
        """True where a sheet would be closed with less of what makes the paint: water first, nobody fills a tank with latex."""
        if self.goal.aim is None or not option.size:
            return False
        stock = self.subject.stocks.get(self.formula.stage[option.spot[0]].additions[option.spot[1]].material or "")
        return stock is None or "water" not in stock.material.functions

    def _options(self) -> Iterator[Option]:
        if self.goal.aim is not None:
            slips = list(self._slips())
            yield from (option for option, _ in slips)
            if any(abs(total / self.goal.aim - 1) <= FINEST for _, total in slips):
                return  # whatever else closes the sheet would only hide it
        elif self.off > 0:
            again = list(self._again())
            yield from again
            if again:
                return  # a preservative that is charged twice is taken out once, not lowered here and there
        for spot, line in self._lines():
            assert line.amount is not None
            found = self._amount(spot, line.amount.lo)
            if found is not None:
                yield found
        if self.exchange and self.goal.aim is None:
            yield from self._exchanges()

    def _lines(self) -> list[tuple[Spot, Addition]]:
        """Lines with an amount that is a figure."""
        found = [((i, j), line) for i, stage in enumerate(self.formula.stage) for j, line in enumerate(stage.additions)]
        return [(spot, line) for spot, line in found if line.amount is not None and not line.amount.to_fill and line.amount.base > 0][:MOST_LINES]

    def _at(self, spot: Spot, amount: Quantity) -> FormulaSubject:
        return self.trial.subject(self.file, {spot: amount})

    def _short(self, spot: Spot, amount: Quantity) -> float | None:
        """What the value still lacks to the bound it has to reach, in base units; 0 or less is enough."""
        return lacking(self.goal, self._at(spot, amount), self.off > 0)

    def _amount(self, spot: Spot, old: Quantity) -> Option | None:
        """The nearest amount of a line that is enough, in the digits of the line; None where no amount is."""
        now = lacking(self.goal, self.subject, self.off > 0)
        for factor in (HALF, TWICE) if self.goal.aim is None else (0.0, TWICE):  # a digit too many is more than twice
            end = self._short(spot, _scaled(old, factor))
            if end is not None and now is not None and end <= 0 < now:
                return self._rounded(spot, old, self._root(spot, old, (1.0, now), (factor, end)), factor < 1)
        return None

    def _root(self, spot: Spot, old: Quantity, short: tuple[float, float], enough: tuple[float, float]) -> float:
        """The factor at which the value reaches its bound, from the side that is enough (false position, Illinois)."""
        (low, lacks), (high, spare) = short, enough
        for _ in range(STEPS):
            if abs(high - low) < CLOSE or lacks == spare:
                break
            middle = (low * spare - high * lacks) / (spare - lacks)
            found = self._short(spot, _scaled(old, middle))
            if found is None:
                break
            if found <= 0:
                high, spare, lacks = middle, found, lacks / 2
                if found == 0:
                    break
            else:
                low, lacks, spare = middle, found, spare / 2
        return high

    def _rounded(self, spot: Spot, old: Quantity, factor: float, down: bool) -> Option | None:
        from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

        exact = Decimal(old.digits) * Decimal(factor)
        # From the digit that may be just short of enough on, so that a bound that is hit exactly is found.
        nearest = ROUND_HALF_EVEN if self.goal.aim is not None else ROUND_CEILING if down else ROUND_FLOOR
        for digits in range(old.decimals, old.decimals + FINER + 1):
            step = Decimal(1).scaleb(-digits)
            near = exact.quantize(step, rounding=nearest)
            further = -step if down else step
            for number in (near, near + further, near + 2 * further):
                if number > 0 and number != Decimal(old.digits) and self._holds(spot, _quantity(number, old)):
                    size = abs(float(number / Decimal(old.digits)) - 1)
                    return Option(spot, _quantity(number, old), size)
        return None

    def _holds(self, spot: Spot, amount: Quantity) -> bool:
        return distance(self.goal, self._at(spot, amount)) == 0.0

    def _slips(self) -> Iterator[tuple[Option, float]]:
        """What the finding names as the slip, put right, with the sum that it would come to. Thought of before all else."""
        materials = {code: stock.material for code, stock in self.subject.stocks.items()}
        goal, subject = self.goal, self.subject
        for slip in closing(self.formula, subject.resolved, materials, goal.aim or 0.0, subject.closure):
            if slip.words in self.finding.fault.remedy:
                yield Option((int(slip.keys[1]), int(slip.keys[3])), slip.meant, 0.0), slip.total

    def _again(self) -> Iterator[Option]:
        """Either line of a preservative that stands in two of them taken out, where that is enough; of two that are alike in one stage the second.

        A defoamer is split between stages for good reason, and so is a dispersant: nothing of the kind is said of them.
        """
        lines = self._lines()
        for spot, line in lines:
            stock = self.subject.stocks.get(line.material or "")
            others = [one for one in lines if one[1].material == line.material and one[0] != spot]
            if stock is None or line.amount is None or len(others) != 1 or PRESERVATIVES.isdisjoint(stock.material.functions):
                continue
            (twin, other), nothing = others[0], replace(line.amount.lo, digits="0")
            first_of_alike = twin > spot and twin[0] == spot[0] and other.amount == line.amount
            if not first_of_alike and self._holds(spot, nothing):
                yield Option(spot, nothing, 0.0)

    def _exchanges(self) -> Iterator[Option]:
        """A line's material exchanged for an approved one of the same function: at equal active part, solids or volume."""
        catalog = self.trial.catalog
        stocks = [stock for name in catalog.material_files() if (stock := catalog.stock(name.rsplit("/", 1)[-1].removesuffix(".toml")))]
        tried = 0
        for spot, line in self._lines():
            now = self.subject.stocks.get(line.material or "")
            if now is None or line.amount is None or line.on is not None or line.alternates or PRESERVATIVES & set(now.material.functions):
                continue
            for other in stocks:
                material = other.material
                if material.code == line.material or material.functions[0] != now.material.functions[0] or material.form != now.material.form:
                    continue
                if material.state != "approved" and self.formula.code not in material.approved_for:
                    continue
                tried += 1
                if tried > MOST_SWAPS:
                    return
                column = _column(material.functions)
                mine, its = now.content.columns[column], other.content.columns[column]
                if column == "nonvolatile_mass" and isinstance(now.supply.active, float) and isinstance(other.supply.active, float):
                    mine, its = now.supply.active, other.supply.active
                if isinstance(mine, float) and isinstance(its, float) and mine > 0 and its > 0:
                    found = self._exchanged(spot, line.amount.lo, mine, its, material.code)
                    if found is not None:
                        yield found

    def _exchanged(self, spot: Spot, old: Quantity, mine: float, its: float, code: str) -> Option | None:
        from decimal import Decimal

        ratio = mine / its
        if old.unit.dimension.startswith("volume"):
            return None  # the figure would be one of another density; nobody reads that off a scale
        number = (Decimal(old.digits) * Decimal(ratio)).quantize(Decimal(1).scaleb(-old.decimals))
        if number <= 0:
            return None
        amount = _quantity(number, old)
        after = self.trial.subject(self.file, {spot: amount}, {spot: code})
        return Option(spot, amount, 1 + abs(ratio - 1), code) if distance(self.goal, after) == 0.0 else None

    def _after(self, option: Option) -> FormulaSubject:
        swap = {option.spot: option.material} if option.material else None
        return self.trial.subject(self.file, {option.spot: option.amount}, swap)

    def _keeps_windows(self, option: Option, after: FormulaSubject) -> bool:
        """True unless a dose that has to be guarded gets lower without a window that says it may."""
        line = self.formula.stage[option.spot[0]].additions[option.spot[1]]
        if option.material or line.amount is None or option.amount.base >= line.amount.base:
            return True
        for code in self.subject.leaves_of(line.material or ""):
            stock = self.subject.stocks[code]
            if not GUARDED.isdisjoint(stock.material.functions) and not self._window_holds(code, after):
                return False
        return True

    def _window_holds(self, code: str, after: FormulaSubject) -> bool:
        """True where windows with a lower end are in force for a material, and all of them hold."""
        stock = after.stocks[code]
        own = stock.material.dose
        found = own is not None and own.min is not None
        for check in self.trial.catalog.rulebook.checks(self.formula).all:
            rule = check.entry.rule
            if isinstance(rule, Dose) and rule.min is not None and rule.concerns(self.formula) and code in rule.counted(after):
                found = True
                goal = rule.goal(after, self.finding.fault)
                if goal is not None and (distance(goal, after) or 0.0) < 0:
                    return False
        return found

    def _edits(self, document: Document, option: Option) -> tuple[Edit, ...]:
        if not option.amount.value:
            return (removal(document, option.spot),)
        keys = ("stage", option.spot[0], "additions", option.spot[1])
        line = self.formula.stage[option.spot[0]].additions[option.spot[1]]
        assert line.amount is not None
        old = line.amount.lo
        raw = written(document, (*keys, "amount"))
        new = f"{raw[:1]}{option.amount}{raw[-1:]}"
        if raw != f"{raw[:1]}{old}{raw[-1:]}":
            raise Misread("the amount is not written plainly", at=(*keys, "amount"))
        edits = [value(document, (*keys, "amount"), new)]
        if option.material:
            code = written(document, (*keys, "material"))
            if code[1:-1] != line.material:
                raise Misread("the code is not written plainly", at=(*keys, "material"))
            edits.insert(0, value(document, (*keys, "material"), f"{code[:1]}{option.material}{code[-1:]}"))
        return tuple(edits)

    def _text(self, option: Option, after: FormulaSubject, document: Document) -> str:
        stage, at = option.spot
        line = self.formula.stage[stage].additions[at]
        assert line.amount is not None and line.material is not None
        where = f"in {self.formula.stage[stage].name} (line {document.mark(('stage', stage, 'additions', at)).line})"
        found = self.goal.measure(after)
        gives = "" if isinstance(found, Gap) else f" gives {shown(found, *self.goal.look)}"
        change = f"{line.material} {where} from {line.amount.text} to {option.amount}"
        if not option.amount.value:
            change = f"without {line.amount.text} {line.material} {where}:"
        if option.material:
            change = f"{option.amount} {option.material} for {line.amount.text} {line.material} {where}"
        return f"{change}{gives}{self._filled(after)}; {CAUTION}"

    def _filled(self, after: FormulaSubject) -> str:
        """What fills the batch up then."""
        for one in after.resolved.lines:
            line = self.formula.stage[one.stage].additions[one.at]
            if line.amount is not None and line.amount.to_fill and isinstance(one.kg, float):
                unit = "lb" if after.units == "us" else "kg"
                return f", with {show(one.kg, unit, 1)} {one.code} to fill"
        return ""


def _column(functions: tuple[str, ...]) -> str:
    """What stays equal when a material is exchanged: solids by volume for what is in the film, by mass for the rest that has any, else volume."""
    first = functions[0]
    if first in ("binder", "white-pigment", "extender", "opaque-polymer", "colored-pigment"):
        return "nonvolatile_volume"
    return "total_volume" if first in ("coalescent", "glycol", "solvent", "open-time-additive", "defoamer", "plasticizer") else "nonvolatile_mass"


def _scaled(old: Quantity, factor: float) -> Quantity:
    return replace(old, digits=repr(old.value * factor))


def _quantity(number: Decimal, old: Quantity) -> Quantity:
    return replace(old, digits=f"{number:f}")
