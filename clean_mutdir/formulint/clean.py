"""Text of strangers made harmless: names, notes, file names and the messages that quote them.

Whoever may propose a formula chooses these texts, and they reach screens, logs of build machines, review comments and
reports. Every function takes any ``str``, lone surrogates of odd file names included, and never raises; where there is
a ``limit``, it bounds the length of the answer and the time it takes.
"""

from __future__ import annotations

import re

LIMIT = 400
"""Longest cleaned text, in characters (practice: longer than any message of ours)."""

MOST_MARKS = 4
"""Most combining marks on one letter; Hebrew with accents and stacked Tibetan stay readable (practice)."""

BREAK = "\u200b"
"""A blank without width, written by `markdown` alone: `clean` leaves none in a text, so every one is ours."""

# Everything that steers instead of showing: controls; soft hyphen, fillers, joiners and direction marks; line and
# paragraph separators; variation selectors; surrogates; private use; notes between lines; the blank braille cell; music
# and shorthand controls; planes 14 to 16 (tags, private use). These are the classes Cc, Cf, Cs, Co, Zl, Zp of the
# Unicode character database (verified: a test compares every character), its default ignorable characters (memory).
_HIDDEN_CLASS = (
    r"\x00-\x1f\x7f-\x9f\xad\u034f\u0600-\u0605\u061c\u06dd\u070f\u0890\u0891\u08e2\u115f\u1160\u17b4\u17b5"
    r"\u180b-\u180f\u200b-\u200f\u2028-\u202e\u2060-\u206f\u2800\u3164\ud800-\uf8ff\ufdd0-\ufdef\ufe00-\ufe0f\ufeff"
    r"\uffa0\ufff0-\ufffc\ufffe\uffff\U000110bd\U000110cd\U00013430-\U0001343f\U0001bca0-\U0001bca3"
    r"\U0001d173-\U0001d17a\U000e0000-\U0010ffff"
)
_HIDDEN = re.compile(f"[{_HIDDEN_CLASS}]")
_SHORT = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}
# Marks are neither word characters nor white space nor ASCII: a cheap net for where to look closer.
_MARKS = re.compile(rf"\A[^\w\s\x00-\x7f]+|[^\w\s\x00-\x7f]{{{MOST_MARKS + 1},}}")
_TORN = re.compile(r"\\(?:u(?:\{[0-9a-f]*)?)?\Z")

# A build machine reads "::name" at the start of a line and "##[name" or "##tool[name" anywhere; wrapping can bring any
# word to the start of a line.
_COMMAND = re.compile(r":(?=:)|#(?=#[\w.-]*\[)")

# Hosts look for mentions, references, labels and pictograms in the rendered text, where an entity no longer helps:
# these are parted by BREAK.
_SUMMONS = re.compile(
    r"""@(?=\S)|[#~%](?=[\w"])|[&!$](?=\d)|\[(?=\w)|[\[{](?=[+-])|:(?=[a-z_+/-]|\d+[a-z_]|100:|1234:)|(?<=gh)-(?=\d)|(?<=www)\.""",
    re.IGNORECASE,
)
_MARKDOWN = re.compile(
    rf"[\\`*_\[\]<>|&@#$~^{BREAK}]|:(?=\S)|([=+-])(?=\1)|(?<=www)\.|\A[=+:/-]|[=+-]\Z|\A\d+[.)](?=\s|\Z)|\A\s|\s\Z",
    re.IGNORECASE,
)
# What a sheet takes for a formula, in both widths, at the start of a cell or where another separator would start one.
_FORMULA = re.compile(r"""(\A|[,;"|])(\s*)(?=[=+@\uff1d\uff0b\uff0d\uff20-])""")
_NOT_PLAIN = re.compile("[^A-Za-z0-9 ]")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?")


def clean(text: str, limit: int = LIMIT) -> str:
    """``text`` as one line of at most ``limit`` characters in which everything can be seen.

    Controls, escape sequences, direction marks, invisible characters and surrogates get a visible form such as
    ``\\u{1b}``; so do combining marks at the very start or beyond `MOST_MARKS` in a row. A text that is too long ends
    with an ellipsis. Letters of all scripts stay. Cleaning twice changes nothing.
    """
    limit = max(limit, 1)
    text = text[: limit + 1]  # no character gets shorter, so the rest cannot matter
    if not (text.isascii() and text.isprintable()):
        text = _MARKS.sub(_few_marks, _HIDDEN.sub(_visible, text))
    return text if len(text) <= limit else _TORN.sub("", text[: limit - 1]) + "…"


