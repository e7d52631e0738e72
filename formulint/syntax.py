"""What is wrong with a text that is not TOML, said to somebody who does not know TOML.

The parser finds the first mistake exactly; here it is named in plain words and moved to where a hand has to mend it.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import tomli

from formulint.positions import DEPTH, STRING, line_column, scan


class Trouble(NamedTuple):
    """A mistake in the text: character offset, what is wrong, what to write instead."""

    at: int
    message: str
    remedy: str = ""


_OPAQUE = re.compile(STRING + r"|#[^\n]*+", re.DOTALL)
_TOKEN = re.compile(STRING + r"|#[^\n]*+|[\[\]{}]|\n", re.DOTALL)
_CONFLICT = re.compile(r"(?:<{7}|>{7}|\|{7}) |={7}$", re.MULTILINE)

_STATEMENT = re.compile(r"[ \t]*(?:\[\[?[\w.\"' -]+\]\]?[ \t]*(?:#.*)?$|[\w.\"'-]+[ \t]*=(?!=))", re.MULTILINE)
_ASSIGNED = re.compile(r"([\w.\"'-]+)[ \t]*=[ \t]*([^\s\"'\[{#,}\]][^\n#,}\]]*)")
_WORD = re.compile(r"[^\n#,}\]]*")
_DATE = re.compile(r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{4}|\d{1,2}/\d{1,2}/\d{2})(?!\d)")
_DECIMAL_COMMA = re.compile(r"(\d+),(\d+)$")
_NAME = re.compile(r"([\w-]+)[ \t]*=")
_NAME_BEFORE = re.compile(r"([\w-]+)[ \t]*=[ \t]*$")
_UNIT = re.compile(r"[A-Za-z%][^\s\"',}\]#]*")
_PASTED = re.compile(r"[ \t]*([A-Za-z]+(?:-[A-Za-z0-9]+)*-?[0-9][A-Za-z0-9-]*)[ \t;]+([0-9]+)(?:[.,]([0-9]+))?(?:[ \t;]*([A-Za-z%]+))?")
_COMMA_NUMBER = re.compile(r"\d+,\d")
_CURLY_QUOTES = "\u2018\u2019\u201a\u201b\u201c\u201d\u201e\u201f\u00ab\u00bb\u2032\u2033`\u00b4"
_COMMENT_SIGNS = ("//", "/*", "--", ";", "%", "*", "!")


def conflicts(text: str) -> list[Trouble]:
    """The places where git left both sides of a merge in the text."""
    message = "a merge was not finished: both versions stand in this file, between <<<<<<< and >>>>>>>"
    remedy = "keep one version, and delete the lines that start with <<<<<<<, ======= and >>>>>>>"
    starts = re.finditer(r"^<{7} ", text, re.MULTILINE)
    return [Trouble(start.start(), message, remedy) for start in starts]


def explain(error: ValueError | RecursionError, text: str) -> Trouble:
    """The parser's first error in plain words.

    Offsets are those of ``error.doc`` where the parser says where it stopped, otherwise those of ``text``.
    """
    if isinstance(error, tomli.TOMLDecodeError):
        return _misspelt(error.doc, error.pos, error.msg)
    if isinstance(error, RecursionError):
        message = "brackets inside brackets, or names joined by points, go deeper than in any record"
        return Trouble(_deepest(text), message, "close the brackets where their content ends")
    runs = re.finditer(r"[0-9_]++", text)
    longest = max(((run.end() - run.start(), run.start()) for run in runs), default=(0, 0))
    return Trouble(longest[1], f"a number of {longest[0]} digits", "write the digits that were measured")


def _misspelt(text: str, at: int, told: str) -> Trouble:
    first = _line_start(text, at)
    line = _line(text, at)
    if _CONFLICT.match(line):
        return Trouble(first, f'"{line[:7]}" is left over from a merge', "delete this line")
    outer = _open_bracket(text, first)
    if outer >= 0 and text[outer] == "[" and _STATEMENT.match(line):
        return Trouble(outer, "this list is not closed: ] is missing", f"put ] above the line {_quote(line)}")
    for start, tell in _TELL.items():
        if told.startswith(start):
            return tell(text, at)
    return Trouble(at, f"this line cannot be read: {told}")


def _deepest(text: str) -> int:
    """Offset where brackets stand too deep, or of the line with the most points."""
    depth = 0
    for token in _TOKEN.finditer(text):
        if token[0] in "[{":
            depth += 1
        elif token[0] in "]}":
            depth = max(depth - 1, 0)
        if depth > DEPTH:
            return token.start()
    lines = re.finditer(r"[^\n]++", text)
    return max(((line[0].count("."), line.start()) for line in lines), default=(0, 0))[1]


def _open_text(text: str, at: int) -> Trouble:
    start = _last_text(text, at)
    if text[start : start + 3] in ('"""', "'''"):
        mark = text[start : start + 3]
        return Trouble(start, f"the text that starts here with {mark} is not closed", f"end it with {mark}")
    quote = text[start : start + 1]
    written = _quote(text[start:at])
    return Trouble(
        start, f"the closing quotation mark is missing: {written}", f"end the text with {quote} on this line"
    )


