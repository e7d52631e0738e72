"""Rules with one thing wrong in them: rules are data, so a slip in a table is made in the table, not in code.

``mutants`` yields every slip that a rule of a kind can have, with words that say what was done. A case that knows the
rule must disagree with each of them.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import tomli

from formulint.finding import Place
from formulint.kinds import KINDS
from formulint.rulebook import Entry, Shipped
from formulint.shape import read_table

Table = dict[str, Any]
Slip = tuple[str, Table | None]
LEVELS = ("note", "warning", "error")
LISTS = ("functions", "forms", "tags", "cas", "ionic", "stages", "except", "any", "class", "use", "markets")


class Altered(Shipped):
    """The shipped packs with one rule replaced, or taken out."""

    def __init__(self, shipped: Shipped, part: str, id: str, table: Table | None) -> None:
        self.__dict__.update(vars(shipped))
        self._rules = {**shipped._rules, part: tuple(self._altered(shipped.rules(part), id, table))}

    def _altered(self, entries: tuple[Entry, ...], id: str, table: Table | None) -> Iterator[Entry]:
        for entry in entries:
            if entry.id.split("/")[1] != id:
                yield entry
            elif table is not None:
                record, faults = read_table(table, KINDS[table["kind"]], "rules.toml", ("rule", 0))
                assert record is not None, faults
                yield Entry(entry.id, record, Place("rules.toml"))


def rules(root: Path) -> Iterator[tuple[str, Table]]:
    """Every shipped rule, as its part and its table."""
    for path in sorted(root.glob("*/*.toml")):
        for table in tomli.loads(path.read_text(encoding="utf-8")).get("rule", ()):
            yield f"{path.parent.name}/{path.stem}", table


def shipped_rules() -> Iterator[tuple[str, Table]]:
    """The same by id."""
    for part, table in rules(Path(__file__).parent.parent / "rules"):
        yield f"{part.split('/')[0]}/{table['id']}", table


def mutants(table: Table) -> Iterator[Slip]:
    """Every slip of a rule that can still be read, in words, with the table that has it; None where it is gone."""
    yield "removed", None
    for words, altered in (*_of_any(table), *OPERATORS[table["kind"]](table)):
        record, faults = read_table(altered, KINDS[table["kind"]], "rules.toml", ("rule", 0))
        if record is None or faults or list(record.faults_of_reading()):
            continue
        if words == "unless dropped" and table["unless"] == {"class": ["intermediate"]} and record.about_paints():
            continue  # the rule says so for whoever reads it; its kind does not speak of intermediates anyway
        yield words, altered


def _with(table: Table, keys: tuple[str | int, ...], value: object) -> Table:
    """The table with another value at a key path; None takes the key, or the item of a list, out."""
    altered = copy.deepcopy(table)
    at: Any = altered
    for key in keys[:-1]:
        at = at[key]
    if value is None:
        del at[keys[-1]]
    else:
        at[keys[-1]] = value
    return altered


def _of_any(table: Table) -> Iterator[tuple[str, Table]]:
    other = LEVELS[max(1, LEVELS.index(table["level"])) - 1] if table["level"] != "note" else "warning"
    yield f"level {table['level']} -> {other}", _with(table, ("level",), other)
    yield "in force from 9999 on", _with(table, ("from",), date(9999, 1, 1))
    yield "in force until 1900", _with(table, ("until",), date(1900, 1, 1))
    for key in ("where", "unless"):
        if key in table:
            yield f"{key} dropped", _with(table, (key,), None)
            yield from _narrower(table, (key,))


def _bounds(table: Table, keys: tuple[str | int, ...] = ()) -> Iterator[tuple[str, Table]]:
    """Bounds one written digit either way, left out, exchanged."""
    holder: Any = table
    for key in keys:
        holder = holder[key]
    of = f"{keys[-1]}: " if keys and isinstance(keys[-1], str) else ""
    for end in ("min", "max"):
        if end in holder:
            for moved in _one_digit(holder[end]):
                yield f"{of}{end} {holder[end]} -> {moved}", _with(table, (*keys, end), moved)
            yield f"{of}{end} {holder[end]} left out", _with(table, (*keys, end), None)
    if "min" in holder and "max" in holder:
        yield f"{of}min {holder['min']} and max {holder['max']} exchanged", _with(_with(table, (*keys, "min"), holder["max"]), (*keys, "max"), holder["min"])


def _one_digit(text: str) -> tuple[str, str]:
    digits, _, unit = text.partition(" ")
    step = Decimal(1).scaleb(int(Decimal(digits).as_tuple().exponent))
    return f"{Decimal(digits) - step} {unit}".strip(), f"{Decimal(digits) + step} {unit}".strip()


def _narrower(table: Table, keys: tuple[str | int, ...]) -> Iterator[tuple[str, Table]]:
    """A selector with a key dropped, or with one word of a list dropped."""
    holder: Any = table
    for key in keys:
        holder = holder[key]
    name = ".".join(str(key) for key in keys)
    for key, value in holder.items():
        if len(holder) > 1:
            yield f"{name}.{key} dropped", _with(table, (*keys, key), None)
        if key in LISTS and (len(value) > 1 or key == "except"):
            for at, word in enumerate(value):
                yield f"{name}.{key} without {word}", _with(table, (*keys, key, at), None)
        if key in ("except", "any"):
            for at in range(len(value)):
                yield from _narrower(table, (*keys, key, at))


def _others(table: Table, key: str, words: tuple[str, ...], default: str = "") -> Iterator[tuple[str, Table]]:
    now = table.get(key, default)
    for word in words:
        if word != now:
            yield f"{key} {now} -> {word}", _with(table, (key,), word)


def _limit(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _bounds(table)
    yield from _others(table, "property", ("voc_material", "voc_less_water", "pvc", "pvc_binder"))


def _dose(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _bounds(table)
    yield from _others(table, "as", ("active", "supplied", "nonvolatile"), "supplied")
    yield from _others(table, "on", ("pigment", "binder", "batch"), "batch")
    for key in ("of", "component"):
        if key in table:
            yield f"{key} dropped", _with(table, (key,), None)
    if "of" in table:
        yield from _narrower(table, ("of",))


def _order(table: Table) -> Iterator[tuple[str, Table]]:
    yield "first and then exchanged", _with(_with(table, ("first",), table["then"]), ("then",), table["first"])
    for word, altered in _others(table, "quantifier", ("first", "every", "enough"), "first"):
        yield word, _with(altered, ("share",), "80 %") if "-> enough" in word else altered
    if "share" in table:
        for moved in _one_digit(table["share"]):
            yield f"share {table['share']} -> {moved}", _with(table, ("share",), moved)
    for side in ("first", "then"):
        yield from _narrower(table, (side,))


def _market(table: Table) -> Iterator[tuple[str, Table]]:
    """Rows that follow from the class of a paint; the others wait for a formula that names them."""
    for at, row in enumerate(table["category"]):
        if "where" in row:
            for words, altered in _row(table, ("category", at), row):
                yield f"{row['name']} {row['max']}: {words}", altered
        if "until" not in row:
            for words, altered in _follows(table, ("category", at), row):
                yield f"{row['name']} {row['max']}: {words}", altered
    for at, one in enumerate(table.get("not_exempt", ())[:1]):
        yield f"{one['name']} may be deducted", _with(table, ("not_exempt", at), None)


def _follows(table: Table, keys: tuple[str, int], row: Table) -> Iterator[tuple[str, Table]]:
    """By what a row follows from a paint: its gloss, its solids."""
    if "solids_max" in row:
        yield "solids do not count", _with(table, (*keys, "solids_max"), None)
        yield "twice the solids", _with(table, (*keys, "solids_max"), "0.24 kg/L")
    if row.get("where", {}).get("use") == ["exterior"]:
        return  # as the row of the other use
    for at, window in enumerate(row.get("gloss", ())):
        for name, bound in window.items():  # lower bounds only say again what the rows above leave
            if name.startswith(("below", "to")):
                yield f"gloss {name} left out", _with(table, (*keys, "gloss", at, name), None)
                yield f"gloss {name} one higher", _with(table, (*keys, "gloss", at, name), str(int(bound) + 1))
                yield f"gloss {name} one lower", _with(table, (*keys, "gloss", at, name), str(int(bound) - 1))


def _row(table: Table, keys: tuple[str, int], row: Table) -> Iterator[tuple[str, Table]]:
    yield from (slip for slip in _bounds(table, keys) if "left out" not in slip[0])
    yield "row removed", _with(table, keys, None)
    for basis in ("less-water", "material", "ready-to-use"):
        if basis != row["basis"]:
            yield f"basis {row['basis']} -> {basis}", _with(table, (*keys, "basis"), basis)
    yield "where dropped", _with(table, (*keys, "where"), None)
    yield from _narrower(table, (*keys, "where"))
    yield "one day later", _with(table, (*keys, "from"), row["from"] + timedelta(1))
    if "until" in row:
        yield "ends one day earlier", _with(table, (*keys, "until"), row["until"] - timedelta(1))


def _completeness(table: Table) -> Iterator[tuple[str, Table]]:
    for at, field in enumerate(table["needs"]):
        yield f"{field} need not be there", _with(table, ("needs", at), None)
    if "max_age" in table:
        for moved in _one_digit(table["max_age"]):
            yield f"max_age {table['max_age']} -> {moved}", _with(table, ("max_age",), moved)
    if "of" in table:
        yield "of dropped", _with(table, ("of",), None)
        yield from _narrower(table, ("of",))


def _closure(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _others(table, "what", ("batch", "shares"))
    if table["what"] == "batch":
        yield "tolerance of shares doubled", _with(table, ("shares_within",), "0.1 %")
        yield "tolerance of shares halved", _with(table, ("shares_within",), "0.025 %")


def _plausibility(table: Table) -> Iterator[tuple[str, Table]]:
    for field in table["window"]:
        yield f"window of {field} dropped", _with(table, ("window", field), None)
        yield from _bounds(table, ("window", field))
    yield from _narrower(table, ("of",))


def _register(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _others(table, "check", ("blocked-unused", "blocked-in-use", "look-alike", "not-approved-in-production"))


def _compatibility(table: Table) -> Iterator[tuple[str, Table]]:
    for side in ("one", "other", "one_may_be", "other_may_be"):
        if side in table:
            yield from _narrower(table, (side,))
            if side.endswith("_may_be"):
                yield f"{side} dropped", _with(table, (side,), None)
    yield from _others(table, "contact", ("formula", "vessel"), "formula")
    if "other" in table:
        yield "other dropped", _with(_with(table, ("other",), None), ("other_is",), None)
    if "least" in table:
        yield from _others(table, "on", ("batch", "film"), "batch")
        yield "least left out", _with(table, ("least",), None)
        for moved in _one_digit(table["least"]):
            yield f"least {table['least']} -> {moved}", _with(table, ("least",), moved)
    if "ph" in table:
        yield "ph left out", _with(table, ("ph",), None)
        yield from _bounds(table, ("ph",))


def _presence(table: Table) -> Iterator[tuple[str, Table]]:
    for side in ("of", "needs", "except"):
        if side in table:
            yield from _narrower(table, (side,))
    if "except" in table:
        yield "except dropped", _with(table, ("except",), None)
    for end, other in (("above", "below"), ("below", "above")):
        if end in table:
            yield f"{end} -> {other}", _with(_with(table, (end,), None), (other,), table[end])
            for moved in _one_digit(table[end]):
                yield f"{end} {table[end]} -> {moved}", _with(table, (end,), moved)


def _step(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _bounds(table)
    yield from _others(table, "figure", ("temperature", "time", "speed", "fineness"))
    for key in ("steps", "stages"):
        if key in table:
            yield f"{key} of another kind", _with(table, (key,), ["sample" if key == "steps" else "fill"])


def _exposure(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _narrower(table, ("of",))
    yield "steps of another kind", _with(table, ("steps",), ["mix"])


def _mill(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _bounds(table)
    yield from _narrower(table, ("of",))


def _warmth(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _narrower(table, ("of",))
    for moved in _one_digit(table["max"]):
        yield f"max {table['max']} -> {moved}", _with(table, ("max",), moved)


def _sheet(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _others(table, "check", ("twice", "unit-apart", "note"))
    if "least" in table:
        for moved in _one_digit(table["least"]):
            yield f"least {table['least']} -> {moved}", _with(table, ("least",), moved)


def _boiling(table: Table) -> Iterator[tuple[str, Table]]:
    number, unit = table["apart"].split()
    for moved in (*_one_digit(table["apart"]), *(f"{float(number) * factor:g} {unit}" for factor in (0.1, 0.5, 2, 10))):
        yield f"apart {table['apart']} -> {moved}", _with(table, ("apart",), moved)


def _entry(table: Table) -> Iterator[tuple[str, Table]]:
    for at, cas in enumerate(table["by"]):
        yield f"by without {cas}", _with(table, ("by", at), None)


def _hazard(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _others(table, "scheme", ("un", "eu", "us"))
    yield from _others(table, "of", ("paint", "component"), "paint")
    for key in ("unwanted", "by"):
        for at, word in enumerate(table.get(key, ())):
            yield f"{key} without {word}", _with(table, (key, at), None)


def _evidence(table: Table) -> Iterator[tuple[str, Table]]:
    yield from _others(table, "check", ("on-file", "same-composition", "same-figures", "same-method", "not-in-future", "not-too-old", "within-limits"))
    for at, word in enumerate(table.get("tests", ())):
        yield f"tests without {word}", _with(table, ("tests", at), None)
    if "max_age" in table:
        for moved in _one_digit(table["max_age"]):
            yield f"max_age {table['max_age']} -> {moved}", _with(table, ("max_age",), moved)
    if "mean" in table:
        yield "mean left out", _with(table, ("mean",), None)


OPERATORS: dict[str, Callable[[Table], Iterator[tuple[str, Table]]]] = {
    "boiling": _boiling,
    "closure": _closure,
    "compatibility": _compatibility,
    "completeness": _completeness,
    "dose": _dose,
    "entry": _entry,
    "evidence": _evidence,
    "exposure": _exposure,
    "hazard": _hazard,
    "limit": _limit,
    "market": _market,
    "mill": _mill,
    "order": _order,
    "plausibility": _plausibility,
    "presence": _presence,
    "register": _register,
    "sheet": _sheet,
    "step": _step,
    "warmth": _warmth,
}
