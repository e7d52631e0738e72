"""The record of a release, as the tool writes it: the one declaration of its file, its text, and the part that is read quickly.

Whoever released a revision, by what proof and from which files stands here for good. The text follows from the record
alone, so that a record that somebody edited is no longer the text of what it says.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Annotated, Literal

from msgspec import Meta, Struct

from formulint.material import Code
from formulint.standing import in_toml

HEAD = """\
# Revision {revision} of {formula} as it was released. Written by: formulint release
# Nobody edits or deletes a record; formulint release --verify proves it again. Screening by calculation: safety data
# sheets, local codes and qualified people decide.
"""
LISTS = "\ninput = [\n"
"""Where the part of a record ends that names what was released; lists follow."""

Id = Annotated[str, Meta(pattern="^([0-9a-f]{40}|[0-9a-f]{64})$")]
Seal = Annotated[str, Meta(pattern="^[cmd]1:[0-9a-f]{64}$")]
Digits = Annotated[str, Meta(max_length=40)]
RecordCode = Annotated[str, Meta(pattern="^[A-Za-z0-9]+(-[A-Za-z0-9]+)*-r[1-9][0-9]*$", max_length=60)]


class Fingerprints(Struct, frozen=True, forbid_unknown_fields=True):
    """The digests of what was released: composition, making, data."""

    composition: Seal
    making: Seal
    data: Seal


class Pack(Struct, frozen=True, forbid_unknown_fields=True):
    """A shipped pack of rules: its version, and SHA-256 over the names and digests of its files."""

    version: str
    sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]


class Input(Struct, frozen=True, forbid_unknown_fields=True):
    """A file that the release rests on, below the root, with git's id of what it held."""

    path: str
    id: Id


class Figure(Struct, frozen=True, forbid_unknown_fields=True):
    """A property in the units of the machine contract, 12 significant digits; ``value``, or the ends that it lies between, or neither where it is open.

    ``verdict`` is how it stood to the narrowest of its bounds, where anything judged it.
    """

    id: str
    unit: str
    value: Digits | None = None
    min: Digits | None = None
    max: Digits | None = None
    open: bool = False
    verdict: str | None = None


class Hazard(Struct, frozen=True, forbid_unknown_fields=True):
    """What the hazard screening came to in one scheme; ``known`` is false where nothing could be computed."""

    scheme: str
    known: bool
    classes: tuple[str, ...] = ()
    not_excluded: tuple[str, ...] = ()


class Conceded(Struct, frozen=True, forbid_unknown_fields=True):
    """A concession without which the release had been refused."""

    code: str
    rule: str
    subject: str
    approved_by: str
    expires: date
    up_to: str | None = None


class Relied(Struct, frozen=True, forbid_unknown_fields=True):
    """A test result that the release relies on."""

    test: str
    verdict: str
    value: str
    method: str
    measured_on: date
    by: str
    path: str


class Given(Struct, frozen=True, forbid_unknown_fields=True):
    """An approval: who, by which key, on which day, in which object of git. Without a key it is stated, not proved."""

    by: str
    how: Literal["signed", "stated, not proved"]
    on: date
    kind: Literal["commit", "tag"]
    object: Id
    key: str | None = None


class ReleaseRecord(Struct, frozen=True, forbid_unknown_fields=True):
    """A revision as it was released: from which commit, by which tool, with which digests, values and approvals."""

    format: Literal[1]
    code: RecordCode
    formula: Code
    name: str
    revision: Annotated[int, Meta(ge=1)]
    released_on: date
    tool: str
    commit: Id
    tree: Id
    root: str
    digest: Fingerprints
    packs: dict[str, Pack]
    input: tuple[Input, ...]
    property: tuple[Figure, ...]
    hazard: tuple[Hazard, ...]
    concession: tuple[Conceded, ...]
    result: tuple[Relied, ...]
    approval: tuple[Given, ...]
    cautions: tuple[str, ...]


class Headed(Struct, frozen=True):
    """The part of a record that says what was released."""

    code: RecordCode
    formula: Code
    revision: Annotated[int, Meta(ge=1)]
    released_on: date
    commit: Id
    digest: Fingerprints


def code_of(formula: str, revision: int) -> str:
    """The code of the record of a revision, which is the name of its file: ``T-101-r2``."""
    return f"{formula}-r{revision}"


def text_of(record: ReleaseRecord) -> str:
    """The text of a record's file; the same record gives the same bytes."""
    lines = [HEAD.format(revision=record.revision, formula=record.formula).rstrip("\n")]
    for name in ("format", "code", "formula", "name", "revision", "released_on", "tool", "commit", "tree", "root"):
        lines.append(f"{name} = {_plain(getattr(record, name))}")
    lines += [f"digest.{name} = {_plain(getattr(record.digest, name))}" for name in Fingerprints.__struct_fields__]
    lines += [f"packs.{_key(name)} = {_inline(pack)}" for name, pack in sorted(record.packs.items())]
    for name in ("input", "property", "hazard", "concession", "result", "approval"):
        lines += [f"{name} = [", *(f"  {_inline(one)}," for one in getattr(record, name)), "]"]
    lines += ["cautions = [", *(f"  {in_toml(words)}," for words in record.cautions), "]"]
    return "\n".join(lines) + "\n"


def _inline(value: Struct) -> str:
    defaults: Mapping[str, object] = dict(zip(value.__struct_fields__[::-1], value.__struct_defaults__[::-1], strict=False))
    told = [(name, getattr(value, name)) for name in value.__struct_fields__]
    return "{ " + ", ".join(f"{name} = {_plain(one)}" for name, one in told if name not in defaults or one != defaults[name]) + " }"


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return "[" + ", ".join(map(_plain, value)) + "]"
    return in_toml(value) if isinstance(value, str) else str(value)


def _key(name: str) -> str:
    return name if name.replace("-", "").replace("_", "").isalnum() and name.isascii() else in_toml(name)
