"""Results of tests, as their file says them: which paint was measured, by whom, when and how; the Structs are the one declaration of the format."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from msgspec import Meta, Struct

from formulint.concession import Words
from formulint.figure import Duration
from formulint.material import Code
from formulint.vocabulary import TestName

EYE = ("pass", "fail")
"""What a test that is judged by eye comes to."""

Sample = Literal["lab", "plant"]
Shown = Annotated[str, Meta(min_length=1, max_length=64, examples=["99 KU", "pass"])]


class Fingerprint(Struct, frozen=True, forbid_unknown_fields=True):
    """The paint that was measured: digests of its composition, of its materials' data and, where that counts, of its making."""

    composition: Annotated[str, Meta(pattern="^c1:[0-9a-f]{64}$")]
    data: Annotated[str, Meta(pattern="^d1:[0-9a-f]{64}$")]
    making: Annotated[str, Meta(pattern="^m1:[0-9a-f]{64}$")] | None = None


class Row(Struct, frozen=True, forbid_unknown_fields=True):
    """One test done once: its figure, or the figures of its repeats; ``pass`` or ``fail`` where an eye judges it.

    ``after`` and ``condition`` are those of the formula's test; ``sample`` is where the paint was made.
    """

    test: TestName
    method: Words
    value: Shown | Annotated[tuple[Shown, ...], Meta(min_length=1, max_length=100)]
    measured_on: date
    by: Words
    after: Duration | None = None
    condition: str = ""
    sample: Sample | None = None
    note: str = ""

    @property
    def values(self) -> tuple[str, ...]:
        """Every value as written, repeats one by one."""
        return (self.value,) if isinstance(self.value, str) else self.value


class Results(Struct, frozen=True, forbid_unknown_fields=True):
    """What was measured on one paint; it is known by its digests, ``revision`` is what people call it by."""

    code: Code
    formula: Code
    revision: Annotated[int, Meta(ge=1)]
    digest: Fingerprint
    result: Annotated[tuple[Row, ...], Meta(min_length=1)]
    note: str = ""
