"""The history of a value or a rule as a report: who crossed what and when, a chart, and the commits that bear on it."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from formulint.catalog import Catalog
from formulint.chart import Chart, drawable
from formulint.content import Gap, Value
from formulint.history import NO_BOUNDS, Crossing, History, Point
from formulint.interval import ends
from formulint.quantity import Quantity
from formulint.report import CAUTION, Cell, Report, Section, Table, Tone, counted, heading
from formulint.verdict import as_seen, bare, bare_limits, shown, title_of, units_of, verdict_word

TONES: dict[str, Tone] = {"fail": "bad", "open": "warn", "review": "warn", "pass": "plain", "": "plain"}
AUTHOR, LIMIT = 2, 5  # columns
UNMOVED = "the value is as before: a limit, a rule or its day moved"


def report(catalog: Catalog, found: History) -> Report:
    """The report; rows of commits that moved nothing printed are counted, not listed."""
    asked = found.asked
    unit, digits = _look(catalog, found)
    what = f"{title_of(asked.property)}, {unit}".rstrip(", ") if asked.property else asked.rule or "verdict"
    rows, folded = _rows(found, unit, digits)
    columns = ("commit", "date", "author", ">value", ">change", "limit", "verdict", "what was done")
    once: list[str] = []
    if len(rows) > 1:
        rows, once = _once(rows)
    remarks = [*once, *(_crossed(one, unit, digits) for one in found.crossings)]
    remarks += [f"{counted(folded, 'more commit')} touched what it rests on, and moved nothing that is printed"] if folded else []
    remarks += list(_lacks(found))
    section = Section(f"{heading(catalog, found.code)}: {what}", (), (Table(columns, rows),) if rows else (), tuple(remarks), chart=_chart(found, what, unit, digits))
    title = f"formulint: history of {found.code} up to {catalog.snapshot.label}"
    return Report(title, (_looked_at(found),), (section,), (_closing(found, unit, digits), CAUTION))


def _once(rows: tuple[tuple[Cell, ...], ...]) -> tuple[tuple[tuple[Cell, ...], ...], list[str]]:
    """The rows without author and limit where they are the same in all of them, and the words for those."""
    said: list[str] = []
    for at, words in ((AUTHOR, "all of these by"), (LIMIT, "the limit all along:")):
        if len({row[at].text for row in rows}) == 1 and rows[0][at].text:
            said.append(f"{words} {rows[0][at].text}")
            rows = tuple((*row[:at], Cell(""), *row[at + 1 :]) for row in rows)
    return rows, said


def _looked_at(found: History) -> str:
    return f"{counted(found.commits, 'commit')} along first parents, {len(found.points)} touched what {found.code} rests on; each is judged by its own files as on its own day"


def _look(catalog: Catalog, found: History) -> tuple[str, int]:
    """Unit and digits of the property; none for a rule."""
    if not found.asked.property:
        return "", 0
    return units_of(found.asked.property, catalog.settings.units, catalog.settings.currency)


def _rows(found: History, unit: str, digits: int) -> tuple[tuple[tuple[Cell, ...], ...], int]:
    """A row for each point at which anything printed moved; how many others there are."""
    rows: list[tuple[Cell, ...]] = []
    seen: tuple[str, ...] = ()
    before: Point | None = None
    folded, bounds, limit = 0, NO_BOUNDS, ""
    for point in found.points:
        if point.bounds != bounds:
            bounds, limit = point.bounds, bare_limits(point.bounds, unit, digits)
        printed = (_value(point, unit, digits), limit, _verdict(point, found.asked.rule))
        if printed == seen:
            folded += 1
            continue
        told = point.told
        rows.append(
            (
                Cell(point.commit[:7]), Cell(str(told.date)), Cell(told.author.partition(" <")[0]), Cell(printed[0], TONES[point.verdict]),
                Cell(_delta(before, point, unit, digits), "muted"), Cell(printed[1], "muted"), Cell(printed[2], TONES[point.verdict]), Cell(told.subject, "muted"),
            )
        )  # fmt: skip
        seen, before = printed, point
    return tuple(rows), folded


def _value(point: Point, unit: str, digits: int) -> str:
    if point.note:
        return ""
    return bare(point.value, unit, digits)


def _verdict(point: Point, rule: str) -> str:
    """What became of a point, in words; of a rule, whether it speaks."""
    if point.note:
        return point.note
    if point.value is not None:
        return verdict_word(point.verdict)
    return f"{verdict_word(point.verdict)}: {counted(len(point.rules), 'rule')}" if point.rules else "silent" if rule else "holds"


def _delta(before: Point | None, after: Point, unit: str, digits: int) -> str:
    if before is None or not isinstance(before.value, float) or not isinstance(after.value, float):
        return ""
    first, last = (as_seen(one, unit) for one in (before.value, after.value))
    moved = round(round(last, digits) - round(first, digits), digits)
    return f"{moved:+.{digits}f}" if moved else ""


def _crossed(one: Crossing, unit: str, digits: int) -> str:
    """Who crossed what: commit, day, author, rule, and the value on both sides."""
    point, told = one.after, one.after.told
    word = "began" if one.began else "ceased"
    who = f"{point.commit[:7]} of {told.date} by {told.author.partition(' <')[0]}"
    words = f"{who}: {one.rule} {word} to speak"
    if one.before is not None and point.value is not None and one.before.value is not None:
        was, now = (shown(value, unit, digits) for value in (one.before.value, point.value))
        limit = bare_limits(point.bounds, unit, digits)
        words += f" ({UNMOVED})" if one.before.value == point.value else f" ({was} -> {now}" + (f", limit {limit})" if limit else ")")
    elif one.began:
        words += f": {point.rules[one.rule]}"
    return words + ("" if one.before is not None else "; the history that is seen begins with it")


def _lacks(found: History) -> Iterator[str]:
    """What this clone does not hold."""
    if found.cut:
        day = found.began.date if found.began is not None else ""
        yield f"older commits are missing: this clone begins with {found.cut[:7]} of {day}; git fetch --unshallow brings the rest"


def _closing(found: History, unit: str, digits: int) -> str:
    if not found.points:
        return f"no commit that is here holds {found.code}"
    last = found.points[-1]
    now = _value(last, unit, digits)
    state = ", ".join(part for part in (f"{now} {unit}".strip() if now else "", _verdict(last, found.asked.rule)) if part)
    crossed = [one for one in found.crossings if one.began and one.rule in last.rules]
    since = f", since {crossed[-1].after.commit[:7]} of {crossed[-1].after.told.date}" if crossed else ""
    return f"now {state or 'not judged'}{since}; {counted(len(found.crossings), 'crossing')}"


def _chart(found: History, what: str, unit: str, digits: int) -> Chart | None:
    """The chart of a property, in the unit people see; None for a rule, or where there is nothing to draw."""
    points = [point for point in found.points if not point.note]
    if not found.asked.property or not points:
        return None
    limits = [bound.base for bound in points[-1].bounds if bound is not None]
    chart = Chart(
        what,
        tuple(_ends(point.value, unit) for point in points),
        tuple(point.verdict in ("fail", "review") for point in points),
        tuple(as_seen(limit, unit) for limit in limits),
        (str(points[0].told.date), str(points[-1].told.date)),
        digits,
        tuple((_end(point.bounds[0], unit), _end(point.bounds[1], unit)) for point in points),
    )
    return chart if drawable(chart) else None


def _end(bound: Quantity | None, unit: str) -> float | None:
    return None if bound is None else as_seen(bound.base, unit)


def _ends(value: Value | None, unit: str) -> tuple[float, float] | None:
    if value is None or isinstance(value, Gap):
        return None
    low, high = ends(value)
    high = low if high == inf else high
    return as_seen(low, unit), as_seen(high, unit)


def data(catalog: Catalog, found: History) -> dict[str, object]:
    """The same for machines: metric units, every point."""
    currency = catalog.settings.currency
    name = found.asked.property
    unit = units_of(name, "metric", currency)[0] if name else ""
    return {
        "format": "formulint/history/1",
        "state": catalog.snapshot.label,
        "code": found.code,
        "property": name or None,
        "rule": found.asked.rule or None,
        "unit": unit or ("1" if name else None),
        "commits": found.commits,
        "missing_before": found.cut or None,
        "points": [_point(one, unit) for one in found.points],
        "crossings": [
            {
                "commit": one.after.commit, "rule": one.rule, "began": one.began, "author": one.after.told.author,
                "date": str(one.after.told.date), "before": None if one.before is None else one.before.commit,
            }
            for one in found.crossings
        ],
    }  # fmt: skip


def _point(point: Point, unit: str) -> dict[str, object]:
    pair = _ends(point.value, unit)
    single = pair is not None and pair[0] == pair[1]
    return {
        "commit": point.commit,
        "date": str(point.told.date),
        "author": point.told.author,
        "value": float(f"{pair[0]:.12g}") if pair is not None and single else None,
        "min": float(f"{pair[0]:.12g}") if pair is not None else None,
        "max": float(f"{pair[1]:.12g}") if pair is not None else None,
        "kind": "absent" if point.note else "open" if isinstance(point.value, Gap) else "known",
        "verdict": point.verdict or None,
        "rules": sorted(point.rules),
        "note": point.note or None,
    }
