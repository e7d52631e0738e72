"""A report as one HTML page that needs nothing else: no script, no network; it prints, and it reads in the dark."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec.structs import replace

from formulint.clean import html
from formulint.finding import Finding, Level
from formulint.picture import Numbers, Picture
from formulint.render.style import STYLE
from formulint.render.terminal import label, place, remedy_words, source_words
from formulint.report import Cell, Located, Report, Section, Table, counted

OPEN_SECTIONS = 12  # of a page: the tables of later ones are folded
OPEN_REMARKS = 8  # of a section
OPEN_ROWS = 20  # of the table of what each record comes to
OPEN_LINKS = 12  # of the list of records


def show(report: Report) -> str:
    """The report as a page: what it means and what it comes to, then the records, each under a heading of its own."""
    numbered = list(enumerate(report.sections, 1))
    pictured = any(section.pictures for section in report.sections)
    lacking = _lacking() if pictured else ""
    lines = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{html(report.title)}</title>",
        f"<style>{STYLE}</style>",
        "</head>",
        "<body>",
        "<header>",
        f"<h1>{html(report.title)}</h1>",
        '<div class="verdict" role="status">',
        *(f"<p>{html(words)}</p>" for words in report.closing),
        "</div>",
        *(f'<p class="said">{html(fact, 2000)}</p>' for fact in (*report.facts, *([lacking] if lacking else []))),
        *_overview(report),
        "</header>",
        "<main>",
        *(line for at, section in numbered for line in _section(at, section, pictured and not lacking)),
        "</main>",
        "</body>",
        "</html>",
    ]
    return "\n".join(lines) + "\n"


def _lacking() -> str:
    from formulint.render.vector import missing

    return missing()


# --- what it comes to --------------------------------------------------------------------------------------------


def _overview(report: Report) -> list[str]:
    """The table of what each record comes to, with links; else a plain list of the records, folded where it is long."""
    links = {section.heading.partition("  ")[0].partition(":")[0]: f"#r{at}" for at, section in enumerate(report.sections, 1)}
    if report.overview is not None and report.overview.rows:
        name, rows = "what changed and what it asks for", report.overview.rows
        rest = _table(replace(report.overview, rows=rows[OPEN_ROWS:]), f"{name}, the rest", links) if len(rows) > OPEN_ROWS else []
        return _table(replace(report.overview, rows=rows[:OPEN_ROWS]), name, links) + (_folded(f"{len(rows) - OPEN_ROWS} more", rest) if rest else [])
    if len(report.sections) < 2:
        return []
    items = [f'<li><a href="#r{at}">{html(section.heading)}</a></li>' for at, section in enumerate(report.sections, 1)]
    listed = ["<ul>", *items, "</ul>"]
    return ['<nav aria-label="records">', *(listed if len(items) <= OPEN_LINKS else _folded(counted(len(items), "record"), listed)), "</nav>"]


def _folded(words: str, lines: Iterable[str], again: bool = False) -> list[str]:
    """Lines that are counted until somebody asks; what says a thing ``again`` is not printed."""
    return ['<details class="again">' if again else "<details>", f"<summary>{html(words)}</summary>", *lines, "</details>"]


# --- a record ----------------------------------------------------------------------------------------------------


def _section(at: int, section: Section, drawn: bool) -> list[str]:
    lines = [f'<section aria-labelledby="r{at}">', f'<h2 id="r{at}">{html(section.heading)}</h2>']
    loud = [one for one in section.findings if tone(one.finding) != "said"]
    quiet = [one for one in section.findings if tone(one.finding) == "said"]
    for one in loud:
        lines += _finding(one)
    if quiet:
        told = [line for one in quiet for line in _finding(one)]
        lines += told if len(quiet) <= 3 and not loud else _folded(_counted_notes(quiet), told)
    if section.pictures:
        lines += ['<div class="pictures">', *(line for n, one in enumerate(section.pictures) for line in _figure(one, f"p{at}-{n}", drawn)), "</div>"]
    tables = [line for number, table in enumerate(section.tables, 1) for line in _table(table, f"{section.heading}, table {number}")]
    rows = sum(len(table.rows) for table in section.tables)
    lines += _folded(f"{counted(len(section.tables), 'table')}, {counted(rows, 'row')}", tables) if at > OPEN_SECTIONS and tables else tables
    if section.chart is not None:
        from formulint.render.history_picture import shown  # most pages have none

        lines += shown(section.chart, f"r{at}-h")
    if section.drawing:
        lines += _folded("the same as the text of a diagram", ["<pre>", *(html(line) for line in section.drawing), "</pre>"], again=True)
    remarks = [f'<p class="said">{html(remark, 2000)}</p>' for remark in section.remarks]
    lines += remarks[:OPEN_REMARKS]
    if len(remarks) > OPEN_REMARKS:
        lines += _folded(f"{len(remarks) - OPEN_REMARKS} more", remarks[OPEN_REMARKS:])
    return [*lines, "</section>"]


def _counted_notes(quiet: Sequence[Located]) -> str:
    granted = sum(1 for one in quiet if one.finding.granted is not None)
    parts = [counted(len(quiet) - granted, "note")] if len(quiet) > granted else []
    return " and ".join([*parts, *([f"{granted} that may stand"] if granted else [])])


def tone(finding: Finding) -> str:
    """The class of a finding's mark; the word beside it says the same."""
    if finding.granted is not None:
        return "said"
    return "stop" if finding.blocks else "wait" if finding.level is not Level.note or finding.fault.kind == "review" else "said"


