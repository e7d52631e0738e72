"""May this proposal go in? The merged result is judged by the policy of its base; whatever cannot be proved is a no."""

from __future__ import annotations

import posixpath
from collections.abc import Collection, Iterable, Iterator
from datetime import date, timedelta

from msgspec import Struct
from msgspec.structs import replace

from formulint import git, snapshot
from formulint.ancestry import behind, committed_on, merged, named, parents
from formulint.catalog import SETTINGS_FILE, Catalog, stem
from formulint.change import Change, of_fields
from formulint.compare import FormulaChange, RecordChange, materials
from formulint.compare import formulas as compared
from formulint.errors import UserError
from formulint.finding import Fault, Finding, KeyPath, Level, Place
from formulint.formula import Formula
from formulint.judge import Judge, Scope, codes_in
from formulint.material import Material
from formulint.root import upwards
from formulint.rulebook import Shipped
from formulint.scope import Touched, preload, touched
from formulint.settings import Folders, Settings
from formulint.snapshot import FileChange, Snapshot

EVIDENCE = (
    "functions", "form", "tags", "ionic", "state", "approved_for", "dose", "tolerance", "voc", "voc_us", "voc_eu", "exempt",
    "other_volatile", "component", "disclosure",
)  # fmt: skip
# Files and folders (of the whole repository, without regard to case) that decide what is checked, and by whom.
GUARDED = (
    ".pre-commit-config.yaml", ".gitlab-ci.yml", ".travis.yml", ".drone.yml", ".woodpecker.yml", "azure-pipelines.yml", "bitbucket-pipelines.yml",
    "jenkinsfile", "codeowners", "docs/codeowners", ".lfsconfig",
)  # fmt: skip
GUARDED_FOLDERS = (".github/", ".gitlab/", ".forgejo/", ".gitea/", ".ci/", ".circleci/", ".woodpecker/", ".buildkite/", ".githooks/", ".husky/")
ANYWHERE = (".gitattributes", ".gitmodules")  # what git makes of a file, and what it fetches
CONCESSIONS = "concessions/"
TOGETHER = "each side passed alone, together they do not"
APART = "the policy approver decides on it; propose it apart from any formula"
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

    @property
    def refused(self) -> tuple[Finding, ...]:
        """The findings that keep the proposal out."""
        return tuple(one for one in self.findings if refuses(one))


def refuses(finding: Finding) -> bool:
    """True for what the gate lets nobody pass with: a failure, a question that is open, a review that is due."""
    if finding.rule.startswith("record/") and finding.fault.kind == "review":
        return False  # portability: read all the same
    return finding.blocks or finding.fault.kind == "review"


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
    records = [one for one in changes if _a_record(one.name, after.settings.folders)]
    reach = touched(after, records, None if adopted else before)
    scope, strict = _scope(after, reach)
    notices = [*([_first()] if adopted else ()), *odd, *_guarded(repository, old, state, after.settings)]
    notices += [*_records(before, after, changes, strict), *_own_policy(after, changes)]
    found = [one for one in Judge(after, strict).findings(scope) if one.fault.place.path != SETTINGS_FILE]
    sides = [] if adopted else parents(repository, new) if contained else [old, new]
    found = list(_together(found, _sides(repository, sides, policy, strict)))
    codes = [*(stem(name) for name in reach.formulas), *(code for code in reach.gone if before.find_formula(code))]
    compare = () if adopted else compared(policy, after, codes)
    own = [one for change in compare for one in change.own]
    shared = () if adopted else materials(policy, after, reach.materials, reach.gone)
    return Answer(old, new, not contained, policy, after, reach, scope, tuple(dict.fromkeys((*notices, *own, *found))), compare, shared)


# --- the two states ----------------------------------------------------------------------------------------------


def _base(repository: git.Repository, commit: str, shipped: Shipped, today: date | None) -> Catalog:
    """The catalog of the base; an empty one where no root is here, above or below yet: first adoption."""
    marks = {name.removesuffix(SETTINGS_FILE) for _, _, name in repository.committed(commit) if name.endswith(SETTINGS_FILE)}
    below = [place for place in marks if place.startswith(repository.prefix) and place[-1:] in ("", "/")]
    if not below and marks.isdisjoint(upwards(repository.prefix)):
        empty = Snapshot(commit[:7], date.min, "no settings", "", "", commit, {}, (), snapshot.NOWHERE, repository)
        return Catalog(empty, shipped, today)
    catalog = Catalog(snapshot.at(repository, commit, today), shipped, today)
    for one in _policy_findings(catalog):
        mark = catalog.locate(one.fault.place)
        where = f"{mark.path}, line {mark.line}" if mark.line else mark.path
        about_tool = one.rule in ("record/tool-version", "record/known-pack")
        remedy = one.fault.remedy if about_tool else BY_HAND
        raise UserError(f"the policy of the base cannot be applied: {where}: {one.fault.message}", remedy)
    return catalog


