"""Which class of change an edit of a field is: every field of every record is assigned once, in this table."""

from __future__ import annotations

from enum import IntEnum
from functools import cache

from msgspec import Struct

from formulint.concession import Concession
from formulint.equipment import Equipment
from formulint.formula import Addition, Formula, Process, Stage
from formulint.kinds import KINDS
from formulint.material import Component, Material
from formulint.rule import Rule
from formulint.settings import Settings
from formulint.standing import Old, Standing


class Change(IntEnum):
    """Classes of change, from what asks for nothing to what asks most of the lab; ``policy`` has an approver of its own.

    ``evidence`` changes no paint: it is what was measured on one. More of it is welcome; what is on file stays as it is.
    """

    none = 0
    editorial = 1
    equivalent = 2
    procedural = 3
    data = 4
    compositional = 5
    policy = 6
    evidence = 7


def _all(change: Change, names: str) -> dict[str, Change]:
    return dict.fromkeys(names.split(), change)


FORMULA: dict[str, Change] = {
    **_all(Change.editorial, "code name revision note"),
    **_all(Change.policy, "state class markets category product limits tests"),
    **_all(Change.compositional, "batch stage"),
}
STAGE: dict[str, Change] = {
    **_all(Change.editorial, "name note"),
    **_all(Change.procedural, "kind vessel process"),
    **_all(Change.compositional, "additions"),
}
PROCESS: dict[str, Change] = {
    **_all(Change.editorial, "note"),
    **_all(Change.procedural, "step speed time temperature until check"),
}
ADDITION: dict[str, Change] = {
    **_all(Change.editorial, "note"),
    **_all(Change.procedural, "stage step speed time temperature until check adjust max"),
    **_all(Change.compositional, "material amount on as of alternates"),
}
MATERIAL: dict[str, Change] = {
    **_all(Change.editorial, "code name price price_date sds_date source note nonvolatile_oven nonvolatile_oven_method"),
    **_all(
        Change.data,
        "density nonvolatile water voc voc_us voc_eu exempt other_volatile nonvolatile_density film_density active pigment"
        " pigment_density oil_absorption surface_area dispersant_demand binder_index ph ionic minimum_film_temperature"
        " film_temperature_drop disclosure component functions form tags",
    ),
    **_all(Change.compositional, "supplier"),
    **_all(Change.policy, "state approved_for dose tolerance"),
}
EQUIPMENT: dict[str, Change] = {
    **_all(Change.editorial, "code name note"),
    **_all(Change.procedural, "kind diameter disc fill capacity division tolerance"),
}
RESULTS: dict[str, Change] = {
    **_all(Change.editorial, "code note"),
    **_all(Change.evidence, "formula revision digest result"),
}
ROW: dict[str, Change] = {
    **_all(Change.editorial, "note"),
    **_all(Change.evidence, "test method value measured_on by after condition sample"),
}
COMPONENT: dict[str, Change] = _all(Change.data, "name share cas hazards hazard_figures volatile boiling_point density")

PAINT: dict[type[Struct], dict[str, Change]] = {
    Formula: FORMULA,
    Stage: STAGE,
    Process: PROCESS,
    Addition: ADDITION,
    Material: MATERIAL,
    Component: COMPONENT,
    Equipment: EQUIPMENT,
}
"""What a paint, its materials and its vessels are written in: the records that most commits are about."""


@cache
def table() -> dict[type[Struct], dict[str, Change]]:
    """Each record with the classes of its fields; a table that is not listed has the class of the field it stands in."""
    from formulint.released import ReleaseRecord  # few commits touch records or results, and none waits for them
    from formulint.result import Results, Row

    policy: tuple[type[Struct], ...] = (Settings, Concession, Standing, Old, ReleaseRecord, Rule, *KINDS.values())
    asked = {record: _all(Change.policy, " ".join(record.__struct_encode_fields__)) for record in policy}
    return {**PAINT, Results: RESULTS, Row: ROW, **asked}


def classes(record: type[Struct]) -> dict[str, Change]:
    """The classes of the fields of a record; empty for a table that is not listed."""
    return PAINT.get(record) or table().get(record, {})


def of_fields(record: type[Struct], before: Struct, after: Struct) -> dict[str, Change]:
    """The fields that differ between two records of one type, each with its class."""
    names = zip(record.__struct_fields__, record.__struct_encode_fields__, strict=True)
    return {
        spelled: classes(record)[spelled]
        for name, spelled in names
        if getattr(before, name) != getattr(after, name)
    }
