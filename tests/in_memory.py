"""A formula repository that was never written to disk: records as Python values or as text, read by the real readers.

>>> shelf = catalog({"W": {"name": "water", ...}}, {"T-1": {"name": "white", "stage": [...], ...}})
>>> evaluation(shelf, "T-1").value("pvc")
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache

from msgspec import Struct
from repository import Table, text

from formulint.catalog import Catalog
from formulint.evaluate import Evaluation
from formulint.finding import Finding
from formulint.judge import Judge
from formulint.rulebook import Shipped
from formulint.snapshot import Snapshot
from formulint.source import Entry
from formulint.subject import FormulaSubject

TODAY = date(2026, 1, 12)
SETTINGS: Table = {"format": 1, "water_density": "1 kg/L", "units": "metric"}
"""Water of 1 kg/L, so that sums can be done in the head."""

Records = Mapping[str, Table | str]


class Memory(Struct, frozen=True):
    """Bytes by name."""

    files: Mapping[str, str]

    def contents(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        """The bytes of these files."""
        return {entry.name: self.files[entry.name].encode() for entry in entries}

    def expect(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        """All of it is here."""
        return self.contents(entries)

    def close(self) -> None:
        """There is nothing to close."""


@cache
def shipped() -> Shipped:
    """The packs, read once."""
    return Shipped()


def files(materials: Records, formulas: Records, settings: Table = SETTINGS) -> dict[str, str]:
    """Every file of a repository, by name; a record given as text is taken as it is."""
    found = {"formulint.toml": text(settings)}
    for folder, records in (("materials", materials), ("formulas", formulas)):
        for code, record in records.items():
            found[f"{folder}/{code}.toml"] = record if isinstance(record, str) else text({"code": code, **record})
    return found


def of_files(made: Mapping[str, str]) -> Catalog:
    """The catalog of a repository given as files."""
    entries = {name: Entry(name, "", "100644") for name in made}
    state = Snapshot("memory", TODAY, "the test", "", "", None, entries, (), Memory(made), None)
    return Catalog(state, shipped(), TODAY)


def catalog(materials: Records, formulas: Records, settings: Table = SETTINGS) -> Catalog:
    """The catalog of these records."""
    return of_files(files(materials, formulas, settings))


def subject(shelf: Catalog, code: str) -> FormulaSubject:
    """A formula that can be read, with its values."""
    file = shelf.find_formula(code)
    assert file is not None and file.record is not None, file
    return shelf.subject(file)


def evaluation(shelf: Catalog, code: str) -> Evaluation:
    """All values of a formula, doses and substances too."""
    return shelf.full(subject(shelf, code))


def findings(shelf: Catalog, code: str) -> tuple[Finding, ...]:
    """Everything there is to say about a formula."""
    file = shelf.find_formula(code)
    assert file is not None
    return tuple(Judge(shelf).formula(file))
