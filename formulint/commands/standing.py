"""``formulint standing``: the list of old findings of a house that begins with a repository in disorder."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from types import SimpleNamespace

from msgspec import Struct
from msgspec.structs import replace

from formulint import snapshot
from formulint.catalog import Catalog
from formulint.commands.states import OUTPUT, TODAY, opened, put, shown
from formulint.errors import UserError
from formulint.finding import Finding
from formulint.judge import Judge
from formulint.leave import Leave, far, key_of, worse
from formulint.options import Option
from formulint.proposal import refuses
from formulint.report import Report, by_record, counted, located, title_line
from formulint.rulebook import Shipped
from formulint.scope import everything
from formulint.standing import NEVER, STANDING_FILE, Old, thinned, written
from formulint.writing import write_below

OPTIONS = (
    Option("--anew", "begin the list anew: what is found today may stand, new findings too", default=False),
    TODAY,
    *OUTPUT,
)


class Taken(Struct, frozen=True):
    """What a run of the command does to the list: what stays on it, what was mended, and what is not on it and stops."""

    day: date
    kept: tuple[Old, ...]
    mended: int
    others: tuple[Finding, ...]


def run(options: SimpleNamespace) -> int:
    """Write the list, or take out of it what was mended; 1 where something stops that is not on it."""
    catalog = opened(snapshot.work_tree(options.folder, options.today), Shipped())
    file = catalog.standing()
    if file is not None and file.record is None and not options.anew:
        mark = catalog.locate(file.faults[0].place)
        raise UserError(f"{STANDING_FILE}, line {mark.line}: {file.faults[0].message}", "mend it, or begin it anew with --anew")
    before = None if file is None or options.anew else file.record
    judge = Judge(catalog)
    judge.leave = Leave(catalog, catalog.concessions(), None)
    found = [one for one in judge.findings(everything(catalog)) if refuses(one)]
    taken = _listed(catalog, found) if before is None else _thinned(catalog, found, before.day, before.finding)
    old = None if before is None else catalog.snapshot.read(STANDING_FILE).decode()
    text = (written(taken.day, taken.kept) if old is None else thinned(old, taken.kept)).encode()
    if not catalog.snapshot.folder:
        raise UserError("no files lie here, so no list can be written", "go where the files of the repository lie")
    if STANDING_FILE not in catalog.snapshot.entries or catalog.snapshot.read(STANDING_FILE) != text:
        write_below(catalog.snapshot.folder, STANDING_FILE, text)
    if options.format == "json":
        from formulint.render import json_report

        put(options, json_report.standing(catalog, taken.kept, taken.mended, taken.others))
    else:
        sections = by_record(catalog, located(catalog, taken.others))
        put(options, shown(options, Report(title_line(catalog), (), sections, tuple(_lines(taken))), catalog.snapshot.root))
    return 1 if any(one.blocks for one in taken.others) else 0


def _listed(catalog: Catalog, found: Sequence[Finding]) -> Taken:
    """A list of all that may be on one."""
    lines: dict[tuple[str, str, str, str], Old] = {}
    others = []
    for one in found:
        line = None if one.rule.startswith(NEVER) else _line(catalog, one)
        if line is None:
            others.append(one)
        elif line.key in lines:
            lines[line.key] = _both(lines[line.key], line, one)
        else:
            lines[line.key] = line
    return Taken(catalog.today, tuple(lines.values()), 0, tuple(others))


def _line(catalog: Catalog, finding: Finding) -> Old | None:
    """A finding as a line of the list; None where it is about no record."""
    rule, record, _, about = key_of(catalog, finding)
    kind = finding.fault.kind
    if not record or kind == "pass":
        return None
    up_to = None if finding.fault.off is None else far(finding.fault.off)
    formula, material = (finding.formula, None) if finding.formula else (None, finding.material)
    return Old(rule, about, kind, 1, formula, material, up_to)


def _both(line: Old, more: Old, finding: Finding) -> Old:
    """One line for two findings of one key: so many, and as far off as the worse."""
    further = worse(line, finding.fault.off)
    return replace(line, count=line.count + 1, up_to=more.up_to if further else line.up_to)


def _thinned(catalog: Catalog, found: Sequence[Finding], day: date, lines: Sequence[Old]) -> Taken:
    """The list without what was mended, and never further off than it was; nothing is added."""
    old = {line.key: line for line in reversed(lines)}
    now: dict[tuple[str, str, str, str], list[Finding]] = {}
    others = []
    for one in found:
        line = old.get(key_of(catalog, one))
        within = [] if line is None else now.setdefault(line.key, [])
        if line is not None and len(within) < line.count and not worse(line, one.fault.off):
            within.append(one)
        else:
            others.append(one)
    kept = tuple(_nearer(catalog, old[key], within) for key, within in now.items())
    return Taken(day, kept, sum(line.count for line in lines) - sum(line.count for line in kept), tuple(others))


def _nearer(catalog: Catalog, line: Old, within: Sequence[Finding]) -> Old:
    """A line by what is found of it now; as it was, where all of that has got worse."""
    if not within:
        return line
    (fresh,) = _listed(catalog, within).kept
    return replace(line, count=fresh.count, up_to=fresh.up_to)


def _lines(taken: Taken) -> Iterator[str]:
    kept = sum(line.count for line in taken.kept)
    if kept:
        yield f"{STANDING_FILE}: {counted(kept, 'finding')} of {taken.day} may stand until mended; what is new stops"
    else:
        yield f"{STANDING_FILE}: nothing is on the list; it can be deleted"
    if taken.mended:
        yield f"{counted(taken.mended, 'finding')} mended and taken out"
    firm = [one for one in taken.others if one.rule.startswith(NEVER)]
    if firm:
        yield f"{counted(len(firm), 'finding')} must be mended and cannot be listed: {_rules(firm)}"
    new = len(taken.others) - len(firm)
    if new:
        yield f"{counted(new, 'finding')} not on the list: new, or worse than before; formulint lint shows them"
    yield "Record it in git; whoever answers for the policy looks at it."


def _rules(found: Sequence[Finding]) -> str:
    return ", ".join(dict.fromkeys(one.rule for one in found))
