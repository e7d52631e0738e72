"""May this proposal go in? The merged result is judged by the policy of its base; whatever cannot be proved is a no."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from formulint import git, snapshot
from formulint.ancestry import behind, merged
from formulint.catalog import SETTINGS_FILE, Catalog, stem
from formulint.change import Change, of_fields
from formulint.compare import FormulaChange
from formulint.compare import formulas as compared
from formulint.errors import UserError
from formulint.finding import Fault, Finding, KeyPath, Level, Place, Source
from formulint.formula import Formula
from formulint.judge import Judge, Scope, codes_in
from formulint.material import Material
from formulint.rulebook import Shipped
from formulint.scope import Touched, preload, touched
from formulint.snapshot import FileChange, Snapshot

EVIDENCE = (
    "functions", "form", "tags", "state", "approved_for", "dose", "tolerance", "voc", "voc_us", "voc_eu", "exempt",
    "other_volatile", "component", "disclosure",
)  # fmt: skip
# Files that decide what is checked, by whom, and what git makes of a file.
GUARDED = (".pre-commit-config.yaml", ".gitattributes", ".gitmodules", ".github/", ".gitlab-ci.yml", ".gitlab/", ".forgejo/", ".gitea/", ".ci/")
TOGETHER = "each side passed alone, together they do not"
OURS = Source("the gate: policy comes from the base", "", "house")


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
    old, new = repository.resolve_base(base), repository.resolve(head)
    if old == new or behind(repository, new, old):
        raise UserError(f"{new[:7]} proposes nothing: it is {old[:7]} or lies behind it", "name the proposal with --head")
    shipped = Shipped()
    contained = behind(repository, old, new)
    tip = snapshot.at(repository, new, today)
    before, adopted = _base(repository, old, shipped, today)
    day = today or max(before.snapshot.date, tip.date)
    state = tip if contained else _merged(repository, old, new, day)
    policy = replace_day(before, day, shipped)
    after = Catalog(state, shipped, day, policy)
    notices = [*_first(adopted), *_dates(before.snapshot, tip, today)]
    changes = snapshot.changed_between(before.snapshot, state) if not adopted else _everything(state)
    notices += [*_guarded(repository, old, state, after), *_records(before, after, changes)]
    reach = touched(after, [one for one in changes if _a_record(one.name, after)], None if adopted else before)
    scope, strict = _scope(after, reach)
    found = Judge(after, strict).findings(scope)
    found = tuple(one for one in found if one.fault.place.path != SETTINGS_FILE)
    codes = [*(stem(name) for name in reach.formulas), *(code for code in reach.gone if before.find_formula(code))]
    compare = () if adopted else compared(policy, after, codes)
    if not contained or any(one.blocks for one in found):
        found = tuple(_together(found, before, repository, old, new, day, shipped))
    return Answer(old, new, not contained, policy, after, reach, scope, (*notices, *found), compare)


def _base(repository: git.Repository, commit: str, shipped: Shipped, today: date | None) -> tuple[Catalog, bool]:
    """The catalog of the base, and True where it has no settings yet: first adoption."""
    names = {name.rsplit("/", 1)[-1] for _, _, name in repository.committed(commit)}
    if SETTINGS_FILE not in names:
        empty = Snapshot(commit[:7], date.min, "no settings", "", "", commit, {}, (), snapshot.NOWHERE, repository)
        return Catalog(empty, shipped, today), True
    catalog = Catalog(snapshot.at(repository, commit, today), shipped, today)
    try:
        catalog.require_settings()
    except UserError as error:
        raise UserError(f"the policy of the base cannot be read: {error.message}", "mend it on the base first, in a proposal of its own") from None
    if catalog.house_faults:
        fault = catalog.house_faults[0]
        where = f"{fault.place.path}, line {catalog.locate(fault.place).line}"
        raise UserError(f"the rules of the base cannot be read: {where}: {fault.message}", "mend them on the base first, in a proposal of its own")
    return catalog, False


def replace_day(catalog: Catalog, day: date, shipped: Shipped) -> Catalog:
    """The same base, judged as on the day of the proposal."""
    return catalog if catalog.today == day else Catalog(catalog.snapshot, shipped, day)


def _merged(repository: git.Repository, old: str, new: str, day: date) -> Snapshot:
    oid = merged(repository, old, new)
    return snapshot.tree(repository, oid, f"{new[:7]} merged with {old[:7]}", day, "the later of base and head")


def _everything(state: Snapshot) -> tuple[FileChange, ...]:
    return tuple(FileChange(name, "added", "", entry.oid) for name, entry in state.entries.items())


def _a_record(name: str, catalog: Catalog) -> bool:
    folders = catalog.settings.folders
    return name.startswith((f"{folders.materials}/", f"{folders.formulas}/"))


def _scope(after: Catalog, reach: Touched) -> tuple[Scope, frozenset[str]]:
    """What is judged: what is touched, and all that touched production formulas use; the latter as production."""
    preload(after, reach.formulas)
    wanted = list(reach.formulas)
    strict: set[str] = set()
    materials = dict.fromkeys(reach.materials)
    todo = [record for name in reach.formulas if (record := after.formula(name).record) and record.state == "production"]
    while todo:
        for code in codes_in(todo.pop()):
            material, blend = after.find_material(code), after.find_formula(code)
            if material is not None:
                materials[material.name] = None
            elif blend is not None and code not in strict:
                strict.add(code)
                wanted.append(blend.name)
                todo += [blend.record] if blend.record else []
    return Scope(tuple(dict.fromkeys(wanted)), tuple(materials)), frozenset(strict)


def _notice(rule: str, place: Place, words: str, remedy: str, formula: str = "", material: str = "") -> Finding:
    return Finding(f"proposal/{rule}", Level.error, Fault(place, words, remedy, "review"), formula, material, "", OURS)


def _first(adopted: bool) -> Iterator[Finding]:
    if adopted:
        words = "first adoption: the base has no formulint.toml, so nothing but the shipped rules judges this"
        yield _notice("first-adoption", Place(SETTINGS_FILE), words, "somebody who answers for the policy reads the whole proposal")


def _dates(base: Snapshot, head: Snapshot, today: date | None) -> Iterator[Finding]:
    if today is None and head.date < base.date:
        words = f"the proposal is dated {head.date}, its base {base.date}"
        yield _notice("date", Place(""), words, "commit again with a clock that is right, or say --today")


def _guarded(repository: git.Repository, old: str, state: Snapshot, after: Catalog) -> Iterator[Finding]:
    """Settings, house rules, and files of the repository that decide what is checked."""
    tree = {name: oid for _, oid, name in repository.committed(old)}
    new = {state.root + name: entry.oid for name, entry in state.entries.items()}
    whole = new if not state.root else {name: oid for _, oid, name in repository.committed(state.commit or old)}
    rules = f"{state.root}{after.settings.folders.rules}/"
    signers = after.settings.signers
    for name in sorted(tree.keys() | new.keys() | whole.keys()):
        now = new.get(name, whole.get(name))
        if tree.get(name) == now:
            continue
        own = name.removeprefix(state.root)
        if own == SETTINGS_FILE or name.startswith(rules) or (signers and own == signers):
            words = f"{own} is changed: settings and rules of the proposal do not act in it"
            yield _notice("policy", Place(own), words, "the policy approver decides on it; propose it apart from any formula")
        elif name.startswith(GUARDED) or name.rsplit("/", 1)[-1] in (".gitattributes", ".gitmodules"):
            words = f"{name} is changed: it decides what is checked, or how"
            yield _notice("policy", Place(name), words, "the policy approver decides on it; propose it apart from any formula")


def _records(before: Catalog, after: Catalog, changes: Iterable[FileChange]) -> Iterator[Finding]:
    """What a proposal does to the policy inside records: classes, markets, limits, states; evidence of materials."""
    listed = list(changes)
    folders = after.settings.folders
    before.preload([one.name for one in listed if one.old and one.name.endswith(".toml")])
    after.preload([one.name for one in listed if one.new and one.name.endswith(".toml")])
    for one in listed:
        if not one.old or not one.name.endswith(".toml"):
            continue
        code = stem(one.name)
        if one.name.startswith(f"{folders.formulas}/"):
            old = before.formula(one.name).record
            yield from _formula(old, after, code, one.name) if old is not None else ()
        elif one.name.startswith(f"{folders.materials}/"):
            known, now = before.material(one.name).record, after.find_material(code)
            if known is not None and now is not None and now.record is not None:
                yield from _material(known, now.record, code, now.name)


def _formula(old: Formula, after: Catalog, code: str, name: str) -> Iterator[Finding]:
    file = after.find_formula(code)
    if file is None:
        if old.state == "production":
            words = f"{code} is in production and vanishes"
            yield _notice("formula-stays", Place(name), words, "withdraw it (state = \"withdrawn\"), with the formula approver", code)
        return
    if file.record is None:
        return
    new = file.record
    if old.state == "production" and new.state in ("bench", "pilot"):
        words = f"{code} goes back from production to {new.state}"
        yield _notice("formula-stays", Place(file.name, ("state",)), words, "the formula approver decides on it", code)
    fields = [field for field, change in of_fields(Formula, old, new).items() if change is Change.policy and field != "state"]
    if fields and "production" in (old.state, new.state):
        keys: KeyPath = (fields[0],)
        words = f"{code}: {', '.join(fields)} changed, which say by what it is judged"
        yield _notice("policy", Place(file.name, keys), words, "the policy approver decides on it; propose it apart from the composition", code)


def _material(old: Material, new: Material, code: str, name: str) -> Iterator[Finding]:
    fields = [field for field in EVIDENCE if getattr(old, field) != getattr(new, field)]
    if fields:
        words = f"{code}: {', '.join(fields)} changed, by which rules are chosen or relaxed"
        yield _notice("evidence", Place(name, (fields[0],)), words, "the material approver decides on it", "", code)


def _together(
    found: Iterable[Finding], before: Catalog, repository: git.Repository, old: str, new: str, day: date, shipped: Shipped
) -> Iterator[Finding]:
    """The findings, with the words where neither side alone has what both together have."""
    sides: list[Catalog] | None = None
    for one in found:
        if not one.blocks or not one.formula or one.rule.startswith("record/"):
            yield one
            continue
        if sides is None:
            parents = _parents(repository, old, new)
            sides = [Catalog(snapshot.at(repository, parent, day), shipped, day, before) for parent in parents]
        if len(sides) > 1 and not any(_has(side, one) for side in sides):
            one = replace(one, fault=replace(one.fault, message=f"{one.fault.message}; {TOGETHER}"))
        yield one


def _parents(repository: git.Repository, old: str, new: str) -> list[str]:
    """The two sides that were, or would be, merged."""
    text = repository.contents({new: f"commit {new[:7]}"}, "commit")[new].decode("utf-8", "replace")
    parents = [line[7:] for line in text.partition("\n\n")[0].split("\n") if line.startswith("parent ")]
    return parents if len(parents) > 1 else [old, new]


def _has(catalog: Catalog, finding: Finding) -> bool:
    file = catalog.find_formula(finding.formula)
    if file is None or file.record is None:
        return False
    return any(one.rule == finding.rule and one.blocks for one in Judge(catalog).formula(file))
