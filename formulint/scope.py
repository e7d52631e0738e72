"""What has to be judged when something changed: what was touched, and everything that depends on it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from msgspec import Struct

from formulint.catalog import SETTINGS_FILE, Catalog, stem
from formulint.errors import UserError
from formulint.formula import Formula, beside, codes_in
from formulint.judge import Scope
from formulint.snapshot import FileChange, grep
from formulint.standing import STANDING_FILE, Old


class Touched(Struct, frozen=True):
    """What a change touches.

    ``formulas`` and ``materials`` are names of files to be judged; ``through`` says for a formula that was not
    itself changed by which code it is reached; ``gone`` are codes whose files went away; ``policy`` are names of
    changed settings and rules, which put every formula in scope, and of concessions and the list of old findings,
    which put those records there that they are about; ``equipment`` of changed tanks and scales; ``results`` of changed
    results, and of those of a formula that went away; ``releases`` of records of releases that came, changed or went.
    """

    formulas: tuple[str, ...]
    materials: tuple[str, ...]
    through: dict[str, str]
    gone: tuple[str, ...]
    policy: tuple[str, ...]
    equipment: tuple[str, ...] = ()
    results: tuple[str, ...] = ()
    releases: tuple[str, ...] = ()

    @property
    def anything(self) -> bool:
        """False where the change touches nothing of ours."""
        return bool(self.formulas or self.materials or self.gone or self.policy or self.equipment or self.results or self.releases)

    @property
    def scope(self) -> Scope:
        """What is to be judged."""
        return Scope(self.formulas, self.materials, bool(self.policy or self.materials or self.gone or self.equipment), self.results)


def everything(catalog: Catalog) -> Scope:
    """All formulas and materials, and the register."""
    catalog.preload([*catalog.formula_files(), *catalog.material_files()])
    return Scope(tuple(catalog.formula_files()), tuple(catalog.material_files()), True, _results(catalog))


def _results(catalog: Catalog) -> tuple[str, ...]:
    """Names of all files of results; nothing is read."""
    start = catalog.settings.folders.results.rstrip("/") + "/"
    return tuple(sorted(name for name in catalog.snapshot.entries if name.startswith(start) and name.endswith(".toml")))


def named(catalog: Catalog, wanted: Sequence[str]) -> Scope:
    """The formulas and materials that somebody named by code or by file.

    Raises
    ------
    UserError
        Where there is no such record.
    """
    formulas: list[str] = []
    materials: list[str] = []
    results: list[str] = []
    for word in wanted:
        code = stem(word.replace("\\", "/"))
        formula = catalog.formula_names.get(code.casefold(), [])
        material = catalog.material_names.get(code.casefold(), [])
        measured = [name for name in _results(catalog) if stem(name) == code] if not formula and not material else []
        if not formula and not material and not measured:
            raise UserError(f'there is no formula or material "{word}" in {catalog.snapshot.label}', _near(catalog, code))
        formulas += formula
        materials += material
        results += measured
    preload(catalog, formulas)
    return Scope(tuple(dict.fromkeys(formulas)), tuple(dict.fromkeys(materials)), results=tuple(dict.fromkeys(results)))


def _near(catalog: Catalog, code: str) -> str:
    from formulint.suggest import closest

    known = [stem(name) for name in (*catalog.formula_files(), *catalog.material_files())]
    near = closest(code, known)
    return f"did you mean {near}?" if near else "name a code, such as T-101, or its file"


def preload(catalog: Catalog, formulas: Iterable[str]) -> None:
    """Read formulas, then in one go what they use, then what that uses."""
    names = list(formulas)
    for _ in range(3):
        catalog.preload([name for name in names if name in catalog.snapshot.entries])
        used = {code for name in names if (record := catalog.formula(name).record) for code in looked_up(record)}
        files = [name for code in used for index in (catalog.material_names, catalog.formula_names) for name in index.get(code.casefold(), ())]
        catalog.preload(files)
        names = [name for name in files if name in catalog.formula_files()] if any(code.casefold() in catalog.formula_names for code in used) else []
        if not names:
            return


def looked_up(formula: Formula) -> tuple[str, ...]:
    """Codes that values of a formula rest on: what is in it, what it is tinted and thinned with, its vessels."""
    return (*codes_in(formula), *(code for code, _ in beside(formula)), *(stage.vessel for stage in formula.stage if stage.vessel))


def touched(catalog: Catalog, changes: Sequence[FileChange], before: Catalog | None) -> Touched:
    """What a list of changed files touches in the state after the change.

    ``before`` is the state before, from which it is read whether a formula was an intermediate; None on a first commit.
    """
    folders = catalog.settings.folders
    formulas: dict[str, str] = {}
    materials: list[str] = []
    gone: list[str] = []
    spread: list[str] = []
    policy = [one.name for one in changes if one.name == SETTINGS_FILE or _is_rules(one.name, folders.rules)]
    for one in changes:
        if not one.name.endswith(".toml"):
            continue
        code = stem(one.name)
        if _below(one.name, folders.materials):
            spread.append(code)
            if one.kind == "deleted":
                gone.append(code)
            else:
                materials.append(one.name)
        elif _below(one.name, folders.formulas):
            if one.kind == "deleted":
                gone.append(code)
                spread.append(code)
            else:
                formulas[one.name] = ""
    leave = [one.name for one in changes if _below(one.name, folders.concessions) or one.name == STANDING_FILE]
    for file in _excused(catalog, before, leave):
        if file in catalog.material_files():
            materials += [file] if file not in materials else []
            spread.append(stem(file))
        else:
            formulas.setdefault(file, "")
    machines = tuple(one.name for one in changes if one.name.endswith(".toml") and _below(one.name, folders.equipment))
    results = tuple(_measured(catalog, changes, gone))
    releases = tuple(one.name for one in changes if _below(one.name, folders.releases))
    if policy:
        return Touched(tuple(catalog.formula_files()), tuple(catalog.material_files()), {}, tuple(gone), (*policy, *leave), machines, results, releases)
    spread += [stem(name) for name in machines]
    spread += _blends(catalog, before, tuple(formulas))
    through = _dependants(catalog, spread, formulas)
    return Touched((*formulas, *through), tuple(materials), through, tuple(gone), tuple(leave), machines, results, releases)


def _excused(catalog: Catalog, before: Catalog | None, leave: Sequence[str]) -> Iterator[str]:
    """Names of the files of the records that changed concessions, and changed lines of the list of old findings, are about."""
    sides = [catalog] if before is None else [catalog, before]
    codes = dict.fromkeys(
        code for side in sides for file in side.concessions() if file.record is not None and file.name in leave
        for code in (file.record.formula, file.record.material) if code
    )  # fmt: skip
    if STANDING_FILE in leave:
        lists = [set(file.record.finding) for side in sides if (file := side.standing()) is not None and file.record is not None]
        changed = set[Old]().union(*lists) - (lists[0] & lists[1] if len(lists) > 1 else set())
        codes |= dict.fromkeys(sorted(line.formula or line.material or "" for line in changed))
    for code in codes:
        found = catalog.find_formula(code) or catalog.find_material(code)
        if found is not None:
            yield found.name


def _measured(catalog: Catalog, changes: Sequence[FileChange], gone: Sequence[str]) -> Iterator[str]:
    """Files of results that changed, and those that may name a formula that went away."""
    folder = catalog.settings.folders.results
    found = dict.fromkeys(one.name for one in changes if _below(one.name, folder) and one.name in catalog.snapshot.entries)
    if gone and _results(catalog):
        found |= dict.fromkeys(grep(catalog.snapshot, gone, folder))
    yield from (name for name in found if name.endswith(".toml"))


def _is_rules(name: str, folder: str) -> bool:
    return _below(name, folder) and name.endswith(".toml")


def _below(name: str, folder: str) -> bool:
    return name.startswith(folder.rstrip("/") + "/")


def _blends(catalog: Catalog, before: Catalog | None, names: Sequence[str]) -> list[str]:
    """Codes of the changed formulas that are, or were, intermediates: only those can be inside others."""
    catalog.preload(names)
    found = [stem(name) for name in names if _is_blend(catalog, name)]
    if before is not None:
        before.preload([name for name in names if name in before.snapshot.entries])
        found += [stem(name) for name in names if name in before.snapshot.entries and _is_blend(before, name)]
    return list(dict.fromkeys(found))


def _is_blend(catalog: Catalog, name: str) -> bool:
    record: Formula | None = catalog.formula(name).record
    return record is None or record.class_ == "intermediate"


def _dependants(catalog: Catalog, codes: Sequence[str], already: dict[str, str]) -> dict[str, str]:
    """Formulas that use any of the codes, to any depth, with the code they use."""
    through: dict[str, str] = {}
    known = frozenset(catalog.formula_files())
    wanted, seen = list(dict.fromkeys(codes)), set(codes)
    users: dict[str, list[str]] | None = None
    while wanted:
        if users is None:
            hits: Iterable[str] = grep(catalog.snapshot, wanted, catalog.settings.folders.formulas)
            users = {}
        else:  # a second round is rare: everything is read through the process that is open already
            users = users or _users(catalog, known)
            hits = {name for code in wanted for name in users.get(code, ())}
        catalog.preload([name for name in hits if name in known])
        meant = frozenset(wanted)
        more: list[str] = []
        for name in sorted(hits):
            if name not in known or name in through:
                continue
            record = catalog.formula(name).record
            used = next((code for code in looked_up(record) if code in meant), None) if record else None
            if used is None:
                continue
            if name not in already:
                through[name] = used
            if record is not None and record.class_ == "intermediate" and record.code not in seen:
                more.append(record.code)
        seen.update(more)
        wanted = more
    return through


def _users(catalog: Catalog, names: Iterable[str]) -> dict[str, list[str]]:
    """Files of the formulas that name a code, by code."""
    found: dict[str, list[str]] = {}
    catalog.preload(names)
    for name in names:
        record = catalog.formula(name).record
        for code in looked_up(record) if record is not None else ():
            found.setdefault(code, []).append(name)
    return found
