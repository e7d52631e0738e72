"""What differs between two states of a record, field by field and as written: ``limits, density: 11.79 to 12.09 lb/gal -> ...``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

import msgspec
from msgspec import Struct

from formulint.change import Change, classes
from formulint.figure import Figure
from formulint.finding import KeyPath

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
            change = classes(kind).get(spelled, Change.policy)
            yield from of_values(getattr(old, name), getattr(new, name), change, (spelled,))


def of_values(old: object, new: object, change: Change, keys: KeyPath) -> Iterator[FieldChange]:
    """What differs between two values of a field; tables are gone into where both are there."""
    if old == new:
        return
    one, other = inner_of(old), inner_of(new)
    if keys and keys[0] == "component":
        one, other = _by_name(old), _by_name(new)
    if old is None or new is None or (one is None and other is None) or not (_nests(old) or _nests(new)):
        was, now = written(old), written(new)
        if (was, now) != (None, None):
            yield FieldChange(change, keys, words(keys), was, now)
        return
    for key in dict.fromkeys((*(one or {}), *(other or {}))):
        yield from of_values((one or {}).get(key), (other or {}).get(key), change, (*keys, key))


def _nests(value: object) -> bool:
    """True for a table whose fields are worth a line each; a pair of ends reads best as one."""
    if isinstance(value, Mapping):
        return True
    if isinstance(value, Struct):
        return not {"min", "max"} <= set(type(value).__struct_fields__) or "method" in type(value).__struct_fields__
    return isinstance(value, tuple) and bool(value) and isinstance(value[0], Struct)


def inner_of(value: object) -> dict[str, object] | None:
    """The fields of a table as its file names them; None for what is no table."""
    if isinstance(value, Mapping):
        return {str(key): inner for key, inner in value.items()}
    if isinstance(value, Struct):
        kind = type(value)
        return {spelled: getattr(value, name) for name, spelled in zip(kind.__struct_fields__, kind.__struct_encode_fields__, strict=True)}
    return None


def _by_name(value: object) -> dict[str, object] | None:
    """The components of a material by what they are called; a table of one is gone into as any other."""
    if not isinstance(value, tuple):
        return inner_of(value)
    found: dict[str, object] = {}
    for one in value:
        name, times = str(getattr(one, "name", "")), 1
        while (key := name if times == 1 else f"{name} ({times})") in found:
            times += 1
        found[key] = one
    return found


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
    inner = _beyond_defaults(value)
    said = {key: text for key, one in inner.items() if (text := written(one)) is not None}
    if "min" in inner and "max" in inner and set(said) <= {"min", "max"}:
        return _range(said.get("min"), said.get("max"))
    return ", ".join(f"{key.replace('_', ' ')} {text}" for key, text in said.items()) or None


def _beyond_defaults(value: object) -> dict[str, object]:
    """The fields of a table that its file had to say: what is as usual goes without saying."""
    inner = inner_of(value) or {}
    if not isinstance(value, Struct):
        return inner
    usual = {one.encode_name: one.default for one in msgspec.structs.fields(type(value))}
    return {key: one for key, one in inner.items() if key in ("min", "max") or one != usual.get(key, msgspec.NODEFAULT)}


def _range(least: str | None, most: str | None) -> str | None:
    if least is not None and most is not None:
        return f"{least} to {most}"
    return f"at least {least}" if least is not None else None if most is None else f"at most {most}"
