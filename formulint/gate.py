"""May this proposal go in? The merged result is judged by the policy of its base; whatever cannot be proved is a no."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date, timedelta

from msgspec import Struct
from msgspec.structs import replace

from formulint import git, snapshot
from formulint.ancestry import behind, committed_on, merged, named, parents
from formulint.catalog import SETTINGS_FILE, Catalog, stem
from formulint.compare import FormulaChange, RecordChange, materials
from formulint.compare import formulas as compared
from formulint.errors import UserError
from formulint.evidence import Use, a_record, records
from formulint.finding import Finding, Place
from formulint.formula import codes_in
from formulint.guard import Due, approvals_due, of_records
from formulint.judge import Judge, Scope
from formulint.measured import a_result, rewritten, to_prove
from formulint.measured import findings as of_results
from formulint.proposal import first, guarded, notice, own_policy, policy_findings, refuses
from formulint.remeasured import ResultsChange, remeasured
from formulint.root import upwards
from formulint.rulebook import Shipped
from formulint.scope import Touched, preload, touched
from formulint.snapshot import FileChange, Snapshot
from formulint.source import NOWHERE
from formulint.together import told
from formulint.yardstick import SOLD, by_base

BY_HAND = "whoever answers for the policy mends it on the base itself; until then nothing can be judged by it"


class Answer(Struct, frozen=True):
    """What the gate says and from what: base and head (full ids), what was judged, findings, changes of policy."""

    base: str
    head: str
    merged: bool
    before: Catalog
    after: Catalog
    reach: Touched
    scope: Scope
    findings: tuple[Finding, ...]
    changes: tuple[FormulaChange, ...]
    records: tuple[RecordChange, ...] = ()
    results: tuple[ResultsChange, ...] = ()
    due: tuple[Due, ...] = ()

    @property
    def refused(self) -> tuple[Finding, ...]:
        """The findings that keep the proposal out."""
        return tuple(one for one in self.findings if refuses(one))


def ask(folder: str, base: str, head: str, today: date | None) -> Answer:
    """Judge a proposal.

    Raises
    ------
    UserError
        Where the question cannot be answered: no such revision, nothing proposed, history cut off, a conflict, a base
        whose policy cannot be read. That is never a yes.
    """
    repository = git.require(folder)
    old, new = named(repository, base, head)
    if old == new or behind(repository, new, old):
        raise UserError(f"{new[:7]} proposes nothing: it is {old[:7]} or lies behind it", "name the proposal with --head")
    contained = behind(repository, old, new)
    before = _base(repository, old, Shipped(), today)
    adopted = SETTINGS_FILE not in before.snapshot.entries
    day, odd = _day(repository, before, new, today)
    tree, label = (new, new[:7]) if contained else (merged(repository, old, new), f"{new[:7]} merged with {old[:7]}")
    state = _proposed(repository, before, tree, label, day)
    policy = before if before.today == day else Catalog(before.snapshot, before.shipped, day)
    after = Catalog(state, before.shipped, day, policy)
    changes = _everything(state) if adopted else snapshot.changed_between(before.snapshot, state)
    listed = [one for one in changes if a_record(one.name, after.settings.folders) or a_result(one.name, after.settings.folders)]
    reach = touched(after, listed, None if adopted else before)
    scope, use = _scope(before, after, reach)
    judge = Judge(after, use.strict)
    notices = [*([first()] if adopted else ()), *odd, *guarded(repository, old, state, after.settings)]
    notices += [*(() if adopted else (*records(before, after, changes, use), *rewritten(before, after, changes))), *own_policy(after, changes)]
    found = [one for one in (*judge.findings(scope), *of_results(judge, scope)) if one.fault.place.path != SETTINGS_FILE]
    sides = [] if adopted else parents(repository, new) if contained else [old, new]
    found = [*told(found, lambda: _sides(repository, sides, policy, use.strict)), *by_base(before, judge, scope.formulas, found)]
    codes = [*(stem(name) for name in reach.formulas), *(code for code in reach.gone if before.find_formula(code))]
    compare = () if adopted else compared(policy, after, codes)
    own = [one for change in compare for one in change.own]
    shared = () if adopted else materials(policy, after, reach.materials, reach.gone)
    due: tuple[Due, ...] = ()
    if not adopted:
        due, lacking = approvals_due(repository, policy, after, compare, (old, new), today)
        own += [*of_records(repository, policy, after, changes, reach.formulas, (old, new)), *lacking]
    return Answer(old, new, not contained, policy, after, reach, scope, tuple(dict.fromkeys((*notices, *own, *found))), compare, shared, remeasured(policy, after, changes), due)


# --- the two states ----------------------------------------------------------------------------------------------


def _base(repository: git.Repository, commit: str, shipped: Shipped, today: date | None) -> Catalog:
    """The catalog of the base; an empty one where no root is here, above or below yet: first adoption."""
    marks = {name.removesuffix(SETTINGS_FILE) for _, _, name in repository.committed(commit) if name.endswith(SETTINGS_FILE)}
    below = [place for place in marks if place.startswith(repository.prefix) and place[-1:] in ("", "/")]
    if not below and marks.isdisjoint(upwards(repository.prefix)):
        empty = Snapshot(commit[:7], date.min, "no settings", "", "", commit, {}, (), NOWHERE, repository)
        return Catalog(empty, shipped, today)
    catalog = Catalog(snapshot.at(repository, commit, today), shipped, today)
    for one in policy_findings(catalog):
        mark = catalog.locate(one.fault.place)
        where = f"{mark.path}, line {mark.line}" if mark.line else mark.path
        about_tool = one.rule in ("record/tool-version", "record/known-pack")
        remedy = one.fault.remedy if about_tool else BY_HAND
        raise UserError(f"the policy of the base cannot be applied: {where}: {one.fault.message}", remedy)
    return catalog


def _day(repository: git.Repository, before: Catalog, new: str, today: date | None) -> tuple[date, list[Finding]]:
    """The day to judge by (the later of both sides, unless one is given), and what is odd about the dates."""
    if today is not None:
        return today, []
    base, head = before.snapshot.date, committed_on(repository, new)
    odd = []
    if head < base:
        odd.append(f"the proposal is dated {head}, its base {base}")
    if head > date.today() + timedelta(days=1):  # a day, for clocks east of this one
        odd.append(f"the proposal is dated {head}, a day that is yet to come: rules may have ended by then")
    remedy = "commit again with a clock that is right, or say --today"
    return max(base, head), [notice("date", Place(""), words, remedy) for words in odd]


def _proposed(repository: git.Repository, before: Catalog, tree: str, label: str, day: date) -> Snapshot:
    """What is to be judged: a commit or what a merge would hold, below the root of the base (if that has one)."""
    adopted = SETTINGS_FILE not in before.snapshot.entries
    place = before.snapshot.root + SETTINGS_FILE
    if not adopted and repository.git.call("rev-parse", "--verify", "--quiet", "--end-of-options", f"{tree}:{place}")[0]:
        raise UserError(f"the proposal takes {git.quoted(place)} away, which marks the root", "keep it there; a move of the root is made on the base itself")
    state = snapshot.tree(repository, tree, label, day, "the later of base and head")
    if not adopted and state.root != before.snapshot.root:
        words = f"the proposal moves the root from {git.quoted(before.snapshot.root or '.')} to {git.quoted(state.root or '.')}"
        raise UserError(words, f"keep one {SETTINGS_FILE}, where it is; a move of the root is made on the base itself")
    return replace(state, commit=tree)  # so that texts are looked for in what is judged, not in the index


def _everything(state: Snapshot) -> tuple[FileChange, ...]:
    return tuple(FileChange(name, "added", "", entry.oid) for name, entry in state.entries.items())


def _scope(before: Catalog, after: Catalog, reach: Touched) -> tuple[Scope, Use]:
    """What is judged: what is touched, and all that touched production formulas use; the latter as production."""
    preload(after, reach.formulas)
    made = _inside(after, reach.formulas, ("production",))
    sold = _inside(after, reach.formulas, SOLD)
    blends = {code: file for code in made if after.find_material(code) is None and (file := after.find_formula(code))}
    materials = [stock.name for code in made if (stock := after.find_material(code))]
    scope = Scope(
        tuple(dict.fromkeys((*reach.formulas, *(file.name for file in blends.values())))),
        tuple(dict.fromkeys((*reach.materials, *materials))),
        results=reach.results,
        proved=to_prove(before, after, reach.formulas, reach.results),
    )
    return scope, Use(frozenset(blends), sold)


def _inside(after: Catalog, names: Iterable[str], states: Collection[str]) -> dict[str, str]:
    """Codes that formulas in these states hold, at any depth, each with the formula that was found to hold it."""
    found: dict[str, str] = {}
    waiting = [record for name in names if (record := after.formula(name).record) and record.state in states]
    while waiting:
        holder = waiting.pop()
        for code in codes_in(holder):
            if code not in found:
                found[code] = holder.code
                blend = None if after.find_material(code) else after.find_formula(code)
                waiting += [blend.record] if blend is not None and blend.record is not None else []
    return found


# --- each side alone ---------------------------------------------------------------------------------------------


def _sides(repository: git.Repository, commits: Iterable[str], policy: Catalog, strict: frozenset[str]) -> list[Judge]:
    """Each side alone, judged as the whole is; none where one of them holds no root or cannot be read."""
    found = []
    for commit in commits:
        try:
            state = snapshot.at(repository, commit, policy.today)
        except UserError:
            return []
        found.append(Judge(Catalog(state, policy.shipped, policy.today, policy), strict))
    return found
