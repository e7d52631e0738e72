"""The look of a page: two palettes, one for paper and day, one for the dark; the same rules for screen, telephone and print."""

from __future__ import annotations

DAY = {
    "ink": "#1d1f21", "paper": "#fbfaf7", "band": "#f0ede4", "line": "#c9c4b8", "soft": "#5c5a55", "stop": "#9c1c12", "wait": "#7a4b00",
    "a": "#dbe9f4", "b": "#e9e2d0", "c": "#f4d9a8", "d": "#e8c9d6", "e": "#cfe3cf", "f": "#d9d5ea",
}  # fmt: skip
NIGHT = {
    "ink": "#e9e6df", "paper": "#17181a", "band": "#232427", "line": "#4a4842", "soft": "#b3afa5", "stop": "#ff9d92", "wait": "#f2c063",
    "a": "#1f3a52", "b": "#4a4330", "c": "#5e4313", "d": "#552e41", "e": "#2a4a2e", "f": "#3c3560",
}  # fmt: skip
"""Colours by what they are for: ``ink``, ``soft``, ``stop`` and ``wait`` write on ``paper`` and ``band``; ``a`` to ``f`` fill parts of bars."""


def variables(palette: dict[str, str]) -> str:
    """A palette as custom properties of CSS."""
    return " ".join(f"--{role}: {colour};" for role, colour in palette.items())


def paint() -> str:
    """The classes by which shapes of a picture take their colours from the page."""
    return "\n".join(f"svg .f-{role} {{ fill: var(--{role}); }} svg .s-{role} {{ stroke: var(--{role}); }}" for role in DAY)


STYLE = f"""
:root {{ color-scheme: light dark; {variables(DAY)} }}
@media (prefers-color-scheme: dark) {{ :root {{ {variables(NIGHT)} }} }}
@media print {{ :root {{ color-scheme: light; {variables(DAY)} --paper: #fff; }} }}
{paint()}
* {{ box-sizing: border-box; }}
body {{ margin: 0 auto; max-width: 70rem; padding: 1rem; background: var(--paper); color: var(--ink); font: 1rem/1.5 Georgia, "Times New Roman", serif; overflow-wrap: anywhere; }}
h1 {{ font-size: 1.3rem; line-height: 1.3; }} h2 {{ font-size: 1.1rem; border-top: 2px solid var(--line); padding-top: .8rem; margin-top: 2rem; }}
.verdict {{ border: 2px solid var(--line); background: var(--band); padding: .6rem 1rem; }}
.verdict p {{ margin: .2rem 0; font-weight: bold; }}
.wide {{ overflow-x: auto; }} .wide:focus, summary:focus {{ outline: 2px solid var(--soft); }}
table {{ border-collapse: collapse; font: .9rem/1.4 ui-monospace, Consolas, monospace; margin: .8rem 0; overflow-wrap: normal; }}
th, td {{ text-align: left; padding: .2rem .7rem; border-bottom: 1px solid var(--line); vertical-align: top; max-width: 32rem; overflow-wrap: break-word; }}
th.n, td.n {{ text-align: right; white-space: nowrap; }} thead th {{ border-bottom: 2px solid var(--line); }}
.bad, .stop {{ color: var(--stop); font-weight: bold; }} .warn, .wait {{ color: var(--wait); font-weight: bold; }} .muted, .said {{ color: var(--soft); }}
.finding {{ margin: .8rem 0; padding-left: 1rem; border-left: 4px solid var(--line); }} .finding p {{ margin: .15rem 0; }}
.finding.stop {{ border-color: var(--stop); color: inherit; font-weight: normal; }} .finding.wait {{ border-color: var(--wait); color: inherit; font-weight: normal; }}
pre {{ background: var(--band); padding: .6rem; overflow-x: auto; }}
details {{ margin: .6rem 0; }} summary {{ cursor: pointer; color: var(--soft); }} details details {{ margin-left: 1rem; }}
tbody th {{ font-weight: normal; }} a {{ color: inherit; }}
.pictures {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 21rem), 1fr)); gap: 1.2rem 2.5rem; margin: 1rem 0; align-items: start; }}
figure {{ margin: 0; max-width: 30rem; }} figcaption {{ font-weight: bold; margin-bottom: .5rem; }}
figure svg {{ display: block; width: 100%; height: auto; overflow: visible; font-family: system-ui, "Segoe UI", Helvetica, Arial, sans-serif; }}
@media (max-width: 40rem) {{
  body {{ padding: .7rem; }} table {{ font-size: .75rem; }} th, td {{ padding: .2rem .25rem; max-width: 9rem; }} th.n, td.n {{ white-space: normal; }}
  tbody th, td:not(.n) {{ overflow-wrap: anywhere; }} tbody th {{ min-width: 5.6rem; }}
  .words thead {{ position: absolute; clip-path: inset(50%); }} .words tbody, .words tr, .words th, .words td {{ display: block; max-width: none; }}
  .words tbody th, .words td {{ border: 0; overflow-wrap: break-word; }} .words tbody th {{ font-weight: bold; }} .words tr {{ border-bottom: 1px solid var(--line); padding: .3rem 0; }}
  .words td:empty {{ display: none; }} .words td::before {{ content: attr(data-of) ": "; color: var(--soft); }}
}}
@media print {{
  body {{ max-width: none; font-size: 10pt; padding: 0; }} table {{ font-size: 8pt; }} .finding, tr, figure {{ break-inside: avoid; }} h2, figcaption {{ break-after: avoid; }}
  .wide {{ overflow: visible; }} nav {{ display: none; }} summary {{ list-style: none; }} details::details-content {{ content-visibility: visible; display: block; }}
  .pictures {{ grid-template-columns: repeat(2, minmax(0, 1fr)); gap: .8rem 2rem; }} figure {{ max-width: 22rem; }} figure details, details.again {{ display: none; }}
}}
"""
"""The style sheet of a page."""
