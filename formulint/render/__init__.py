"""Ways of showing a report: a name on the command line, the module that does it, imported on use."""

from __future__ import annotations

FORMATS = {
    "terminal": "formulint.render.terminal",
    "markdown": "formulint.render.markdown",
    "json": "formulint.render.json_report",
    "html": "formulint.render.page",
    "sarif": "formulint.render.sarif",
    "junit": "formulint.render.junit",
    "annotations": "formulint.render.build_log",
    "annotations-json": "formulint.render.review_list",
    "csv": "formulint.render.sheet",
}


def spelled(text: str, encoding: str) -> str:
    """Text for a screen or a pipe that lacks some of its characters: those are spelled as ``\\u00e9``, which JSON reads back."""
    lacking = {one for one in set(text) if not _has(one, encoding)}
    return text.translate({ord(one): _escape(one) for one in lacking})


def _has(character: str, encoding: str) -> bool:
    try:
        return bool(character.encode(encoding))
    except UnicodeEncodeError:
        return False


def _escape(character: str) -> str:
    units = character.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2))
