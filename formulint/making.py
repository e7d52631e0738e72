"""What differs in how a paint is made: stages, their kinds and vessels, the work in them, what lines say beyond their amount."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from operator import attrgetter

from msgspec import Struct
from msgspec.structs import replace

from formulint.change import ADDITION, STAGE, Change
from formulint.fields import FieldChange, of_values, written
from formulint.finding import KeyPath
from formulint.formula import Addition, Formula, Stage

AMOUNT = ("material", "amount", "on", "as", "of", "alternates")  # told with the line itself
BEYOND = tuple(name for name in Addition.__struct_encode_fields__ if name not in (*AMOUNT, "step", "stage"))
_BEYOND = attrgetter(*BEYOND)
START = "the start"
_Key = tuple[str, int]  # what a line is, and which one of several in its stage


class _Line(Struct, frozen=True):
    """A line of a stage: its place, whether it is work and no material, what it says beyond its amount, what stands before it."""

    at: int
    work: bool
    said: dict[str, str]
    before: tuple[_Key, ...]


def of_making(old: Formula, new: Formula) -> Iterator[FieldChange]:
    """What differs in the making, stage by stage in the order of the newer sheet, then the order of the stages."""
    pairs = _paired(old.stage, new.stage)
    called = {one.name: other.name for one, other, _ in pairs if one and other}
    renamed = any(one != other for one, other in called.items())
    for one, other, at in pairs:
        here = other or one
        if here is None or (one == other and not renamed):
            continue
        keys: KeyPath = ("stage", at) if other else ("stage",)
        if one and other:
            yield from _of_stage(one, other, keys)
        else:
            yield FieldChange(Change.procedural, keys, f"{here.name}, stage", _stage_said(one), _stage_said(other))
        yield from _of_lines(here.name, _lines(one, called), _lines(other, {}), keys)
    both = [(one, other) for one, other, _ in pairs if one and other]
    was = [other.name for one, other in sorted(both, key=lambda pair: old.stage.index(pair[0]))]
    now = [other.name for _, other in both]
    if was != now:
        yield FieldChange(Change.procedural, ("stage",), "order of stages", ", ".join(was), ", ".join(now))


def _paired(old: Sequence[Stage], new: Sequence[Stage]) -> list[tuple[Stage | None, Stage | None, int]]:
    """Stages of one name, or at one place where both names are used only there; then those of one side, with their places."""
    before, names = {stage.name: stage for stage in old}, {stage.name for stage in new}
    found: list[tuple[Stage | None, Stage | None, int]] = []
    taken = set()
    for at, stage in enumerate(new):
        was = before.get(stage.name)
        if was is None and at < len(old) and old[at].name not in names:
            was = old[at]  # the same stage under another name
        taken.add(was.name if was else "")
        found.append((was, stage, at))
    return found + [(stage, None, at) for at, stage in enumerate(old) if stage.name not in taken]


def _of_stage(old: Stage, new: Stage, keys: KeyPath) -> Iterator[FieldChange]:
    for field in ("name", "kind", "vessel", "note"):
        was, now = getattr(old, field), getattr(new, field)
        if was != now:
            yield FieldChange(STAGE[field], (*keys, field), f"{new.name}, {field}", written(was), written(now))
    for one in of_values(old.process, new.process, Change.procedural, (*keys, "process")):
        yield replace(one, what=f"{new.name}, {' '.join(str(key) for key in one.keys[2:]).replace('_', ' ')}")


def _stage_said(stage: Stage | None) -> str | None:
    """A stage that only one side has, in a few words; its lines are told by themselves."""
    if stage is None:
        return None
    parts = [f"kind {stage.kind}", f"vessel {stage.vessel}" if stage.vessel else "", written(stage.process) or ""]
    return ", ".join(part for part in parts if part)


def _of_lines(stage: str, before: dict[_Key, _Line], after: dict[_Key, _Line], keys: KeyPath) -> Iterator[FieldChange]:
    """Work that came, went, changed or stands elsewhere, and what lines of materials say beyond their amount."""
    for key in dict.fromkeys((*after, *before)):
        one, other = before.get(key), after.get(key)
        name = f"{stage}, {key[0]}" + (f" ({key[1] + 1})" if key[1] else "")
        place: KeyPath = (*keys, "additions", other.at) if other else keys
        if one and other:
            for field in dict.fromkeys((*one.said, *other.said)):
                if one.said.get(field) != other.said.get(field):
                    sort = ADDITION[field]
                    yield FieldChange(sort, place, f"{name}, {field}", one.said.get(field), other.said.get(field))
            was, now = (_behind(line, before, after) for line in (one, other))
            if other.work and set(was) != set(now) and was[-1:] != now[-1:]:
                yield FieldChange(Change.procedural, place, f"{name}, stands after", _named(was), _named(now))
        elif (here := one or other) and (here.work or here.said):
            listed = ", ".join(f"{field} {text}" for field, text in here.said.items())
            words = f"after {_named(here.before)}" + (f": {listed}" if listed else "") if here.work else listed
            sort = Change.procedural if here.work else max(ADDITION[field] for field in here.said)
            yield FieldChange(sort, place, name, words if one else None, words if other else None)


def _lines(stage: Stage | None, called: dict[str, str]) -> dict[_Key, _Line]:
    """The lines of a stage by what they are, those of one sort counted; other stages by what they are ``called`` now."""
    found: dict[_Key, _Line] = {}
    for at, line in enumerate(stage.additions if stage else ()):
        name = line.material or line.step or f"takes up {called.get(line.stage or '', line.stage)}"
        times = 0
        while (name, times) in found:
            times += 1
        values = _BEYOND(line)
        said = {field: text for field, value in zip(BEYOND, values, strict=True) if value and (text := written(value)) is not None} if any(values) else {}
        found[name, times] = _Line(at, line.material is None, said, tuple(found))
    return found


def _behind(line: _Line, before: dict[_Key, _Line], after: dict[_Key, _Line]) -> tuple[_Key, ...]:
    """What stands before a line, of what is in the stage on both sides."""
    return tuple(key for key in line.before if key in before and key in after)


def _named(keys: tuple[_Key, ...]) -> str:
    return keys[-1][0] if keys else START
