"""Which additions differ between two states of a formula: changed, moved, replaced, added, removed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Literal

from msgspec import Struct

from formulint.amounts import Line
from formulint.digest import agree
from formulint.finding import Place
from formulint.formula import Addition
from formulint.side import Side

SAME = 1e-9  # relative: nearer than this, what fills the batch has not moved
Action = Literal["added", "removed", "changed", "moved", "replaced", "filled"]


class LineChange(Struct, frozen=True):
    """An addition that differs: as written before and after, in kilograms per litre of batch, and in kilograms.

    ``filled`` is q.s. as before, of which it takes another amount now. ``rewritten`` is an amount that says the same
    within its digits, on the same basis. ``where`` says of what has moved where it stood and where it stands.
    """

    action: Action
    stage: str
    material: str
    name: str
    before: str | None
    after: str | None
    kg_before: float | None
    kg_after: float | None
    place: Place
    weights: tuple[float | None, float | None] = (None, None)
    fills: tuple[bool, bool] = (False, False)
    rewritten: bool = False
    where: tuple[str, str] = ("", "")


def additions(old: Side | None, new: Side | None) -> Iterable[LineChange]:
    """Every addition that differs; the same pairs, whichever of the two states is called the older."""
    before = _listed(old, {})
    after = _listed(new, _renamed(old, new))
    pairs = _same_line(before, after)
    gone = [key for key in before if key not in pairs]
    come = [key for key in after if key not in pairs.values()]
    moved = _pair(gone, come, lambda one, other: one[1] == other[1])
    gone, come = [key for key in gone if key not in moved], [key for key in come if key not in moved.values()]
    swapped = _pair(gone, come, lambda one, other: one[0] == other[0] and before[one].at == after[other].at)
    for key in before:
        if key in moved:
            yield _line_change("moved", before[key], after[moved[key]], old, new)
        elif key in swapped:
            yield _line_change("replaced", before[key], after[swapped[key]], old, new)
        elif key not in pairs:
            yield _line_change("removed", before[key], None, old, new)
    for key in come:
        if key not in swapped.values():
            yield _line_change("added", None, after[key], old, new)
    back = {other: key for key, other in pairs.items()}
    out_of_order = _moved(list(pairs), [back[key] for key in after if key in back])
    for key, other in pairs.items():
        if _text(before[key]) != _text(after[other]):
            yield _line_change("changed", before[key], after[other], old, new)
        elif key in out_of_order:
            yield _line_change("moved", before[key], after[other], old, new)
        elif _fills(before[key]) and _differ(_weight(before[key]), _weight(after[other])):
            yield _line_change("filled", before[key], after[other], old, new)


_Key = tuple[str, str, int]  # stage, material, occurrence in the stage


class _Listed(Struct, frozen=True):
    """An addition of a sheet: its stage, its place in it, the line, what it weighs, where it is written."""

    stage: str
    at: int
    line: Addition
    weighed: Line | None
    place: Place
    behind: str = ""


def _renamed(old: Side | None, new: Side | None) -> dict[str, str]:
    """New names of stages that stand where another name stood before, with that name: the stage is the same."""
    if old is None or new is None:
        return {}
    before, after = ([stage.name for stage in one.formula.stage] for one in (old, new))
    return {name: was for was, name in zip(before, after, strict=False) if was not in after and name not in before}


def _listed(one: Side | None, renamed: dict[str, str]) -> dict[_Key, _Listed]:
    found: dict[_Key, _Listed] = {}
    if one is None:
        return found
    weighed = {(line.stage, line.at): line for line in one.lines}
    for i, stage in enumerate(one.formula.stage):
        name = renamed.get(stage.name, stage.name)
        for j, line in enumerate(stage.additions):
            if line.material is None:
                continue
            times = 0
            while (name, line.material, times) in found:
                times += 1
            place = Place(one.file.name, ("stage", i, "additions", j))
            last = stage.additions[j - 1] if j else None
            behind = "first" if last is None else f"after {last.material or last.step or last.stage}"
            found[name, line.material, times] = _Listed(stage.name, j, line, weighed.get((i, j)), place, behind)
    return found


def _same_line(before: dict[_Key, _Listed], after: dict[_Key, _Listed]) -> dict[_Key, _Key]:
    """Lines of one material in one stage: those written alike first, then the others in order."""
    if not any(times for keys in (before, after) for _, _, times in keys):  # each once: no other line can be meant
        return {key: key for key in before if key in after}
    alike = _pair(before, after, lambda one, other: one[:2] == other[:2] and _text(before[one]) == _text(after[other]))
    gone, come = [key for key in before if key not in alike], [key for key in after if key not in alike.values()]
    others = _pair(gone, come, lambda one, other: one[:2] == other[:2])
    return {key: (alike | others)[key] for key in before if key in alike or key in others}


def _pair(gone: Iterable[_Key], come: Iterable[_Key], same: Callable[[_Key, _Key], bool]) -> dict[_Key, _Key]:
    """Each of the one with the first of the other that is left and is the same."""
    left = list(come)
    found: dict[_Key, _Key] = {}
    for key in gone:
        other = next((other for other in left if same(key, other)), None)
        if other is not None:
            left.remove(other)
            found[key] = other
    return found


def _moved(before: list[_Key], after: list[_Key]) -> set[_Key]:
    """The fewest lines that had to move to get from one order to the other: all but a longest common run."""
    rank = {key: place for place, key in enumerate(before)}
    best: list[list[_Key]] = []
    for key in after:
        shorter: list[list[_Key]] = [run for run in best if rank[run[-1]] < rank[key]]
        best.append([*_longest(shorter), key])
    kept = set(_longest(best))
    return {key for key in after if key not in kept}


def _longest(runs: list[list[_Key]]) -> list[_Key]:
    """A longest run; of several the first by its keys, so that both directions choose the same."""
    return min(runs, key=lambda run: (-len(run), run), default=[])


def _line_change(action: Action, one: _Listed | None, other: _Listed | None, old: Side | None, new: Side | None) -> LineChange:
    here = other or one
    assert here is not None
    code = here.line.material or ""
    names = {**(old.names if old else {}), **(new.names if new else {})}
    if action == "replaced" and one is not None:
        code = f"{one.line.material} -> {code}"
    return LineChange(
        action, here.stage, code, names.get(here.line.material or "", ""),
        _text(one), _text(other), _per_litre(one, old), _per_litre(other, new), here.place,
        (_weight(one), _weight(other)), (_fills(one), _fills(other)), _rewritten(one, other),
        _where(one, other) if action == "moved" and one and other else ("", ""),
    )  # fmt: skip


def _rewritten(one: _Listed | None, other: _Listed | None) -> bool:
    """True where both say the same within their digits, and are of the same basis."""
    was, now = (None if listed is None else listed.line for listed in (one, other))
    if was is None or now is None or was.amount is None or now.amount is None or was.material != now.material:
        return False
    return (was.on, was.as_, was.of, was.alternates) == (now.on, now.as_, now.of, now.alternates) and agree(was.amount, now.amount)


def _where(one: _Listed, other: _Listed) -> tuple[str, str]:
    """Where a line that has moved stood and stands: its stage, or what it comes after where that is the same."""
    if one.stage != other.stage:
        return one.stage, other.stage
    return one.behind, other.behind


def _differ(one: float | None, other: float | None) -> bool:
    """True for two weights that are not one but for the rounding of floats."""
    if one is None or other is None:
        return one is not other
    return abs(one - other) > SAME * max(abs(one), abs(other))


def _fills(listed: _Listed | None) -> bool:
    return listed is not None and listed.line.amount is not None and listed.line.amount.to_fill


def _weight(listed: _Listed | None) -> float | None:
    """What a line weighs [kg]; None where that is not known."""
    kg = None if listed is None or listed.weighed is None else listed.weighed.kg
    return kg if isinstance(kg, float) else None


def _text(listed: _Listed | None) -> str | None:
    """An amount as written, with all that says what it is of."""
    if listed is None or listed.line.amount is None:
        return None
    line, text = listed.line, listed.line.amount.text
    if line.on is None and line.as_ is None and line.of is None and not line.alternates:
        return text
    said = [("on", line.on), ("as", line.as_), ("of", line.of), *(("or", other) for other in line.alternates)]
    return " ".join([text, *(f"{word} {what}" for word, what in said if what)])


def _per_litre(listed: _Listed | None, one: Side | None) -> float | None:
    """Kilograms per litre of batch; None where either is not known."""
    if listed is None or one is None or listed.weighed is None:
        return None
    kg, litres = listed.weighed.kg, one.litres
    if isinstance(kg, float) and isinstance(litres, float) and litres > 0:
        return kg / litres
    return None
