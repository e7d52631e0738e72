"""A TOML file in memory: what it says, and where each value is written."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import tomli

from formulint.finding import Fault, KeyPath, Kind, Mark, Place

if TYPE_CHECKING:
    from formulint.positions import Span
    from formulint.syntax import Trouble

LARGEST = 1024 * 1024
"""Bytes of the largest file that is read."""

FEW = 20
"""How many faults of one kind are listed for one file."""

_POINTER = b"version https://git-lfs."
_BOM = b"\xef\xbb\xbf"
_SHORT_TIME = re.compile(r":\d\d(?![:\d])")
_NO_BRACE = bytes(code for code in range(256) if code not in b"{}\n")
_TRAILING_COMMA = re.compile(r",\s*\}")


class BareNumber(float):
    """A decimal number without quotation marks, with its digits as written; no field of a record takes one."""

    written: str

    def __new__(cls, written: str) -> BareNumber:
        number = super().__new__(cls, written)
        number.written = written if len(written) <= 40 else written[:37] + "..."
        return number

    def __str__(self) -> str:
        return self.written

    __repr__ = __str__

    def __format__(self, form: str) -> str:
        return format(self.written, form)


class Document:
    """A file that could be read as TOML.

    Attributes
    ----------
    path : str
        Name of the file, relative to the root.
    data : dict
        What the file says; a decimal number in it is a ``BareNumber``.
    text : str
        The file as text with its own line ends, without byte order mark.
    bom : bool
        True if the file starts with a byte order mark, which an edit keeps.
    """

    __slots__ = ("_asked", "_spans", "bom", "data", "path", "text")

    def __init__(self, path: str, data: dict[str, object], text: str, bom: bool = False) -> None:
        self.path = path
        self.data = data
        self.text = text
        self.bom = bom
        self._spans: dict[KeyPath, Span] | None = None
        self._asked = False

    def mark(self, keys: KeyPath) -> Mark:
        """Line and column of a key (of an array item: of its value); of the nearest parent where it is not written."""
        from formulint.positions import line_column

        spans = self._scanned() if self._asked else self._scanned_for(keys)
        self._asked = True
        for length in range(len(keys), 0, -1):
            span = spans.get(keys[:length])
            if span is not None:
                return Mark(self.path, *line_column(self.text, span[0] if span[0] >= 0 else span[2]))
        return Mark(self.path, 1, 1)

    def line_column(self, at: int) -> tuple[int, int]:
        """Line and column, from 1 and in characters, of a character offset in ``text``."""
        from formulint.positions import line_column

        return line_column(self.text, at)

    def span(self, keys: KeyPath) -> tuple[int, int] | None:
        """Start and end of a value, as character offsets in ``text``; None where no value is written."""
        span = self._scanned().get(keys)
        return None if span is None or span[2] < 0 else (span[2], span[3])

    def _scanned_for(self, keys: KeyPath) -> dict[KeyPath, Span]:
        """What is read on the way to a key: often nothing but the head of a record is asked for."""
        from formulint.positions import statements

        spans: dict[KeyPath, Span] = {}
        for _ in statements(self.text, spans):
            if keys in spans:
                return spans
        self._spans = spans
        return spans

    def _scanned(self) -> dict[KeyPath, Span]:
        if self._spans is None:
            from formulint.positions import scan

            self._spans = scan(self.text)
        return self._spans


def load(path: str, raw: bytes) -> tuple[Document | None, tuple[Fault, ...]]:
    """Read the bytes of a file.

    Returns
    -------
    Document or None
        None where the file cannot be read.
    tuple of Fault
        Why it cannot be read (kind ``fail``), or what other programs may stumble over (kind ``review``).
        Decimal numbers without quotation marks are left to ``shape``, which knows what the field wants.
    """
    bom = raw.startswith(_BOM)
    try:
        text = _decode(path, raw.removeprefix(_BOM))
        data = _parse(path, text)
    except _Unreadable as error:
        return None, error.faults
    faults = _newer(path, text)
    if bom:
        message = "the file starts with a byte order mark, which programs that read TOML 1.0 refuse"
        faults = (Fault(Place(path, (), 1, 1), message, "save it as UTF-8 without BOM", "review"), *faults)
    return Document(path, data, text, bom), faults


class _Unreadable(Exception):
    """The file cannot be read, and why."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__()
        self.faults = faults


