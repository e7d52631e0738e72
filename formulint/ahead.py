"""What a run will ask git is asked while the rest of this package is being loaded, which takes as long as several answers."""

from __future__ import annotations

from collections.abc import Sequence

from formulint import git
from formulint.errors import UserError
from formulint.snapshot import below_root
from formulint.worktree import Disk


def begin(start: str, words: Sequence[str]) -> None:
    """Ask for the names of the state that a command is about: what is staged, or what lies on disk.

    ``words`` are those behind the command. What goes wrong shows when the answer is wanted.
    """
    git.FOUND.clear()
    try:
        repository = git.find(start)
        if repository is None or not repository.top:
            return
        if "--staged" in words:
            repository.staged_ahead()
        elif not any(word.startswith("--at") for word in words):
            repository.present_ahead(below_root(repository, Disk(repository.top))[1])
    except UserError:
        return
    git.FOUND[start] = repository
