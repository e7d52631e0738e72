"""From a table of a file to a record: a Struct where all is well, else every fault with the place where it stands."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import TypeVar

import msgspec

from formulint.document import Document
from formulint.finding import Fault, KeyPath
from formulint.readable import reads_itself

T = TypeVar("T")

NATIVE = (date, datetime, time)
"""What the parser gives as itself, beside texts, numbers, tables and lists."""


# A shop writes the same figures over and over ("2.0 lb" stands in half of all sheets); figures never change once read.
_READ: dict[tuple[type, str], object] = {}
_MOST = 50_000


def dec_hook(kind: type, raw: object) -> object:
    """Read a field whose type reads itself; for ``msgspec.convert`` and the decoders of msgspec."""
    if type(raw) is str:
        known = _READ.get((kind, raw))
        if known is not None:
            return known
    if reads_itself(kind):
        value = kind.read(raw)
        if type(raw) is str and len(_READ) < _MOST:
            _READ[kind, raw] = value
        return value
    # A record was declared wrongly. No ValueError or TypeError: msgspec would take those for a fault of somebody's file.
    raise RuntimeError(f"no reader for {kind.__name__}")


def read(document: Document, record: type[T]) -> tuple[T | None, tuple[Fault, ...]]:
    """The record that a file holds.

    Returns
    -------
    record or None
        None if there is any fault.
    tuple of Fault
        All of them, each at the key or the value that is wrong; what is missing at the table it is missing from.
    """
    return read_table(document.data, record, document.path, ())


def read_table(raw: object, record: type[T], path: str, keys: KeyPath) -> tuple[T | None, tuple[Fault, ...]]:
    """As ``read``, for the table that stands at ``keys`` of the file ``path``."""
    try:
        return msgspec.convert(raw, record, builtin_types=NATIVE, dec_hook=dec_hook), ()
    except (msgspec.ValidationError, RecursionError) as error:
        from formulint.misfit import misfits

        return None, misfits(raw, record, path, keys, error)


def schema(record: type) -> dict[str, object]:
    """JSON Schema (draft 7) of a record's file, for editors: completion, spelling, documentation while typing."""
    from formulint.editor_schema import draft7

    return draft7(record)
