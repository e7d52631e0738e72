"""What is withdrawn: it is made no more, so its findings stop nothing, and nothing is made with it."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec.structs import replace

from formulint.catalog import Catalog
from formulint.finding import Fault, Finding, Level, Place
from formulint.formula import Formula

FILES = ("record/readable", "record/portable", "record/plain-file", "record/code-is-file-name", "record/one-file-per-code")
"""Rules about a file as such, which has to be in order whatever is in it."""


def eased(finding: Finding, unsafe: str) -> Finding:
    """A finding about a formula that is made no more: rules that begin with ``unsafe`` are shown, most others counted."""
    if finding.rule in FILES:
        return finding
    if finding.rule.startswith(unsafe):
        return replace(finding, level=min(finding.level, Level.warning))
    fault = replace(finding.fault, kind="fail") if finding.fault.kind == "review" else finding.fault
    return replace(finding, level=Level.note, fault=fault)


def still_used(formula: Formula, path: str, catalog: Catalog) -> Iterator[Fault]:
    """The withdrawn intermediates that a formula names."""
    for i, stage in enumerate(formula.stage):
        for j, line in enumerate(stage.additions):
            for code in (line.material, *line.alternates) if line.material else ():
                blend = None if catalog.find_material(code) else catalog.find_formula(code)
                if blend is not None and blend.record is not None and blend.record.state == "withdrawn":
                    place, related = Place(path, ("stage", i, "additions", j, "material")), (Place(blend.name, ("state",)),)
                    words = f"{code} is withdrawn, and {formula.code} is made with it"
                    yield Fault(place, words, f"take another intermediate, or put {code} back into use", related=related)
