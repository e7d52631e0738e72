"""Probes: small records that stand just at, just outside or just beside what one shipped rule asks, and what it says of each.

    [[probe]]
    rule = "dose/defoamer"
    what = "max: half a digit above 0.60 %"
    says = "warning"
    lines = ["DEFOAMED 0.605 kg", "FILLER q.s."]
    materials = { DEFOAMED = { functions = ["defoamer"] } }

They are worked out from the packs once, by ``python tests/probing.py``, which holds what the rule says against what its
table says, and are kept in ``cases/probes``: a figure that moves in a pack disagrees with its probes until somebody has
looked at them and made them anew. Of a material, ``fields`` are those at which the rule speaks.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import tomli
from in_memory import shipped
from lint_cases import SETTINGS, catalog_of, meaning
from msgspec import Struct, convert
from repository import text

from formulint.catalog import Catalog
from formulint.judge import Judge
from formulint.rule import Rule
from formulint.subject import FormulaSubject, MaterialSubject

FOLDER = Path(__file__).parent / "cases" / "probes"
DAY = date(2026, 12, 31)
Fields = dict[str, Any]
MATERIAL: Fields = {"name": "probe", "functions": ["other"], "form": "liquid", "density": "1 kg/L", "nonvolatile": "40 %", "active": "50 %", "disclosure": "full"}
"""What a material of a probe says where the probe says nothing else: as supplied, active and dry are three amounts."""
FORMULA: Fields = {"name": "probe", "revision": 1, "state": "production", "class": "flat", "markets": ["us-national"], "batch": "100 kg"}


class Probe(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """Records for one rule, and what it says of them: its level, or ``open``; nothing where it is silent.

    ``material`` is the one material that is judged; else ``lines`` is a sheet of ``materials``: a code and its amount, the
    kind of a stage that begins, or a step. ``head`` are fields of the formula. An empty field is left out of a record.
    """

    rule: str
    what: str
    says: str = ""
    fields: list[str] = []
    material: Fields = {}
    head: Fields = {}
    lines: list[str | Fields] = []
    materials: dict[str, Fields] = {}

    def __str__(self) -> str:
        return f"{self.rule}: {self.what}"

    @property
    def files(self) -> dict[str, str]:
        """The records as files."""
        found = {"formulint.toml": SETTINGS}
        materials = {**self.materials, **({"PROBE": self.material} if self.material else {})}
        for code, fields in materials.items():
            known = {name: raw for name, raw in {"code": code, **MATERIAL, **fields}.items() if raw != ""}
            found[f"materials/{code}.toml"] = text(known)
        if self.lines:
            found["formulas/T-1.toml"] = text({"code": "T-1", **FORMULA, **self.head, "stage": list(_stages(self.lines))})
        return found


def _stages(lines: list[str | Fields]) -> Iterator[Fields]:
    kind, additions = "grind", list[object]()
    for line in lines:
        if isinstance(line, str) and " " not in line:
            if additions:
                yield {"name": kind, "kind": kind, "additions": additions}
            kind, additions = line, []
        elif isinstance(line, str):
            code, _, amount = line.partition(" ")
            additions.append({"material": code, "amount": amount})
        else:
            additions.append(line)
    yield {"name": kind, "kind": kind, "additions": additions}


@cache
def probes() -> dict[str, tuple[Probe, ...]]:
    """All probes, by rule; an unknown key in one is an error."""
    found: dict[str, list[Probe]] = {}
    for path in sorted(FOLDER.glob("*.toml")):
        for raw in tomli.loads(path.read_text(encoding="utf-8"))["probe"]:
            probe = convert(raw, Probe)
            found.setdefault(probe.rule, []).append(probe)
    return {rule: tuple(them) for rule, them in found.items()}


def told(probe: Probe) -> tuple[str, list[str]]:
    """What the judge says of a probe by its rule, and at which fields of a material."""
    catalog = catalog_of(probe.files, DAY)
    judge = Judge(catalog)
    found = judge.material(catalog.material("materials/PROBE.toml")) if probe.material else judge.formula(catalog.formula("formulas/T-1.toml"))
    mine = [one for one in found if one.rule == probe.rule]
    fields = sorted({str(one.fault.place.keys[0]) for one in mine if one.fault.place.keys}) if probe.material else []
    return (meaning(mine[0]) if mine else ""), fields


def disagrees(probe: Probe, rule: Rule) -> bool:
    """True where a rule, asked by itself, would say something else of a probe than what is kept."""
    subject = _subject(probe)
    if not rule.in_force(DAY):
        return bool(probe.says)
    if isinstance(subject, FormulaSubject):
        faults = list(rule.check(subject)) if rule.of_formulas and rule.concerns(subject.formula) else []
        fields: list[str] = []
    else:
        faults = list(rule.check_material(subject))
        fields = sorted({str(one.place.keys[0]) for one in faults if one.place.keys})
    says = "" if not faults else rule.level if faults[0].kind == "fail" else faults[0].kind
    return (says, fields) != (probe.says, probe.fields)


_SUBJECTS: dict[int, tuple[Probe, FormulaSubject | MaterialSubject]] = {}


def _subject(probe: Probe) -> FormulaSubject | MaterialSubject:
    """What rules are shown of a probe; kept, because a hundred slips of a rule are asked about the same."""
    if id(probe) not in _SUBJECTS:
        catalog = catalog_of(probe.files, DAY, shipped())
        _SUBJECTS[id(probe)] = probe, _of_material(catalog) if probe.material else catalog.subject(catalog.formula("formulas/T-1.toml"))
    return _SUBJECTS[id(probe)][1]


def _of_material(catalog: Catalog) -> MaterialSubject:
    stock = catalog.stock("PROBE")
    assert stock is not None
    return MaterialSubject(stock, DAY, "metric")
