"""A paint works plays three months of its history: every commit through the real hook, every proposal through the gate.

What happens is written in ``example_repo/story``: ``story.toml`` tells it step by step, the patches beside it hold who
changed what, when and why. Here each step is really done, and what it was told to bring about is compared.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from email.utils import parseaddr, parsedate_to_datetime
from textwrap import fill

import msgspec
import tomli
from msgspec import Struct

from formulint.ancestry import MERGES
from formulint.errors import UserError
from formulint.excerpt import Lacking, excerpt
from formulint.git import quoted
from formulint.sandbox import Person, Ran, Sandbox

STORY = "story"
"""The folder of the example that tells its history; it is no part of the repository that is built."""

WIDTH, SCREEN = 79, 80
"""Of a page of prose, and of a screen, in characters."""

INDENT = "   "

BAR = " | "
"""Before what the hook, the comparison or the gate said."""

ATTRIBUTES = "# Git keeps every file as it was written, to the byte.\n* -text\n"

PASSES, STOPS = "Nothing stops a commit.", "This stops a commit."
YES, NO = "The gate says yes.", "The gate says no."
_STOPPED = re.compile(r"^(?:STOP|NO:) \S+, line \d+: (\S+)$", re.MULTILINE)


class Step(Struct, frozen=True, forbid_unknown_fields=True):
    """One thing that happens, named by the one of these that is given; the rest says how it is told.

    Attributes
    ----------
    commit, attempt : str
        A patch that goes through the hook; one that the hook refuses.
    branch : str
        A branch to be on; it begins at main.
    diff : str
        Two states to be compared, as on the command line.
    gate : str
        A branch that asks to go into main; ``answer`` is what it hears.
    merge : str
        A branch that is taken in without a merge commit.
    take : str
        A branch that is taken in on a ``day``, which the hook refuses: git waits, and the next commit settles it.
    ask : str
        A command of formulint with its options, given ``by`` somebody (name and address) on a ``day``; it has to end with
        ``status``. What it writes is recorded by the next commit whose patch holds no change.
    told, then : str
        What is said before and after it.
    shows : tuple of str
        What the lines begin with that are shown of the answer.
    """

    chapter: str = ""
    told: str = ""
    commit: str = ""
    attempt: str = ""
    branch: str = ""
    diff: str = ""
    gate: str = ""
    merge: str = ""
    take: str = ""
    ask: str = ""
    by: str = ""
    day: str = ""
    status: int = 0
    answer: str = "yes"
    shows: tuple[str, ...] = ()
    then: str = ""


class Line(Struct, frozen=True, forbid_unknown_fields=True):
    """Something to be typed afterwards, and what it is for."""

    type: str
    about: str


class Story(Struct, frozen=True, forbid_unknown_fields=True):
    """The whole of it: what is said before and after, the steps, what to type next."""

    title: str
    intro: str
    step: tuple[Step, ...]
    closing: str
    next: tuple[Line, ...]


class Patch(Struct, frozen=True):
    """Who changed what, when, in which words."""

    by: Person
    subject: str
    body: str
    diff: str

    @property
    def message(self) -> str:
        """The message of the commit."""
        return f"{self.subject}\n\n{self.body}\n" if self.body else f"{self.subject}\n"


def example() -> str:
    """Where the example lies: inside the installed package, else beside it in a checkout."""
    here = os.path.dirname(os.path.abspath(__file__))
    for folder in (here, os.path.dirname(here)):
        if os.path.isdir(os.path.join(folder, "example_repo", STORY)):
            return os.path.join(folder, "example_repo")
    raise UserError("the example is missing from this installation", "install formulint again")


def files(source: str) -> dict[str, bytes]:
    """The files of the example by name, its story left out, and what has git keep them to the byte."""
    found = {".gitattributes": ATTRIBUTES.encode()}
    for folder, inner, names in os.walk(source):
        inner[:] = sorted(name for name in inner if not (folder == source and name == STORY))
        for name in sorted(names):
            path = os.path.join(folder, name)
            with open(path, "rb") as file:
                found[os.path.relpath(path, source).replace(os.sep, "/")] = file.read()
    return found


def story(source: str) -> Story:
    """The story as its file tells it."""
    with open(os.path.join(source, STORY, "story.toml"), "rb") as file:
        return msgspec.convert(tomli.load(file), Story)


def patch(source: str, name: str) -> Patch:
    """A patch in the form that git sends by mail; one without a change in it records all that lies there."""
    with open(os.path.join(source, STORY, *name.split("/")), encoding="utf-8", newline="") as file:
        head, _, rest = file.read().partition("\n\n")
    fields = dict(line.split(": ", 1) for line in head.splitlines()[1:])
    person, address = parseaddr(fields["From"])
    body, _, diff = f"\n{rest}".partition("\n---\n")
    return Patch(Person(person, address, parsedate_to_datetime(fields["Date"]).date().isoformat()), fields["Subject"], body.strip(), diff)


class Play:
    """The story being played in a sandbox.

    Parameters
    ----------
    source : str
        The folder of the example.
    works : Sandbox
        Where it is played.
    say : callable
        What shows a line at once.
    brief : bool
        True where only what was done and what came of it is told.
    """

    def __init__(self, source: str, works: Sandbox, say: Callable[[str], None], brief: bool = False) -> None:
        self.source = source
        self.works = works
        self.brief = brief
        self._say = say
        self._title = "the beginning"

    def whole(self, told: Story) -> None:
        """All of it.

        Raises
        ------
        UserError
            A step went otherwise than told; which one, and how.
        """
        self._say(told.title)
        if not self.brief:
            self._say("")
        self._tell(told.intro)
        begin = next(step.commit for step in told.step if step.commit)
        self.works.lay(files(self.source), patch(self.source, begin).by.day)
        for step in told.step:
            self._step(step)
        self._title = "the end"
        self.works.judge_as_on("")
        branch, _, differs = self.works.state()
        self._require((branch, differs) == ("main", ""), f"the repository should be on main and clean, not on {branch or 'no branch'}: {differs}")
        self._say("")
        self._tell(told.closing)

    def _step(self, step: Step) -> None:
        """One step, by the action that it names."""
        actions = {
            "commit": self._commit, "attempt": self._attempt, "branch": self._branch, "diff": self._diff,
            "gate": self._gate, "merge": self._merge, "take": self._take, "ask": self._ask,
        }  # fmt: skip
        (action,) = (name for name in actions if getattr(step, name))
        if step.chapter:
            self._say("")
            self._say(f"== {step.chapter} ".ljust(WIDTH, "="))
        actions[action](step)

    # --- what can happen ---------------------------------------------------------------------------------------------

    def _commit(self, step: Step) -> None:
        made = patch(self.source, step.commit)
        self._open(f"{made.by.day}  {made.by.name}: {made.subject}", step.told)
        _, before, _ = self.works.state()
        self._apply(made)
        ran = self._record(made)
        self._show(ran, (*step.shows, PASSES))
        _, after, differs = self.works.state()
        self._require(ran.status == 0 and after != before and not differs, "the commit should have passed the hook", ran)
        self._result(f"recorded as {after[:7]}")
        self._tell(step.then, INDENT)

    def _attempt(self, step: Step) -> None:
        made = patch(self.source, step.attempt)
        self._open(f"{made.by.day}  {made.by.name} tries: {made.subject}", step.told)
        _, before, _ = self.works.state()
        self._apply(made)
        ran = self._record(made)
        self._show(ran, (*step.shows, STOPS))
        self._require(ran.status == 1 and self.works.state()[1] == before, "the hook should have refused the commit", ran)
        self.works.git("reset", "-q", "--hard")
        self._require(not self.works.state()[2], "index and work tree should be as before")
        self._result(f"REFUSED by {_rules(ran)}; nothing is recorded")
        self._tell(step.then, INDENT)

    def _branch(self, step: Step) -> None:
        there = self.works.git("rev-parse", "-q", "--verify", f"refs/heads/{step.branch}").status == 0
        words = ("switch", step.branch) if there else ("switch", "--create", step.branch, "main")
        self._open(f"$ git {' '.join(words)}", step.told)
        ran = self.works.git(*words)
        self._require(ran.status == 0, "git should have changed to the branch", ran)
        self._tell(step.then, INDENT)

    def _diff(self, step: Step) -> None:
        self._open(f"$ formulint diff {step.diff}", step.told)
        ran = self.works.tool("diff", step.diff)
        self._show(ran, step.shows)
        self._require(ran.status == 0, "the comparison should have found nothing that stops", ran)
        self._tell(step.then, INDENT)

    def _gate(self, step: Step) -> None:
        self._open(f"$ formulint gate --base main --head {step.gate}", step.told)
        if step.answer == "no" and self.works.version[:2] < MERGES:
            number = ".".join(map(str, self.works.version))
            self._result("git {} cannot merge without a work tree; from {}.{} on the gate answers here".format(number, *MERGES))
            return
        ran = self.works.tool("gate", "--base", "main", "--head", step.gate)
        words, status = (YES, 0) if step.answer == "yes" else (NO, 1)
        self._show(ran, (*step.shows, words))
        self._require(ran.status == status, f"the gate should have said {step.answer}", ran)
        self._result(f"{'YES' if step.answer == 'yes' else f'NO by {_rules(ran)}'}; exit status {ran.status}")
        self._tell(step.then, INDENT)

    def _merge(self, step: Step) -> None:
        self._open(f"$ git merge {step.merge}", step.told)
        ran = self.works.git("merge", "-q", "--ff-only", step.merge)
        self._require(ran.status == 0, "git should have merged", ran)
        self._tell(step.then, INDENT)

    def _take(self, step: Step) -> None:
        self._open(f"$ git merge {step.take}", step.told)
        self.works.judge_as_on(step.day)
        ran = self.works.git("merge", "--no-edit", step.take)
        self._show(ran, (*step.shows, STOPS))
        self._require(ran.status == 1, "the hook should have refused the merge", ran)
        self._result(f"REFUSED by {_rules(ran)}; git waits with the merge until it is settled")
        self._tell(step.then, INDENT)

    def _ask(self, step: Step) -> None:
        person, address = parseaddr(step.by)
        self._open(f"{step.day}  {person}: $ formulint {step.ask}", step.told)
        ran = self.works.tool(*step.ask.split(), by=Person(person, address, step.day))
        self._show(ran, step.shows)
        self._require(ran.status == step.status, f"the exit status should have been {step.status}", ran)
        if ran.status:
            self._result(f"NO by {_rules(ran)}; exit status {ran.status}")
        self._tell(step.then, INDENT)

    # --- how it is done and compared ---------------------------------------------------------------------------------

    def _apply(self, made: Patch) -> None:
        words = ("apply", "--index", "--whitespace=nowarn", "-") if made.diff else ("add", "--all", ".")
        ran = self.works.git(*words, stdin=made.diff)
        self._require(ran.status == 0, "the patch should have fitted", ran)

    def _record(self, made: Patch) -> Ran:
        self.works.judge_as_on(made.by.day)
        return self.works.git("commit", "-q", "--cleanup=verbatim", "-F", "-", by=made.by, stdin=made.message)

    def _require(self, holds: bool, otherwise: str, ran: Ran | None = None) -> None:
        """Show all that was said, and end, where something went otherwise than told."""
        if holds:
            return
        for line in ran.text.splitlines() if ran is not None else ():
            self._say(BAR + line)
        raise UserError(f"the demo went otherwise than told at {quoted(self._title)}: {otherwise}", f"look into {quoted(self.works.root)}, which is left as it is")

    # --- how it is told ----------------------------------------------------------------------------------------------

    def _open(self, title: str, told: str) -> None:
        """Name what is done next, before it is done."""
        self._title = title
        if not self.brief:
            self._say("")
        self._say(fill(title, WIDTH, subsequent_indent=INDENT, break_on_hyphens=False))
        self._tell(told, INDENT)

    def _show(self, ran: Ran, wanted: tuple[str, ...]) -> None:
        try:
            lines = excerpt(ran.text, wanted, SCREEN - len(BAR))
        except Lacking as lacking:
            self._require(False, f"a line should have begun with {quoted(str(lacking))}", ran)
            return
        for line in lines if not self.brief else ():
            self._say(BAR + line)

    def _tell(self, text: str, indent: str = "") -> None:
        """Paragraphs, with an empty line between them; nothing of it in brief."""
        for at, paragraph in enumerate(text.strip().split("\n\n") if text.strip() and not self.brief else ()):
            if at:
                self._say("")
            self._say(fill(" ".join(paragraph.split()), WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False))

    def _result(self, text: str) -> None:
        self._say(fill(text, WIDTH, initial_indent=INDENT, subsequent_indent=INDENT, break_on_hyphens=False))


def _rules(ran: Ran) -> str:
    """The rules that stand in the way, as the last lines of an answer list them."""
    return ", ".join(dict.fromkeys(_STOPPED.findall(ran.text)))


def farewell(told: Story, where: str, hint: str) -> Iterator[str]:
    """What to type next, in which folder; ``hint`` makes the shell find formulint, where it does not."""
    lines = [(f"cd {where}", ""), *([(hint, "")] if hint else []), *((line.type, line.about) for line in told.next)]
    width = max(len(words) for words, about in lines if about)
    for words, about in lines:
        yield f"  {words:<{width}}  # {about}" if about else f"  {words}"
