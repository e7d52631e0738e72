"""Every field of every record has one class of change, and an edit that shows that the digests think so too."""

from __future__ import annotations

from collections.abc import Iterator
from typing import get_args, get_type_hints

import pytest
from edits import EDITS
from msgspec import Struct

from formulint.change import Change, of_fields, table
from formulint.formula import Addition, Formula, Process, Stage
from formulint.kinds import KINDS
from formulint.material import Component, Material
from formulint.rule import Rule
from formulint.settings import Settings

EDITED = {one.__name__: one for one in (Formula, Stage, Process, Addition, Material, Component)}
NAMES = {"Formula.code", "Material.code"}  # another code is another file; "renamed" cases are about that
SHOWS = {Change.editorial: "", Change.policy: "", Change.procedural: "m", Change.data: "d"}
FIELDS = {f"{record}.{field}": change for record, kind in EDITED.items() for field, change in table()[kind].items()}
UNLISTED = {
    "Adjust", "Approvers", "Bounds", "Category", "DoseWindow", "Estimates", "Folders", "Gloss", "HazardFigures", "NotExempt", "Pick",
    "Product", "Repeats", "RuleSetting", "Side", "Source", "TemperatureRange", "TestSpec", "Thinning", "Unnamed", "Where", "Window",
}  # fmt: skip
"""Tables that have the class of the field they stand in; a new one needs a thought here."""


def inside(kind: object) -> Iterator[type[Struct]]:
    """The records that a type of field is made of."""
    if isinstance(kind, type) and issubclass(kind, Struct):
        yield kind
    for one in get_args(kind):
        yield from inside(one)


def reached(record: type[Struct], seen: set[type[Struct]]) -> set[type[Struct]]:
    """A record and all that stand inside it."""
    if record not in seen:
        seen.add(record)
        for hint in get_type_hints(record).values():
            for one in inside(hint):
                reached(one, seen)
    return seen


RECORDS = {found for root in (Formula, Material, Settings, Rule, *KINDS.values()) for found in reached(root, set())}


@pytest.mark.parametrize("record", table(), ids=lambda record: record.__name__)
def test_every_field_has_a_class(record: type[Struct]) -> None:
    assert sorted(table()[record]) == sorted(record.__struct_encode_fields__)


def test_every_table_of_the_format_is_listed_or_known_to_need_no_list() -> None:
    assert {record.__name__ for record in RECORDS if record not in table()} == UNLISTED


def test_every_field_has_an_edit() -> None:
    assert {field for edit in EDITS.values() for field in edit.fields} == set(FIELDS) - NAMES


@pytest.mark.parametrize("name", [name for name, edit in EDITS.items() if edit.fields])
def test_the_digests_agree_with_the_table(name: str) -> None:
    edit = EDITS[name]
    for field in edit.fields:
        assert edit.digests == SHOWS.get(FIELDS[field], edit.digests or "something"), field
        assert (edit.class_ == "compositional") == (FIELDS[field] is Change.compositional), field


def test_the_fields_that_differ_with_their_class() -> None:
    one = Stage("Grind", "grind", (Addition(material="W"),))
    other = Stage("Mill", "grind", (Addition(material="W", on="batch"),))
    assert of_fields(Stage, one, other) == {"name": Change.editorial, "additions": Change.compositional}
    assert of_fields(Addition, one.additions[0], other.additions[0]) == {"on": Change.compositional}
