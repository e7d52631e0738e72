"""One order out of three: that of a list before, and those that two people have given it since.

Of two things, whoever changed their order decides it; where nobody did, they stay as they were. That is asked of each
pair, so it does not matter who is called first. Two things that each came in on another side have no order of their
own: they are told apart as a fork.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

MOST = 500
"""Longest list that is put in order; every pair is looked at. The longest sheets have some forty lines."""


class Fork(NamedTuple):
    """Things that both sides put in at one place: those of ours, and those of theirs."""

    ours: tuple[str, ...]
    theirs: tuple[str, ...]


class Torn(Exception):
    """Both sides changed the order, and not both can have it; or there is too much to look at."""


def interleave(before: Sequence[str], ours: Sequence[str], theirs: Sequence[str]) -> list[str | Fork]:
    """Everything in the two newer lists in one order; what only the older one holds is left out.

    Raises
    ------
    Torn
        Where both sides moved the same thing to different places, or their moves contradict each other.
    """
    for one, other in ((ours, theirs), (theirs, ours)):
        if list(other) == list(before) and set(other) <= set(one):
            return list(one)  # one side has left the order as it was, the plain case
    if len(before) + len(ours) + len(theirs) > 3 * MOST:
        raise Torn
    kept = [*ours, *(one for one in theirs if one not in set(ours))]
    ranks = [{one: at for at, one in enumerate(order)} for order in (before, ours, theirs)]
    _refuse_both(*ranks)
    ahead = {one: {other for other in kept if other != one and _order(other, one, ranks)} for one in kept}
    mine = _line(kept, ahead, set(ours))
    other = _line(kept, ahead, set(theirs))
    return _told_apart(mine, other, set(ours))


def settled(order: Sequence[str | Fork]) -> list[str]:
    """The same where order means nothing: of each fork, the side whose first comes first by its name."""
    found: list[str] = []
    for one in order:
        found += [one] if isinstance(one, str) else [name for side in sorted(one) for name in side]
    return found


def either(ours: Sequence[str], theirs: Sequence[str]) -> list[str]:
    """All of both where order means nothing and they contradict each other: one side's order, the other's after its own."""
    first, second = sorted((tuple(ours), tuple(theirs)))
    found = list(first)
    for at, one in enumerate(second):
        if one not in found:
            found.insert(found.index(second[at - 1]) + 1 if at else 0, one)
    return found


def _order(one: str, other: str, ranks: list[dict[str, int]]) -> bool:
    """True where ``one`` has to come before ``other``."""
    said = [rank[one] < rank[other] if one in rank and other in rank else None for rank in ranks]
    before, *since = said
    if before is None:
        if since[0] is not None and since[1] is not None and since[0] != since[1]:
            raise Torn
        return True in since
    return False not in since if before else True in since


def _refuse_both(before: dict[str, int], ours: dict[str, int], theirs: dict[str, int]) -> None:
    """Torn where both sides moved one thing past different others."""
    common = [one for one in before if one in ours and one in theirs]
    both = _movable(common, ours) & _movable(common, theirs)
    for one in both:
        past = [
            {other for other in common if (before[one] < before[other]) != (rank[one] < rank[other])} for rank in (ours, theirs)
        ]
        if past[0] != past[1]:
            raise Torn


def _movable(common: list[str], rank: dict[str, int]) -> set[str]:
    """What may have been moved: all that is not in every longest run of things that kept their order."""
    places = [rank[one] for one in common]
    if places == sorted(places):
        return set()
    count = len(places)
    up, down = [1] * count, [1] * count
    for at in range(count):
        up[at] += max((up[i] for i in range(at) if places[i] < places[at]), default=0)
    for at in reversed(range(count)):
        down[at] += max((down[i] for i in range(at + 1, count) if places[i] > places[at]), default=0)
    longest = max(up)
    level = [up[at] if up[at] + down[at] - 1 == longest else 0 for at in range(count)]
    return {one for at, one in enumerate(common) if not level[at] or level.count(level[at]) > 1}


def _line(kept: Sequence[str], ahead: dict[str, set[str]], first: Collection[str]) -> list[str]:
    """One line in which everything stands behind what has to be ahead of it; where there is a choice, ``first`` goes first."""
    left = {one: set(others) for one, others in ahead.items()}
    found: list[str] = []
    while left:
        ready = [one for one in kept if one in left and not left[one]]
        if not ready:
            raise Torn
        one = min(ready, key=lambda name: name not in first)
        found.append(one)
        del left[one]
        for others in left.values():
            others.discard(one)
    return found


def _told_apart(mine: list[str], other: list[str], ours: Collection[str]) -> list[str | Fork]:
    """Where the two lines differ, a fork; elsewhere one after the other."""
    found: list[str | Fork] = []
    at = 0
    while at < len(mine):
        end = at + 1
        while set(mine[at:end]) != set(other[at:end]):
            end += 1
        part = mine[at:end]
        if end == at + 1:
            found.append(part[0])
        else:
            found.append(Fork(tuple(one for one in part if one in ours), tuple(one for one in part if one not in ours)))
        at = end
    return found
