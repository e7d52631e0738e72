"""From a table of a file to a record: a Struct where all is well, else every fault with the place where it stands."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import TypeVar

import msgspec

from formulint.document import Document
from formulint.finding import Fault, KeyPath
from formulint.readable import reads_itself

T = TypeVar("T")

_NATIVE = (date, datetime, time)


def dec_hook(kind: type, raw: object) -> object:
    """Read a field whose type reads itself; for ``msgspec.convert`` and the decoders of msgspec."""
    if reads_itself(kind):
        return kind.read(raw)
    raise NotImplementedError(f"no reader for {kind.__name__}")


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
        return msgspec.convert(raw, record, builtin_types=_NATIVE, dec_hook=dec_hook), ()
    except (msgspec.ValidationError, RecursionError) as error:
        from formulint.misfit import misfits

        return None, misfits(raw, record, path, keys, error)


def schema(record: type) -> dict[str, object]:
    """JSON Schema (draft 7) of a record's file, for editors: completion, spelling, documentation while typing."""
    from formulint.editor_schema import draft7

    return draft7(record)
