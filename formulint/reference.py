"""The page of all properties: what each is, in which unit, who says so, how well that is known, what it has been held against.

What a property is and how far it is valid stand in the docstring of its law; how many printed worked examples it meets
stands in ``rules/reference.toml``, which a test counts anew.
"""

from __future__ import annotations

import inspect
import re

from msgspec import Struct

from formulint.properties import DOSES, PROPERTIES, Dose, Property
from formulint.report import Cell, Report, Section, Table, counted
from formulint.rulebook import Shipped

BASIS_WORDS = {"pigment": "pigment and extender", "binder": "binder solids", "batch": "the paint", "film": "what stays in the film"}
STRENGTH_WORDS = {"active": "active part", "supplied": "as supplied", "nonvolatile": "nonvolatile part"}
STATE_WORDS = {"tinted": "The same with all the colorant that its can takes.", "thinned": "The same with all the thinner that its label allows."}
SUBSTANCES = ("Any substance", "substance:CAS", "ppm", "Mass share of a substance, from all components that suppliers name.", "sum of the components (practice)", "0")


HEAD = ("property", "id", "unit", "what it is", "who says so (how well checked)", "printed examples met")
SHORT = ("id", "unit", "printed examples met")


class Met(Struct, frozen=True):
    """Printed worked examples that a property meets, and those of which the print is wrong and was found not to agree."""

    property: str
    published: int
    misprints: int = 0


class _File(Struct, frozen=True):
    met: tuple[Met, ...]


def met(shipped: Shipped) -> dict[str, Met]:
    """The examples by property."""
    return {one.property: one for one in shipped.part_as("reference", _File).met}


def section(law: object, title: str) -> str:
    """A section of a law's docstring as one line; empty where there is none."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=\n\n\w[^\n]*\n-+\n|\Z)", inspect.getdoc(law) or "", re.DOTALL | re.MULTILINE)
    return " ".join(found[1].split()) if found else ""


def definition(one: Property) -> str:
    """What a property is, in one sentence."""
    text = (inspect.getdoc(one.law) or "").partition("\n\n")[0]
    first = " ".join(text.split())
    return f"{first} {STATE_WORDS[one.state]}" if one.state else first


def definition_of_dose(one: Dose) -> str:
    """What a dose is, in one sentence."""
    return f"Mass of {one.function.replace('-', ' ')}, {STRENGTH_WORDS[one.as_]}, on {BASIS_WORDS[one.on]}."


def _unit(one: Property) -> str:
    return " or ".join(dict.fromkeys((one.unit.replace("$", "currency") or "1", one.unit_us.replace("$", "currency") or "1")))


def _row(one: Property, found: dict[str, Met]) -> tuple[str, ...]:
    example = found.get(one.id)  # what a law meets is no proof of the lines that it is put to when tinted or thinned
    cases = "0" if example is None else str(example.published) + (f" (and {counted(example.misprints, 'misprint')} found)" if example.misprints else "")
    how = "estimate; " if one.estimate else ""
    return (f"{one.title} ({one.symbol})", one.id, _unit(one), definition(one), f"{one.source} ({how}{one.checked})", cases)


def page(shipped: Shipped, wide: bool) -> Report:
    """The page as a report; ``wide`` with all of it in tables, else with short tables and a few lines for each property below."""
    found = met(shipped)
    groups = {
        "Properties": [_row(one, found) for one in PROPERTIES if not one.state],
        "Tinted and thinned": [_row(one, found) for one in PROPERTIES if one.state],
        "Doses and substances": [*(_row_of_dose(one) for one in DOSES), SUBSTANCES],
    }
    valid = {one.id: section(one.law, "Notes") for one in PROPERTIES if not one.state}
    if wide:
        sections = [Section(title, (), (_table(HEAD, rows),)) for title, rows in groups.items()]
        sections.append(Section("How far each is valid", (), (_table(("id", "validity"), list(valid.items())),)))
    else:
        sections = [Section(title, (), (_table(SHORT, [(row[1], row[2], row[5]) for row in rows]),)) for title, rows in groups.items()]
        lines = [(f"{row[1]}: {row[0]}. {row[3]}", valid.get(row[1], ""), f"By: {row[4]}") for rows in groups.values() for row in rows]
        sections.append(Section("What each is", (), (), tuple(line for trio in lines for line in trio if line)))
    total = sum(one.published for one in found.values())
    facts = ("units: metric, and US where they differ; JSON is always metric", f"{total} printed figures are met by these laws; the tests hold them against each")
    closing = ("verified: read in the named source; practice: common practice without one; memory: recalled, to be confirmed",)
    return Report(f"formulint: {sum(map(len, groups.values()))} properties", facts, tuple(sections), closing)


def _row_of_dose(one: Dose) -> tuple[str, ...]:
    return (one.title, one.id, one.unit, definition_of_dose(one), "customary basis of the trade (practice)", "0")


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> Table:
    return Table(head, tuple(tuple(map(Cell, row)) for row in rows))
