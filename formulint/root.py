"""Where the root of a formula repository is: the folder that holds ``formulint.toml``."""

from __future__ import annotations

import os
from collections.abc import Sequence

from formulint.errors import UserError
from formulint.finding import Fault, Place
from formulint.git import REGULAR, Row, quoted

SETTINGS = "formulint.toml"
"""The name of the file that marks a root."""


def root_of(rows: Sequence[Row], prefix: str, remedy: str) -> tuple[str, tuple[Fault, ...]]:
    """The root that holds ``prefix``, else the only one below it; and a fault for each root inside another."""
    named = [(mode, name[: -len(SETTINGS)]) for mode, _, name in rows if name.endswith(SETTINGS)]
    marks = {place: mode for mode, place in named if not place or place.endswith("/")}
    roots = sorted(place for place, mode in marks.items() if mode in REGULAR)
    above = [place for place in upwards(prefix) if place in marks]
    if not above:
        root = _only_one([place for place in roots if place.startswith(prefix)], remedy)
    elif marks[above[0]] in REGULAR:
        root = above[0]
    else:
        raise UserError(f"{quoted(above[0] + SETTINGS)} is not a regular file", "put the file itself there")
    inner = [place[len(root) :] for place in roots if place != root and place.startswith(root)]
    faults = [_nested(place + SETTINGS, "this root") for place in inner]
    if len(above) > 1:
        faults.append(_nested(SETTINGS, f"the root {quoted(above[1] or '.')}"))
    return root, tuple(faults)


def _only_one(roots: Sequence[str], remedy: str) -> str:
    """The one of these sorted roots that holds all the others."""
    outermost: list[str] = []
    for place in roots:
        if not outermost or not place.startswith(outermost[-1]):
            outermost.append(place)
    if not outermost:
        message = "there is no formulint.toml here or above; it marks the root of a formula repository"
        raise UserError(message, remedy)
    if len(outermost) > 1:
        listed = listing([place + SETTINGS for place in outermost])
        raise UserError(f"there are several formula repositories below: {listed}", "go to one, or name it with -C")
    return outermost[0]


def upwards(prefix: str) -> list[str]:
    """The folder itself and all above it: "a/b/" gives "a/b/", "a/", ""."""
    parts = prefix.split("/")[:-1]
    return ["".join(part + "/" for part in parts[:count]) for count in range(len(parts), -1, -1)]


def _nested(name: str, outer: str) -> Fault:
    message = f"{quoted(name)} marks a root inside {outer}; a root lies in no other"
    return Fault(Place(name), message, "keep one formulint.toml and remove the other")


def plain_root(start: str) -> str:
    """Where no git says how far up to look: the nearest folder above with settings in it, else the folder itself."""
    folder = os.path.realpath(start)
    place = folder
    while not os.path.lexists(os.path.join(place, SETTINGS)):
        if os.path.dirname(place) == place:
            return folder
        place = os.path.dirname(place)
    return place


def listing(names: Sequence[str]) -> str:
    """The first of these names, and how many more there are."""
    shown = ", ".join(quoted(name) for name in names[:5])
    return shown if len(names) <= 5 else f"{shown} and {len(names) - 5} more"
