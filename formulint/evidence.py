"""What a proposal does to policy inside records: classes, markets, limits and states of formulas; what materials are said to be."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from msgspec import Struct

from formulint.catalog import Catalog, stem
from formulint.change import COMPONENT, MATERIAL, Change
from formulint.fields import words, written
from formulint.figure import Figure
from formulint.finding import Finding, KeyPath, Place
from formulint.formula import Formula
from formulint.material import Component, Material
from formulint.proposal import notice
from formulint.settings import Folders
from formulint.snapshot import FileChange
from formulint.yardstick import policy_fields

RELAXING = (
    "functions", "form", "tags", "ionic", "state", "approved_for", "dose", "tolerance", "voc", "voc_us", "voc_eu", "exempt",
    "other_volatile", "component", "disclosure",
)  # fmt: skip
"""Fields of a material by which rules are chosen or relaxed."""

EVIDENCE = tuple(field for field, change in MATERIAL.items() if change >= Change.data)
"""Fields of a material on which any verdict rests: all of it but names, notes, prices and dates."""

IN_USE = ("approved", "phase-out")
"""States in which a material may be used in production."""

LONGEST = 80  # characters of a value that are told
MATERIAL_APPROVER = "the material approver decides on it"


class Use(Struct, frozen=True):
    """What sold formulas hold: ``strict`` are intermediates in production ones, ``materials`` names a user of each code."""

    strict: frozenset[str]
    materials: Mapping[str, str]


def records(before: Catalog, after: Catalog, changes: Iterable[FileChange], use: Use) -> Iterator[Finding]:
    """What a proposal does to the policy inside records, and to what verdicts rest on."""
    folders = after.settings.folders
    listed = [one for one in changes if one.name.endswith(".toml") and a_record(one.name, folders)]
    before.preload([one.name for one in listed if one.old])
    after.preload([one.name for one in listed if one.new])
    for one in listed:
        code = stem(one.name)
        formula = one.name.startswith(f"{folders.formulas}/")
        if not one.old:
            yield from () if formula else _new_material(before, after, code, one.name, use)
            continue
        was = before.formula(one.name) if formula else before.material(one.name)
        if was.record is None:
            told = f"{code} cannot be read on the base, so nobody can say what changes in it"
            yield notice("unknown-before", Place(one.name), told, "somebody who knows the record reads it as a whole", *_as(code, formula))
        elif isinstance(was.record, Formula):
            yield from _formula(was.record, after, code, one.name, use.strict)
        else:
            yield from _material(was.record, after, code, use)


def a_record(name: str, folders: Folders) -> bool:
    """True for a name in the folders of materials and formulas."""
    return name.startswith((f"{folders.materials}/", f"{folders.formulas}/"))


def _as(code: str, formula: bool) -> tuple[str, str]:
    return (code, "") if formula else ("", code)


def _formula(old: Formula, after: Catalog, code: str, name: str, strict: Collection[str]) -> Iterator[Finding]:
    file, material = after.find_formula(code), after.find_material(code)
    if file is None and material is not None:
        told = f"{code} was a formula and becomes a raw material: its lines are judged no more"
        yield notice("evidence", Place(material.name), told, f"{MATERIAL_APPROVER}; a new material has a new code", "", code)
    elif file is None and old.state == "production":
        told = f"{code} is in production and vanishes"
        yield notice("formula-stays", Place(name), told, "withdraw it (state = \"withdrawn\"), with the formula approver", code)
    new = None if file is None else file.record
    if file is None or new is None:
        return
    if old.state == "production" and new.state != "production":
        told = f"{code} is withdrawn from production" if new.state == "withdrawn" else f"{code} goes back from production to {new.state}"
        yield notice("formula-stays", Place(file.name, ("state",)), told, "the formula approver decides on it", code)
    fields = [field for field in policy_fields(old, new) if field != "state"]
    if fields and ("production" in (old.state, new.state) or code in strict):
        keys: KeyPath = (fields[0],)
        told = f"{code} would be judged by other things: {', '.join(fields)} changed"
        yield notice("policy", Place(file.name, keys), told, "the policy approver decides on it; propose it apart from the composition", code)


# --- materials ---------------------------------------------------------------------------------------------------


def _new_material(before: Catalog, after: Catalog, code: str, name: str, use: Use) -> Iterator[Finding]:
    """A material that nobody approved but the proposal itself; one on trial is free until something sold holds it."""
    material = after.material(name).record
    if material is None or before.find_material(code) is not None:
        return
    user = use.materials.get(code)
    if material.state in IN_USE or user is not None:
        held = f", and {user} holds it" if user else ""
        how = "approved by this proposal itself" if material.state in IN_USE else f"in state {material.state}"
        told = f"{code} ({_short(material.name)}) is a new material, {how}{held}"
        helps = f'{MATERIAL_APPROVER}; on the bench it may be tried with state = "trial"'
        yield notice("new-material", Place(name, ("state",)), told, helps, "", code)


def _material(old: Material, after: Catalog, code: str, use: Use) -> Iterator[Finding]:
    file, blend = after.find_material(code), after.find_formula(code)
    if file is None and blend is not None:
        told = f"{code} was a raw material and becomes a formula: what is known of it counts no more"
        yield notice("evidence", Place(blend.name), told, f"{MATERIAL_APPROVER}; an intermediate has a code of its own", "", code)
    if file is None or file.record is None:
        return
    new = file.record
    counts = code in use.materials or old.state in IN_USE or new.state in IN_USE
    for field in EVIDENCE if counts else RELAXING:
        for keys, what in _changed(getattr(old, field), getattr(new, field), field):
            helps = f"{MATERIAL_APPROVER}: verdicts rest on it"
            yield notice("evidence", Place(file.name, keys), f"{code}: {what}", helps, "", code)


def _changed(old: object, new: object, field: str) -> Iterator[tuple[KeyPath, str]]:
    """What differs in one field of a material, in words: each with the place where it stands."""
    if field == "component":
        assert isinstance(old, tuple) and isinstance(new, tuple)
        yield from _components(old, new)
    elif _meant(old) != _meant(new):
        yield (field,), f"{words((field,))} changed from {_worded(old)} to {_worded(new)}"


def _components(old: tuple[Component, ...], new: tuple[Component, ...]) -> Iterator[tuple[KeyPath, str]]:
    """Components that came, went or changed; the same one is known by its CAS number, else by its name."""
    was, now = ({(one.cas or one.name, nth): (at, one) for at, one, nth in _numbered(side)} for side in (old, new))
    for key, (_, one) in was.items():
        if key not in now:
            yield ("component",), f"component {_called(one)} left out"
    for key, (at, one) in now.items():
        before = was.get(key)
        if before is None:
            yield ("component", at), f"component {_called(one)} added, {one.share.text}"
            continue
        for field in COMPONENT:
            left, right = getattr(before[1], field), getattr(one, field)
            if _meant(left) != _meant(right):
                yield ("component", at, field), f"component {_called(before[1])}: {words((field,))} changed from {_worded(left)} to {_worded(right)}"


def _numbered(components: tuple[Component, ...]) -> Iterator[tuple[int, Component, int]]:
    """Each component with its place in the list, and which one of its kind it is."""
    seen: dict[str, int] = {}
    for at, one in enumerate(components):
        seen[one.cas or one.name] = seen.get(one.cas or one.name, 0) + 1
        yield at, one, seen[one.cas or one.name]


def _called(one: Component) -> str:
    return _short(f"{one.name} ({one.cas})" if one.cas else one.name)


def _meant(value: object) -> object:
    """What a value says, however it is spelled: the same figure in another unit is no change."""
    if isinstance(value, Figure):
        if getattr(value, "derived", False):
            return "derived"
        return value.dimension, value.lo.exact, value.hi.exact
    if isinstance(value, tuple):
        return sorted(value)
    if isinstance(value, Struct):
        return [_meant(getattr(value, name)) for name in value.__struct_fields__]
    if isinstance(value, dict):
        return {name: _meant(inner) for name, inner in value.items()}
    return value


def _worded(value: object) -> str:
    """A value for people; what is not written is said so."""
    return "none" if value == () else _short(written(value) or "unknown")


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[:LONGEST]} ..."
