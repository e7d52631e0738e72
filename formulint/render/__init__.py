"""Ways of showing a report: a name on the command line, the module that does it, imported on use."""

from __future__ import annotations

FORMATS = {
    "terminal": "formulint.render.terminal",
    "markdown": "formulint.render.markdown",
    "json": "formulint.render.json_report",
}
