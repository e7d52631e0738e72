"""Failures as data: what somebody wrote into the example's files, and which finding has to say what about it, and where.

    [[failure]]
    title = "pounds typed as kilograms on one line"
    edit = [["formulas/T-140.toml", '"18.0 lb"', '"18.0 kg"']]
    finds = [{ rule = "closure/batch", at = "formulas/T-140.toml:8", says = ["102.49 gal", "18.0 lb of RM-1604"] }]
    diff = ["+21.68"]

``edit`` exchanges a text that stands in the file once. ``first`` is done before the state that ``edit`` is compared with,
``never`` are words that it must not hold. ``add`` writes files, ``copy`` copies one, ``delete`` takes some away, ``rewrite`` does one of ``REWRITES`` to a file. Every finding
in ``finds`` must be new, on that line, and hold those words; every other new finding above a note must be of a rule in ``also``.
``diff`` are words of the comparison, ``gate`` those of the gate where the edit is proposed as a commit. A ``harmless`` edit brings nothing new at any level, and ``class`` is what the comparison
calls it.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Mapping
from contextlib import redirect_stdout
from decimal import Decimal
from io import StringIO
from pathlib import Path
from typing import Literal

import tomli
from msgspec import Struct, convert
from repos import Files, Repo, build
from story import EXAMPLE, in_kilograms

from formulint.cli import main

FILE = Path(__file__).parent / "cases" / "failures.toml"
DAY = "2026-01-12"
Text = dict[str, str]
Edits = list[tuple[str, str, str]]


def _times(factor: int) -> Callable[[str], str]:
    """The batch and every amount so many times."""
    figure = re.compile(r'((?:batch|amount) *= *)"([0-9.]+) (lb|gal)"')
    return lambda text: figure.sub(lambda found: f'{found[1]}"{Decimal(found[2]) * factor:f} {found[3]}"', text)


REWRITES: Mapping[str, Callable[[str], str]] = {
    "CRLF": lambda text: text.replace("\n", "\r\n"),
    "without comments": lambda text: re.sub(r" *#.*", "", text),
    "kilograms": in_kilograms(),
    "five times": _times(5),
}


class Wanted(Struct, frozen=True, forbid_unknown_fields=True):
    """A finding that must be there: its rule, ``file:line``, words of its message, remedy and reason, and words that are in none of them."""

    rule: str
    at: str
    says: list[str]
    never: list[str] = []
    level: Literal["", "error", "warning", "note"] = ""


class Case(Struct, frozen=True, forbid_unknown_fields=True, rename={"class_": "class"}):
    """One edit of the example, and what has to become of it."""

    title: str
    edit: Edits = []
    first: Edits = []
    add: Text = {}
    copy: Text = {}
    delete: list[str] = []
    rewrite: Text = {}
    finds: list[Wanted] = []
    also: list[str] = []
    diff: list[str] = []
    gate: list[str] = []
    class_: str = ""

    def __str__(self) -> str:
        return self.title

    def before(self, files: Text) -> Text:
        """The files that the edit is compared with."""
        return _edited(files, self.first)

    def after(self, before: Text) -> Files:
        """The files that the edit changes; None for those it takes away."""
        made = _edited(before, self.edit) | self.add | {new: before[old] for new, old in self.copy.items()}
        made |= {name: REWRITES[how](made[name]) for name, how in self.rewrite.items()}
        changed: dict[str, str | None] = {name: text for name, text in made.items() if before.get(name) != text}
        return changed | dict.fromkeys(self.delete)


class Cases(Struct, frozen=True, forbid_unknown_fields=True):
    """The file of cases."""

    failure: list[Case]
    harmless: list[Case]


class Finding(Struct, frozen=True):
    """A finding as ``lint`` reports it."""

    rule: str
    level: str
    message: str
    path: str
    line: int
    remedy: str = ""
    why: str = ""
    formula: str = ""
    material: str = ""

    @property
    def key(self) -> tuple[str, str, str]:
        """What makes it the same finding in two states, wherever its file lies and whatever its line."""
        return self.rule, self.formula or self.material or self.path, self.message

    @property
    def at(self) -> str:
        """File and line."""
        return f"{self.path}:{self.line}"

    def answers(self, wanted: Wanted) -> bool:
        """True where it is the finding that was wanted."""
        told = " | ".join((self.message, self.remedy, self.why))
        fits = self.rule == wanted.rule and self.at == wanted.at and wanted.level in ("", self.level)
        return fits and all(words in told for words in wanted.says) and not any(words in told for words in wanted.never)

    def __str__(self) -> str:
        return f"{self.level} {self.rule} at {self.at}: {self.message} | {self.remedy}"


class Works:
    """The example as a repository of its own, in which one case after the other is tried and undone."""

    def __init__(self, folder: Path) -> None:
        shutil.copytree(EXAMPLE, folder)
        self.repo: Repo = build(folder)
        self.repo.git("add", "--all")
        self.start = self.repo.commit("import")
        names = [path for path in sorted(folder.rglob("*.toml")) if "story" not in path.parts]
        self.files: Text = {path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8") for path in names}
        self.known = {one.key for one in self._lint()}

    def told(self, case: Case) -> tuple[list[Finding], str, str]:
        """What is found after the edit that was not before, how ``diff`` tells the edit, and what the gate says of it."""
        before = case.before(self.files)
        try:
            if case.first:
                self.repo.commit("before", before)
            known = {one.key for one in self._lint()} if case.first else self.known
            self.repo.write(case.after(before))
            new = [one for one in self._lint() if one.key not in known]
            diff, gate = self._said("diff", "--today", DAY), ""
            if case.gate:
                base = self.repo.head
                self.repo.git("add", "--all")
                self.repo.commit("proposal")
                gate = self._said("gate", "--base", base, "--today", DAY)
            return new, " ".join(diff.split()), " ".join(gate.split())
        finally:
            self.repo.git("reset", "-q", "--hard", self.start)
            self.repo.git("clean", "-q", "-d", "--force")

    def _lint(self) -> list[Finding]:
        raw = json.loads(self._said("lint", "--today", DAY, "--format", "json"))
        return convert([{key: value for key, value in one.items() if value is not None} for one in raw["results"]], list[Finding])

    def _said(self, *words: str) -> str:
        with redirect_stdout(StringIO()) as out:
            assert main(["-C", str(self.repo), *words]) in (0, 1)
        return out.getvalue()


def cases() -> Cases:
    """The file of cases; an unknown key in one is an error."""
    return convert(tomli.loads(FILE.read_text(encoding="utf-8")), Cases)


def disagreements(case: Case, found: list[Finding], diff: str, gate: str) -> list[str]:
    """What was wanted and is not there, and what is there and nobody wanted."""
    met = [one for one in found if any(one.answers(wanted) for wanted in case.finds)]
    lacking = [f"not found: {wanted}" for wanted in case.finds if not any(one.answers(wanted) for one in found)]
    loud = [one for one in found if one not in met and one.level != "note" and one.rule not in case.also]
    unheard = [f"said for nothing: {rule}" for rule in case.also if rule not in {one.rule for one in found}]
    unsaid = [f"not in the comparison: {words}" for words in case.diff if words not in diff]
    unsaid += [f"not said by the gate: {words}" for words in case.gate if words not in gate]
    return lacking + [f"not expected: {one}" for one in loud] + unheard + unsaid


def _edited(files: Text, edits: Edits) -> Text:
    made = dict(files)
    for name, old, new in edits:
        assert made[name].count(old) == 1, f"{old!r} stands {made[name].count(old)} times in {name}"
        made[name] = made[name].replace(old, new)
    return made
