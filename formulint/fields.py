"""What differs between two states of a record, field by field and as written: ``limits, density: 11.79 to 12.09 lb/gal -> ...``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

import msgspec
from msgspec import Struct

from formulint.change import TABLE, Change
from formulint.figure import Figure
from formulint.finding import KeyPath
from formulint.formula import Addition, Formula, Stage

APART = ("stage",)  # of a formula: told line by line, by step and by stage


class FieldChange(Struct, frozen=True):
    """A field before and after, as written; None where it is not there. ``change`` is its class, ``keys`` name it."""

    change: Change
    keys: KeyPath
    what: str
    before: str | None
    after: str | None


def of_records(old: Struct, new: Struct) -> Iterator[FieldChange]:
    """Every field that differs, those of tables one by one; of a formula all but its stages."""
    kind = type(new)
    for name, spelled in zip(kind.__struct_fields__, kind.__struct_encode_fields__, strict=True):
        if spelled not in APART:
            change = TABLE.get(kind, {}).get(spelled, Change.policy)
            yield from _of_values(getattr(old, name), getattr(new, name), change, (spelled,))


def _of_values(old: object, new: object, change: Change, keys: KeyPath) -> Iterator[FieldChange]:
    if old == new:
        return
    one, other = _inner(old), _inner(new)
    if keys and keys[0] == "component":
        one, other = _by_name(old), _by_name(new)
    if (one is None and other is None) or not (_nests(old) or _nests(new)):
        yield FieldChange(change, keys, words(keys), written(old), written(new))
        return
    for key in dict.fromkeys((*(one or {}), *(other or {}))):
        yield from _of_values((one or {}).get(key), (other or {}).get(key), change, (*keys, key))


def _nests(value: object) -> bool:
    """True for a table whose fields are worth a line each; a pair of ends reads best as one."""
    if isinstance(value, Mapping):
        return True
    if isinstance(value, Struct):
        return not {"min", "max"} <= set(type(value).__struct_fields__) or "method" in type(value).__struct_fields__
    return isinstance(value, tuple) and bool(value) and isinstance(value[0], Struct)


def _inner(value: object) -> dict[str, object] | None:
    if isinstance(value, Mapping):
        return {str(key): inner for key, inner in value.items()}
    if isinstance(value, Struct):
        kind = type(value)
        return {spelled: getattr(value, name) for name, spelled in zip(kind.__struct_fields__, kind.__struct_encode_fields__, strict=True)}
    return None


def _by_name(value: object) -> dict[str, object] | None:
    """The components of a material by what they are called; a table of one is gone into as any other."""
    if isinstance(value, tuple):
        return {getattr(one, "name", "") or getattr(one, "cas", ""): one for one in value}
    return _inner(value)


def words(keys: Sequence[str | int]) -> str:
    """A key path for people: ``limits, pvc binder``."""
    return ", ".join(str(key).replace("_", " ") for key in keys if not isinstance(key, int))


def written(value: object) -> str | None:
    """A value as its file says it, on one line; None for what is not there."""
    if value is None or value is msgspec.UNSET or value in ((), {}, ""):
        return None
    if isinstance(value, Figure):
        return value.text
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str | int | date):
        return str(value)
    if isinstance(value, tuple):
        return ", ".join(text for one in value if (text := written(one)) is not None) or None
    inner = _inner(value) or {}
    said = {key: text for key, one in inner.items() if (text := written(one)) is not None}
    if "min" in inner and "max" in inner and set(said) <= {"min", "max"}:
        return _range(said.get("min"), said.get("max"))
    return ", ".join(f"{key.replace('_', ' ')} {text}" for key, text in said.items()) or None


def _range(least: str | None, most: str | None) -> str | None:
    if least is not None and most is not None:
        return f"{least} to {most}"
    return f"at least {least}" if least is not None else None if most is None else f"at most {most}"


def of_making(old: Formula, new: Formula) -> Iterator[FieldChange]:
    """What differs in how it is made: kinds and vessels of stages, their work, what lines say beyond their amount."""
    stages = {stage.name: (i, stage) for i, stage in enumerate(new.stage)}
    for i, stage in enumerate(old.stage):
        found = stages.get(stage.name)
        if found is None and i < len(new.stage) and new.stage[i].name not in {one.name for one in old.stage}:
            found = (i, new.stage[i])  # the same stage under another name
        if found is not None:
            yield from _of_stage(stage, found[1], ("stage", found[0]))


def _of_stage(old: Stage, new: Stage, keys: KeyPath) -> Iterator[FieldChange]:
    for field in ("name", "kind", "vessel"):
        if getattr(old, field) != getattr(new, field):
            change = TABLE[Stage][field]
            yield FieldChange(change, (*keys, field), f"{new.name}, {field}", written(getattr(old, field)), written(getattr(new, field)))
    yield from _named(new.name, _of_values(old.process, new.process, Change.procedural, (*keys, "process")))
    before, after = _steps(old.additions), _steps(new.additions)
    for key in dict.fromkeys((*before, *after)):
        one, other = before.get(key), after.get(key)
        at = other[0] if other is not None else 0
        was, now = (None if step is None else _said(step[1], ("material", "amount", "stage", "on", "as", "of", "alternates")) for step in (one, other))
        if was != now:
            yield FieldChange(Change.procedural, (*keys, "additions", at), f"{new.name}, {key[0]}", was, now)


def _named(stage: str, found: Iterator[FieldChange]) -> Iterator[FieldChange]:
    for one in found:
        yield msgspec.structs.replace(one, what=f"{stage}, {words(one.keys[2:])}")


def _steps(additions: Sequence[Addition]) -> dict[tuple[str, int], tuple[int, Addition]]:
    """Steps by their sort, and lines of materials that say more than an amount, each with its place."""
    found: dict[tuple[str, int], tuple[int, Addition]] = {}
    for at, line in enumerate(additions):
        name = line.step or (line.material if line.adjust or line.max else None) or (f"takes up {line.stage}" if line.stage else None)
        if name is not None:
            times = sum(1 for key in found if key[0] == name)
            found[name, times] = (at, line)
    return found


def _said(line: Addition, but: tuple[str, ...]) -> str:
    inner = _inner(line) or {}
    said = [f"{key.replace('_', ' ')} {text}" for key, one in inner.items() if key not in but and key != "step" and (text := written(one)) is not None]
    return ", ".join(said) or "as usual"
