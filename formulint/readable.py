"""What a type of field is that reads itself, such as a figure with its unit."""

from __future__ import annotations

from typing import Protocol, TypeGuard


class Readable(Protocol):
    """A type of field that reads itself from a TOML value, such as ``figure.Density``."""

    @classmethod
    def read(cls, raw: object) -> object:
        """The value; raises ``Misread`` where it cannot be understood."""

    @classmethod
    def schema(cls) -> dict[str, object]:
        """JSON Schema of the field."""


def reads_itself(kind: type) -> TypeGuard[type[Readable]]:
    """True for a type of field that has a reader of its own."""
    return hasattr(kind, "read")
