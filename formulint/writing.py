"""Files are written whole or not at all: under another name beside the old one, then renamed into its place.

Never through a link, so that nothing is written but what was asked for.
"""

from __future__ import annotations

import errno
import os
import stat

from formulint.errors import UserError
from formulint.git import quoted

_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL
for _flag in ("O_NOFOLLOW", "O_CLOEXEC", "O_BINARY"):
    _NEW |= getattr(os, _flag, 0)  # some systems lack some of them
_HANDLES = "/proc/self/fd"


def write(path: str, data: bytes) -> None:
    """Write a file where the user asked for it; the folder must be there and may be reached through links.

    Raises
    ------
    UserError
        The path is a link, or anything but a file; there is no such folder; the disk is full.
    """
    folder, last = os.path.split(os.path.abspath(path))
    if not last:
        raise UserError(f"{quoted(path)} is a folder, not a file", "name a file in it")
    _write(folder, last, data, path)


def write_below(root: str, name: str, data: bytes) -> None:
    """Write a file of a formula repository, making folders that are missing.

    Parameters
    ----------
    root : str
        Absolute path of the root.
    name : str
        Name relative to the root, with "/" between folders.
    data : bytes
        What the file shall hold.

    Raises
    ------
    UserError
        The name leads out of the root or into ``.git``; a folder on the way is a link; as for ``write``.
    """
    folder = _below(root, name)
    _write(folder, name.rpartition("/")[2], data, name)


def _below(root: str, name: str) -> str:
    """The folder of a name below the root, made where it is missing; UserError where the name does not lie plainly below."""
    parts = name.split("/")
    if (
        os.path.isabs(name)
        or "\\" in name
        or "\0" in name
        or any(part.casefold() in ("", ".", "..", ".git") for part in parts)
    ):
        raise UserError(f"{quoted(name)} does not name a file of this formula repository")
    folder = root
    for part in parts[:-1]:
        folder = os.path.join(folder, part)
        try:
            _make(folder)
        except OSError as error:
            raise _failed(name, error) from None
    return folder


def add_below(root: str, name: str, data: bytes) -> bool:
    """As ``write_below``, for a file that must not be there yet: False, and nothing done, where it is.

    The file appears under its name all at once: of two that add it, one succeeds. Where the system can write a file that
    has no name yet, a process that is killed leaves nothing behind.
    """
    folder = _below(root, name)
    last = name.rpartition("/")[2]
    target = os.path.join(folder, last)
    beside = ""
    try:
        handle, beside = _nameless(folder)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(handle)
            _name(handle, beside, target)
        _settle(folder)
    except FileExistsError:
        return False
    except OSError as error:
        raise _failed(name, error) from None
    finally:
        if beside:
            _discard(beside)
    return True


def _nameless(folder: str) -> tuple[int, str]:
    """A new file without a name, and ""; else one under a name that nobody reads, and that."""
    if hasattr(os, "O_TMPFILE") and os.path.isdir(_HANDLES):
        try:
            return os.open(folder, os.O_TMPFILE | os.O_WRONLY | os.O_CLOEXEC, 0o666), ""
        except OSError as error:
            if error.errno not in (errno.EOPNOTSUPP, errno.EISDIR, errno.ENOENT, errno.EINVAL):
                raise
    beside = os.path.join(folder, f".formulint-{os.urandom(8).hex()}.tmp")
    return os.open(beside, _NEW, 0o666), beside


def _name(handle: int, beside: str, target: str) -> None:
    """Give a finished file its name; FileExistsError where something has it."""
    if beside:
        os.link(beside, target)
        return
    handles = os.open(_HANDLES, os.O_RDONLY)
    try:
        os.link(str(handle), target, src_dir_fd=handles, follow_symlinks=True)
    finally:
        os.close(handles)


def _settle(folder: str) -> None:
    """Have the name itself written to the disk, where the system can; the file is there either way."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


def _make(folder: str) -> None:
    try:
        os.mkdir(folder)
    except FileExistsError:
        if not stat.S_ISDIR(os.lstat(folder).st_mode):
            raise NotADirectoryError(errno.ENOTDIR, "a folder on the way is a link or a file") from None


def _write(folder: str, last: str, data: bytes, asked: str) -> None:
    target = os.path.join(folder, last)
    beside = os.path.join(folder, f".formulint-{os.urandom(8).hex()}.tmp")
    try:
        mode = _mode_of(target, asked)
        handle = os.open(beside, _NEW, 0o666)
    except OSError as error:
        raise _failed(asked, error) from None
    try:
        with os.fdopen(handle, "wb") as file:
            if mode is not None and hasattr(os, "fchmod"):
                os.fchmod(handle, mode)
            file.write(data)
            file.flush()
            os.fsync(handle)
        os.replace(beside, target)
    except BaseException as error:  # an interrupt, too, must leave nothing behind
        _discard(beside)
        if isinstance(error, OSError):
            raise _failed(asked, error) from None
        raise


def _mode_of(target: str, asked: str) -> int | None:
    """The permissions to keep, or None for a new file; UserError where something else than a file is in the way."""
    try:
        found = os.lstat(target)
    except FileNotFoundError:
        return None
    if stat.S_ISLNK(found.st_mode):
        raise UserError(f"{quoted(asked)} is a link; nothing is written through links", "remove it, or name its target")
    if not stat.S_ISREG(found.st_mode):
        raise UserError(f"{quoted(asked)} is there already and is not a file", "name another file")
    return found.st_mode & 0o777


def _discard(path: str) -> None:
    try:
        os.unlink(path)
    except OSError:
        pass  # what stopped the writing matters more


def _failed(asked: str, error: OSError) -> UserError:
    remedy = "make room on the disk" if error.errno in (errno.ENOSPC, errno.EDQUOT) else ""
    return UserError(f"{quoted(asked)} cannot be written: {(error.strerror or str(error)).lower()}", remedy)