def _policy_findings(catalog: Catalog) -> Iterator[Finding]:
    """What is wrong with settings and house rules, so that they do not say what the house means."""
    rules = f"{catalog.settings.folders.rules}/"
    for one in Judge(catalog).findings(Scope((), ())):
        path = one.fault.place.path
        if one.blocks and (path == SETTINGS_FILE or f"{path}/".startswith(rules)):
            yield one


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
    return max(base, head), [_notice("date", Place(""), words, remedy) for words in odd]


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


def _a_record(name: str, folders: Folders) -> bool:
    return name.startswith((f"{folders.materials}/", f"{folders.formulas}/"))


def _scope(after: Catalog, reach: Touched) -> tuple[Scope, frozenset[str]]:
    """What is judged: what is touched, and all that touched production formulas use; the latter as production."""
    preload(after, reach.formulas)
    wanted = list(reach.formulas)
    strict: set[str] = set()
    materials = dict.fromkeys(reach.materials)
    waiting = [record for name in reach.formulas if (record := after.formula(name).record) and record.state == "production"]
    while waiting:
        for code in codes_in(waiting.pop()):
            material, blend = after.find_material(code), after.find_formula(code)
            if material is not None:
                materials[material.name] = None
            elif blend is not None and code not in strict:
                strict.add(code)
                wanted.append(blend.name)
                waiting += [blend.record] if blend.record else []
    return Scope(tuple(dict.fromkeys(wanted)), tuple(materials)), frozenset(strict)


# --- what a proposal does to policy ------------------------------------------------------------------------------


def _notice(rule: str, place: Place, words: str, remedy: str, formula: str = "", material: str = "") -> Finding:
    return Finding(f"proposal/{rule}", Level.error, Fault(place, words, remedy, "review"), formula, material)


def _first() -> Finding:
    words = "first adoption: the base has no formulint.toml, so nothing but the shipped rules judges this"
    return _notice("first-adoption", Place(SETTINGS_FILE), words, "somebody who answers for the policy reads the whole proposal")


def _guarded(repository: git.Repository, old: str, state: Snapshot, settings: Settings) -> Iterator[Finding]:
    """Settings, house rules, and files of the repository that decide what is checked."""
    marks = {place + SETTINGS_FILE for place in upwards(state.root)}
    for one in repository.differences(old, state.commit or old):
        name, own = one.name, one.name.removeprefix(state.root) if one.name.startswith(state.root) else ""
        if one.name in marks or _acts(own, settings):
            words = f"{own or name} is changed: settings and rules of the proposal do not act in it"
            yield _notice("policy", Place(own or name), words, APART)
        elif _guards(name.casefold()):
            yield _notice("policy", Place(name), f"{name} is changed: it decides what is checked, or how", APART)
        elif int(one.new_mode, 8) and (twin := _twin(own, settings.folders)):
            words = f"{own} differs only in upper and lower case from {twin}: some machines take it for that"
            yield _notice("case", Place(own), words, "give it another name")


def _acts(own: str, settings: Settings) -> bool:
    """True for settings, house rules, concessions and the list of who may sign (names below the root)."""
    if own == SETTINGS_FILE or f"{own}/".startswith((f"{settings.folders.rules}/", CONCESSIONS)):
        return True
    return bool(own and settings.signers) and own == posixpath.normpath(settings.signers)


def _guards(folded: str) -> bool:
    return folded in GUARDED or f"{folded}/".startswith(GUARDED_FOLDERS) or folded.rpartition("/")[2] in ANYWHERE


def _twin(own: str, folders: Folders) -> str:
    """What a name of another case may be taken for: the settings, or a folder of ours; else empty."""
    for ours in (SETTINGS_FILE, folders.materials, folders.formulas, folders.rules):
        start = own[: len(ours)]
        if start != ours and start.casefold() == ours.casefold() and own[len(ours) :][:1] in ("", "/"):
            return ours
    return ""


def _own_policy(after: Catalog, changes: Iterable[FileChange]) -> Iterator[Finding]:
    """What is wrong with settings and rules that the proposal brings: they do not act, but would once they are merged."""
    if not any(_acts(one.name, after.settings) for one in changes):
        return
    own = Catalog(after.snapshot, after.shipped, after.today)
    for one in _policy_findings(own):
        mark = own.locate(one.fault.place)
        yield replace(one, fault=replace(one.fault, place=replace(one.fault.place, line=mark.line, column=mark.column)))


