"""A report as one HTML page that needs nothing else: no script, no network; it prints, and it reads in the dark."""

from __future__ import annotations

from formulint.clean import html
from formulint.finding import Finding, Level
from formulint.render.terminal import label, place, remedy_words, source_words
from formulint.report import Located, Report, Section, Table

STYLE = """
:root { color-scheme: light dark; --ink: #1d1f21; --paper: #fbfaf7; --line: #c9c4b8; --soft: #5c5a55; --stop: #9c1c12; --wait: #7a4b00; --band: #f0ede4; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e9e6df; --paper: #17181a; --line: #4a4842; --soft: #b3afa5; --stop: #ff9d92; --wait: #f2c063; --band: #232427; }
}
body { margin: 0 auto; max-width: 70rem; padding: 1rem; background: var(--paper); color: var(--ink); font: 1rem/1.5 Georgia, "Times New Roman", serif; }
h1 { font-size: 1.3rem; } h2 { font-size: 1.1rem; border-top: 2px solid var(--line); padding-top: .8rem; margin-top: 2rem; }
.verdict { border: 2px solid var(--line); background: var(--band); padding: .6rem 1rem; }
.verdict p { margin: .2rem 0; font-weight: bold; }
.wide { overflow-x: auto; } .wide:focus { outline: 2px solid var(--soft); }
table { border-collapse: collapse; font: .9rem/1.4 ui-monospace, Consolas, monospace; margin: .8rem 0; }
th, td { text-align: left; padding: .2rem .7rem; border-bottom: 1px solid var(--line); vertical-align: top; }
th.n, td.n { text-align: right; white-space: nowrap; } thead th { border-bottom: 2px solid var(--line); }
.bad, .stop { color: var(--stop); font-weight: bold; } .warn, .wait { color: var(--wait); font-weight: bold; } .muted, .said { color: var(--soft); }
.finding { margin: .8rem 0; padding-left: 1rem; border-left: 4px solid var(--line); } .finding p { margin: .15rem 0; }
.finding.stop { border-color: var(--stop); color: inherit; font-weight: normal; } .finding.wait { border-color: var(--wait); color: inherit; font-weight: normal; }
pre { background: var(--band); padding: .6rem; overflow-x: auto; }
tbody th { font-weight: normal; } a { color: inherit; }
@media (max-width: 40rem) { table { font-size: .8rem; } th, td { padding: .2rem .35rem; } }
@media print { body { max-width: none; font-size: 10pt; } .finding, tr { break-inside: avoid; } h2 { break-after: avoid; } .wide { overflow: visible; } nav { display: none; } }
"""


def show(report: Report) -> str:
    """The report as a page: what it means, then the records, each under a heading of its own."""
    numbered = list(enumerate(report.sections, 1))
    links = [f'<li><a href="#r{at}">{html(section.heading)}</a></li>' for at, section in numbered]
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
        *(f'<p class="said">{html(fact)}</p>' for fact in report.facts),
        '<div class="verdict" role="status">',
        *(f"<p>{html(words)}</p>" for words in report.closing),
        "</div>",
        "</header>",
        *(["<nav aria-label=\"records\">", "<ul>", *links, "</ul>", "</nav>"] if len(links) > 1 else []),
        "<main>",
        *(line for at, section in numbered for line in _section(at, section)),
        "</main>",
        "</body>",
        "</html>",
    ]
    return "\n".join(lines) + "\n"


def _section(at: int, section: Section) -> list[str]:
    lines = [f'<section aria-labelledby="r{at}">', f'<h2 id="r{at}">{html(section.heading)}</h2>']
    for one in section.findings:
        lines += _finding(one)
    for number, table in enumerate(section.tables, 1):
        lines += _table(table, f"{section.heading}, table {number}")
    if section.chart is not None:
        from formulint.render.history_picture import shown  # most pages have none

        lines += shown(section.chart)
    if section.drawing:
        lines += ["<pre>", *(html(line) for line in section.drawing), "</pre>"]
    lines += [f'<p class="said">{html(remark)}</p>' for remark in section.remarks]
    return [*lines, "</section>"]


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
        f'<p class="said">at {html(place(one.mark))}</p>',
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


def _table(table: Table, name: str) -> list[str]:
    keep = [i for i in range(len(table.columns)) if any(row[i].text for row in table.rows)]
    right = {i: ' class="n"' if table.columns[i].startswith(">") else "" for i in keep}
    head = "".join(f'<th scope="col"{right[i]}>{html(table.columns[i].removeprefix(">"))}</th>' for i in keep)
    lines = [f'<div class="wide" tabindex="0" role="region" aria-label="{html(name)}">', "<table>", f"<thead><tr>{head}</tr></thead>", "<tbody>"]
    for row in table.rows:
        cells = []
        for number, i in enumerate(keep):
            word = f'<span class="{row[i].tone}">{html(row[i].text)}</span>' if row[i].tone in ("bad", "warn", "muted") else html(row[i].text)
            cells.append(f'<th scope="row"{right[i]}>{word}</th>' if number == 0 else f"<td{right[i]}>{word}</td>")
        lines.append(f"<tr>{''.join(cells)}</tr>")
    return [*lines, "</tbody>", "</table>", "</div>"]
