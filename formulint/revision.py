"""What only the change itself shows: a paint in production that changes under its old revision, limits moved with the paint."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from formulint.change import Change
from formulint.fields import FieldChange
from formulint.finding import Fault, Finding, Level, Place, Source
from formulint.side import Side

MADE = ("pilot", "production")  # states in which somebody makes it by the sheet
JUDGING = ("limits", "tests", "markets", "class", "category", "product")  # fields of a formula that decide what it is judged by
PRACTICE = Source("", "", "practice")


def of_change(old: Side, new: Side, change: Change, fields: Sequence[FieldChange]) -> Iterator[Finding]:
    """The findings about a change of one formula that neither of its states has alone."""
    path, code = new.file.name, new.formula.code
    was, now = old.formula.revision, new.formula.revision
    sheets = [(one.digests.composition, one.digests.making) for one in (old, new)]
    changed = change in (Change.compositional, Change.procedural) and sheets[0] != sheets[1]  # not for another supplier
    if now < was:
        fault = Fault(Place(path, ("revision",)), f"{code} goes back from revision {was} to {now}", f"write revision = {was + 1}: a revision is never used again")
        yield Finding("change/revision-raised", Level.warning, fault, code, "", "Two different paints would bear one number, and nobody could say which was made.", PRACTICE)
    elif changed and now == was and old.formula.state in MADE and new.formula.state in MADE:
        what = "is another paint" if change is Change.compositional else "is made in another way"
        words = f"{code} {what} than before, and still revision {now}"
        fault = Fault(Place(path, ("revision",)), words, f"write revision = {now + 1} once the change is meant for the plant")
        yield Finding("change/revision-raised", Level.warning, fault, code, "", "Batch sheets and test results name a revision; two paints under one number cannot be told apart.", PRACTICE)
    moved = [one for one in fields if one.keys[0] in JUDGING and one.before is not None]
    if moved and change is Change.compositional:
        listed = ", ".join(one.what for one in moved[:3]) + (f" and {len(moved) - 3} more" if len(moved) > 3 else "")
        words = f"{code}: what it is judged by changes together with the paint: {listed}"
        fault = Fault(Place(path, moved[0].keys), words, "propose the limits apart, so that somebody decides on them alone")
        yield Finding("change/limit-with-formula", Level.note, fault, code, "", "A limit moved in the same step as the paint may have been moved to fit it.", PRACTICE)
