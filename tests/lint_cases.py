"""Cases of judging: files of a repository as text, and on the lines where a finding must point what it must say.

    { material = "GLYCOL", amount = "10.1 kg" },  # <- error dose/glycol-ceiling: 10.10 %

A mark is a word for how it is meant (``error``, ``warning``, ``note``: it fails at that level; ``open``, ``review``; ``open note`` and
``open warning`` are open, at that level), the
rule, and words of the message; only the rule has to be there. What has no mark must be silent, but for notes of other
rules, and for what other rules say that a paint of a few lines lacks. Lines may hold ``$name`` for the ``words`` of a case. A ``ladder`` is three cases of one line: ``inside``, ``at`` and
``outside`` stand for ``$amount`` in turn, and only outside does ``$told`` become the mark of its rule. ``texts`` are named
texts that several cases of a file share; the shelf of materials is always there.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date
from functools import cache
from pathlib import Path
from string import Template

import tomli
from in_memory import Memory, shipped
from msgspec import Struct, convert
from msgspec.structs import replace
from repository import text

from formulint.catalog import Catalog
from formulint.finding import Finding, Level
from formulint.judge import Judge, Scope
from formulint.measured import findings as of_results
from formulint.rulebook import Shipped
from formulint.snapshot import Snapshot
from formulint.source import Entry

HERE = Path(__file__).parent
FOLDER = HERE / "cases" / "lint"
SETTINGS = text({"format": 1, "units": "metric", "water_density": "1 kg/L"})
LACKS = "presence/"
_MARK = re.compile(r"# <- (?:(error|warning|note|open note|open warning|open|review) )?([a-z-]+/[a-z0-9-]+)(?:: (.+?))?(?= *# <- | *$)", re.M)
_CODE = re.compile(r'^code += "(.+)"', re.M)


class Case(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One case; ``rule`` is what it is about, ``register`` asks for the list of materials as a whole.

    ``alone``: other rules may say what they like; for rules to which amounts do not matter.
    """

    name: str
    rule: str
    source: str
    date: date
    formula: str = ""
    material: str = ""
    settings: str = SETTINGS
    files: dict[str, str] = {}
    words: dict[str, str] = {}
    register: bool = False
    alone: bool = False
    file: str = ""

    def __str__(self) -> str:
        return f"{self.file}::{self.name}"

    @property
    def written(self) -> dict[str, str]:
        """The files of the case, by name."""
        found = {"formulint.toml": self.settings, **self.files}
        for folder, raw in (("formulas", self.formula), ("materials", self.material)):
            if raw:
                found[f"{folder}/{_code(raw)}.toml"] = raw
        return {name: Template(raw).substitute(self.words) for name, raw in found.items()}

    @property
    def marks(self) -> list[tuple[str, int, str, str, str]]:
        """File, line, meaning, rule and words of everything that must be found."""
        return [
            (name, number, *mark)
            for name, raw in self.written.items()
            for number, line in enumerate(raw.split("\n"), 1)
            for mark in _MARK.findall(line)
        ]

    @property
    def fires(self) -> bool:
        """True where the rule that the case is about must speak."""
        return any(mark[3] == self.rule for mark in self.marks)


