"""The rules as a list, one rule in full, the rules for a formula: as reports, as data, and as one page of all of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from formulint.catalog import Catalog
from formulint.clean import markdown
from formulint.finding import Source
from formulint.report import (
    CAUTION,
    CHECKED,
    Cell,
    Report,
    Section,
    Table,
    Tone,
    counted,
    granted_words,
    heading,
    title_line,
)
from formulint.rules_told import ORDER, Became, Outcome, Told

TONES: dict[Became, Tone] = {"fail": "bad", "open": "warn", "review": "warn", "granted": "muted", "not checked": "warn", "does not apply": "muted", "pass": "good"}
WORDS: dict[Became, str] = {
    "fail": "broken", "open": "open: it cannot be said", "review": "to be reviewed", "granted": "broken, and may stand",
    "not checked": "not checked: its condition cannot be evaluated", "does not apply": "does not apply", "pass": "kept",
}  # fmt: skip
"""What became of a rule, in words."""


COUNTED: dict[Became, str] = {"fail": "broken", "review": "to review", "granted": "conceded or old", "does not apply": "not asked", "pass": "kept"}
"""The same, behind a number."""


def pack_of(rule: str) -> str:
    """The pack of a rule: what stands before the slash of its id."""
    return rule.partition("/")[0]


# --- the list and one rule ---------------------------------------------------------------------------------------


def overview(title: str, rules: Sequence[Told]) -> Report:
    """All rules, a table for each pack."""
    sections = [Section(f"{pack}/", (), (Table(("rule", "level", "checked", "in force", "what must hold"), tuple(map(_row, group))),)) for pack, group in _packs(rules)]
    closing = (f"{counted(len(rules), 'rule')}; formulint rules RULE tells one in full, formulint rules --formula CODE what became of each", CAUTION)
    return Report(title, (), tuple(sections), closing)


def _packs(rules: Sequence[Told]) -> Iterator[tuple[str, list[Told]]]:
    for pack, group in groupby(rules, key=lambda one: pack_of(one.id)):
        yield pack, list(group)


def _row(one: Told) -> tuple[Cell, ...]:
    level = one.level if one.level == one.shipped_level else f"{one.level} (house)"
    force = one.force if one.force and one.in_force else f"{one.force}: not now" if one.force else ""
    checked = f"{one.source.checked}, confirmed" if one.confirmed else one.source.checked
    return Cell(one.id.partition("/")[2]), Cell(level), Cell(checked), Cell(force), Cell(one.title)


def in_full(title: str, one: Told) -> Report:
    """One rule with all that it says."""
    return Report(title, (), (Section(f"{one.id}  {one.title}", (), (), tuple(_lines(one))),), (CAUTION,))


def _lines(one: Told) -> Iterator[str]:
    yield from one.says
    yield f"level: {one.level}{_changed(one)}"
    if one.force:
        yield f"in force: {one.force}{'' if one.in_force else ', so not on this day'}"
    yield f"why: {one.why}"
    if one.remedy:
        yield f"do: {one.remedy}"
    yield f"source: {source_words(one.source)}{', confirmed by the house' if one.confirmed else ''}"
    yield f"kind: {one.kind}, written in {one.place.path}"


def _changed(one: Told) -> str:
    return f", set by the house in place of {one.shipped_level}: {one.reason}" if one.reason else ""


def source_words(source: Source) -> str:
    """Document, section, how well it was checked, and what is to be known of it."""
    named = ", ".join(part for part in (source.document, source.section) if part)
    return f"{named} ({CHECKED[source.checked]}{'; ' + source.note if source.note else ''})"


# --- for a formula -----------------------------------------------------------------------------------------------


def for_formula(catalog: Catalog, code: str, found: Sequence[Outcome], notes: int) -> Report:
    """What became of each rule for a formula: a table for each that can become of one, reasons first.

    ``notes`` is the number of rules about materials, which are not asked about a formula.
    """
    tables = [_table(became, [one for one in found if one.became == became]) for became in ORDER]
    counts = ", ".join(f"{len(table.rows)} {COUNTED.get(became, became)}" for became, table in zip(ORDER, tables, strict=True) if table.rows)
    section = Section(heading(catalog, code), (), tuple(table for table in tables if table.rows))
    about = f"{counted(notes, 'rule')} about materials and the list of them {'is' if notes == 1 else 'are'} asked of those: formulint lint"
    return Report(title_line(catalog), (), (section,), (f"{counted(len(found), 'rule')}: {counts}", about, CAUTION))


def _table(became: Became, found: Iterable[Outcome]) -> Table:
    rows = tuple((Cell(one.rule, TONES[became]), Cell(_reason(one))) for one in found)
    return Table((WORDS[became], "why" if became not in ("pass", "fail") else "what must hold" if became == "pass" else "what was found"), rows)


def _reason(one: Outcome) -> str:
    leave = [granted_words(finding) for finding in one.findings if finding.granted is not None]
    return "; ".join([one.reason or one.title, *leave[:1]])


# --- as data and as a page ---------------------------------------------------------------------------------------


def data(rules: Iterable[Told], found: Sequence[Outcome] | None) -> list[dict[str, object]]:
    """The rules for machines; with what became of each, where a formula was asked for."""
    became = None if found is None else {one.rule: one for one in found}
    if became is None:
        return [_data(one) for one in rules]
    told = [{**_data(one), **_became(became[one.id])} for one in rules if one.id in became]
    own = [{"id": one.rule, "title": one.title, **_became(one)} for one in became.values() if one.rule.startswith("own-limit/")]
    return [*told, *own]


def _data(one: Told) -> dict[str, object]:
    return {
        "id": one.id, "kind": one.kind, "level": one.level, "shipped_level": one.shipped_level, "level_reason": one.reason or None, "title": one.title,
        "says": list(one.says), "why": one.why, "remedy": one.remedy or None, "force": one.force or None, "in_force": one.in_force, "confirmed": one.confirmed, "path": one.place.path,
        "source": {"document": one.source.document, "section": one.source.section, "checked": one.source.checked, "note": one.source.note},
    }  # fmt: skip


def _became(one: Outcome) -> dict[str, object]:
    return {"became": one.became, "reason": one.reason or None}


def page(rules: Sequence[Told]) -> str:
    """All rules in Markdown: a contents, then each rule with its figures, why, remedy and source."""
    lines = ["# The rules", "", "Made by `formulint rules --format markdown`. Screening by calculation: safety data sheets, local codes and qualified people decide.", ""]
    packs = list(_packs(rules))
    lines += [f"- [{markdown(pack)}](#{pack}): {counted(len(group), 'rule')}" for pack, group in packs]
    for pack, group in packs:
        lines += ["", f"## {markdown(pack)}"]
        for one in group:
            lines += ["", f"### {markdown(one.id)}", "", f"**{markdown(one.title)}**", "", *(f"- {markdown(words, 2000)}" for words in _lines(one))]
    return "\n".join(lines) + "\n"
