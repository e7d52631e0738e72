"""A value or a rule of one formula along the line of first parents: the commits that bear on it, and which of them crossed a limit."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta

from msgspec import Struct
from msgspec.structs import replace

from formulint import lineage
from formulint.amounts import resolve
from formulint.catalog import SETTINGS_FILE, Catalog, stem
from formulint.consistency import too_large
from formulint.content import Gap, Value
from formulint.errors import Misread
from formulint.evaluate import Evaluation
from formulint.finding import Finding, Level
from formulint.formula import beside, codes_in
from formulint.judge import Judge
from formulint.quantity import Quantity
from formulint.rereading import Reading
from formulint.reweighing import Weighing, weighing
from formulint.rulebook import Check, Checks, Shipped
from formulint.scope import preload
from formulint.snapshot import Snapshot
from formulint.source import Entry
from formulint.subject import FormulaSubject, measure_of, value_of
from formulint.verdict import narrowest, outcome, read_bounds

Bounds = tuple[Quantity | None, Quantity | None]
DAY = timedelta(days=1)
NO_BOUNDS: Bounds = (None, None)
RECORD = "record/"  # rules about what is written, which are asked before anything is computed
SPEAKS = ("fail", "open", "review")
WORST = {"": 0, "pass": 0, "review": 1, "open": 2, "fail": 3}


class Asked(Struct, frozen=True):
    """What is followed: a property, or a rule, or with neither the verdict over all rules that are no notes."""

    property: str = ""
    rule: str = ""


class Point(Struct, frozen=True):
    """What a formula came to at a commit that touched anything it rests on.

    ``value`` is in base units, of a property; None where no formula could be read, for which ``note`` has the words.
    ``rules`` are those that had something to say, with what they said.
    """

    commit: str
    told: lineage.Told
    value: Value | None = None
    verdict: str = ""
    bounds: Bounds = NO_BOUNDS
    rules: dict[str, str] = {}
    note: str = ""
    touched: tuple[str, ...] = ()


class Crossing(Struct, frozen=True):
    """A rule that began or ceased to speak, with the points on both sides; ``before`` is None where the history begins."""

    rule: str
    began: bool
    before: Point | None
    after: Point


class History(Struct, frozen=True):
    """The points of one formula, the oldest first, and what was crossed between them.

    ``commits`` is how many commits were looked at; ``cut`` the one before which this clone holds nothing, or empty.
    """

    code: str
    asked: Asked
    points: tuple[Point, ...]
    commits: int
    cut: str = ""
    began: lineage.Told | None = None

    @property
    def crossings(self) -> tuple[Crossing, ...]:
        """Every rule that began or ceased to speak, in the order of commits; what was removed has ceased to be judged, not to break."""
        found: list[Crossing] = []
        before: Point | None = None
        for point in self.points:
            if point.note:
                continue
            was = before.rules if before is not None else {}
            found += [Crossing(rule, True, before, point) for rule in point.rules if rule not in was]
            found += [Crossing(rule, False, before, point) for rule in was if rule not in point.rules]
            before = point
        return tuple(found)


def history(newest: Snapshot, shipped: Shipped, code: str, asked: Asked, today: date | None = None) -> History:
    """Follow one formula up to a commit; each state is judged by its own files, as on its own day unless one is given."""
    line = lineage.lineage(newest)
    points = _Walk(newest, shipped, code, asked).points(line, today)
    began = next((step.told for step in line.steps if step.commit == line.cut), None)
    return History(code, asked, tuple(points), len(line.steps), line.cut, began)


class _Walk:
    """The states one after another; what two of them share is read and built once."""

    def __init__(self, newest: Snapshot, shipped: Shipped, code: str, asked: Asked) -> None:
        self.newest = newest
        self.shipped = shipped
        self.code = code
        self.asked = asked
        self.catalog: Catalog | None = None
        self.judge: Judge | None = None
        self.subject: FormulaSubject | None = None
        self.reading: Reading | None = None
        self.weighing: Weighing | None = None
        self.stems = {code.casefold()}
        self.texts: dict[str, bytes] = {}
        self._turns: list[date] = []
        self._sort: Checks | None = None
        self._asked_of: tuple[tuple[Check, ...], tuple[Check, ...]] = ((), ())

    def points(self, line: lineage.Lineage, today: date | None) -> Iterator[Point]:
        """A point for each step that touches what the formula rests on, from the first that has the formula."""
        entries: dict[str, Entry] = {}
        self._fetch(line.steps)
        begun = False
        for step in line.steps:
            for name, entry in step.changes.items():
                if entry is None:
                    entries.pop(name, None)
                else:
                    entries[name] = entry
            touched = [name for name in step.changes if self._bears(name)]
            if not touched:
                continue
            day = today or step.told.date
            if not self._again(entries, touched, day):
                self._move(step.commit, entries, touched, day)
            point = self._point(step, tuple(touched))
            begun = begun or point.note != NOWHERE
            if begun:
                yield point

    def _fetch(self, steps: Sequence[lineage.Step]) -> None:
        """Read in one round all versions of the formula, and of what it rests on today."""
        repository = self.newest.repository
        assert repository is not None
        wanted = {self.code.casefold(), *_behind(Catalog(self.newest, self.shipped), self.code)}
        changes = (entry for step in steps for entry in step.changes.values() if entry is not None)
        found = {entry.oid: entry.name for entry in changes if entry.name.endswith(".toml") and stem(entry.name).casefold() in wanted}
        self.texts = repository.contents(found)

    def _bears(self, name: str) -> bool:
        """True for a file on which the formula rests as it was before this step."""
        return self._rules(name) or (name.endswith(".toml") and stem(name).casefold() in self.stems)

    def _rules(self, name: str) -> bool:
        """True for the settings, and for rules of the house."""
        return name == SETTINGS_FILE or (self.catalog is not None and name.startswith(self.catalog.settings.folders.rules.rstrip("/") + "/"))

    # --- from one state to the next ---------------------------------------------------------------------------------

    def _again(self, entries: dict[str, Entry], touched: list[str], day: date) -> bool:
        """Go on where nothing but amounts of the sheet is another: all that was built of the rest is kept."""
        reading, subject, catalog = self.reading, self.subject, self.catalog
        if reading is None or subject is None or catalog is None or touched != [subject.path]:
            return False
        entry = entries.get(subject.path)
        if entry is None or not self._same_rules(catalog, day) or not reading.next(self._text(entry)) or not reading.alike:
            return False
        before, formula = subject.evaluation, reading.formula
        resolved = None if self.weighing is None else self.weighing.moved(formula, reading.moved)
        if resolved is None:
            resolved = resolve(formula, subject.path, catalog.supply)
            self.weighing = weighing(formula, resolved, catalog.supply)
        evaluation = Evaluation(resolved, subject.path, before.water_density, replace(before.around, formula=formula))
        self.subject = replace(subject, formula=formula, evaluation=evaluation, today=day)
        return True

    def _move(self, commit: str, entries: dict[str, Entry], touched: list[str], day: date) -> None:
        """Go to the state of a commit; where only the formula's text is another, what was built of materials and rules is kept."""
        old, name = self.catalog, touched[0]
        if old is not None and self.judge is not None and len(touched) == 1 and self._only_text(old, name, entries) and self._same_rules(old, day):
            entry = entries[name]
            self.catalog = self.judge.catalog = old.rewritten(name, self._text(entry), entry.oid)
            self.catalog.today = day
        else:
            same = old is not None and not any(self._rules(name) for name in touched) and self._same_rules(old, day)
            state = lineage.state_at(self.newest, commit, dict(entries), day, self.texts)
            self.catalog = Catalog(state, self.shipped, day)
            if old is not None and same:
                self.catalog.rulebook = old.rulebook  # with all that it has sorted
            self.judge = Judge(self.catalog)
            self.judge.leave = None  # what may stand is told all the same
            preload(self.catalog, self.catalog.formula_names.get(self.code.casefold(), ()))
        self.stems = {self.code.casefold(), *_behind(self.catalog, self.code)}
        self.subject = self.reading = self.weighing = self._sort = None
        self._turns = []

    def _only_text(self, old: Catalog, name: str, entries: dict[str, Entry]) -> bool:
        """True where the one file that was touched is the formula's, and was there before."""
        return name != SETTINGS_FILE and stem(name) == self.code and name in entries and name in old.snapshot.entries and old.find_formula(self.code) is not None

    def _same_rules(self, old: Catalog, day: date) -> bool:
        """True where rules and exemptions in force are the same on both days."""
        if day == old.today:
            return True
        self._turns = self._turns or _turns(old)
        return bisect_right(self._turns, day) == bisect_right(self._turns, old.today)

    def _text(self, entry: Entry) -> bytes:
        return self.texts[entry.oid] if entry.oid in self.texts else self.newest.source.contents((entry,))[entry.name]

    # --- what is asked of a state -----------------------------------------------------------------------------------

    def _point(self, step: lineage.Step, touched: tuple[str, ...]) -> Point:
        catalog, judge = self.catalog, self.judge
        assert catalog is not None and judge is not None
        commit, told = step.commit, step.told
        if self.subject is None:
            note, path = self._reached(catalog)
            if note in UNREADABLE:
                general = not self.asked.property and (not self.asked.rule or self.asked.rule.startswith(RECORD))
                findings = list(self._all(judge, path)) if general else []
                return Point(commit, told, None, "fail" if findings else "open", NO_BOUNDS, _said(findings), "" if findings else note, touched)
            if note:
                return Point(commit, told, note=note, touched=touched)
        assert self.subject is not None
        findings = self._findings(judge, self.subject)
        if self.asked.property:
            return self._measured(step, self.subject, judge, findings, touched)
        worst = max((one.fault.kind for one in findings), key=lambda kind: WORST[kind], default="pass")
        return Point(commit, told, None, worst, NO_BOUNDS, _said(findings), "", touched)

    def _reached(self, catalog: Catalog) -> tuple[str, str]:
        """Read the formula; where there is nothing to compute why not, and the file of it."""
        file = catalog.find_formula(self.code)
        if catalog.settings_file.record is None:
            return "the settings cannot be read", ""
        if file is None:
            return NOWHERE, ""
        if file.record is None or any(too_large(file.record, file.name)):
            return UNREADABLE[0], file.name
        if catalog.nesting.knot(self.code):
            return UNREADABLE[1], file.name
        self.subject = catalog.subject(file)
        if file.document is not None and not file.faults and self._by_checks:
            self.reading = Reading(file.document, file.record)
        return "", file.name

    @property
    def _by_checks(self) -> bool:
        """True where what is asked is asked of the values, and not of what is written."""
        return bool(self.asked.property or (self.asked.rule and not self.asked.rule.startswith(RECORD)))

    def _checks(self, subject: FormulaSubject) -> tuple[tuple[Check, ...], tuple[Check, ...]]:
        """The checks that have to do with what is asked, and those of them that put bounds on it."""
        assert self.catalog is not None
        checks = self.catalog.rulebook.checks(subject.formula)
        if checks is not self._sort:
            asked = self.asked
            wanted = [one for one in checks.all if (one.entry.rule.binds(asked.property) if asked.property else one.entry.id == asked.rule)]
            self._sort, self._asked_of = checks, (tuple(wanted), tuple(one for one in wanted if one in checks.bounding))
        return self._asked_of

    def _measured(self, step: lineage.Step, subject: FormulaSubject, judge: Judge, findings: list[Finding], touched: tuple[str, ...]) -> Point:
        """The point of a property: its value, the narrowest of its bounds, and how it stands to them."""
        name = self.asked.property
        value = value_of(name, subject)
        if not isinstance(value, float):
            sharp = subject.sharpen(measure_of(name))()
            value = value if sharp is None else sharp.value
        applied = [one for one in judge.bounds(subject, self._checks(subject)[1]) if one.property == name]
        bounds = narrowest(read_bounds(name, one.min, one.max) for one in applied)
        verdict = outcome(value, *bounds)[0] if bounds != NO_BOUNDS else "open" if isinstance(value, Gap) else ""
        kinds = {one.fault.kind for one in findings}
        recalled = verdict == "fail" and "review" in kinds and "fail" not in kinds
        return Point(step.commit, step.told, value, "review" if recalled else verdict, bounds, _said(findings), "", touched)

    def _findings(self, judge: Judge, subject: FormulaSubject) -> list[Finding]:
        """What is said about the property, by the rule, or by all rules that are no notes."""
        if not self._by_checks:
            return [one for one in self._all(judge, subject.path) if one.fault.kind in SPEAKS]
        asked = self.asked
        found = [*judge.told_by(self._checks(subject)[0], subject, self.code)]
        try:
            found += judge.own_limits(subject, self.code, asked.property)
        except Misread:
            pass  # a limit that cannot be read, of which another finding speaks
        return [one for one in found if one.fault.kind in SPEAKS and (one.fault.property == asked.property if asked.property else one.rule == asked.rule)]

    def _all(self, judge: Judge, path: str) -> Iterator[Finding]:
        """What is found about the formula as lint would tell it, without notes; or by the one rule about records that was asked for."""
        for one in judge.formula(judge.catalog.formula(path)):
            if one.rule == self.asked.rule if self.asked.rule else one.level is not Level.note:
                yield one


