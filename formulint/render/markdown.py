"""A report as Markdown for a review comment: cut to what a comment holds, with counts of what was left out."""

from __future__ import annotations

from formulint.chart import text_lines
from formulint.clean import markdown
from formulint.render.terminal import label, place, remedy_words, source_words
from formulint.report import Located, Report, Section, Table

ROOM = 60_000  # characters; code hosts cut or refuse comments above about 65,500 (from memory)
ROWS = 40  # rows of one table; the rest is counted
FINDINGS = 20  # findings of one record; the rest is counted


def show(report: Report) -> str:
    """The report as Markdown; whole sections are left out from the end, and counted, where a comment has no room."""
    head = [f"## {markdown(report.title)}", "", *(f"- {markdown(fact)}" for fact in report.facts)]
    foot = ["", *(f"**{markdown(words)}**  " for words in report.closing)]
    used = sum(len(line) + 1 for line in (*head, *foot))
    body: list[str] = []
    for at, section in enumerate(report.sections):
        lines = ["", *_section(section)]
        size = sum(len(line) + 1 for line in lines)
        if used + size > ROOM:
            body += ["", f"*{len(report.sections) - at} more not shown here: a comment has no room for them*"]
            break
        body += lines
        used += size
    return "\n".join((*head, *body, *foot)) + "\n"


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
    parts = [f"- **{label(one.finding)}** {markdown(fault.message)}  ", f"  {markdown(place(one.mark))}  "]
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
