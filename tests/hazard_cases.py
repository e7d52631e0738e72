"""Mixtures for the calculation of hazards: components as in a record, put into a paint of 100 kg, the rest water."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import cache
from pathlib import Path

import tomli
from in_memory import Records, catalog, subject
from msgspec import Struct, convert
from repository import Table

from formulint.hazard import classify
from formulint.hazard.classify import Classification, Outcome

FOLDER = Path(__file__).parent / "cases" / "hazard"
WATER: Table = {"name": "water", "functions": ["water"], "density": "1 kg/L", "water": "100 %"}
FIGURES = ("limits", "m_acute", "m_chronic", "ate", "additive")
Parts = Sequence[Mapping[str, object]]


class Case(Struct, frozen=True, forbid_unknown_fields=True, rename={"class_": "class"}):
    """A mixture and what its source prints."""

    name: str
    source: str
    scheme: str
    family: str
    class_: str
    components: list[dict[str, object]]
    ate: str = ""
    sums: list[str] = []
    causes: int = 0

    def __str__(self) -> str:
        return self.name


@cache
def cases() -> tuple[Case, ...]:
    """All published and constructed mixtures."""
    raw = tomli.loads((FOLDER / "published.toml").read_text(encoding="utf-8"))
    return tuple(convert(raw["case"], list[Case]))


def material(part: Mapping[str, object], number: int) -> Table:
    """A raw material that is one component and nothing else."""
    figures = {key: part[key] for key in FIGURES if key in part}
    component = {"name": f"part {number}", "share": "100 %", "volatile": part.get("volatile", "no"), "hazard_figures": figures}
    component |= {key: part[key] for key in ("cas", "hazards") if key in part}
    return {"name": f"material {number}", "functions": ["other"], "density": "1 kg/L", "disclosure": "full", "component": [component]}


def records(parts: Parts, batch: str = "100 kg", times: int = 1) -> tuple[Records, Table]:
    """The materials of a mixture and its sheet; amounts are ``pct`` in kg."""
    made: dict[str, Table | str] = {f"M-{at}": material(part, at) for at, part in enumerate(parts)}
    lines = [{"material": f"M-{at}", "amount": f"{times * Fraction(str(part['pct']))} kg"} for at, part in enumerate(parts)]
    for line, part in zip(lines, parts, strict=True):
        if times == 1:
            line["amount"] = f"{part['pct']} kg"
    lines.append({"material": "WATER", "amount": "q.s."})
    return {**made, "WATER": WATER}, sheet("T-1", lines, batch)


def sheet(code: str, lines: Sequence[Table], batch: str, class_: str = "flat") -> Table:
    """A formula of one stage."""
    return {
        "code": code, "name": "white", "revision": 1, "state": "bench", "class": class_, "markets": ["eu"] if class_ == "flat" else [],
        "batch": batch, "stage": [{"name": "Mix", "kind": "letdown", "additions": list(lines)}],
    }  # fmt: skip


def classified(scheme: str, parts: Parts) -> Classification:
    """The mixture as a formula of a repository, classified."""
    materials, formula = records(parts)
    return classify.of_subject(scheme, subject(catalog(materials, {"T-1": formula}), "T-1"))


def surely(found: Classification, family: str) -> Outcome | None:
    """The class or statement of a family that is certain."""
    return next((one for one in found.of("known", "statement") if one.family == family), None)