NOWHERE = "there is no such formula"
UNREADABLE = ("the file cannot be read", "it is made from itself")


def _said(findings: Iterable[Finding]) -> dict[str, str]:
    """What each rule says first."""
    found: dict[str, str] = {}
    for one in findings:
        found.setdefault(one.rule, one.fault.message)
    return found


def _behind(catalog: Catalog, code: str) -> set[str]:
    """Codes, in small letters, of everything that a formula rests on, through its intermediates and alternates; of its equipment."""
    found: set[str] = set()
    wanted = [code]
    while wanted:
        sheet = catalog.sheet(wanted.pop())
        if sheet is None:
            continue
        found.update(stage.vessel.casefold() for stage in sheet.stage if stage.vessel)
        for used in (*codes_in(sheet), *(one for one, _ in beside(sheet))):
            if used.casefold() not in found:
                found.add(used.casefold())
                wanted.append(used)
    return found


def _turns(catalog: Catalog) -> list[date]:
    """The days on which another set of rules or exemptions comes into force, in order."""
    entries = catalog.rulebook.listed()
    days = {entry.rule.from_ for entry in entries} | {entry.rule.until + DAY for entry in entries if entry.rule.until is not None}
    return sorted(day for day in (*days, *catalog.shipped.exempt_from("us"), date.min) if day is not None)


def known_rules(catalog: Catalog) -> set[str]:
    """Ids of all rules that could ever have spoken in a state."""
    return {entry.id for entry in catalog.rulebook.listed()}