def _odd_character(text: str, at: int) -> Trouble:
    character = text[at : at + 1]
    if character == "\n":
        return _open_text(text, at)
    if character == "\r":
        return Trouble(at, "a line end of an old kind (carriage return alone)", "save the file with ordinary line ends")
    return Trouble(at, f"a control character (U+{ord(character or chr(0)):04X}) stands here", "delete it and type anew")


def _bad_escape(text: str, at: int) -> Trouble:
    start = max(text.rfind("\\", 0, at), 0)
    escape = _quote(text[start : max(at, start + 2)])
    remedy = "write \\\\ where a backslash is meant, or put the text into single quotation marks"
    return Trouble(start, f"a backslash has a meaning of its own in a text, and {escape} is none that is known", remedy)


def _no_equals(text: str, at: int) -> Trouble:
    outer = _open_bracket(text, at)
    before = text[max(at - 200, 0) : at].rstrip()
    key = re.split(r"[\n,{\[]", before)[-1].strip()
    comma = _DECIMAL_COMMA.search(before)
    if comma:
        return _comma(text, at, before, comma)
    if key[:1] in ('"', "'") and outer >= 0 and text[outer] == "{":
        remedy = 'such as { material = "RM-1401", amount = "8.5 lb" }'
        return Trouble(at, f"{_quote(key)} has no name: inside {{ }} each entry is name = value", remedy)
    following = text[at : at + 1]
    if following == ":":
        return Trouble(at, f'after "{_clip(key)}" stands a colon', "write = instead")
    if following in ("", "\n", "#"):
        return Trouble(at, f'"{_clip(key)}" has no value', f'write {_clip(key)} = "..."')
    if following.isalpha() and not following.isascii():
        message = f'the letter "{following}" cannot stand in the name of a field'
        return Trouble(at, message, "names have letters a to z, digits, - and _")
    if "=" in _rest(text, at) and following not in "\"'[{":
        return Trouble(at, "the name left of = is more than one word", "names are one word, joined by _")
    return Trouble(at, f'= is missing after "{_clip(key)}"', f"write {_clip(key)} = ...")


def _comma(text: str, at: int, before: str, comma: re.Match[str]) -> Trouble:
    """A number with a decimal comma, and no quotation marks, inside of braces; the parser stops at its unit."""
    name = _NAME_BEFORE.search(before[: comma.start()])
    unit = _UNIT.match(text, at)
    figure = f'"{comma[1]}.{comma[2]}{" " + unit[0] if unit else ""}"'
    remedy = f"write {name[1]} = {figure}" if name else f"write {figure}"
    return Trouble(at, f"{comma[0]} has a comma in the number", remedy if unit else f"{remedy}, with its unit where it has one")


def _left_over(text: str, at: int) -> Trouble:
    """Something stands behind a value that was complete."""
    following, rest = text[at : at + 1], _rest(text, at)
    if following == "\r":
        return _odd_character(text, at)
    if _STATEMENT.match(rest):
        return Trouble(at, f"a second entry follows on this line: {_quote(rest)}", "start a new line for it")
    bare = _bare_value(text, at)
    if bare is not None and rest != ",":
        return bare
    if text[at - 1 : at] in ('"', "'") and following != ",":
        start = _last_text(text, at)
        message = f"the text {_quote(text[start:at])} ends here, but {_quote(rest)} follows at once"
        return Trouble(start, message, "a quotation mark is missing before, or one is too many")
    if following == ",":
        return Trouble(at, "a comma stands behind the value", "delete it: commas stand only inside [ ] and { }")
    if rest.startswith(_COMMENT_SIGNS):
        return Trouble(at, f"{_quote(rest)} stands behind the value", "a remark starts with #")
    return Trouble(at, f"{_quote(rest)} is left over behind the value", "delete it, or put it behind a #")


