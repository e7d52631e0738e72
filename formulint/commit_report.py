"""What a commit being made does, as part of the report that the hook shows."""

from __future__ import annotations

from msgspec import Struct
from msgspec.structs import replace

from formulint.catalog import stem
from formulint.changed import change_sections, printed_moves, record_sections
from formulint.compare import FormulaChange, RecordChange
from formulint.compare import formulas as compare_formulas
from formulint.compare import materials as compare_materials
from formulint.finding import Finding
from formulint.report import Report, counted
from formulint.staged import Staged


class Deltas(Struct, frozen=True):
    """What a commit being made does: to paints, and to the records that they share."""

    formulas: tuple[FormulaChange, ...] = ()
    records: tuple[RecordChange, ...] = ()

    @property
    def own(self) -> tuple[Finding, ...]:
        """The findings about the changes themselves."""
        return tuple(finding for one in self.formulas for finding in one.own)


def deltas(staged: Staged) -> Deltas:
    """What a commit being made does to the paints it touches; nothing where it is the first."""
    before, after, reach = staged.before, staged.catalog, staged.reach
    if before is None:
        return Deltas()
    # A sheet that could not be read as it was meant has no deltas: they would say "removed", or "open" everywhere.
    unclear = {finding.formula for finding in staged.findings if finding.blocks and finding.rule.startswith("record/")}
    codes = [stem(name) for name in reach.formulas if stem(name) not in unclear]
    codes += [code for code in reach.gone if before.find_formula(code)]
    return Deltas(compare_formulas(before, after, codes), compare_materials(before, after, reach.materials, reach.gone))


def with_deltas(report: Report, staged: Staged, found: Deltas) -> Report:
    """The report of a commit being made, with what it does."""
    facts = report.facts
    if staged.elsewhere:
        words = f"{counted(staged.elsewhere, 'finding')} about records that this commit does not touch: formulint lint shows them"
        facts = (*facts, words)
    before, after = staged.before, staged.catalog
    if before is None:
        return replace(report, facts=facts)
    sections = record_sections(one for one in found.records if "cannot be read" not in one.word)  # said by the findings
    sections += change_sections(before, after, [one for one in found.formulas if printed_moves(after, one)], {}, review=False)
    return replace(report, facts=facts, sections=(*report.sections, *sections))