def _records(before: Catalog, after: Catalog, changes: Iterable[FileChange], strict: Collection[str]) -> Iterator[Finding]:
    """What a proposal does to the policy inside records: classes, markets, limits, states; evidence of materials."""
    listed = [one for one in changes if one.old and one.name.endswith(".toml") and _a_record(one.name, after.settings.folders)]
    before.preload([one.name for one in listed])
    after.preload([one.name for one in listed if one.new])
    for one in listed:
        code = stem(one.name)
        formula = one.name.startswith(f"{after.settings.folders.formulas}/")
        was = before.formula(one.name) if formula else before.material(one.name)
        if was.record is None:
            words = f"{code} cannot be read on the base, so nobody can say what changes in it"
            yield _notice("unknown-before", Place(one.name), words, "somebody who knows the record reads it as a whole", *_as(code, formula))
        elif isinstance(was.record, Formula):
            yield from _formula(was.record, after, code, one.name, strict)
        else:
            yield from _material(was.record, after, code, one.name)


def _as(code: str, formula: bool) -> tuple[str, str]:
    return (code, "") if formula else ("", code)


def _formula(old: Formula, after: Catalog, code: str, name: str, strict: Collection[str]) -> Iterator[Finding]:
    file, material = after.find_formula(code), after.find_material(code)
    if file is None and material is not None:
        words = f"{code} was a formula and becomes a raw material: its lines are judged no more"
        yield _notice("evidence", Place(material.name), words, "the material approver decides on it; a new material has a new code", "", code)
    elif file is None and old.state == "production":
        words = f"{code} is in production and vanishes"
        yield _notice("formula-stays", Place(name), words, "withdraw it (state = \"withdrawn\"), with the formula approver", code)
    new = None if file is None else file.record
    if file is None or new is None:
        return
    if old.state == "production" and new.state != "production":
        words = f"{code} is withdrawn from production" if new.state == "withdrawn" else f"{code} goes back from production to {new.state}"
        yield _notice("formula-stays", Place(file.name, ("state",)), words, "the formula approver decides on it", code)
    fields = [field for field, change in of_fields(Formula, old, new).items() if change is Change.policy and field != "state"]
    if fields and ("production" in (old.state, new.state) or code in strict):
        keys: KeyPath = (fields[0],)
        words = f"{code} would be judged by other things: {', '.join(fields)} changed"
        yield _notice("policy", Place(file.name, keys), words, "the policy approver decides on it; propose it apart from the composition", code)


def _material(old: Material, after: Catalog, code: str, name: str) -> Iterator[Finding]:
    file, blend = after.find_material(code), after.find_formula(code)
    if file is None and blend is not None:
        words = f"{code} was a raw material and becomes a formula: what is known of it counts no more"
        yield _notice("evidence", Place(blend.name), words, "the material approver decides on it; an intermediate has a code of its own", "", code)
    if file is None or file.record is None:
        return
    fields = [field for field in EVIDENCE if getattr(old, field) != getattr(file.record, field)]
    if fields:
        words = f"{code}: {', '.join(fields)} changed, by which rules are chosen or relaxed"
        yield _notice("evidence", Place(file.name, (fields[0],)), words, "the material approver decides on it", "", code)


# --- fine apart, not together ------------------------------------------------------------------------------------


def _together(found: Iterable[Finding], judges: Iterable[Judge]) -> Iterator[Finding]:
    """The findings, with the words where neither side alone has what both together have."""
    sides: list[Judge] | None = None
    for one in found:
        if one.blocks and (one.formula or one.material):
            sides = list(judges) if sides is None else sides
            if len(sides) > 1 and not any(_has(side, one) for side in sides):
                one = replace(one, fault=replace(one.fault, message=f"{one.fault.message}; {TOGETHER}"))
        yield one


def _sides(repository: git.Repository, commits: Iterable[str], policy: Catalog, strict: frozenset[str]) -> Iterator[Judge]:
    """Each side alone, judged as the whole is; without those that hold no root or cannot be read."""
    for commit in commits:
        try:
            state = snapshot.at(repository, commit, policy.today)
        except UserError:
            continue
        yield Judge(Catalog(state, policy.shipped, policy.today, policy), strict)


def _has(side: Judge, finding: Finding) -> bool:
    formula, material = side.catalog.find_formula(finding.formula), side.catalog.find_material(finding.material)
    found = [*(side.formula(formula) if formula else ()), *(side.material(material) if material else ())]
    return any(one.rule == finding.rule and one.blocks for one in found)