def _bare_value(text: str, at: int) -> Trouble | None:
    """A value without quotation marks around ``at``, such as ``amount = 8.5 lb``."""
    first = _line_start(text, at)
    for assigned in _ASSIGNED.finditer(_line(text, at)):
        start, end = first + assigned.start(2), first + assigned.end(2)
        if start <= at <= end:
            value = text[start:end] if _open_bracket(text, start) >= 0 else _rest(text, start).partition(" #")[0]
            return _unquoted(start, value.strip(), f"{_clip(assigned[1])} = ")
    return None


def _unquoted(start: int, value: str, before: str) -> Trouble:
    clean = _clip(value.strip("\"'" + _CURLY_QUOTES))
    if _DATE.match(value):
        remedy = f"write year-month-day without quotation marks, such as {before}2026-01-05"
        return Trouble(start, f"{_clip(value)} is not a date", remedy)
    if value[:1] in _CURLY_QUOTES:
        return Trouble(start, "typographic quotation marks: only the straight ones count", f'write {before}"{clean}"')
    if value.lower() in ("true", "false"):
        return Trouble(start, f"{value} is not known", f"write {before}{value.lower()}")
    if _COMMA_NUMBER.match(clean):
        message = f"{clean} has a comma in the number and no quotation marks"
        return Trouble(start, message, f'write a decimal point: {before}"{clean.replace(",", ".", 1)}"')
    return Trouble(start, f"{_clip(value)} stands without quotation marks", f'write {before}"{clean}"')


def _no_value(text: str, at: int) -> Trouble:
    bare = _bare_value(text, at)
    if bare is not None:
        return bare
    pasted = _PASTED.match(_line(text, at))
    if pasted is not None:
        amount = f"{pasted[2]}{'.' + pasted[3] if pasted[3] else ''} {pasted[4] or 'lb'}"
        return Trouble(at, f"{_quote(_rest(text, at))} is no line of a formula", f'write {{ material = "{pasted[1]}", amount = "{amount}" }},')
    found = _WORD.match(text, at)
    word = found[0].strip() if found else ""
    if word:
        return _unquoted(at, word, "")
    outer = _open_bracket(text, at)
    if outer < 0 or text[:at].rstrip(" \t").endswith("="):
        return Trouble(at, "nothing stands behind =", "write the value, or delete the line")
    if text[at : at + 1] == ",":
        return Trouble(at, "a comma stands where a value is expected", "delete it: one comma between two entries")
    return Trouble(outer, "this list is not closed: ] is missing", "put ] behind its last entry")


def _open_list(text: str, at: int) -> Trouble:
    return _missing(text, at, "]", "list")


def _open_braces(text: str, at: int) -> Trouble:
    return _missing(text, at, "}", "table in braces")


def _missing(text: str, at: int, closing: str, what: str) -> Trouble:
    """After an entry of a list or of a table in braces stands neither a comma nor the closing bracket."""
    outer, end, following = _open_bracket(text, at), _end_of_content(text, at), text[at : at + 1]
    if not following:
        return Trouble(
            outer, f"this {what} is not closed: {closing} is missing", f"put {closing} behind its last entry"
        )
    if following in "]}" or (closing == "}" and following in "{["):
        return Trouble(end, f"{closing} is missing here, at the end of a {what}", f"put {closing} here")
    if not _STATEMENT.match(_rest(text, at)):
        bare = _bare_value(text, at)
        if bare is not None:
            return bare
        if text[at - 1 : at] in ('"', "'") and following.isalnum():
            return _left_over(text, at)
    return Trouble(end, f"a comma is missing here, between two entries of a {what}", "put , here")


def _no_key(text: str, at: int) -> Trouble:
    """A name of a field or of a table cannot start with this character."""
    following = text[at : at + 1]
    outer = _open_bracket(text, at)
    if following and following in _CURLY_QUOTES:
        return Trouble(at, "typographic quotation marks: only the straight ones count", 'write "')
    if outer >= 0 and text[outer] == "{" and following in ("{", "[", "]", ""):
        return _open_braces(text, at)
    if following == ",":
        return Trouble(at, "a comma stands where a name is expected", "delete it: one comma between two entries")
    if following == "=":
        return Trouble(at, "nothing stands before =", "write the name of the field before it")
    if following in ("]", "}") and outer < 0:
        return Trouble(at, f"{following} closes nothing that was opened", "delete it, or open the list before")
    if text.startswith(_COMMENT_SIGNS, at):
        return Trouble(at, f"{_quote(_rest(text, at))} cannot be read", "a remark starts with #")
    message = f"the name of a field cannot start with {_quote(following)}" if following.strip() else "a name is missing"
    return Trouble(at, message, "names have letters a to z, digits, - and _")


