"""Random paints whose materials have figures given as ranges, and every corner of what these allow.

A corner is written as a repository of its own, with figures in place of ranges, and read and computed as any other: an
opinion on intervals that knows nothing of how they are found.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import product
from random import Random

from in_memory import catalog, evaluation
from msgspec import Struct
from repository import Table

from formulint.content import Gap, Value

Point = Mapping[tuple[str, str], Fraction]
"""A figure for each uncertain input: material and field, in the unit of the input."""

UNITS = {
    "density": "kg/L", "nonvolatile_density": "kg/L", "film_density": "kg/L", "oil_absorption": "g/100 g", "price": "USD/kg",
    "nonvolatile": "%", "water": "%", "voc": "%", "active": "%",
}  # fmt: skip
SHARES = ("nonvolatile", "water", "voc")
PLAIN: dict[str, dict[str, object]] = {
    "W": {"functions": ["water"], "density": 1, "nonvolatile": 0, "water": 100, "price": Fraction(1, 100)},
    "P": {"functions": ["white-pigment"], "density": 4, "nonvolatile": 100, "oil_absorption": 20, "price": 3},
    "E": {"functions": ["extender"], "density": Fraction(27, 10), "nonvolatile": 100, "oil_absorption": 30, "price": Fraction(3, 10)},
    "B": {"functions": ["binder"], "density": Fraction(105, 100), "nonvolatile": 50, "water": 48, "voc": 2, "nonvolatile_density": Fraction(115, 100), "price": Fraction(3, 2)},
    "D": {"functions": ["dispersant"], "density": Fraction(11, 10), "nonvolatile": 30, "water": 70, "nonvolatile_density": Fraction(14, 10), "active": 28, "price": 2},
    "G": {"functions": ["glycol"], "density": Fraction(104, 100), "nonvolatile": 0, "voc": 100, "price": 2},
    "H": {"functions": ["opaque-polymer"], "density": Fraction(103, 100), "nonvolatile": 30, "water": 70, "film_density": Fraction(6, 10), "price": 2},
}  # fmt: skip


class Range(Struct, frozen=True):
    """The ends of an uncertain input."""

    lo: Fraction
    hi: Fraction


class Ranged(Struct, frozen=True):
    """A sheet, its materials with their figures, and those figures that are ranges."""

    lines: tuple[Table, ...]
    inside: tuple[Table, ...]
    batch: str
    ranges: Mapping[tuple[str, str], Range]

    def evaluate(self, point: Point | None = None) -> dict[str, Value]:
        """All values with the ranges, or at a point."""
        shelf = {code: self._material(code, point) for code in PLAIN}
        head = {"name": "random", "revision": 1, "state": "bench", "markets": ["us-national"]}
        sheets: dict[str, Table] = {
            "T-1": {**head, "class": "flat", "batch": self.batch, "stage": [{"name": "One", "kind": "grind", "additions": list(self.lines)}]},
            "PM": {**head, "class": "intermediate", "batch": "100 kg", "stage": [{"name": "One", "kind": "premix", "additions": list(self.inside)}]},
        }
        return evaluation(catalog(shelf, sheets), "T-1").values

    def _material(self, code: str, point: Point | None) -> Table:
        record: dict[str, object] = {"name": f"material {code}", "disclosure": "full"}
        for field, figure in PLAIN[code].items():
            found = self.ranges.get((code, field))
            if found is None:
                record[field] = written(figure, field) if isinstance(figure, int | Fraction) else figure
            elif point is None:
                record[field] = {"min": written(found.lo, field), "max": written(found.hi, field)}
            else:
                record[field] = written(point[code, field], field)
        return record

    def corners(self) -> Iterator[Point]:
        """Every corner: each input at an end, the shares of a material on the slice that closes."""
        free = [key for key in self.ranges if not self.sliced(key)]
        parts: list[list[Point]] = [[{key: self.ranges[key].lo}, {key: self.ranges[key].hi}] for key in free]
        for code in dict.fromkeys(key[0] for key in self.ranges if self.sliced(key)):
            parts.append(list(self._slice(code)))
        for chosen in product(*parts):
            yield {key: figure for part in chosen for key, figure in part.items()}

    def sliced(self, key: tuple[str, str]) -> bool:
        """Whether an input is one of several shares that close."""
        return key[1] in SHARES and sum(other[0] == key[0] and other[1] in SHARES for other in self.ranges) > 1

    def _slice(self, code: str) -> Iterator[Point]:
        keys = [key for key in self.ranges if key[0] == code and key[1] in SHARES]
        whole = self.whole(code)
        for left in keys:
            others = [key for key in keys if key != left]
            for chosen in product(*((self.ranges[key].lo, self.ranges[key].hi) for key in others)):
                rest = whole - sum(chosen)
                if self.ranges[left].lo <= rest <= self.ranges[left].hi:
                    yield {**dict(zip(others, chosen, strict=True)), left: rest}

    def whole(self, code: str) -> Fraction:
        """What the shares of a material that are ranges come to together."""
        known = (figure for field, figure in PLAIN[code].items() if field in SHARES and (code, field) not in self.ranges)
        return 100 - sum((Fraction(figure) for figure in known if isinstance(figure, int | Fraction)), Fraction(0))

    def inside_of(self, random: Random) -> Point:
        """A point inside: a mean of corners, so that what closes still closes."""
        corners = random.choices(list(self.corners()), k=4)
        weights = [Fraction(random.randint(1, 9)) for _ in corners]
        return {key: sum((w * corner[key] for w, corner in zip(weights, corners, strict=True)), Fraction(0)) / sum(weights) for key in self.ranges}


def written(figure: int | Fraction, field: str) -> str:
    """A figure with its unit, to twelve decimals."""
    return f"{float(figure):.12f}".rstrip("0").rstrip(".") + f" {UNITS[field]}"


def ranged(number: int, most: int = 7) -> Ranged:
    """A paint of random amounts of every sort, with up to so many uncertain inputs."""
    random = Random(number)
    lines: list[Table] = [
        {"material": code, "amount": f"{random.randint(1, most_kg)} kg"}
        for code, most_kg in (("W", 20), ("P", 50), ("E", 50), ("B", 80), ("G", 8), ("H", 20))
    ]
    lines.append({"material": random.choice("PEB"), "amount": f"{random.randint(1, 9)} L"})
    lines.append({"material": random.choice("EG"), "amount": f"{random.randint(1, 9)} %"})
    on, as_ = random.choice(["pigment", "binder", "batch"]), random.choice(["active", "supplied", "nonvolatile"])
    lines.append({"material": "D", "amount": f"{random.randint(2, 20) / 10} %", "on": on, "as": as_})
    if random.random() < 0.5:
        lines.append({"material": "PM", "amount": f"{random.randint(1, 20)} kg"})
    if random.random() < 0.6:
        lines.append({"material": "W", "amount": "q.s."})
    random.shuffle(lines)
    inside: tuple[Table, ...] = (
        {"material": "P", "amount": f"{random.randint(1, 60)} kg"}, {"material": "B", "amount": f"{random.randint(1, 30)} kg"},
        {"material": "W", "amount": "q.s."},
    )  # fmt: skip
    keys = [(code, field) for code, record in PLAIN.items() for field, figure in record.items() if field in UNITS and figure not in (0, 100) and code != "W"]
    chosen = random.sample(keys, random.randint(1, most))
    return Ranged(tuple(lines), inside, f"250 {random.choice(['kg', 'L'])}", dict(_widths(random, chosen)))


def _widths(random: Random, chosen: list[tuple[str, str]]) -> Iterator[tuple[tuple[str, str], Range]]:
    """Ranges about the plain figures; a share that is the only range of its material is left plain: then nothing closes."""
    for code, field in chosen:
        figure = PLAIN[code][field]
        assert isinstance(figure, int | Fraction)
        if field in SHARES and sum(other[0] == code and other[1] in SHARES for other in chosen) < 2:
            continue
        below, above = (Fraction(random.randint(0, 12), 100) for _ in range(2))
        yield (code, field), Range(figure * (1 - below), figure * (1 + above))


def known(value: Value) -> float:
    """A value that is a number."""
    assert isinstance(value, float), value
    return value


def seen(paint: Ranged) -> dict[str, tuple[float, float]]:
    """The ends of each value over all corners."""
    found: dict[str, tuple[float, float]] = {}
    for point in paint.corners():
        for name, value in paint.evaluate(point).items():
            if not isinstance(value, Gap):
                low, high = found.get(name, (known(value), known(value)))
                found[name] = min(low, known(value)), max(high, known(value))
    return found
