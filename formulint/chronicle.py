"""What history says: who changed a file and when, when it came, and which state was in force on a day."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date

from msgspec import Struct

from formulint.ancestry import EPOCH, day_of, shallow
from formulint.git import REGULAR, Repository

MOST = 200  # commits that are told one by one


class Step(Struct, frozen=True):
    """A commit: its full id, its day (UTC), who wrote it by its own word, and the first line of its message."""

    commit: str
    day: date
    author: str
    subject: str


class Kept(Struct, frozen=True):
    """A file in the main line of a state: git's id of what it held when it came, and the last commit that made it something else or took it away."""

    first: str
    touched: Step | None = None


def kept(repository: Repository, tip: str, folder: str) -> dict[str, Kept]:
    """Every file that ever lay below a folder (from the top, with "/" at its end) in the main line of ``tip``, by its name below that.

    Raises
    ------
    UserError
        Where history was cut off.
    """
    if repository.shallow:
        raise shallow("what became of the records")
    found: dict[str, Kept] = {}
    for one in repository.steps(repository.first_parents(tip)[::-1], folder):
        step = Step(one.commit, day_of(one.seconds), one.author.rpartition("<")[2].removesuffix(">"), one.subject)
        for change in one.differences:
            name = change.name.removeprefix(folder)
            old = found.get(name)
            if old is not None:
                found[name] = Kept(old.first, step)
            elif change.new_mode in REGULAR:
                found[name] = Kept(change.new)
    return found


def files_of(root: str, codes: Iterable[str]) -> list[str]:
    """Patterns for the files of these codes at any depth below a root (``""`` or ``paint/``), for git."""
    below = re.sub(r"([*?[\\])", r"\\\1", root)
    return [f":(top,glob){below}**/{code}.toml" for code in codes]


def asked(repository: Repository, form: str, tips: Iterable[str], but: str | None, names: Iterable[str], *more: str) -> list[str]:
    """Commits behind ``tips`` and not behind ``but`` (full ids) that touch files of these patterns, the newest first, each as one line of a format.

    Raises
    ------
    UserError
        Where history was cut off, or a commit is not here.
    """
    if repository.shallow:
        raise shallow("who changed what")
    status, out, complaint = repository.git.call(*_words(form, tips, but, names, *more))
    if status:
        raise repository.git.failure("rev-list", complaint)
    return [line for line in out.decode("utf-8", "replace").split("\n") if line]


def _words(form: str, tips: Iterable[str], but: str | None, names: Iterable[str], *more: str) -> tuple[str, ...]:
    without = () if but is None else (f"^{but}",)
    return ("--no-literal-pathspecs", "rev-list", "--no-commit-header", f"--format={form}", *more, *tips, *without, "--", *names)


def steps(repository: Repository, tip: str, but: str | None, names: Iterable[str]) -> list[Step]:
    """The commits that touch files of these patterns, the newest first."""
    found = []
    for line in asked(repository, "%H%x00%ct%x00%ae%x00%s", (tip,), but, names, f"--max-count={MOST}"):
        commit, seconds, author, subject = line.split("\0", 3)
        found.append(Step(commit, day_of(seconds), author, subject))
    return found


def proposed(repository: Repository, tip: str, but: str) -> list[Step]:
    """The commits behind ``tip`` and not behind ``but`` (full ids), the newest first and without merges, each with the name of its author."""
    parts = [line.split("\0", 3) for line in asked(repository, *_proposed(tip, but))]
    return [Step(commit, day_of(seconds), author, subject) for commit, seconds, author, subject in parts]


def proposed_ahead(repository: Repository, tip: str, but: str) -> None:
    """Ask for what ``proposed`` will want, and go on without waiting."""
    if not repository.shallow:
        repository.git.ahead(*_words(*_proposed(tip, but)))


def _proposed(tip: str, but: str) -> tuple[str, tuple[str, ...], str, tuple[str, ...], str, str]:
    return "%H%x00%ct%x00%an%x00%s", (tip,), but, (), "--no-merges", f"--max-count={MOST}"


def came(repository: Repository, tip: str, names: Iterable[str]) -> Step | None:
    """The first commit behind ``tip`` that touches files of these patterns; None where none does."""
    found = steps(repository, tip, None, names)
    return found[-1] if found else None


def state_on(repository: Repository, tip: str, day: date) -> str | None:
    """The newest commit (full id) in the main line of ``tip`` that was made on a day or before; None where there is none."""
    end = (day.toordinal() - EPOCH + 1) * 86400 - 1
    found = asked(repository, "%H", (tip,), None, (), "--first-parent", "--max-count=1", f"--before={end}")
    return found[0] if found else None


def backwards(repository: Repository, tip: str, day: date) -> Step | None:
    """A commit in the main line of ``tip`` dated on a day or before, though one before it is dated later: then nobody knows what was in force on that day."""
    later = False
    for line in reversed(asked(repository, "%H%x00%ct%x00%ae%x00%s", (tip,), None, (), "--first-parent")):
        commit, seconds, author, subject = line.split("\0", 3)
        made = day_of(seconds)
        if later and made <= day:
            return Step(commit, made, author, subject)
        later = later or made > day
    return None