class Ladder(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A bound from both sides: the line of the bound with three amounts, and ``also`` other words for the last of them."""

    name: str
    rule: str
    source: str
    date: date
    inside: str
    at: str
    outside: str
    says: str
    level: str = "error"
    formula: str = ""
    material: str = ""
    settings: str = SETTINGS
    files: dict[str, str] = {}
    words: dict[str, str] = {}
    also: tuple[dict[str, str], ...] = ()

    def cases(self) -> Iterator[Case]:
        """The three steps, and the last one again for each of ``also``."""
        told = f"# <- {self.level} {self.rule}: {self.says}"
        for step in ("inside", "at", "outside"):
            yield self._case(step, {"amount": getattr(self, step), "told": told if step == "outside" else ""})
        for more in self.also:
            yield self._case(" ".join(("outside", *more.values())), {"amount": self.outside, "told": told, **more})

    def _case(self, step: str, words: dict[str, str]) -> Case:
        return Case(
            name=f"{self.name}, {step}", rule=self.rule, source=self.source, date=self.date, formula=self.formula,
            material=self.material, settings=self.settings, files=self.files, words={**self.words, **words},
        )  # fmt: skip


class CaseFile(Struct, frozen=True, forbid_unknown_fields=True):
    """A file of cases; ``formula = "name"`` or ``material = "name"`` stands for one of its ``texts``."""

    case: tuple[Case, ...] = ()
    ladder: tuple[Ladder, ...] = ()
    texts: dict[str, str] = {}
    alone: bool = False


@cache
def cases(pattern: str = "[!_]*.toml") -> tuple[Case, ...]:
    """The cases of the files that match, below the folder of cases; an unknown key in a case is an error."""
    found: list[Case] = []
    for path in sorted(FOLDER.glob(pattern)):
        raw = tomli.loads(path.read_text(encoding="utf-8"))
        texts = raw.get("texts", {})
        for one in (*raw.get("case", ()), *raw.get("ladder", ())):
            one.update({key: texts[one[key]] for key in ("formula", "material", "settings") if one.get(key) in texts})
        file = convert(raw, CaseFile)
        steps = [step for ladder in file.ladder for step in ladder.cases()]
        found += [replace(case, file=path.name, alone=case.alone or file.alone) for case in (*file.case, *steps)]
    return tuple(found)


def _code(raw: str) -> str:
    match = _CODE.search(raw)
    assert match is not None, raw
    return match[1]


@cache
def shelf() -> dict[str, str]:
    """The generic materials that every case may use, by the name of their file."""
    return {
        f"materials/{path.name}": path.read_text(encoding="utf-8") for path in sorted((HERE / "shelf").glob("*.toml"))
    }


def catalog_of(files: Mapping[str, str], today: date, packs: Shipped | None = None) -> Catalog:
    """The catalog of these files and the shelf."""
    everything = {**shelf(), **files}
    entries = {name: Entry(name, "", "100644") for name in everything}
    state = Snapshot("memory", today, "the test", "", "", None, entries, (), Memory(everything), None)
    return Catalog(state, packs or shipped(), today)


def told(case: Case, packs: Shipped | None = None) -> list[tuple[str, int, Finding]]:
    """File, line and finding of everything there is to say about the records of a case."""
    catalog = catalog_of(case.written, case.date, packs)
    names = [name for name in case.written if not name.startswith("formulint")]
    formulas, materials, results = (
        tuple(name for name in names if name.startswith(kind)) for kind in ("formulas/", "materials/", "results/")
    )
    scope, judge = Scope(formulas, materials, case.register, results), Judge(catalog)
    marks = [(one, catalog.locate(one.fault.place)) for one in (*judge.findings(scope), *of_results(judge, scope))]
    return [(mark.path, mark.line, finding) for finding, mark in marks]


def meaning(finding: Finding) -> str:
    """How a finding is meant, in the word of a mark."""
    return finding.level.name if finding.fault.kind == "fail" else finding.fault.kind


def disagreements(case: Case, packs: Shipped | None = None) -> list[str]:
    """What is found and not expected, and what is expected and not found."""
    left = told(case, packs)
    wrong = []
    for path, line, meant, rule, words in case.marks:
        match = next((one for one in left if _fits(one, path, line, meant, rule, words)), None)
        if match is None:
            wrong.append(f"not found in {path}, line {line}: {meant} {rule}: {words}")
        else:
            left.remove(match)
    loud = [one for one in left if one[2].rule == case.rule or (not case.alone and _is_loud(one[2]))]
    return wrong + [f"not expected in {path}, line {line}: {_said(finding)}" for path, line, finding in loud]


def _fits(one: tuple[str, int, Finding], path: str, line: int, meant: str, rule: str, words: str) -> bool:
    finding = one[2]
    return (
        one[:2] == (path, line)
        and finding.rule == rule
        and meant in ("", meaning(finding), f"{meaning(finding)} {finding.level.name}")
        and words in f"{finding.fault.message} | {finding.fault.remedy}"
    )


def _is_loud(finding: Finding) -> bool:
    return finding.level is not Level.note and not finding.rule.startswith(LACKS)


def _said(finding: Finding) -> str:
    return f"{meaning(finding)} {finding.rule}: {finding.fault.message} | {finding.fault.remedy}"