def _finding(one: Located) -> list[str]:
    finding, fault = one.finding, one.finding.fault
    mark = tone(finding)
    lines = [
        f'<div class="finding {mark}">',
        f'<p><strong class="{mark}">{html(label(finding))}</strong> {html(fault.message, 2000)}</p>',
        *([f'<p class="said">at {html(place(one.mark))}</p>'] if one.mark.path else []),
        *(f'<p class="said">see {html(place(related))}</p>' for related in one.related[:3]),
    ]
    if one.said:
        lines.append(f"<p>{html(one.said)}</p>")
    if fault.remedy:
        lines.append(f"<p>do: {html(fault.remedy, 2000)}</p>")
    lines += [f"<p>{html(words, 2000)}</p>" for words in remedy_words(finding)]
    if finding.why:
        lines.append(f'<p class="said">why: {html(finding.why, 2000)}</p>')
    return [*lines, f'<p class="said">rule {html(finding.rule)}{html(source_words(finding))}</p>', "</div>"]


def _figure(picture: Picture, name: str, drawn: bool) -> list[str]:
    """A picture with its numbers below it, folded; without what it takes to draw, the numbers alone."""
    shape = ""
    if drawn:
        from formulint.render.pictures import draw

        shape = draw(picture, name)
    numbers = _table(_as_table(picture.numbers), picture.title)
    return ["<figure>", f"<figcaption>{html(picture.title)}</figcaption>", *([shape] if shape else []), *_folded("the numbers", numbers), "</figure>"]


def _as_table(numbers: Numbers) -> Table:
    return Table(numbers.columns, tuple(tuple(Cell(text) for text in row) for row in numbers.rows))


def _table(table: Table, name: str, links: dict[str, str] | None = None) -> list[str]:
    keep = [i for i in range(len(table.columns)) if any(row[i].text for row in table.rows)]
    right = {i: ' class="n"' if table.columns[i].startswith(">") else "" for i in keep}
    head = "".join(f'<th scope="col"{right[i]}>{html(table.columns[i].removeprefix(">"))}</th>' for i in keep)
    words = len(keep) > 3 and not any(right.values())  # a telephone has no room for columns of sentences: there, each row is a list
    start = '<table class="words">' if words else "<table>"
    lines = [f'<div class="wide" tabindex="0" role="region" aria-label="{html(name)}">', start, f"<thead><tr>{head}</tr></thead>", "<tbody>"]
    for row in table.rows:
        cells = []
        for number, i in enumerate(keep):
            text, target = row[i].text, (links or {}).get(row[i].text, "")
            word = f'<a href="{target}">{html(text)}</a>' if target and number == 0 else html(text)
            word = f'<span class="{row[i].tone}">{word}</span>' if row[i].tone in ("bad", "warn", "muted") else word
            called = f' data-of="{html(table.columns[i])}"' if words and text else ""
            cells.append(f'<th scope="row"{right[i]}>{word}</th>' if number == 0 else f"<td{right[i]}{called}>{word}</td>")
        lines.append(f"<tr>{''.join(cells)}</tr>")
    return [*lines, "</tbody>", "</table>", "</div>"]
