"""Where the bytes of a state come from: objects of the repository, or files on disk."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from msgspec import Struct

from formulint import git, worktree


class Entry(Struct, frozen=True):
    """A file: its name relative to the root (odd bytes as surrogates), its object id ("" on disk), its mode."""

    name: str
    oid: str
    mode: str


class Source(Protocol):
    """Where the bytes of a state come from."""

    def contents(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        """The bytes of these files by name; of a file over 1 MiB, the first 1 MiB and one byte."""
        ...

    def expect(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        """Hear which files will be asked for soon; of those that can be had without waiting, the bytes by name."""
        ...

    def close(self) -> None:
        """Let go of whatever was kept open."""
        ...


class Objects(Struct, frozen=True, eq=False):
    """Bytes by object id, from the repository."""

    repository: git.Repository

    def contents(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        found = self.repository.contents({entry.oid: entry.name for entry in entries})
        return {entry.name: found[entry.oid] for entry in entries}

    def expect(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        self.repository.expect(entry.oid for entry in entries)
        return {}

    def close(self) -> None:
        self.repository.close()


class Files(Struct, frozen=True, eq=False):
    """Bytes from disk."""

    disk: worktree.Disk
    root: str

    def contents(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        return {entry.name: self.disk.read(self.root + entry.name) for entry in entries}

    def expect(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        return self.contents(entries)

    def close(self) -> None:
        pass


class Nowhere(Struct, frozen=True):
    """The bytes of a state that holds nothing."""

    def contents(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        return {}

    def expect(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        return {}

    def close(self) -> None:
        pass


NOWHERE = Nowhere()
