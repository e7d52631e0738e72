"""Two sides that each pass and fail together: said so, because neither author did anything wrong alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from msgspec.structs import replace

from formulint.finding import Finding
from formulint.judge import Judge

TOGETHER = "each side passed alone, together they do not"


def told(findings: Iterable[Finding], sides: Callable[[], Sequence[Judge]]) -> Iterator[Finding]:
    """The findings; those that stop, and that no side of a merge has alone, with the words.

    ``sides`` gives what judges each side; it is asked only if something stops, and gives fewer than two where this is
    no merge, or where a side cannot be read, so that nobody knows whether it passed.
    """
    judges: Sequence[Judge] | None = None
    for one in findings:
        if one.blocks and (one.formula or one.material):
            judges = sides() if judges is None else judges
            if len(judges) > 1 and not any(_has(judge, one) for judge in judges):
                one = replace(one, fault=replace(one.fault, message=f"{one.fault.message}; {TOGETHER}"))
        yield one


def _has(judge: Judge, finding: Finding) -> bool:
    formula, material = judge.catalog.find_formula(finding.formula), judge.catalog.find_material(finding.material)
    found = [*(judge.formula(formula) if formula else ()), *(judge.material(material) if material else ())]
    return any(one.rule == finding.rule and one.blocks for one in found)
