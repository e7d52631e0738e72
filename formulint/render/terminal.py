"""A report as text for a terminal: plain lines where nobody watches, tables and tones by rich on a screen."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from formulint.finding import Finding, Level, Mark
from formulint.report import CHECKED, Cell, Located, Report, Section, Table

if TYPE_CHECKING:
    from rich.table import Table as Grid
    from rich.text import Text

GAP = "  "
NARROWEST = 12
LONG_WORD = 18  # longer ones are broken before numbers are wrapped


def show(report: Report) -> str:
    """The report as text, in the width of the screen; with tones only on a screen that wants them."""
    if sys.stdout.isatty() and os.environ.get("TERM") != "dumb" and not os.environ.get("NO_COLOR"):
        return _rich(report)
    return plain(report, width_of_screen())


def width_of_screen() -> int:
    """Columns of the screen, between 60 and 200; 80 where there is none."""
    try:
        found = int(os.environ.get("COLUMNS", "0")) or os.get_terminal_size().columns
    except (OSError, ValueError):
        found = 80
    return max(60, min(found, 200))


def plain(report: Report, width: int = 80) -> str:
    """The report as plain lines of at most ``width`` characters, except where a single word is longer."""
    lines = [*wrapped(safe(report.title), width), *(part for fact in report.facts for part in wrapped(safe(fact), width))]
    told: set[str] = set()
    for section in report.sections:
        lines += ["", *wrapped(safe(section.heading), width)]
        for one in section.findings:
            lines += finding_lines(one, width, told)
        for table in section.tables:
            lines += table_lines(table, width)
        lines += chart_lines(section, width)
        lines += [part for remark in section.remarks for part in wrapped(safe(remark), width, "  ")]
    lines += ["", *(part for words in report.closing for part in wrapped(safe(words), width))]
    return "\n".join(lines).lstrip("\n") + "\n"


def chart_lines(section: Section, width: int) -> list[str]:
    """The chart of a section in characters, with a blank line before it."""
    if section.chart is None:
        return []
    from formulint.chart import text_lines

    return ["", *(f"  {safe(line)}" for line in text_lines(section.chart, width - 2))]


KEPT = 400  # characters, as many as ``clean`` keeps


def safe(text: str) -> str:
    """Text of strangers as one harmless line, also where a build machine reads along; the common case costs nothing."""
    if text.isascii() and text.isprintable() and "::" not in text and "##" not in text and len(text) <= KEPT:
        return text
    from formulint.clean import log_line

    return log_line(text)


def label(finding: Finding) -> str:
    """One word for how much a finding weighs."""
    if finding.granted is not None:
        return "old" if finding.stood else "granted"
    if finding.fault.kind == "review":
        return "review"
    if finding.fault.kind == "open":
        return "OPEN" if finding.level is Level.error else "open"
    return {Level.error: "STOP", Level.warning: "warning", Level.note: "note"}[finding.level]


def place(mark: Mark) -> str:
    """``formulas/T-101.toml, line 12``; empty where a finding is about no file."""
    return f"{mark.path}, line {mark.line}" if mark.line else mark.path


def finding_lines(one: Located, width: int, told: set[str]) -> list[str]:
    """A finding: what is wrong, where, what helps, who says so; why, the first time that its rule speaks."""
    finding, fault = one.finding, one.finding.fault
    head = f"  {label(finding):<8}"
    lines = wrapped(safe(fault.message), width, " " * len(head))
    lines[0] = head + lines[0].lstrip()
    indent = " " * 10
    lines += wrapped(f"at {safe(place(one.mark))}", width, indent) if one.mark.path else []
    for mark in one.related[:3]:
        lines += wrapped(f"see {safe(place(mark))}", width, indent)
    if one.said:
        lines += wrapped(safe(one.said), width, indent)
    if fault.remedy:
        lines += wrapped(f"do: {safe(fault.remedy)}", width, indent)
    for words in remedy_words(finding):
        lines += wrapped(safe(words), width, indent)
    if finding.why and finding.rule not in told:
        told.add(finding.rule)
        lines += wrapped(f"why: {safe(finding.why)}", width, indent)
    return lines + wrapped(f"rule {safe(finding.rule)}{source_words(finding)}", width, indent)


def remedy_words(finding: Finding) -> list[str]:
    """What was computed to mend a finding, but for what stands there as its remedy already."""
    told = [one for one in finding.remedies if one.text != finding.fault.remedy]
    return [f"such as: {one.text}" if one.edits else f"computed: {one.text}" for one in told]


def source_words(finding: Finding) -> str:
    """Whose figure it is and how well it was checked."""
    source = finding.source
    if source is None or finding.rule.startswith(("record/", "own-limit/")):
        return ""
    checked = CHECKED[source.checked]
    named = " ".join(part for part in (source.document, source.section) if part)
    return f": {safe(named)} ({checked})" if named and source.checked in ("verified", "memory") else f": {checked}"


def wrapped(text: str, width: int, indent: str = "") -> list[str]:
    """Text in lines of at most ``width`` characters, each after the indent; a longer word stands alone."""
    if len(indent) + len(text) <= width and not text.startswith(" "):
        return [indent + text]
    lines: list[str] = []
    line = ""
    for word in text.split(" "):
        if line and len(indent) + len(line) + 1 + len(word) > width:
            lines.append(indent + line)
            line = word
        else:
            line = f"{line} {word}" if line else word
    return [*lines, indent + line]


def table_lines(table: Table, width: int) -> list[str]:
    """A table in columns of ``width`` characters together."""
    names = [column.removeprefix(">") for column in table.columns]
    right = [column.startswith(">") for column in table.columns]
    rows = [[safe(cell.text) for cell in row] for row in table.rows]
    sizes = column_sizes(names, right, rows, width - 2, len(GAP))
    lines = []
    for row in [names, *rows] if sizes else []:
        lines += _row([row[i] for i in sizes], list(sizes.values()), [right[i] for i in sizes])
    return lines


def column_sizes(names: Sequence[str], right: Sequence[bool], rows: Sequence[Sequence[str]], width: int, gap: int) -> dict[int, int]:
    """Sizes of the columns that hold anything, by number.

    Where the screen is narrow, text gives way first, where it has blanks, down to a dozen characters; then numbers, where
    they have blanks; then long words; at last everything, so that no line is longer than the screen.
    """
    keep = [i for i in range(len(names)) if any(row[i] for row in rows)]
    sizes = {i: max(len(names[i]), *[len(row[i]) for row in rows]) for i in keep}
    spare = width - sum(sizes.values()) - gap * (len(keep) - 1)
    if spare >= 0:
        return sizes
    texts, numbers = ([i for i in keep if right[i] is side] for side in (False, True))
    words = {i: max(len(word) for cell in (names[i], *(row[i] for row in rows)) for word in cell.split(" ")) for i in keep}
    for columns, floor in (
        (texts, {i: max(NARROWEST, min(words[i], LONG_WORD)) for i in texts}),
        (numbers, words),
        (texts, dict.fromkeys(texts, NARROWEST)),
        (texts, {i: min(words[i], NARROWEST) for i in texts}),
        (keep, dict.fromkeys(keep, NARROWEST // 2)),
    ):
        while spare < 0 and any(sizes[i] > floor[i] for i in columns):
            able = sorted((i for i in columns if sizes[i] > floor[i]), key=lambda i: -sizes[i])
            widest = able[0]
            ahead = sizes[widest] - sizes[able[1]] if len(able) > 1 else sizes[widest]
            cut = min(-spare, sizes[widest] - floor[widest], max(ahead, 1))  # level with the next before that gives way too
            sizes[widest] -= cut
            spare += cut
    return sizes


def _row(cells: Sequence[str], sizes: Sequence[int], right: Sequence[bool]) -> list[str]:
    if all(len(cell) <= size and cell[:1] != " " for cell, size in zip(cells, sizes, strict=True)):
        return [_joined(cells, sizes, right)]
    parts = [_fitted(cell, size) for cell, size in zip(cells, sizes, strict=True)]
    lines = []
    for at in range(max(len(part) for part in parts)):
        texts = [part[at] if at < len(part) else "" for part in parts]
        lines.append(_joined(texts, sizes, right))
    return lines


def _joined(texts: Sequence[str], sizes: Sequence[int], right: Sequence[bool]) -> str:
    filled = [text.rjust(size) if side else text.ljust(size) for text, size, side in zip(texts, sizes, right, strict=True)]
    return ("  " + GAP.join(filled)).rstrip()


def _fitted(text: str, size: int) -> list[str]:
    """Text in lines of at most ``size`` characters, a longer word broken: a cell has neighbours."""
    return [line[at : at + size] for line in wrapped(text, size) for at in range(0, len(line) or 1, size)]


TONES = {"plain": "", "good": "green", "bad": "bold red", "warn": "yellow", "muted": "dim"}


def _rich(report: Report) -> str:
    from io import StringIO

    from rich.console import Console
    from rich.text import Text

    out = StringIO()
    console = Console(file=out, width=width_of_screen(), markup=False, emoji=False, highlight=False, force_terminal=True)

    def say(text: str, style: str = "", indent: str = "") -> None:
        for line in wrapped(text, console.width, indent):
            console.print(Text(line, style))

    told: set[str] = set()
    say(safe(report.title), "bold")
    for fact in report.facts:
        say(safe(fact), "dim")
    for section in report.sections:
        console.print()
        say(safe(section.heading), "bold")
        for one in section.findings:
            lines = finding_lines(one, console.width, told)
            tone = "bold red" if one.finding.blocks else "yellow" if one.finding.level is Level.warning else "dim"
            console.print(Text.assemble((lines[0][:10], tone), lines[0][10:]))
            for line in lines[1:]:
                console.print(Text(line, "dim" if line.strip().startswith(("why:", "rule ")) else ""))
        for table in section.tables:
            console.print(_rich_table(table, console.width))
        for line in chart_lines(section, console.width):
            console.print(Text(line))
        for remark in section.remarks:
            say(safe(remark), "dim", "  ")
    console.print()
    for words in report.closing:
        say(safe(words), "bold")
    return out.getvalue()


def _rich_table(table: Table, width: int) -> Grid:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table as Grid
    from rich.text import Text

    grid = Grid(box=SIMPLE_HEAD, pad_edge=False, header_style="dim")
    names = [column.removeprefix(">") for column in table.columns]
    right = [column.startswith(">") for column in table.columns]
    rows = [[safe(cell.text) for cell in row] for row in table.rows]
    sizes = column_sizes(names, right, rows, width - 2, 3)
    for i, size in sizes.items():
        grid.add_column(Text(names[i]), justify="right" if right[i] else "left", width=size, overflow="fold")
    for row in table.rows:
        grid.add_row(*_cells(row[i] for i in sizes))
    return grid


def _cells(cells: Iterable[Cell]) -> list[Text]:
    from rich.text import Text

    return [Text(safe(cell.text), TONES[cell.tone]) for cell in cells]
