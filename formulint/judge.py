"""Rules times records: every finding of a scope, stamped with rule, level and source."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from itertools import chain, islice
from operator import itemgetter
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from formulint import consistency
from formulint.catalog import RECENT, SETTINGS_FILE, Catalog, File, stem
from formulint.consistency import MANY, few
from formulint.equipment import Equipment
from formulint.equipment import faults as of_equipment
from formulint.errors import Misread, UserError
from formulint.finding import Fault, Finding, KeyPath, Level, Place, Source
from formulint.formula import Formula, beside, codes_in, offers_alternates
from formulint.kinds.closure import BATCH
from formulint.material import Material
from formulint.nesting import chained
from formulint.own_limits import broken
from formulint.retired import eased, still_used
from formulint.rule import Applied, Rule
from formulint.rulebook import Check, Entry, unknown_words
from formulint.settings_check import of_settings
from formulint.standing import STANDING_FILE
from formulint.subject import FormulaSubject, MaterialSubject, RegisterSubject
from formulint.verdict import read_bounds

if TYPE_CHECKING:
    from formulint.leave import Leave
    from formulint.result import Results
    from formulint.settings import Settings

FORMAT_SOURCE = Source("the format of the repository", "", "house")
MOST_ASKED = 200_000_000  # rules times lines; a hundred rules ask 60,000 sheets of 20 lines
MOST_EXPLAINED = 20  # sheets that do not add up of which the line is looked for that slipped; more have another cause
NUMBER = itemgetter(0)
UNVERIFIED = "figure recalled, not verified"
RECALLED = f"{UNVERIFIED}: a review by the house is due"
UNSAFE = "unsafe/"  # rules of this pack stop whatever their source, and are given no other level


class Scope(Struct, frozen=True):
    """What is judged: files of formulas and materials by name; the register, house rules and settings if ``whole``; by ``measured``, ``results`` and ``proved``."""

    formulas: tuple[str, ...]
    materials: tuple[str, ...]
    whole: bool = False
    results: tuple[str, ...] = ()
    proved: frozenset[str] = frozenset()


class Judge:
    """Judges the records of one catalog; the formulas of ``strict`` by the standard of production, whatever their state."""

    def __init__(self, catalog: Catalog, strict: frozenset[str] = frozenset()) -> None:
        self.catalog = catalog
        self.strict = strict
        self.leave: Leave | None = None
        if catalog.concessions() or catalog.standing() is not None:
            from formulint.leave import leave_of  # most houses have given none

            self.leave = leave_of(catalog)
        settings = catalog.settings
        self.confirmed = frozenset(settings.confirmed)
        self.levels = {one.rule: Level[one.level] for one in settings.rule_setting if not one.rule.startswith(UNSAFE)}
        vocabulary = catalog.shipped.vocabulary()
        self.tags = frozenset(tag.id for tag in vocabulary.tag)
        self.markets = frozenset(market.id for market in vocabulary.market)
        self._sound: set[str] = set()
        self._guesses = self._asked = 0
        self.explains = MOST_EXPLAINED

    def findings(self, scope: Scope) -> tuple[Finding, ...]:
        """All findings of a scope, ordered by file, place, rule."""
        found = [*self._snapshot(), *self._settings(), *self._house()]
        for name in scope.materials:
            found += self.material(self.catalog.material(name))
        for name in scope.formulas:
            told = [*self.formula(self.catalog.formula(name))]
            found += told
            if not told and len(scope.formulas) > RECENT:
                self.catalog.forget(name)
        if scope.whole:
            found += self._equipment()
            found += self._granted(self._register())
        if self.leave is not None:
            found += self.leave.faults(scope.formulas, scope.materials, scope.whole)
        return tuple(dict.fromkeys(found))

    def formula(self, file: File[Formula]) -> Iterator[Finding]:
        """All findings about one formula; those of a withdrawn one are counted, and stop nothing: it is made no more."""
        found = self._formula(file)
        made = file.record is None or file.record.state != "withdrawn" or stem(file.name) in self.strict
        return self._granted(found if made else (eased(one, UNSAFE) for one in found))

    def _granted(self, found: Iterator[Finding]) -> Iterator[Finding]:
        """Findings, those that may stand with the leave for it."""
        return found if self.leave is None else self.leave.over(found)

    def _formula(self, file: File[Formula]) -> Iterator[Finding]:
        code = stem(file.name)
        yield from self._readable(file, code, "")
        formula = file.record
        if formula is None:
            raw = file.document.data if file.document is not None else {}
            yield from (self._format("record/known-material", fault, code, "") for fault in few(self._raw_codes(raw, file.name)))
            return
        yield from self._identity(file.name, formula.code, self.catalog.formula_names, self.catalog.material_names, code, "")
        large = tuple(consistency.too_large(formula, file.name))
        if large:
            yield from (self._format("record/consistent", fault, code, "") for fault in large)
            return
        faults = few(consistency.of_formula(formula, file.name, self.markets))
        yield from (self._format("record/consistent", fault, code, "") for fault in faults)
        nesting = self.catalog.nesting
        subject = None if nesting.knots and nesting.knot(code) else self.catalog.subject(file)
        unknown = few(self._codes(formula, file.name))
        yield from (self._format("record/known-material", fault, code, "") for fault in unknown)
        if subject is None or code in nesting.knots:
            yield self._format("record/no-circle", self._circle(nesting.knot(code), formula, file.name), code, "")
            return
        if subject.blends:
            level = Level.warning if self._state(formula) == "bench" else Level.error
            yield from (Finding("record/not-withdrawn", level, fault, code, "", "", FORMAT_SOURCE) for fault in still_used(formula, file.name, self.catalog))
        yield from (self._format("record/amounts", fault, code, "") for fault in subject.resolved.faults)
        if faults or unknown:
            return  # what follows would be computed on lines that are not what the chemist meant
        told = {fault.place.keys[:4] for fault in subject.resolved.faults}
        yield from (one for one in self._verdicts(subject, file, code) if not (told and _follows(one.fault, subject.path, told)))

    def _verdicts(self, subject: FormulaSubject, file: File[Formula], code: str) -> Iterator[Finding]:
        seen = dict.fromkeys(self._judged(subject, code))
        if seen and self.explains and any(one.rule == BATCH for one in seen):
            from formulint.suspect import explained

            self.explains -= 1
            rules = [entry.rule for entry in self.catalog.rulebook.in_force()]
            yield from explained(seen, subject, lambda other: self._judged(self.catalog.subject(File(file.name, None, other, ()), {}), code), rules, self.catalog.today)
        else:
            yield from seen
        known = {(finding.rule, finding.fault.message) for finding in seen}
        formula = subject.formula
        for i, stage in enumerate(formula.stage if offers_alternates(formula) else ()):
            for j, line in enumerate(stage.additions):
                for other in line.alternates:
                    swapped = self.catalog.subject(file, {(i, j): other})
                    for finding in self._judged(swapped, code):
                        if (finding.rule, finding.fault.message) not in known:
                            words = f"with {other} instead of {line.material}: {finding.fault.message}"
                            yield replace(finding, fault=replace(finding.fault, message=words))

    def _judged(self, subject: FormulaSubject, code: str) -> Iterator[Finding]:
        """Findings of all rules; of several that are open for one and the same reason, the weightiest."""
        opened: dict[str, Finding] = {}
        for finding in self.every(subject, code):
            if finding.fault.kind != "open":
                yield finding
            elif finding.fault.message not in opened or finding.level > opened[finding.fault.message].level:
                opened[finding.fault.message] = finding
        yield from opened.values()

    def every(self, subject: FormulaSubject, code: str) -> Iterator[Finding]:
        """What each rule has to say about a formula, none of it told in place of another, and without leave; its own limits."""
        formula = subject.formula
        held = subject.picked.keys()
        self._spend(subject)
        found: list[tuple[int, Finding]] = []
        for look in self.catalog.rulebook.checks(formula).for_held(held):
            if look.rule.plainly_holds(subject):
                continue
            for number, check in look.checks:
                rule = check.entry.rule
                if not check.by_code or rule.concerns(formula):
                    found += [(number, self.stamp(check.entry, fault, self._state(formula), code, "")) for fault in rule.check(subject)]
        found.sort(key=NUMBER)  # looked at in no order; told in that of the rules
        yield from (finding for _, finding in found)
        yield from self.own_limits(subject, code) if formula.limits else ()

    def told_by(self, checks: Iterable[Check], subject: FormulaSubject, code: str) -> Iterator[Finding]:
        """What some of the checks of a formula have to say, as ``every`` would tell it."""
        for check in checks:
            if subject.picked.keys() >= set(check.entry.rule.about) and (not check.by_code or check.entry.rule.concerns(subject.formula)):
                yield from (self.stamp(check.entry, fault, self._state(subject.formula), code, "") for fault in check.entry.rule.check(subject))

    def _spend(self, subject: FormulaSubject) -> None:
        """Count what is asked, so that formulas, lines, alternates and rules cannot multiply to a run without end."""
        self._asked += len(self.catalog.rulebook.checks(subject.formula).all) * (10 + len(subject.resolved.lines))
        if self._asked > MOST_ASKED:
            raise UserError("formulas, alternates and rules of this repository multiply to more than is judged in one run", "name some formulas: formulint lint CODE; or put like rules together, and leave out alternates")

    def _state(self, formula: Formula) -> str:
        return "production" if formula.code in self.strict else formula.state

    def own_limits(self, subject: FormulaSubject, code: str, only: str = "") -> Iterator[Finding]:
        """What breaks the limits that a sheet sets itself; of ``only`` one property, if it is given."""
        return broken(subject, code, Level.warning if self._state(subject.formula) == "bench" else Level.error, only)

    def bounds(self, subject: FormulaSubject, checks: Iterable[Check] | None = None) -> tuple[Applied, ...]:
        """Every bound that rules, or some ``checks`` of them, and the formula itself put on its properties."""
        found: list[Applied] = []
        for check in self.catalog.rulebook.checks(subject.formula).bounding if checks is None else checks:
            if not check.by_code or check.entry.rule.concerns(subject.formula):
                found += check.entry.rule.bounds(subject)
        for name, bounds in subject.formula.limits.items():
            try:
                read_bounds(name, bounds.min, bounds.max)
            except Misread:
                continue  # a finding of its own says so
            found.append(Applied(name, bounds.min, bounds.max, "own limit"))
        return tuple(found)

    def material(self, file: File[Material]) -> Iterator[Finding]:
        """All findings about one material."""
        return self._granted(self._material(file))

    def _material(self, file: File[Material]) -> Iterator[Finding]:
        code = stem(file.name)
        yield from self._readable(file, "", code)
        if file.record is None:
            return
        yield from self._identity(file.name, file.record.code, self.catalog.material_names, self.catalog.formula_names, "", code)
        faults = tuple(consistency.of_material(file.record, file.name, self.tags))
        yield from (self._format("record/consistent", fault, "", code) for fault in faults)
        stock = self.catalog.stock(code)
        if stock is None:
            return
        subject = MaterialSubject(stock, self.catalog.today, self.catalog.settings.units)
        for entry in self.catalog.rulebook.in_force():
            if type(entry.rule).check_material is not Rule.check_material:
                for fault in entry.rule.check_material(subject):
                    yield self.stamp(entry, fault, "production", "", code)

    def _register(self) -> Iterator[Finding]:
        files = self.catalog.material_files()
        self.catalog.preload(files)
        stocks = {code: stock for name in files if (stock := self.catalog.stock(code := stem(name)))}
        subject = RegisterSubject(stocks, self._users, self.catalog.today)
        for entry in self.catalog.rulebook.in_force():
            if type(entry.rule).check_register is not Rule.check_register:
                for fault in entry.rule.check_register(subject):
                    yield self.stamp(entry, fault, "production", "", stem(fault.place.path))

    def _equipment(self) -> Iterator[Finding]:
        files = self.catalog.equipment()
        yield from self.kept(files.values(), self.catalog.index(self.catalog.settings.folders.equipment))
        faults = (fault for name, file in files.items() if file.record is not None for fault in of_equipment(file.record, name))
        yield from (self._format("record/consistent", fault, "", "") for fault in faults)

    def kept(self, files: Iterable[File[Equipment] | File[Results]], names: dict[str, list[str]]) -> Iterator[Finding]:
        """What is wrong with records as files: unreadable, called otherwise than their file, or two of one code."""
        for file in files:
            yield from self._readable(file, "", "")
            if file.record is not None:
                yield from self._identity(file.name, file.record.code, names, {}, "", "")

    def _users(self, code: str) -> list[str]:
        """Codes of the formulas that name a code."""
        return [stem(name) for name in self.catalog.formulas_with(code) if (record := self.catalog.formula(name).record) is not None and code in codes_in(record)]

    def stamp(self, entry: Entry, fault: Fault, state: str, formula: str, material: str) -> Finding:
        """A fault as a finding: its level by rule, settings and state; ``review`` where the figure is only recalled."""
        rule, message = entry.rule, fault.message
        level, how = self.levels.get(entry.id, Level[rule.level]), fault.checked or rule.source.checked
        if fault.kind == "fail" and how == "memory" and entry.id not in self.confirmed and level is Level.error:
            if entry.id.startswith(UNSAFE):  # a figure that is only recalled must not let it pass
                fault = replace(fault, message=f"{message} ({UNVERIFIED})")
            else:
                fault = replace(fault, kind="review", message=f"{message} ({RECALLED})")
        bench = state == "bench" and not entry.id.startswith(UNSAFE)  # what nobody knows to be safe is not tried
        if level is Level.error and (fault.kind == "review" or (fault.kind == "open" and bench)):
            level = Level.warning
        if not fault.remedy and rule.remedy:
            fault = replace(fault, remedy=rule.remedy)
        return Finding(entry.id, level, fault, formula, material, rule.why, rule.source if how == rule.source.checked else replace(rule.source, checked=how))

    def _format(self, rule: str, fault: Fault, formula: str, material: str) -> Finding:
        return Finding(rule, Level.warning if fault.kind == "review" else Level.error, fault, formula, material, "", FORMAT_SOURCE)

    def _readable(self, file: File[Formula] | File[Material] | File[Equipment] | File[Results] | File[Settings], formula: str, material: str) -> Iterator[Finding]:
        for fault in file.faults:
            rule = "record/portable" if fault.kind == "review" else "record/readable"
            yield self._format(rule, fault, formula, material)

    def _identity(
        self, name: str, code: str, own: dict[str, list[str]], other: dict[str, list[str]], formula: str, material: str
    ) -> Iterator[Finding]:
        if code != stem(name):
            from formulint.misnomer import misnamed  # few codes are wrong

            twins = [one for names in (own, other) for one in names.get(code.casefold(), ()) if one != name]
            yield self._format("record/code-is-file-name", misnamed(name, code, twins), formula, material)
        same = [*own.get(stem(name).casefold(), ()), *other.get(stem(name).casefold(), ())]
        for twin in same:
            if twin != name:
                fault = Fault(Place(name, ("code",)), f"{stem(name)} is also the code of {twin}", "give one of them another code")
                yield self._format("record/one-file-per-code", fault, formula, material)

    def _codes(self, formula: Formula, path: str) -> Iterator[Fault]:
        knots = self.catalog.nesting.knots
        told = knots if stem(path) in knots else ()  # by a finding of its own
        for i, stage in enumerate(formula.stage):
            for j, line in enumerate(stage.additions):
                if line.material is not None and line.material not in self._sound and line.material not in told:
                    yield from self._code(line.material, Place(path, ("stage", i, "additions", j, "material")))
                for k, other in enumerate(line.alternates):
                    yield from self._code(other, Place(path, ("stage", i, "additions", j, "alternates", k)))
        for code, keys in beside(formula):
            yield from self._code(code, Place(path, keys))

    def _raw_codes(self, raw: dict[str, object], path: str) -> Iterator[Fault]:
        """Unknown codes of a formula that cannot be read as a whole, so that all its mistakes are told at once."""
        stages = raw.get("stage")
        for i, stage in enumerate(stages if isinstance(stages, list) else []):
            lines = stage.get("additions") if isinstance(stage, dict) else None
            for j, line in enumerate(lines if isinstance(lines, list) else []):
                code = line.get("material") if isinstance(line, dict) else None
                if isinstance(code, str):
                    yield from self._code(code, Place(path, ("stage", i, "additions", j, "material")))

    def _code(self, code: str, place: Place) -> Iterator[Fault]:
        catalog = self.catalog
        material, blend = catalog.find_material(code), catalog.find_formula(code)
        if material is not None:
            if material.record is None:
                yield self._unreadable(code, material, place)
            else:
                self._sound.add(code)
        elif blend is None:
            from formulint.misnomer import unknown

            self._guesses += 1
            yield unknown(catalog, code, place, self._guesses <= MANY)  # a guess means to look through all codes
        elif blend.record is None:
            yield self._unreadable(code, blend, place)
        elif blend.record.class_ != "intermediate":
            words = f"{code} is a formula of class {blend.record.class_}, not an intermediate"
            yield Fault(place, words, 'a formula that is used as a material has class = "intermediate"', related=(Place(blend.name, ("class",)),))
        else:
            yield from self._inside(code, blend.record, blend.name, place)

    def _inside(self, code: str, blend: Formula, path: str, place: Place) -> Iterator[Fault]:
        """The first reason, at any depth, why nobody knows what an intermediate holds."""
        circle = self.catalog.nesting.knot(code)
        first = None if circle else next(self._codes(blend, path), None)
        if circle:
            words = chained(circle, f"{code} is made from itself")
            yield Fault(place, words, "mend that file first", related=(Place(path),))
        elif first is not None:
            where = f"{path}, line {self.catalog.locate(first.place).line}"
            yield Fault(place, f"{code} cannot be computed ({where}: {first.message})", "mend that file first", related=(first.place,))
        else:
            self._sound.add(code)

    def _unreadable(self, code: str, file: File[Formula] | File[Material], place: Place) -> Fault:
        first = file.faults[0]
        mark = self.catalog.locate(first.place)
        where = f"{file.name}, line {mark.line}" if mark.line else file.name
        return Fault(place, f"{code} cannot be read ({where}: {first.message})", "mend that file first", related=(first.place,))

    def _circle(self, knot: tuple[str, ...], formula: Formula, path: str) -> Fault:
        alone = len(set(knot)) == 1
        words = f"{knot[0]} is an addition to itself" if alone else chained(knot, "these use each other in a circle")
        helps = "name what was meant, or delete the line" if alone else "take one of them out"
        for i, stage in enumerate(formula.stage):
            for j, line in enumerate(stage.additions):
                if line.material in self.catalog.nesting.knots or line.material == knot[1]:
                    return Fault(Place(path, ("stage", i, "additions", j, "material")), words, helps)
        return Fault(Place(path, ("code",)), words, helps)

    def _snapshot(self) -> Iterator[Finding]:
        yield from (self._format("record/plain-file", fault, "", "") for fault in self.catalog.snapshot.faults_below((*self.catalog.settings.folders.all, STANDING_FILE)))

    def _settings(self) -> Iterator[Finding]:
        yield from self._readable(self.catalog.settings_file, "", "")
        rules = frozenset(entry.id for entry in self.catalog.rulebook.all()) | {f"voc/{market}" for market in self.markets}
        yield from (self._format(rule, fault, "", "") for rule, fault in islice(of_settings(self.catalog.settings, SETTINGS_FILE, self.catalog.shipped.versions(), rules), MANY))

    def _house(self) -> Iterator[Finding]:
        yield from (self._format("record/readable", fault, "", "") for fault in few(chain(self.catalog.house_faults, unknown_words(self.catalog.rulebook.house, self.tags, self.markets))))


def _follows(fault: Fault, path: str, told: Collection[KeyPath]) -> bool:
    """True for what is open only because of lines that have a finding of their own."""
    places = fault.missing if fault.kind == "open" else ()
    return bool(places) and all(place.path == path and place.keys[:4] in told for place in places)
