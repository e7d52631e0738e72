"""A new formula repository: what its files say, where they may go, and what is left as it was."""

from __future__ import annotations

import json
import os
import re
import stat
from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

from formulint import __version__, git
from formulint.errors import UserError
from formulint.git import quoted
from formulint.root import SETTINGS
from formulint.rulebook import Shipped
from formulint.worktree import Disk
from formulint.writing import write_below

CLASSES = ("flat", "matt", "eggshell", "satin", "semi-gloss", "gloss", "primer", "masonry")
"""Product classes that there is a template of. A stain, a clear coat, an intermediate: no one sheet is ordinary."""

FORMULA = "formulas/F-001.toml"
"""The one formula that a new repository begins with."""

HOOK = ".pre-commit-config.yaml"
PROPOSALS = (".github/workflows/formulas.yml", ".github/workflows/formulas-comment.yml", ".gitlab-ci.yml")
"""What code hosts read: each its own files, and no other host does."""

AT_THE_TOP = (HOOK, *PROPOSALS)
"""What is looked for at the top of a git repository and nowhere else."""

_TEMPLATES = os.path.join(os.path.dirname(os.path.abspath(__file__)), "templates")
_MATERIAL = re.compile(r'material = "([A-Z0-9-]+)"')
_RECORDS = ("formulas/", "materials/")
_PLAIN = re.compile(r"[\x21-\x7e]+")


class Pinned(Struct, frozen=True):
    """Where hooks are fetched from: the address of a repository of this tool, and a tag or commit of it."""

    address: str
    revision: str


class Ground(Struct, frozen=True):
    """The folder that was named, looked at before anything is done.

    Attributes
    ----------
    root : str
        Absolute path; the folder itself may not be there yet.
    names : frozenset of str
        Files that lie in it, relative to it.
    repository : Repository or None
        The git repository that holds it.
    top : bool
        True where hook and proposals are looked for in it: it is the top of that repository, or there is none.
    """

    root: str
    names: frozenset[str]
    repository: git.Repository | None
    top: bool


class Placed(Struct, frozen=True):
    """What became of the files: written, there already to the byte, left as they were, not written at all."""

    written: tuple[str, ...]
    same: tuple[str, ...]
    kept: tuple[str, ...]
    left_out: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """True where everything that was asked for is there."""
        return not self.kept and not self.left_out


def files(paint: str, pinned: Pinned | None = None) -> dict[str, bytes]:
    """Every file of a new repository by name; the settings, which make it one, come last.

    Raises
    ------
    UserError
        An address or a revision that cannot be one.
    """
    formula = _template(f"formulas/{paint}.toml")
    found = {FORMULA: formula}
    found |= {f"materials/{code}.toml": _template(f"materials/{code}.toml") for code in sorted(set(_MATERIAL.findall(formula)))}
    found |= {"rules/house.toml": _template("house.toml"), ".gitattributes": _template("gitattributes")}
    found[HOOK] = _template("hook-local.yaml") if pinned is None else _pinned(pinned)
    found |= {name: _template(f"workflows/{os.path.basename(name).lstrip('.')}").replace("<version>", __version__) for name in PROPOSALS}
    versions = sorted(Shipped().versions().items())
    width = max(len(pack) for pack, _ in versions)
    packs = "\n".join(f'{pack:<{width}} = "{version}"' for pack, version in versions)
    found[SETTINGS] = _template("settings.toml").replace("<version>", __version__).replace("<packs>", packs)
    return {name: text.encode() for name, text in found.items()}


def _template(name: str) -> str:
    try:
        with open(os.path.join(_TEMPLATES, *name.split("/")), encoding="utf-8", newline="") as file:
            return file.read()
    except OSError:
        raise UserError(f"the template {name} is missing from this installation", "install formulint again") from None


def _pinned(pinned: Pinned) -> str:
    for text, what in ((pinned.address, "the address"), (pinned.revision, "the revision")):
        if not _PLAIN.fullmatch(text) or text.startswith("-"):
            raise UserError(f"{what} {quoted(text)} cannot be one", "write it as git clone takes it, without blanks")
    text = _template("hook-pinned.yaml")
    return text.replace("<address>", json.dumps(pinned.address)).replace("<revision>", json.dumps(pinned.revision))


