"""A report as Markdown for a review comment: cut to what a comment holds, with counts of what was left out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from formulint.chart import text_lines
from formulint.clean import markdown
from formulint.render.terminal import label, place, remedy_words, source_words
from formulint.report import Located, Report, Section, Table

ROOM = 60_000  # characters; code hosts cut or refuse comments above about 65,500 (from memory)
STOPS = 3  # findings of a record that is told briefly
FACT = 2000  # characters of one fact
ROWS = 40  # rows of one table; the rest is counted
FINDINGS = 20  # findings of one record; the rest is counted
NO_ROOM = "a comment has no room for them"


def show(report: Report) -> str:
    """The report as Markdown; what a comment has no room for is told briefly, or left out and counted."""
    head = [f"## {markdown(report.title)}", "", *_bounded([f"- {markdown(fact, FACT)}" for fact in report.facts], ROOM // 3)]
    foot = ["", *_bounded([f"**{markdown(words)}**  " for words in report.closing], ROOM // 3)]
    overview = ["", *_table(report.overview)] if report.overview is not None and len(report.overview.rows) > 1 else []
    head += overview if _size((*head, *foot, *overview)) < ROOM // 2 else []
    body, brief, left_out = _fitting(report.sections, ROOM - _size((*head, *foot)))
    said = [f"{brief} more told without their tables"] if brief else []
    said += [f"{left_out} more not shown here"] if left_out else []
    words = ["", f"*{', '.join(said)}: {NO_ROOM}*"] if said else []
    return "\n".join((*head, *body, *words, *foot)) + "\n"


def _size(lines: Iterable[str]) -> int:
    return sum(len(line) + 1 for line in lines)


def _bounded(lines: Sequence[str], room: int) -> list[str]:
    """As many lines as fit, and how many more there are."""
    found: list[str] = []
    for line in lines:
        if _size((*found, line)) > room:
            return [*found, f"- and {len(lines) - len(found)} more  "]
        found.append(line)
    return found


def _fitting(sections: Sequence[Section], room: int) -> tuple[list[str], int, int]:
    """The lines of as many sections as fit: first what was found in each, then the whole of the foremost; and how many are brief or left out."""
    found = {at: lines for at, one in enumerate(sections) if (lines := _brief(one))}
    shown: dict[int, list[str]] = {}
    for at, lines in found.items():
        if _size(lines) <= room:
            shown[at] = lines
            room -= _size(lines)
    whole = 0
    for at, one in enumerate(sections):
        lines = ["", *_section(one)]
        more = _size(lines) - _size(shown.get(at, []))
        if more > room:
            break
        shown[at] = lines
        room -= more
        whole += 1
    return [line for at in sorted(shown) for line in shown[at]], len(shown) - whole, len(sections) - len(shown)


def _brief(section: Section) -> list[str]:
    """The heading of a section and what stops in it; nothing where nothing does."""
    stops = [one for one in section.findings if one.finding.blocks]
    if not stops:
        return []
    more = [f"- and {len(stops) - STOPS} more that stop"] if len(stops) > STOPS else []
    return ["", f"### {markdown(section.heading)}", "", *(f"- **{label(one.finding)}** {markdown(one.finding.fault.message)}" for one in stops[:STOPS]), *more]


def _section(section: Section) -> list[str]:
    lines = [f"### {markdown(section.heading)}"]
    if section.findings:
        lines += ["", *(_finding(one) for one in section.findings[:FINDINGS])]
        if len(section.findings) > FINDINGS:
            lines.append(f"- and {len(section.findings) - FINDINGS} more")
    for table in section.tables:
        lines += ["", *_table(table)]
    if section.chart is not None:
        lines += ["", "```text", *(line.replace("`", "") for line in text_lines(section.chart, 76)), "```"]
    if section.drawing:
        lines += ["", "```mermaid", *section.drawing, "```"]
    if section.remarks:
        lines += ["", *(f"{markdown(remark)}  " for remark in section.remarks)]
    return lines


def _finding(one: Located) -> str:
    fault = one.finding.fault
    parts = [f"- **{label(one.finding)}** {markdown(fault.message)}  ", *([f"  {markdown(place(one.mark))}  "] if one.mark.path else [])]
    if one.said:
        parts.append(f"  {markdown(one.said)}  ")
    if fault.remedy:
        parts.append(f"  do: {markdown(fault.remedy)}  ")
    parts += [f"  {markdown(words)}  " for words in remedy_words(one.finding)]
    parts.append(f"  rule {markdown(one.finding.rule + source_words(one.finding))}")
    return "\n".join(parts)


def _table(table: Table) -> list[str]:
    keep = [i for i in range(len(table.columns)) if any(row[i].text for row in table.rows)]
    names = [markdown(table.columns[i].removeprefix(">")) for i in keep]
    rules = ["--:" if table.columns[i].startswith(">") else ":--" for i in keep]
    lines = [_row(names), _row(rules)]
    for row in table.rows[:ROWS]:
        cells = [markdown(row[i].text) for i in keep]
        lines.append(_row([f"**{cell}**" if cell and row[i].tone == "bad" else cell for cell, i in zip(cells, keep, strict=True)]))
    if len(table.rows) > ROWS:
        lines += ["", f"*{len(table.rows) - ROWS} more rows not shown*"]
    return lines


def _row(cells: list[str]) -> str:
    return "| " + " | ".join(cells) + " |"