def _open_header(text: str, at: int) -> Trouble:
    line = _line(text, at).strip()
    closing = "]]" if line.startswith("[[") else "]"
    return Trouble(at, f"the name in square brackets is not closed: {_quote(line)}", f"end it with {closing}")


def _twice(text: str, at: int) -> Trouble:
    """A key that has a value already; the parser stops behind the second value."""
    if _line(text, at).lstrip().startswith("[") and _open_bracket(text, _line_start(text, at)) < 0:
        return _header_twice(text, at)
    try:
        written = ((span[0], keys) for keys, span in scan(text[:at]).items() if span[0] >= 0 and span[2] >= 0)
        start, keys = max(written)
        first = scan(text[:start]).get(keys)
    except ValueError:
        names = [*_NAME.finditer(text, _line_start(text, at), at)]
        start, name = (names[-1].start(), names[-1][1]) if names else (at, "this name")
        return Trouble(start, f'"{_clip(name)}" stands twice', "keep one of the two")
    where = f"; first in line {line_column(text, first[0])[0]}" if first is not None else ""
    return Trouble(start, f'"{_clip(str(keys[-1]))}" stands twice{where}', "keep one of the two")


def _header_twice(text: str, at: int) -> Trouble:
    header = _line(text, at).split("#")[0].strip()
    remedy = f"put the lines of both under one {_clip(header)}; a list of tables is written [[...]] each time"
    message = f"{_quote(header)} cannot stand here: a table or a value of that name exists already"
    return Trouble(_line_start(text, at), message, remedy)


def _frozen(text: str, at: int) -> Trouble:
    line = _quote(_line(text, at))
    remedy = "write all of it in one place: in [ ] or { }, or in lines of its own"
    return Trouble(_line_start(text, at), f"{line} adds to something that is complete already", remedy)


def _bad_date(text: str, at: int) -> Trouble:
    found = re.match(r"[\d:TZ.+-]+", text[at : at + 40])
    written = _quote(found[0]) if found else "this"
    return Trouble(at, f"{written} is not a day of the calendar", "write year-month-day, such as 2026-01-05")


_TELL = {
    "Illegal character": _odd_character,
    "Found invalid character": _odd_character,
    "Unterminated string": _open_text,
    "Expected \"'": _open_text,
    "Expected '=' after": _no_equals,
    "Expected newline": _left_over,
    "Expected ']": _open_header,
    "Invalid value": _no_value,
    "Invalid statement": _no_key,
    "Invalid initial character": _no_key,
    "Unclosed array": _open_list,
    "Unclosed inline table": _open_braces,
    "Cannot overwrite a value": _twice,
    "Duplicate inline table key": _twice,
    "Cannot declare": _header_twice,
    "Cannot mutate": _frozen,
    "Cannot redefine": _frozen,
    "Unescaped": _bad_escape,
    "Invalid hex": _bad_escape,
    "Escaped character": _bad_escape,
    "Invalid date": _bad_date,
}


def _line_start(text: str, at: int) -> int:
    """Start of the line; of a very long line, so much that what is quoted and searched stays short."""
    return max(text.rfind("\n", 0, at) + 1, at - 200)


def _line(text: str, at: int) -> str:
    end = text.find("\n", at)
    return text[_line_start(text, at) : min(end if end >= 0 else len(text), at + 200)]


def _rest(text: str, at: int) -> str:
    return _line(text, at)[at - _line_start(text, at) :].strip()


def _last_text(text: str, at: int) -> int:
    """Start of the last text in quotation marks before ``at``."""
    return max((string.start() for string in _OPAQUE.finditer(text, 0, at)), default=at)


def _open_bracket(text: str, at: int) -> int:
    """The innermost bracket that is open at ``at``, -1 for none."""
    opened: list[int] = []
    for token in _TOKEN.finditer(text, 0, at):
        if token[0] in "[{":
            opened.append(token.start())
        elif token[0] in "]}" and opened:
            opened.pop()
    return opened[-1] if opened else -1


def _end_of_content(text: str, at: int) -> int:
    """Behind the last character before ``at`` that is neither blank nor in a remark."""
    plain = _OPAQUE.sub(lambda token: (" " if token[0][0] == "#" else "x") * len(token[0]), text[:at])
    return len(plain.rstrip())


def _clip(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def _quote(text: str) -> str:
    clipped = _clip(text.strip())
    return clipped if clipped[:1] in ('"', "'") else f'"{clipped}"'
