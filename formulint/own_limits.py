"""What breaks the limits that a sheet sets itself."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec.structs import replace

from formulint.finding import Finding, Level, Place, Source
from formulint.kinds.closure import closes
from formulint.subject import FormulaSubject, measure_of, value_of
from formulint.verdict import judge_bounds, outcome, own_remedy, read_bounds, title_of, units_of

HOUSE_SOURCE = Source("this formula's own limit", "", "house")
ASKED = "the sheet asks for this itself, under [limits]"


def broken(subject: FormulaSubject, code: str, level: Level, only: str = "") -> Iterator[Finding]:
    """What breaks the limits that a sheet sets itself; of ``only`` one property, if it is given."""
    for name, bounds in subject.formula.limits.items():
        place = Place(subject.path, ("limits", name))
        ends = read_bounds(name, bounds.min, bounds.max)
        value = value_of(name, subject)
        if only not in ("", name) or (isinstance(value, float) and outcome(value, *ends)[0] == "pass"):
            continue
        for fault in judge_bounds(title_of(name), value, ends, units_of(name, subject.units, subject.currency), place, subject.sharpen(measure_of(name))):
            if fault.kind == "fail":
                ratio = subject.evaluation.value("pigment_binder") if closes(subject) else None
                fault = replace(fault, remedy=own_remedy(name, ends, ratio))
            yield Finding(f"own-limit/{name.replace('_', '-')}", level, replace(fault, property=name), code, "", ASKED, HOUSE_SOURCE)