def survey(folder: str) -> Ground:
    """Look at the folder that was named.

    Raises
    ------
    UserError
        It is no folder, or inside git's own; it is a formula repository, lies in one or holds one; too many files.
    """
    path = os.path.abspath(folder)
    near = path
    while not os.path.lexists(near):
        near = os.path.dirname(near)
    if not os.path.isdir(near):
        raise UserError(f"{quoted(near)} is there already and is not a folder", "name another folder")
    rest = os.path.relpath(path, near)
    real = os.path.realpath(near)
    root = real if rest == os.curdir else os.path.join(real, rest)
    _refuse_above(root)
    names = frozenset(name for _, _, name in Disk(root).walk()) if os.path.isdir(root) else frozenset()
    inner = sorted(name for name in names if name.rpartition("/")[2] == SETTINGS)
    if inner:
        more = f" and {len(inner) - 1} more" if len(inner) > 1 else ""
        words = f"{quoted(root)} holds a formula repository already, {quoted(inner[0])}{more}; one does not lie in another"
        raise UserError(words, "name a new folder, such as formulint start paint")
    repository = git.find(real)
    if repository is not None and not repository.top:
        raise UserError(f"{quoted(root)} lies where git keeps its own files", "name a folder outside it")
    return Ground(root, names, repository, repository is None or os.path.realpath(repository.top) == root)


def _refuse_above(root: str) -> None:
    if os.path.lexists(os.path.join(root, SETTINGS)):
        raise UserError(f"{quoted(root)} is a formula repository already", "look at it with formulint lint")
    folder = os.path.dirname(root)
    while True:
        if os.path.lexists(os.path.join(folder, SETTINGS)):
            words = f"{quoted(root)} lies in the formula repository {quoted(folder)}, and one does not lie in another"
            raise UserError(words, f"add formulas there, or name a folder outside {quoted(folder)}")
        if os.path.dirname(folder) == folder:
            return
        folder = os.path.dirname(folder)


def place(ground: Ground, wanted: Mapping[str, bytes]) -> Placed:
    """Write what is not there; the folder is made if need be. Nothing that is there is touched.

    Raises
    ------
    UserError
        A folder on the way is a link or a file, the disk is full; before anything is written wherever that can be seen.
    """
    records = any(name.startswith(_RECORDS) and name.endswith(".toml") and name not in wanted for name in ground.names)
    left_out = [name for name in wanted if (records and name.startswith(_RECORDS)) or (not ground.top and name in AT_THE_TOP)]
    asked = [name for name in wanted if name not in left_out]
    _refuse_ways(ground.root, asked)
    there = {name for name in asked if os.path.lexists(os.path.join(ground.root, name))}
    same = {name for name in there if name in ground.names and _holds(ground.root, name, wanted[name])}
    try:
        os.makedirs(ground.root, exist_ok=True)
    except OSError as error:
        raise UserError(f"{quoted(ground.root)} cannot be made: {(error.strerror or str(error)).lower()}", "name another folder") from None
    written = [name for name in asked if name not in there]
    for name in written:
        write_below(ground.root, name, wanted[name])
    kept = [name for name in asked if name in there and name not in same]
    return Placed(tuple(written), tuple(name for name in asked if name in same), tuple(kept), tuple(left_out))


def _refuse_ways(root: str, names: Iterable[str]) -> None:
    """Before anything is written: every folder on the way is a folder, or is not there yet."""
    ways = {name[: at.start()] for name in names for at in re.finditer("/", name)}
    for way in sorted(ways):
        try:
            found = os.lstat(os.path.join(root, way))
        except (FileNotFoundError, NotADirectoryError):
            continue
        if not stat.S_ISDIR(found.st_mode):
            raise UserError(f"{quoted(way)} is there already and is a link or a file, where a folder should be", "move it away")


def _holds(root: str, name: str, data: bytes) -> bool:
    try:
        return Disk(root).read(name) == data
    except UserError:
        return False  # a link, or not to be read: in any case not ours


def folded(names: Sequence[str]) -> tuple[str, ...]:
    """Names for people: the materials as one folder."""
    found = dict.fromkeys("materials/" if name.startswith("materials/") else name for name in names)
    return tuple(found)
