"""What a run will ask git is asked while the rest of this package is being loaded, which takes as long as several answers."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import takewhile

from formulint import git
from formulint.errors import UserError
from formulint.snapshot import below_root
from formulint.worktree import Disk


def begin(start: str, command: str, words: Sequence[str]) -> None:
    """Ask for the names of the states that a command is about: what is staged, what lies on disk, what two commits hold.

    ``words`` are those behind the command. What goes wrong shows when the answer is wanted.
    """
    git.FOUND.clear()
    try:
        repository = git.find(start)
        if repository is None or not repository.top:
            return
        if command == "diff":
            named = list(takewhile(lambda word: not word.startswith("-") and ".." not in word, words))
            if len(named) == 2:  # otherwise the command itself has to find out which states are meant
                committed(repository, named)
        elif "--staged" in words:
            repository.git.ahead(*git.STAGED)
            if repository.head is not None:
                repository.git.ahead(*git.compared("diff-index", "--cached", repository.head))
        elif not any(word.startswith("--at") for word in words):
            repository.git.ahead(*git.PRESENT, *below_root(repository, Disk(repository.top))[1])
    except UserError:
        return
    git.FOUND[start] = repository


def committed(repository: git.Repository, revisions: Sequence[str]) -> None:
    """Ask for what several commits hold, of all of them at once. What goes wrong shows when one of them is looked at."""
    for revision in revisions:
        if revision not in repository.resolved:
            repository.git.ahead(*git.NAMED, revision + "^{commit}")
    for revision in revisions:
        try:
            commit = repository.resolve(revision)
        except UserError:
            return
        repository.git.ahead(*git.LISTED, commit)
