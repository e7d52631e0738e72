"""Findings that may stand: conceded for a rule, a record and a time, or on the list of old ones. Whatever is doubtful gives no leave."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from functools import cached_property
from math import isinf

from msgspec.structs import replace

from formulint.catalog import Catalog, File, stem
from formulint.concession import Concession
from formulint.errors import Misread
from formulint.finding import Fault, Finding, Grant, KeyPath, Level, Measured, Place, Source
from formulint.kinds.closure import Closure
from formulint.kinds.evidence import Evidence
from formulint.properties import dimension_of
from formulint.quantity import read
from formulint.settings_check import hint
from formulint.standing import NEVER, STANDING_FILE, Old, Standing
from formulint.suggest import similar
from formulint.verdict import CLOSE, apart

MOST = 500  # concessions; whoever has more has other rules than those that are written down
FEW = 20  # codes that are not there for which the one meant is looked for
FORMAT = Source("the format of the repository", "", "house")
OWN = "own-limit/"
FIRM = (*NEVER[:1], *NEVER[2:], "closure/", "digest/")
"""Rules whose findings nobody may let stand: what cannot be read, does not add up, or is a record of its own."""
Trouble = tuple[str, KeyPath, str, str]  # what a concession lacks: the rule it breaks, where, in which words, what helps
MALFORMED = ("record/consistent", "record/code-is-file-name", "record/one-file-per-code")


class Leave:
    """What may stand in one state of a repository on one day.

    Parameters
    ----------
    catalog : Catalog
        The state that is judged; concessions and list are those of its policy.
    files : iterable of File
    old : File, optional
        The list of old findings.
    """

    def __init__(self, catalog: Catalog, files: Iterable[File[Concession]], old: File[Standing] | None) -> None:
        self.catalog = catalog
        self.files = tuple(files)
        self.old = old
        self._used: set[str] = set()
        self._short: dict[str, Trouble] = {}
        self._met: Counter[tuple[str, str, str, str]] = Counter()
        self._guesses = 0

    def over(self, findings: Iterable[Finding]) -> Iterator[Finding]:
        """The findings about one record; those that may stand, with the leave for it."""
        seen: Counter[tuple[str, str, str, str]] = Counter()
        for one in dict.fromkeys(findings):
            grant = self._conceded(one) or self._listed(one, seen)
            yield one if grant is None else replace(one, granted=grant)

    def _conceded(self, finding: Finding) -> Grant | None:
        for name, one in self._acting.get(finding.rule, ()):
            if not self._about(one, finding):
                continue
            short = _short(one, finding.fault)
            if short is None:
                self._used.add(name)
                return Grant(one.code, one.reason, until=one.expires, reaches=self._reach(one.material) if one.material else ())
            self._short[name] = short
        return None

    def _about(self, one: Concession, finding: Finding) -> bool:
        """True for what is found in the formula; of a material, in its record, or in a paint for nothing but its record."""
        if one.formula is not None:
            return finding.formula == one.formula
        if finding.material:
            return finding.material == one.material
        file = self.catalog.find_material(one.material or "")
        paths = {place.path for place in (*finding.fault.related, *finding.fault.missing)}
        return file is not None and paths == {file.name}

    def _listed(self, finding: Finding, seen: Counter[tuple[str, str, str, str]]) -> Grant | None:
        if not self._lines or finding.rule.startswith(NEVER):
            return None
        key = key_of(self.catalog, finding)
        line = self._lines.get(key)
        if line is None:
            return None
        self._met[key] += 1
        if seen[key] >= line.count or worse(line, finding.fault.off):
            return None
        seen[key] += 1
        day = self.old.record.day if self.old is not None and self.old.record is not None else None
        return Grant(STANDING_FILE, f"it stood on {day}", since=day)

    @cached_property
    def _lines(self) -> dict[tuple[str, str, str, str], Old]:
        record = None if self.old is None else self.old.record
        return {} if record is None else {line.key: line for line in reversed(record.finding)}

    @cached_property
    def _acting(self) -> dict[str, list[tuple[str, Concession]]]:
        """Concessions that nothing speaks against, with their files, by rule."""
        found: dict[str, list[tuple[str, Concession]]] = {}
        for file in self.files[:MOST]:
            if file.record is not None and not self._troubles[file.name]:
                found.setdefault(file.record.rule, []).append((file.name, file.record))
        return found

    @cached_property
    def _troubles(self) -> dict[str, list[Trouble]]:
        """What speaks against each concession, by its file."""
        codes = Counter(stem(file.name).casefold() for file in self.files)
        return {file.name: list(self._against(file.record, file.name, codes)) for file in self.files[:MOST] if file.record is not None}

    def _against(self, one: Concession, name: str, codes: Counter[str]) -> Iterator[Trouble]:
        malformed = [*_malformed(one, name, codes)]
        yield from malformed
        if not malformed:
            yield from self._rule(one)
            yield from self._record(one)
            yield from self._names(one)
            if one.over(self.catalog.today):
                words = f"{one.code} ended on {one.expires}: what it let stand counts again"
                yield "concession/in-time", ("expires",), words, "mend what it was for, or have it conceded anew; then delete this file"

    def _rule(self, one: Concession) -> Iterator[Trouble]:
        rules, entry = self._rules, self.catalog.rulebook.by_id().get(one.rule)
        if one.rule.startswith(FIRM) or (entry is not None and isinstance(entry.rule, Closure)):
            words = f"{one.code}: nobody may let {one.rule} stand: what cannot be read or does not add up says nothing about the paint"
            yield "concession/can-be-given", ("rule",), words, "mend what is found"
        elif one.rule not in rules and (not one.rule.startswith(OWN) or dimension_of(one.rule.removeprefix(OWN).replace("-", "_")) is None):
            yield "concession/known-rule", ("rule",), f'{one.code}: there is no rule "{one.rule}"', hint(one.rule, rules)

    @cached_property
    def _rules(self) -> frozenset[str]:
        markets = (f"voc/{market.id}" for market in self.catalog.shipped.vocabulary().market)
        return frozenset((*self.catalog.rulebook.by_id(), *markets))

    def _record(self, one: Concession) -> Iterator[Trouble]:
        code, formula = one.formula or one.material or "", self.catalog.find_formula(one.formula or "")
        if formula is None and (one.formula or self.catalog.find_material(code) is None):
            sort = "formula" if one.formula else "material"
            near = self._near(code, self.catalog.formula_files() if one.formula else self.catalog.material_files())
            helps = f"did you mean {near}?" if near else "delete this file if it is gone"
            yield "concession/known-record", (sort,), f"{one.code}: there is no {sort} {code}", helps
        elif formula is not None and formula.record is not None and formula.record.revision != one.revision:
            words = f"{one.code} is for revision {one.revision} of {code}, which is at revision {formula.record.revision}"
            yield "concession/this-revision", ("revision",), words, "whoever approved it looks again: a new revision has a concession of its own"

    def _near(self, code: str, names: list[str]) -> str | None:
        """The code that was probably meant; looked for a few times only, because it means to look through all codes."""
        self._guesses += 1
        return similar(code, [stem(name) for name in names]) if self._guesses <= FEW else None

    def _names(self, one: Concession) -> Iterator[Trouble]:
        approvers, sort = self.catalog.settings.approvers, "formulas" if one.formula else "materials"
        of_sort = approvers.formula if one.formula else approvers.material
        if _plain(one.approved_by) not in map(_plain, of_sort):
            words = f'{one.code}: "{one.approved_by}" is not among those who approve {sort}'
            yield "concession/known-approver", ("approved_by",), words, _who(of_sort, sort)
        everybody, second = (*approvers.formula, *approvers.material, *approvers.policy), one.also_approved_by
        if second is not None and _plain(second) not in map(_plain, everybody):
            words = f'{one.code}: "{second}" is not among the approvers'
            yield "concession/known-approver", ("also_approved_by",), words, _who(everybody, "something")
        if self._needs_two(one.rule) and (second is None or _plain(second) == _plain(one.approved_by)):
            words = f"{one.code}: {one.rule} may stand only if two people say so"
            yield "concession/two-names", ("approved_by",), words, "the second one goes into also_approved_by"

    def _needs_two(self, rule: str) -> bool:
        """True for what hurts somebody, and for orders that must be kept or the batch is lost."""
        entry = self.catalog.rulebook.by_id().get(rule)
        return rule.startswith("unsafe/") or (entry is not None and bool(getattr(entry.rule, "must", False)))

    def _reach(self, code: str) -> tuple[str, ...]:
        """Codes of the formulas that a material is in, to any depth."""
        found: set[str] = set()
        waiting = [code]
        while waiting:
            more = [user for user in self._users.get(waiting.pop(), ()) if user not in found]
            found.update(more)
            waiting += more
        return tuple(sorted(found))

    @cached_property
    def _users(self) -> dict[str, list[str]]:
        """Codes of the formulas that name a code."""
        names = self.catalog.formula_files()
        self.catalog.preload(names)
        found: dict[str, list[str]] = {}
        for name in names:
            record = self.catalog.formula(name).record
            lines = (line for stage in record.stage for line in stage.additions) if record is not None else ()
            for code in dict.fromkeys(one for line in lines if line.material is not None for one in (line.material, *line.alternates)):
                found.setdefault(code, []).append(stem(name))
        return found

    # --- what is told of leave itself ----------------------------------------------------------------------------

    def faults(self, formulas: Iterable[str], materials: Iterable[str], whole: bool) -> Iterator[Finding]:
        """What is wrong with concessions and list, and what they are needed for no more; asked when all else is judged.

        ``formulas`` and ``materials`` are names of the files that were judged: of the others it is not known.
        """
        judged = {stem(name) for name in (*formulas, *materials)}
        for file in self.files[:MOST]:
            yield from _unreadable(file)
            if file.record is not None:
                yield from self._of_file(file.record, file.name, judged)
        if len(self.files) > MOST:
            words = f"there are {len(self.files)} concessions; only the first {MOST} count"
            yield _finding("record/consistent", Fault(Place(self.files[MOST].name), words, "mend the oldest first, or give the rule another level"))
        if self.old is not None:
            yield from _unreadable(self.old)
            yield from self._mended(judged, whole)

    def _of_file(self, one: Concession, name: str, judged: set[str]) -> Iterator[Finding]:
        code = one.formula or one.material or ""
        troubles = self._troubles[name]
        if not troubles and code in judged and name not in self._used and not self._of_results(one.rule):
            troubles = [self._unused(one, name)]
        material = self.catalog.find_material(one.material or "")
        for rule, keys, words, helps in troubles:
            if rule in MALFORMED or rule == "concession/known-record" or code in judged:
                fault = Fault(Place(name, keys), words, helps, related=() if material is None else (Place(material.name),))
                yield _finding(rule, fault, one.formula or "", one.material or "")

    def unneeded(self, codes: Iterable[str]) -> Iterator[Finding]:
        """Concessions for what results show of formulas, that let nothing stand; asked when the results of ``codes`` are judged, which is after all else."""
        judged = set(codes)
        for file in self.files[:MOST]:
            one, name = file.record, file.name
            if one is not None and one.formula in judged and self._of_results(one.rule) and not self._troubles[name] and name not in self._used:
                rule, keys, words, helps = self._unused(one, name)
                yield _finding(rule, Fault(Place(name, keys), words, helps), one.formula or "")

    def _unused(self, one: Concession, name: str) -> Trouble:
        """That a concession lets nothing stand, or why not what was found."""
        needless: Trouble = ("concession/needed", ("rule",), f"{one.code} lets nothing stand: {one.rule} finds nothing in {one.subject}", "delete this file")
        return self._short.get(name, needless)

    def _of_results(self, rule: str) -> bool:
        """True for rules about results, which are judged apart, and not in every run."""
        entry = self.catalog.rulebook.by_id().get(rule)
        return entry is not None and isinstance(entry.rule, Evidence)

    def _mended(self, judged: set[str], whole: bool) -> Iterator[Finding]:
        lines = (line for key, line in self._lines.items() if self._met[key] < line.count)
        gone = sorted((line for line in lines if line.formula in judged or (whole and line.material in judged)), key=Old.order)
        if gone:
            named = ", ".join(f"{line.rule} in {line.formula or line.material}" for line in gone[:3])
            words = f"mended, and still on the list of old findings: {named}{f' and {len(gone) - 3} more' if len(gone) > 3 else ''}"
            yield _finding("standing/needed", Fault(Place(STANDING_FILE), words, "formulint standing takes them out"))


def leave_of(catalog: Catalog) -> Leave | None:
    """What may stand in a state; None where nobody gave leave for anything."""
    files, old = catalog.concessions(), catalog.standing()
    return Leave(catalog, files, old) if files or old is not None else None


def key_of(catalog: Catalog, finding: Finding) -> tuple[str, str, str, str]:
    """What a finding has on every day, whatever its line, its number and its words are: as ``Old.key``."""
    record = finding.formula or finding.material
    fault = finding.fault
    return finding.rule, record, fault.kind, fault.property or _spot(catalog, fault.place, record)


def _spot(catalog: Catalog, place: Place, record: str) -> str:
    """A place by what stands there: the material of a line, or the keys; with the record, where it is another one."""
    code, keys = stem(place.path), place.keys
    words = ".".join(key for key in keys if isinstance(key, str))
    if keys[:1] == ("stage",) and len(keys) > 3 and keys[2] == "additions" and (file := catalog.find_formula(code)) and file.record:
        line = file.record.stage[int(keys[1])].additions[int(keys[3])]
        words = line.material or line.stage or line.step or words
    return words if code == record else f"{code} {words}".strip()


def far(off: Measured) -> str | None:
    """How far off a value is, to be read again; None where there is no number for it."""
    if isinf(off.worst):
        return None
    from formulint.quantity import in_unit

    return f"{in_unit(off.worst, off.unit, off.dimension):.10g} {off.unit}".strip()


def worse(line: Old, off: Measured | None) -> bool:
    """True where a value is further off than it was when it was listed, or nobody can say."""
    if off is None or (line.up_to is None and isinf(off.worst)):
        return False
    try:
        return line.up_to is None or _beyond(line.up_to, off)
    except Misread:
        return True


def _beyond(up_to: str, off: Measured) -> bool:
    edge = read(up_to, (off.dimension,)).base
    near = abs(edge) * CLOSE
    return off.worst > edge + near if off.worst > off.bound else off.worst < edge - near


def _short(one: Concession, fault: Fault) -> Trouble | None:
    """Why a concession does not reach as far as a finding about what it is for; None where it does."""
    rule, what = "concession/up-to", f"{one.code}: {one.rule} in {one.subject}"
    off = fault.off
    if off is None and one.up_to is None:
        return None
    if off is None:
        return rule, ("up_to",), f"{what} measures nothing that could lie within {one.up_to}: {fault.message}", "take up_to out, if it may stand as it is"
    if one.up_to is None:
        return rule, ("rule",), f"{what} may stand only up to a stated value; it is {fault.measured}", f'say how far: up_to = "{far(off) or fault.measured}"'
    try:
        beyond = _beyond(one.up_to, off)
    except Misread as error:
        return rule, ("up_to",), f"{one.code}: {error.message}", error.remedy
    if beyond:
        return rule, ("up_to",), f"{what} may stand up to {one.up_to}; it is {_apart(one.up_to, fault)}, so it counts", "mend it, or have it conceded anew"
    return None


def _apart(up_to: str, fault: Fault) -> str:
    """A value that is further off than was conceded, in as many digits as it takes to see that."""
    off = fault.off
    if off is None or isinf(off.worst):
        return fault.measured or "not known"
    edge = read(up_to, (off.dimension,))
    return apart(off.worst, edge, edge.unit.symbol, max(0, edge.decimals))[0]


def _malformed(one: Concession, name: str, codes: Counter[str]) -> Iterator[Trouble]:
    same, stands, twin = MALFORMED
    if (one.formula is None) == (one.material is None):
        yield same, ("formula" if one.formula else "rule",), f"{one.code} is for one formula or for one material, not for {'both' if one.formula else 'none'}", "name one"
    elif (one.formula is None) != (one.revision is None):
        words = f"{one.code} names {'no revision of ' + one.formula if one.formula else 'a revision, which only formulas have'}"
        yield same, ("formula" if one.formula else "revision",), words, "a formula is named with its revision, a material without"
    if one.code != stem(name):
        yield stands, ("code",), f'the file is called {stem(name)}, the code in it is "{one.code}"', f"rename the file to {one.code}.toml"
    if codes[stem(name).casefold()] > 1:
        yield twin, ("code",), f"two concessions are called {one.code}", "give one of them another code"


def _plain(name: str) -> str:
    return "".join(one.lower() if one.isascii() else one for one in name.strip())


def _who(names: Iterable[str], sort: str) -> str:
    listed = ", ".join(dict.fromkeys(names))
    return f"for {sort}, as formulint.toml says under [approvers]: {listed}" if listed else "name somebody in formulint.toml under [approvers]"


def _unreadable(file: File[Concession] | File[Standing]) -> Iterator[Finding]:
    for fault in file.faults:
        yield _finding("record/portable" if fault.kind == "review" else "record/readable", fault)


def _finding(rule: str, fault: Fault, formula: str = "", material: str = "") -> Finding:
    """A finding about leave: what cannot be read stops; what merely gives no leave warns, since what it is for counts."""
    level = Level.error if rule.startswith("record/") and fault.kind != "review" else Level.note if rule.endswith("/needed") else Level.warning
    return Finding(rule, level, fault, formula, material, "", FORMAT)
