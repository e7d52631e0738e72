"""The sheets of two states laid over each other: every line with its amount before and after, and which change that is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import Struct

from formulint.amounts import Line
from formulint.catalog import Catalog, File
from formulint.content import Value
from formulint.finding import Place
from formulint.formula import Addition, Formula

FOLLOWS = 1e-9  # relative: a line that goes with the batch this closely goes with it


class Difference(Struct, frozen=True):
    """A change: in words, and where it stands."""

    what: str
    place: Place


class Strand(Struct):
    """A line of either sheet or of both: its amount before and after in base units, and the number of its change.

    ``fills`` marks q.s., which has no amount of its own on either side.
    """

    code: str
    addition: Addition
    place: Place
    stage: str
    at: int
    dimension: str
    before: float
    after: float
    words: tuple[str, str]
    fills: bool = False
    change: int | None = None


class Sheet(Struct):
    """Two sheets laid over each other; the ``change`` of the batch, and whether all lines go with it."""

    formula: Formula
    path: str
    strands: list[Strand]
    batch: tuple[float, float]
    change: int | None = None
    scales: bool = False


def strands_of(file: File[Formula], lines: Iterable[Line], as_written: bool, after: bool) -> list[Strand]:
    """The lines of one sheet; those that are not told ``as_written`` (q.s., or all) in kilograms, as they were resolved."""
    formula = file.record
    assert formula is not None
    weighed = {(line.stage, line.at): line.kg for line in lines}
    found = []
    for i, stage in enumerate(formula.stage):
        for j, addition in enumerate(stage.additions):
            if addition.material is None or addition.amount is None:
                continue
            amount = addition.amount
            basis, base, dimension = addition, amount.base, amount.dimension
            fills = amount.to_fill and as_written
            if not as_written:
                basis, base, dimension = Addition(material=addition.material), _number(weighed.get((i, j), 0.0)), "mass"
            ends = (0.0, base) if after else (base, 0.0)
            words = " ".join([amount.text, *(word for word in (addition.on and f"on {addition.on}", addition.as_, addition.of) if word)])
            place = Place(file.name, ("stage", i, "additions", j))
            found.append(Strand(addition.material, basis, place, stage.name, j, dimension, *ends, (words, words), fills))
    return found


def _number(value: Value) -> float:
    return value if isinstance(value, float) else float("nan")


def lay(before: list[Strand], after: list[Strand]) -> tuple[list[Strand], list[tuple[Strand | None, Strand | None]]]:
    """Both lists laid over each other: lines that are in both, and those that went out or came in, a swap as a pair."""
    left = list(after)
    both: list[Strand] = []
    gone: list[Strand] = []
    for exact in (True, False):
        for strand in before if exact else list(gone):
            other = next((one for one in left if _same_line(strand, one, exact)), None)
            if other is not None:
                left.remove(other)
                both.append(_joined(strand, other))
                if not exact:
                    gone.remove(strand)
            elif exact:
                gone.append(strand)
    pairs: list[tuple[Strand | None, Strand | None]] = []
    for strand in gone:
        partner = next((one for one in left if one.code == strand.code), None) or next((one for one in left if _in_its_place(strand, one)), None)
        if partner is not None:
            left.remove(partner)
        pairs.append((strand, partner))
    return both, [*pairs, *((None, one) for one in left)]


def _same_line(one: Strand, other: Strand, exact: bool) -> bool:
    if one.code != other.code or one.fills != other.fills or one.dimension != other.dimension:
        return False
    if (one.addition.on, one.addition.as_, one.addition.of) != (other.addition.on, other.addition.as_, other.addition.of):
        return False
    return not exact or one.before == other.after


def _in_its_place(one: Strand, other: Strand) -> bool:
    return one.stage == other.stage and one.at == other.at


def _joined(one: Strand, other: Strand) -> Strand:
    return Strand(
        one.code, other.addition, other.place, other.stage, other.at, one.dimension, one.before, other.after,
        (one.words[0], other.words[1]), one.fills,
    )  # fmt: skip


def goes_with_batch(before: list[Strand], after: list[Strand], factor: float) -> bool:
    """True where more lines follow a factor of the batch than stayed as they were."""
    follow = stay = 0
    for strand in before:
        for other in after:
            if strand.code == other.code and strand.dimension in ("mass", "volume") and not strand.fills:
                follow += abs(other.after - factor * strand.before) <= FOLLOWS * abs(other.after)
                stay += other.after == strand.before
    return follow > stay


def scaled(strands: list[Strand], factor: float) -> None:
    """Take a factor out of the amounts after; shares and doses have none in them."""
    for strand in strands:
        if strand.dimension in ("mass", "volume"):
            strand.after *= factor


def numbered(both: list[Strand], pairs: list[tuple[Strand | None, Strand | None]], named: dict[str, str]) -> Iterator[tuple[list[Strand], Difference]]:
    """Each change of lines with the strands that it moves."""
    for strand in both:
        if strand.before != strand.after:
            yield [strand], Difference(f"{named[strand.code]} {strand.words[0]} -> {strand.words[1]}", strand.place)
    for one, other in pairs:
        if one is not None and other is not None:
            there = named[other.code] if other.code != one.code else ""
            what = f"{named[one.code]} {one.words[0]} -> {there} {other.words[1]}".replace("  ", " ")
            yield [one, other], Difference(what, other.place)
        elif one is not None:
            yield [one], Difference(f"{named[one.code]} {one.words[0]} taken out", one.place)
        elif other is not None:
            yield [other], Difference(f"{named[other.code]} {other.words[1]} added", other.place)


def fills_alike(before: Formula, after: Formula) -> bool:
    """True where one code, or none, fills both batches up, and both are masses or both volumes."""
    codes = [
        [line.material for stage in one.stage for line in stage.additions if line.amount is not None and line.amount.to_fill]
        for one in (before, after)
    ]
    return codes[0] == codes[1] and before.batch.dimension == after.batch.dimension


def readable(catalog: Catalog, code: str) -> File[Formula] | None:
    """The file of a formula that can be read."""
    file = catalog.find_formula(code)
    return None if file is None or file.record is None else file
