"""What is said when a formula repository has been made: what lies there, what was kept, what to type next."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import fill

from msgspec import Struct

from formulint.clean import log_line
from formulint.first_commit import MESSAGE, Begun
from formulint.git import quoted
from formulint.start import AT_THE_TOP, FORMULA, HOOK, PROPOSALS, Ground, Placed, folded

WIDTH = 79
"""Of a screen, in characters; lines that are to be typed are never broken."""

DUTIES = {
    FORMULA: "the formula to begin with",
    "materials/": "its raw materials, one a file",
    "rules/house.toml": "rules of your own; one example",
    ".gitattributes": "has git keep the files to the byte",
    HOOK: "the check of every commit",
    PROPOSALS[0]: "the check of every proposal",
    PROPOSALS[1]: "its answer, as a comment",
    PROPOSALS[2]: "both, for hosts that read this file",
    "formulint.toml": "settings",
}


class Made(Struct, frozen=True):
    """All that was done, to be told.

    Attributes
    ----------
    where : str
        The folder as it was named.
    begun : Begun or None
        What git did; None where it was not asked to begin.
    hook : str or None
        Why the hook is not installed, "" where it is; None where that was not tried.
    found : frozenset of str
        Which of the programs that are spoken of are installed: git, pre-commit, formulint.
    """

    where: str
    ground: Ground
    placed: Placed
    begun: Begun | None
    hook: str | None
    found: frozenset[str]


def words(made: Made) -> str:
    """The whole of it, for a screen."""
    lines = [log_line(line) for line in (*_files(made), "", *_next(made))]
    return "".join(f"{line if line.startswith('  ') else fill(line, WIDTH, break_on_hyphens=False)}\n" for line in lines)


def _place(made: Made) -> str:
    return "this folder" if made.where == "." else f"the folder {quoted(made.where)}"


def _files(made: Made) -> Iterator[str]:
    placed = made.placed
    yield f"formulint: {_place(made)} is a formula repository now"
    names = folded((*placed.written, *placed.same))
    width = max((len(name) for name in names), default=0)
    yield from (f"  {name:<{width}}  {DUTIES[name]}" for name in names)
    if placed.kept:
        yield "Kept as it was, so nothing of formulint is in it:"
        yield from (f"  {name}" for name in placed.kept)
        yield "formulint start in a new folder elsewhere shows what they would have been."
    records = [name for name in folded(placed.left_out) if name not in AT_THE_TOP]
    if records:
        yield "Not written, because there are formulas or materials already:"
        yield from (f"  {name}" for name in records)
    if HOOK in placed.left_out and made.ground.repository is not None:
        top = made.ground.repository.top
        yield f"Not written, because they work only at the top of the git repository, {quoted(top)}:"
        yield from (f"  {name}" for name in AT_THE_TOP)
        yield "formulint start in a new folder elsewhere makes them; copy them to the top from there."


def _next(made: Made) -> Iterator[str]:
    if FORMULA in made.placed.written:
        yield "The paint is invented, and so is every figure of its raw materials: put in your own."
    yield f"Look at it, in {_place(made)}:"
    yield "  formulint lint"
    yield "  formulint properties"
    yield from _git(made)
    intro, lines = _to_type(made)
    if lines:
        yield f"{intro}, type in {_place(made)}:"
        yield from (f"  {line}" for line in lines)
    if HOOK in made.placed.written and "formulint" not in made.found:
        yield "The check calls formulint by its name, which is not found here: before a commit, activate the environment it is installed in."


def _git(made: Made) -> Iterator[str]:
    """What git did, and what it did not."""
    begun = made.begun
    if begun is None:
        if "git" not in made.found:
            yield "git, which keeps every state of the files, is not installed: install the package git first."
    elif begun.commit:
        yield f"git keeps this folder from now on; the first state is recorded as {begun.commit}."
    elif begun.stranger:
        yield "git keeps this folder from now on, but does not know you yet: the first state is not recorded."
    else:
        yield f"git did not record the first state: {begun.why}"
    if made.hook == "":
        yield "Every commit is checked before it is recorded."
    elif made.hook:
        yield f"Commits are not checked yet: {made.hook}."


def _to_type(made: Made) -> tuple[str, list[str]]:
    """What it is for, and at most three lines."""
    ours = (*made.placed.written, *made.placed.same)
    names = " ".join(sorted({name.split("/")[0] for name in ours}))
    record = f'git commit -m "{MESSAGE}"'
    intro, lines = "", []
    if made.ground.repository is not None:
        intro, lines = "To have git record these files", [f"git add {names}", record]
    elif made.begun is None:
        everything = "." if not made.ground.names else names
        intro, lines = "To have git keep every state of these files", ["git init", f"git add {everything} && {record}"]
    elif made.begun.stranger:
        who = 'git config --global user.name "Your Name" && git config --global user.email "you@example.org"'
        intro, lines = "To tell it your own name and address, and record it", [who, record]
    elif made.begun.why:
        intro, lines = "To record it once that is mended", [record]
    wanting = made.hook is None or (made.hook and "pre-commit" not in made.found)
    if HOOK in ours and wanting:
        intro = f"{intro}, and check each commit before it is recorded" if intro else "To have them checked"
        lines.append("pre-commit install" if "pre-commit" in made.found else "pip install pre-commit && pre-commit install")
    if not lines:
        intro, lines = "After a change", ["git add .", 'git commit -m "what you changed, and why"']
    return intro, lines
