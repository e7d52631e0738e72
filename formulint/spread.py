"""What stands beside the values of a formula: what makes them wide, and how they scatter in production.

The spread is one standard deviation, by first-order propagation: the derivative of a value by each figure that has a
``[tolerance]``, times the standard deviation of that figure, added as squares. A tolerance says how far a figure may be
off; it is taken as spread evenly between both ends, so that its standard deviation is the tolerance over the root of
three, and as independent of all others. A share that is off is made up by the water, or else by the last share without
a tolerance, where the shares of its material close to 100 %. What is weighed scatters by the divisions of the scales of
which there are records, each line by itself; without such a record it counts as exact, and that is said.

References
----------
JCGM 100:2008 (GUM), 4.3.7 for the even spread, 5.1.2 for the propagation (memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import hypot, sqrt

from msgspec import Struct
from msgspec.structs import replace

from formulint.amounts import resolve
from formulint.catalog import Catalog
from formulint.content import SHARES, shares_close
from formulint.equipment import Equipment
from formulint.errors import Misread
from formulint.evaluate import Evaluation
from formulint.figure import Figure
from formulint.finding import KeyPath
from formulint.interval import AtLeast, Interval
from formulint.material import Material
from formulint.properties import SUBSTANCE
from formulint.readings import moved, weighed
from formulint.scales import Bench, usable
from formulint.side import Side
from formulint.slope import Moving, Slope
from formulint.subject import FormulaSubject, measure_of
from formulint.swing import centre_of
from formulint.tolerance import tolerance_of
from formulint.uncertain import Cause, Varied, around_varied, of_material, supplier, with_figures
from formulint.verdict import title_of

FROM = "spread: one standard deviation from the tolerances of the materials' figures"
EXACTLY = "what is weighed counts as exact, for there is no record of a scale with its division"
EVENLY = sqrt(3.0)  # half the width of an even spread over its standard deviation


class Scatter(Struct, frozen=True):
    """How a figure scatters: its standard deviation in base units, and the share that makes up for it."""

    code: str
    field: str
    deviation: float
    made_up_by: str = ""


def causes(catalog: Catalog, side: Side) -> dict[str, Cause]:
    """For each value of a formula that is an interval, the input that most of its width comes from."""
    wide = [name for name, value in side.values.items() if isinstance(value, Interval) and not isinstance(value, AtLeast)]
    ranges = catalog.ranges(catalog.subject(side.file)) if wide else None
    if ranges is None or not ranges.inputs:
        return {}
    found = {name: ranges.cause(measure_of(name)) for name in wide}
    return {name: cause for name, cause in found.items() if cause is not None}


def spread(catalog: Catalog, side: Side) -> dict[str, float]:
    """One standard deviation of each value that some tolerance moves, in base units."""
    subject = catalog.subject(side.file)
    scatters = [one for code, stock in subject.stocks.items() for one in scatters_of(code, stock.material)]
    weighings = weighed(side.formula, subject.resolved, Bench(scales_of(catalog), "kg"))
    if not scatters and not weighings:
        return {}
    moving = _moved(catalog, subject, scatters, [at for at, _ in weighings])
    deviations = (*(one.deviation for one in scatters), *(off for _, off in weighings))
    found: dict[str, float] = {}
    for name in side.values:
        value: object = measure_of(name)(moving)
        if isinstance(value, Slope):
            found[name] = hypot(*(by * off for by, off in zip(value.by, deviations, strict=True)))
    return {name: deviation for name, deviation in found.items() if deviation > 0.0}


def scales_of(catalog: Catalog) -> tuple[Equipment, ...]:
    """The scales of the repository that say how they read."""
    return usable(file.record for file in catalog.equipment().values() if file.record is not None)


def words(catalog: Catalog) -> str:
    """What the spread is made of, in one sentence."""
    scales = scales_of(catalog)
    listed = ", ".join(f"{one.code} ({one.capacity.text} by {one.division.text})" for one in scales if one.capacity is not None and one.division is not None)
    weighing = f"and from the scales {listed}, half a division and what the record lets pass, for a batch as large as the sheet" if scales else EXACTLY
    return f"{FROM}{' ' if scales else '; '}{weighing}; never a verdict"


def scatters_of(code: str, material: Material) -> Iterable[Scatter]:
    """The figures of a material that have a tolerance which can be read; a share that is none or all of it has none."""
    for field in material.tolerance:
        try:
            off = tolerance_of(material, field)
        except Misread:
            continue  # a finding of its own says so
        if off is not None and not (field in SHARES and getattr(material, field).base in (0.0, 1.0)):
            yield Scatter(code, field, off / EVENLY, _made_up_by(material, field))


def _made_up_by(material: Material, field: str) -> str:
    """The share that makes up for another one that is off; none where the shares do not close."""
    if field not in SHARES or not shares_close(material):
        return ""
    others = [name for name in SHARES if name != field and name not in material.tolerance and getattr(material, name) is not None]
    return "water" if "water" in others else others[-1] if others else ""


def _moved(catalog: Catalog, subject: FormulaSubject, scatters: list[Scatter], weighings: list[int]) -> FormulaSubject:
    """The formula with every figure and line that scatters as a number that knows its derivatives; ranges stand in their middle."""
    inputs = len(scatters) + len(weighings)
    numbers: dict[tuple[str, KeyPath], tuple[Figure, Moving]] = {}
    for code, stock in subject.stocks.items():
        for one in of_material(code, stock):
            numbers[code, one.keys] = one.figure, centre_of(one.lo, one.hi)
    for at, scatter in enumerate(scatters):
        for field, sign in ((scatter.field, 1.0), (scatter.made_up_by, -1.0)):
            if field:
                key = (scatter.code, (field,))
                figure, number = numbers.get(key) or _written(subject, *key)
                numbers[key] = figure, number + Slope(0.0, tuple(sign * (at == other) for other in range(inputs)))
    changes: dict[str, dict[KeyPath, Figure]] = {}
    for (code, keys), (figure, number) in numbers.items():
        changes.setdefault(code, {})[keys] = Varied(figure, number)  # type: ignore[arg-type]  # laws take it in place of a float
    varied = {code: catalog.made(with_figures(subject.stocks[code].material, found), subject.stocks[code].path) for code, found in changes.items()}
    supply = supplier(catalog, varied)
    resolved = resolve(subject.formula, subject.path, supply, subject.swap)
    if weighings:
        resolved = moved(resolved, weighings, len(scatters), supply)
    evaluation = Evaluation(resolved, subject.path, catalog.water_density, around_varied(subject, varied, supply, catalog.water_density))
    return replace(subject, evaluation=evaluation, stocks={**subject.stocks, **varied})


def _written(subject: FormulaSubject, code: str, keys: KeyPath) -> tuple[Figure, Moving]:
    figure: Figure = getattr(subject.stocks[code].material, str(keys[0]))
    return figure, centre_of(figure.lo.base, figure.hi.base)


def told(found: Mapping[str, Cause]) -> list[str]:
    """What makes values wide, each input once, in words."""
    grouped: dict[str, list[str]] = {}
    for name, cause in found.items():
        if not name.startswith(SUBSTANCE):  # a range of a substance is most often its own share, and there are many
            grouped.setdefault(cause.words, []).append(title_of(name))
    return [f"a range most of all by {words}: {'; '.join(titles)}" for words, titles in grouped.items()]