def _decode(path: str, raw: bytes) -> str:
    if len(raw) > LARGEST:
        message = f"the file has {len(raw) / LARGEST:.1f} MiB; at most 1 MiB is read"
        raise _Unreadable(_whole(path, message, "a record is a page of text: split it"))
    if raw.startswith(_POINTER):
        message = "git keeps this file elsewhere (large-file storage): here is only a pointer to it"
        raise _Unreadable(
            _whole(path, message, "take this folder out of the large-file settings and add the file anew")
        )
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _Unreadable(_whole(path, "this is not a text in UTF-8", "save it as UTF-8 without BOM"))
    if b"\0" in raw:
        line, column = _line_column(raw, raw.index(0))
        message = "a zero byte stands here: this is not a text in UTF-8"
        raise _Unreadable(Fault(Place(path, (), line, column), message, "save it as UTF-8 without BOM"))
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _Unreadable(_bad_byte(path, raw, error.start)) from None


def _whole(path: str, message: str, remedy: str) -> Fault:
    return Fault(Place(path, (), 1, 1), message, remedy)


def _bad_byte(path: str, raw: bytes, at: int) -> Fault:
    likely = raw[at : at + 1].decode("cp1252", "ignore")
    meant = f', perhaps "{likely}" from an older Windows program' if likely.isprintable() and likely else ""
    message = f"the byte 0x{raw[at]:02X} is not UTF-8{meant}"
    return Fault(Place(path, (), *_line_column(raw, at)), message, "save the file as UTF-8")


def _line_column(raw: bytes, at: int) -> tuple[int, int]:
    before = raw[raw.rfind(b"\n", 0, at) + 1 : at]
    return raw.count(b"\n", 0, at) + 1, len(before.decode("utf-8", "replace")) + 1


def _parse(path: str, text: str) -> dict[str, object]:
    if "<<<<<<< " in text:
        from formulint import syntax

        if conflicts := syntax.conflicts(text):
            raise _Unreadable(*_faults(path, text, conflicts, "fail"))
    try:
        return tomli.loads(text, parse_float=BareNumber)
    except (ValueError, RecursionError) as error:
        from formulint import syntax

        source = error.doc if isinstance(error, tomli.TOMLDecodeError) else text
        raise _Unreadable(*_faults(path, source, [syntax.explain(error, text)], "fail")) from None


def _newer(path: str, text: str) -> tuple[Fault, ...]:
    """Syntax of TOML 1.1. A first look decides whether to look closely.

    It misses a line break inside ``{ }`` only where a brace inside a text happens to make up for it on the same line.
    """
    suspect = (
        ("{" in text and (_TRAILING_COMMA.search(text) or _uneven(text)))
        or _SHORT_TIME.search(text)
        or ("\\" in text and ("\\e" in text or "\\x" in text))
    )
    if not suspect:
        return ()
    from formulint import dialect

    return _faults(path, text, dialect.newer(text), "review")


def _uneven(text: str) -> bool:
    """True where a brace is open at the end of a line."""
    """True where a brace is open at the end of its line."""
    braces = text.encode("utf-8", "surrogateescape").translate(None, _NO_BRACE)
    while b"{}" in braces:
        braces = braces.replace(b"{}", b"")
    return b"{" in braces


def _faults(path: str, text: str, troubles: list[Trouble], kind: Kind) -> tuple[Fault, ...]:
    from formulint.positions import line_column

    return tuple(
        Fault(Place(path, (), *line_column(text, trouble.at)), trouble.message, trouble.remedy, kind)
        for trouble in troubles[:FEW]
    )
