"""Files on disk, taken as a stranger's: listed and opened without following links and without waiting for anything."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterable

from formulint.errors import UserError
from formulint.git import Row, quoted
from formulint.plumbing import LONGEST

MOST = 50_000
"""Files below one root; more are refused, so that every run comes to an end."""

# Modes as git writes them. A folder is 160000, because where a file is expected it is a repository inside this one;
# the last is for what git cannot hold at all: pipes, sockets, devices.
REGULAR, LINK, FOLDER, SPECIAL = "100644", "120000", "160000", "000000"

_FLAGS = os.O_RDONLY
for _flag in ("O_NOFOLLOW", "O_NONBLOCK", "O_NOCTTY", "O_CLOEXEC", "O_BINARY"):
    _FLAGS |= getattr(os, _flag, 0)  # some systems lack some of them
_FOLDER_FLAGS = _FLAGS | getattr(os, "O_DIRECTORY", 0)
_BY_HANDLE = os.open in os.supports_dir_fd


class Disk:
    """A folder and what lies below it; names are relative to it and separated by "/".

    Parameters
    ----------
    top : str
        Absolute path of the folder. It may itself be reached through links: whoever named it chose it.
    """

    def __init__(self, top: str) -> None:
        self.top = top

    def classify(self, names: Iterable[str]) -> list[Row]:
        """Rows (without ids) of those names that are there, each with what it is; what is gone is left out."""
        folders: dict[str, dict[str, str]] = {}
        rows: list[Row] = []
        for name in names:
            folder, _, last = name.rstrip("/").rpartition("/")
            if folder not in folders:
                folders[folder] = self._list(folder)
            mode = folders[folder].get(last)
            if mode is not None:
                rows.append((mode, "", name.rstrip("/")))
        return rows

    def walk(self) -> list[Row]:
        """Rows (without ids) of everything below, in the order of names; for folders that no git looks after."""
        rows: list[Row] = []
        folders = [""]
        while folders:
            folder = folders.pop()
            for last, mode in self._list(folder).items():
                name = f"{folder}/{last}" if folder else last
                if mode == FOLDER:
                    if last != ".git":
                        folders.append(name)
                else:
                    rows.append((mode, "", name))
            if len(rows) + len(folders) > MOST:
                raise too_many(self.top)
        return sorted(rows, key=lambda row: row[2])

    def _list(self, folder: str) -> dict[str, str]:
        """Mode by last name of what a folder holds; nothing where it is gone or lies behind a link."""
        if folder and not self._plain(folder):
            return {}
        try:
            with os.scandir(self._path(folder)) as found:
                return {entry.name.decode("utf-8", "surrogateescape"): _mode(entry) for entry in found}
        except (FileNotFoundError, NotADirectoryError):
            return {}
        except OSError as error:
            raise _refused(folder or self.top, error) from None

    def _plain(self, folder: str) -> bool:
        parts = folder.split("/")
        for count in range(1, len(parts) + 1):
            try:
                found = os.lstat(self._path("/".join(parts[:count])))
            except OSError:
                return False
            if not stat.S_ISDIR(found.st_mode):
                return False
        return True

    def read(self, name: str) -> bytes:
        """What the file holds, cut after LONGEST + 1 bytes; UserError if it is gone, no file, or behind a link."""
        try:
            handle = self._open(name)
        except OSError as error:
            raise _refused(name, error) from None
        try:
            found = os.fstat(handle)
            if not stat.S_ISREG(found.st_mode):
                raise UserError(f"{quoted(name)} is not a file", "replace it by a file")
            data = b""
            while len(data) <= LONGEST and (part := os.read(handle, min(found.st_size, LONGEST) + 1 - len(data) or 1)):
                data += part
            return data
        except OSError as error:
            raise _refused(name, error) from None
        finally:
            os.close(handle)

    def _open(self, name: str) -> int:
        *folders, last = [part.encode("utf-8", "surrogateescape") for part in name.split("/")]
        if not _BY_HANDLE:
            if not self._plain(name.rpartition("/")[0]) or os.path.islink(self._path(name)):
                raise FileNotFoundError(2, "it lies behind a link")
            return os.open(self._path(name), _FLAGS)
        handle = os.open(self.top, os.O_RDONLY | getattr(os, "O_CLOEXEC", 0))
        try:
            for part in folders:
                above, handle = handle, os.open(part, _FOLDER_FLAGS, dir_fd=handle)
                os.close(above)
            return os.open(last, _FLAGS, dir_fd=handle)
        finally:
            os.close(handle)

    def _path(self, name: str) -> bytes:
        return os.path.join(os.fsencode(self.top), name.encode("utf-8", "surrogateescape"))


def path_of(disk: Disk, root: str) -> str:
    """Absolute path of a root below a folder, for people and for writing."""
    return os.path.normpath(os.path.join(disk.top, root.replace("/", os.sep))) if root else disk.top


def too_many(where: str) -> UserError:
    """What is said where more files lie than a run looks at."""
    message = f"there are more than {MOST} files in {quoted(where)}"
    return UserError(message, "keep formulas in a folder of their own, with its own formulint.toml")


def _mode(entry: os.DirEntry[bytes]) -> str:
    if entry.is_symlink():
        return LINK
    if entry.is_file(follow_symlinks=False):
        return REGULAR
    return FOLDER if entry.is_dir(follow_symlinks=False) else SPECIAL


def _refused(name: str, error: OSError) -> UserError:
    if error.errno in (errno.ELOOP, errno.ENOTDIR):
        return UserError(f"{quoted(name)} is a link, or lies behind one; links are not followed", "put a file there")
    return UserError(f"{quoted(name)} cannot be read: {error.strerror}", "look at its permissions")
