"""What only the change itself shows: a paint that changes under its old revision, a step of its state, limits moved with the paint."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from formulint.change import Change
from formulint.errors import Misread
from formulint.fields import FieldChange
from formulint.figure import Amount
from formulint.finding import Fault, Finding, Level, Place, Source
from formulint.formula import Formula
from formulint.lines import LineChange
from formulint.quantity import read
from formulint.side import Side
from formulint.vocabulary import FormulaState

MADE = ("pilot", "production")  # states in which somebody makes it by the sheet
JUDGING = ("limits", "tests", "markets", "class", "category", "product")  # fields of a formula that decide what it is judged by
AMOUNTS = frozenset({"closure", "dose", "own-limit", "voc", "house"})  # packs, and what stands in their place, that an amount out of hand breaks
PRACTICE = Source("", "", "practice")
RAISED = "change/revision-raised"

STEPS: dict[FormulaState, tuple[FormulaState, ...]] = {
    "bench": ("pilot", "withdrawn"),
    "pilot": ("bench", "production", "withdrawn"),
    "production": ("withdrawn",),
    "withdrawn": ("bench", "pilot"),
}
"""Where a formula may go from each state; from ``withdrawn`` only under a new revision, since the old one was given up."""


def of_change(old: Side, new: Side, change: Change, fields: Sequence[FieldChange]) -> Iterator[Finding]:
    """The findings about a change of one formula that neither of its states has alone."""
    yield from _revision(old, new, change)
    yield from _step(old.formula, new.formula, new.file.name)
    path, code = new.file.name, new.formula.code
    moved = [one for one in fields if one.keys[0] in JUDGING and one.before is not None]
    if moved and change is Change.compositional:
        listed = ", ".join(one.what for one in moved[:3]) + (f" and {len(moved) - 3} more" if len(moved) > 3 else "")
        words = f"{code}: what it is judged by changes together with the paint: {listed}"
        fault = Fault(Place(path, moved[0].keys), words, "propose the limits apart, so that somebody decides on them alone")
        yield Finding("change/limit-with-formula", Level.note, fault, code, "", "A limit moved in the same step as the paint may have been moved to fit it.", PRACTICE)


def _revision(old: Side, new: Side, change: Change) -> Iterator[Finding]:
    """A revision that goes down, or is not raised though the paint that is made by it changed."""
    place, code = Place(new.file.name, ("revision",)), new.formula.code
    was, now = old.formula.revision, new.formula.revision
    one, other = old.digests, new.digests
    changed = change in (Change.compositional, Change.procedural) and (one.other_paint(other) or one.making != other.making)  # not for another supplier
    if now < was:
        fault = Fault(place, f"{code} goes back from revision {was} to {now}", f"write revision = {was + 1}: a revision is never used again")
        yield Finding(RAISED, Level.error, fault, code, "", "Two different paints would bear one number, and nobody could say which was made.", PRACTICE)
    elif changed and now == was and old.formula.state in MADE and new.formula.state in MADE:
        what = "is another paint" if change is Change.compositional else "is made in another way"
        own = old.formula.stage != new.formula.stage or old.formula.batch != new.formula.batch  # not by an intermediate alone
        level = Level.error if own and old.formula.state == new.formula.state == "production" else Level.warning
        fault = Fault(place, f"{code} {what} than before, and still revision {now}", f"write revision = {now + 1}")
        yield Finding(RAISED, level, fault, code, "", "Batch sheets and test results name a revision; two paints under one number cannot be told apart.", PRACTICE)


def _step(old: Formula, new: Formula, path: str) -> Iterator[Finding]:
    """A step of the state that is not allowed. Out of production it only warns: the gate asks the formula approver."""
    was, now = old.state, new.state
    words = remedy = ""
    if was != now and now not in STEPS[was]:
        words = f"{new.code} goes from {was} to {now}"
        ways = " or ".join(STEPS[was])
        remedy = f"from {was} a formula goes to {ways}" + ("; what is in production and must change is a new revision there" if was == "production" else "")
    elif was == "withdrawn" and now != was and new.revision <= old.revision:
        words = f"{new.code} was withdrawn and comes back to {now} as revision {new.revision}"
        remedy = f"write revision = {old.revision + 1}: the revision that was withdrawn is not made again"
    if words:
        level = Level.warning if was == "production" else Level.error
        why = "A paint is tried at the bench, made once as a pilot, then made for sale; what was given up is not made again under its old number."
        yield Finding("change/allowed-step", level, Fault(Place(path, ("state",)), words, remedy), new.code, "", why, PRACTICE)


def slip_of(old: Side, new: Side, lines: Sequence[LineChange], found: Sequence[Finding]) -> Iterator[Finding]:
    """The finding of the one line that changed as a slip changes it, where something breaks with it; ``found`` is what is new.

    None where the finding that the sheet does not add up names the line already.
    """
    broken = [one for one in found if one.fault.kind in ("fail", "review") and one.rule.partition("/")[0] in AMOUNTS]
    ways = [(one, how) for one in lines if broken and (how := _how(old, one))]
    named = {place.keys[:4] for one in broken for place in one.fault.related}
    if len(ways) != 1 or ways[0][0].place.keys[:4] in named:
        return
    line, how = ways[0]
    was, now = line.weights
    times = f"{now / was:.3g} times" if was and now else "not"
    words = f"{line.material} went from {line.before} to {line.after}, {times} what it was: {how}"
    more = f" and {len(broken) - 1} more" if len(broken) > 1 else ""
    remedy = f"write {line.before} again if that was not meant: with it {broken[0].rule}{more} broke"
    fault = Fault(Place(line.place.path, (*line.place.keys, "amount")), words, remedy)
    yield Finding("change/likely-slip", Level.warning, fault, new.formula.code, "", "What a hand slips into is a factor of ten, a unit, or a share reckoned twice; the scale weighs whatever the sheet says.", PRACTICE)


def _how(old: Side, line: LineChange) -> str:
    if line.action != "changed" or line.before is None or line.after is None:
        return ""
    from formulint.slip import slipped  # where nothing broke, nobody asks

    try:
        before, after = (read(text, Amount.dimensions) for text in (line.before, line.after))
    except Misread:
        return ""  # a dose on something else, a range, q.s.
    return slipped(before, after, old.materials.get(line.material)) if before.base > 0 else ""