def log_line(text: str, limit: int = LIMIT) -> str:
    """`clean` text that also holds no command for a build machine that reads its log, wherever it is broken."""
    return _COMMAND.sub(_visible, clean(text, limit))


def workflow_data(text: str, limit: int = LIMIT) -> str:
    """`log_line` text as the message of an annotation line; several lines are joined by ``%0A`` afterwards."""
    return log_line(text, limit).replace("%", "%25")


def workflow_property(text: str, limit: int = LIMIT) -> str:
    """`clean` text as a property of an annotation line, such as its file or title."""
    return _COMMAND.sub(_after_colon, clean(text, limit)).replace("%", "%25").replace(":", "%3A").replace(",", "%2C")


def markdown(text: str, limit: int = LIMIT) -> str:
    """`clean` text as Markdown that shows just that text, in a paragraph, a list or a table cell.

    No markup, link, mention, reference, label, pictogram, formula or quick action comes to life. The shown text equals
    ``clean(text)`` but for `BREAK`. A commit id stays one: at most it leads to a commit of the same repository.
    """
    return _MARKDOWN.sub(_entities, _SUMMONS.sub(rf"\g<0>{BREAK}", clean(text, limit)))


def mermaid(text: str, limit: int = 60) -> str:
    """`clean` text as a quoted label of a node or an edge of a Mermaid diagram."""
    return f'"{_NOT_PLAIN.sub(_mermaid_entity, clean(text, limit)) or " "}"'


def html(text: str, limit: int = LIMIT) -> str:
    """`clean` text for the content or a quoted attribute of an HTML element."""
    return xml_attribute(text, limit)


def xml_text(text: str, limit: int = LIMIT) -> str:
    """`clean` text as the content of an XML 1.0 element."""
    return clean(text, limit).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def xml_attribute(text: str, limit: int = LIMIT) -> str:
    """`clean` text as the value of a quoted XML 1.0 attribute."""
    return xml_text(text, limit).replace('"', "&quot;").replace("'", "&#39;")


def csv_cell(text: str, limit: int = LIMIT) -> str:
    """`clean` text as the value of a cell that no sheet takes for a formula, whichever separator it splits at.

    A plain number stays one. The quoting is left to the ``csv`` module.
    """
    text = clean(text, limit)
    return text if _NUMBER.fullmatch(text) else _FORMULA.sub(r"\1\2'", text)


def json_safe(text: str) -> str:
    """JSON text in which every hidden character but the line feed is an escape: it cannot steer a screen.

    The values stay the same, except that a lone surrogate, which no UTF-8 can carry, reads as `clean` shows it.
    """
    return _HIDDEN.sub(_json_escape, text)


def _visible(match: re.Match[str]) -> str:
    character = match[0]
    return _SHORT.get(character) or f"\\u{{{ord(character):x}}}"


def _few_marks(match: re.Match[str]) -> str:
    from unicodedata import category

    shown = ""
    marks = 0 if match.start() else MOST_MARKS  # a mark at the start would sit on whatever is written before the text
    for character in match[0]:
        marks = marks + 1 if category(character)[0] == "M" else 0
        shown += f"\\u{{{ord(character):x}}}" if marks > MOST_MARKS else character
    return shown


def _after_colon(match: re.Match[str]) -> str:
    """Two colons end up as escapes of their own in a property; only the older form of a command needs breaking."""
    return match[0] if match[0] == ":" else _visible(match)


def _entities(match: re.Match[str]) -> str:
    found = match[0]
    return f"{found[:-1]}&#{ord(found[-1])};"


def _mermaid_entity(match: re.Match[str]) -> str:
    return f"#{ord(match[0])};"


def _json_escape(match: re.Match[str]) -> str:
    character = match[0]
    code = ord(character)
    if character == "\n":
        return character
    if 0xD800 <= code <= 0xDFFF:
        return f"\\\\u{{{code:x}}}"
    units = character.encode("utf-16-be")
    return "".join(f"\\u{units[at]:02x}{units[at + 1]:02x}" for at in range(0, len(units), 2))
