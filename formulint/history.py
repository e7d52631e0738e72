"""A value or a rule of one formula along the line of first parents: the commits that bear on it, and which of them crossed a limit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from msgspec import Struct

from formulint import lineage
from formulint.catalog import SETTINGS_FILE, Catalog, stem
from formulint.content import Gap, Value
from formulint.finding import Finding, Level, Place
from formulint.formula import codes_in
from formulint.judge import Judge
from formulint.quantity import Quantity
from formulint.rulebook import Shipped
from formulint.scope import preload
from formulint.snapshot import Entry, Snapshot
from formulint.subject import FormulaSubject, measure_of, value_of
from formulint.verdict import narrowest, outcome, read_bounds

Bounds = tuple[Quantity | None, Quantity | None]
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
    repository = newest.repository
    assert repository is not None
    line = lineage.lineage(newest)
    told = lineage.told(repository, [step.commit for step in line.steps])
    points = _Walk(newest, shipped, code, asked).points(line, told, today)
    return History(code, asked, tuple(points), len(line.steps), line.cut, told.get(line.cut))


class _Walk:
    """The states one after another; what two of them share is read and built once."""

    def __init__(self, newest: Snapshot, shipped: Shipped, code: str, asked: Asked) -> None:
        self.newest = newest
        self.shipped = shipped
        self.code = code
        self.asked = asked
        self.catalog: Catalog | None = None
        self.judge: Judge | None = None
        self.stems = {code.casefold()}
        self.texts: dict[str, bytes] = {}

    def points(self, line: lineage.Lineage, told: dict[str, lineage.Told], today: date | None) -> Iterator[Point]:
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
            about = told[step.commit]
            self._move(step.commit, entries, touched, today or about.date)
            point = self._point(step.commit, about, tuple(touched))
            begun = begun or point.note != NOWHERE
            if begun:
                yield point

    def _fetch(self, steps: Sequence[lineage.Step]) -> None:
        """Read all versions of the formula in one round."""
        found = {entry.oid: entry for step in steps for name, entry in step.changes.items() if entry is not None and stem(name) == self.code}
        repository = self.newest.repository
        assert repository is not None
        self.texts = repository.contents({oid: entry.name for oid, entry in found.items()})

    def _bears(self, name: str) -> bool:
        """True for a file on which the formula rests as it was before this step."""
        if name == SETTINGS_FILE or (self.catalog is not None and name.startswith(self.catalog.settings.folders.rules.rstrip("/") + "/")):
            return True
        return name.endswith(".toml") and stem(name).casefold() in self.stems

    def _move(self, commit: str, entries: dict[str, Entry], touched: list[str], day: date) -> None:
        """Go to the state of a commit; where only the formula's text is another, all that was built of the rest is kept."""
        old, name = self.catalog, touched[0]
        if old is not None and self.judge is not None and len(touched) == 1 and self._only_text(old, name, entries) and self._same_rules(old, day):
            entry = entries[name]
            self.catalog = self.judge.catalog = old.rewritten(name, self.texts[entry.oid], entry.oid)
            self.catalog.today = day
        else:
            state = lineage.state_at(self.newest, commit, dict(entries), day)
            self.catalog = Catalog(state, self.shipped, day)
            self.judge = Judge(self.catalog)
            preload(self.catalog, self.catalog.formula_names.get(self.code.casefold(), ()))
        self.stems = {self.code.casefold(), *_behind(self.catalog, self.code)}

    def _only_text(self, old: Catalog, name: str, entries: dict[str, Entry]) -> bool:
        """True where the one file that was touched is the formula's, and was there before."""
        return name != SETTINGS_FILE and stem(name) == self.code and name in entries and name in old.snapshot.entries and old.find_formula(self.code) is not None

    def _same_rules(self, old: Catalog, day: date) -> bool:
        """True where rules and exemptions in force are the same on both days."""
        if day == old.today:
            return True
        ends = [one for entry in old.rulebook.listed() for one in (entry.rule.from_, entry.rule.until) if one is not None]
        first, last = min(day, old.today), max(day, old.today)
        alike = not any(first <= one <= last for one in ends)
        return alike and self.shipped.exempt("us", day) == self.shipped.exempt("us", old.today)

    def _point(self, commit: str, told: lineage.Told, touched: tuple[str, ...]) -> Point:
        catalog, judge = self.catalog, self.judge
        assert catalog is not None and judge is not None
        file = catalog.find_formula(self.code)
        if catalog.settings_file.record is None:
            return Point(commit, told, note="the settings cannot be read", touched=touched)
        if file is None:
            return Point(commit, told, note=NOWHERE, touched=touched)
        if file.record is None or catalog.nesting.knot(self.code):
            note = "the file cannot be read" if file.record is None else "it is made from itself"
            general = not self.asked.property and (not self.asked.rule or self.asked.rule.startswith(RECORD))
            findings = list(self._all(judge, file.name)) if general else []
            return Point(commit, told, None, "fail" if findings else "open", NO_BOUNDS, _said(findings), "" if findings else note, touched)
        subject = catalog.subject(file)
        findings = self._findings(judge, subject)
        if self.asked.property:
            return self._measured(commit, told, subject, judge, findings, touched)
        worst = max((one.fault.kind for one in findings), key=lambda kind: WORST[kind], default="pass")
        return Point(commit, told, None, worst, NO_BOUNDS, _said(findings), "", touched)

    def _measured(
        self, commit: str, told: lineage.Told, subject: FormulaSubject, judge: Judge, findings: list[Finding], touched: tuple[str, ...]
    ) -> Point:
        """The point of a property: its value, the narrowest of its bounds, and how it stands to them."""
        name = self.asked.property
        value = value_of(name, subject)
        if not isinstance(value, float):
            sharp = subject.sharpen(measure_of(name))()
            value = value if sharp is None else sharp.value
        applied = [one for one in judge.bounds(subject) if one.property == name]
        bounds = narrowest(read_bounds(name, one.min, one.max, Place("")) for one in applied)
        verdict = outcome(value, *bounds)[0] if bounds != NO_BOUNDS else "open" if isinstance(value, Gap) else ""
        kinds = {one.fault.kind for one in findings}
        recalled = verdict == "fail" and "review" in kinds and "fail" not in kinds
        return Point(commit, told, value, "review" if recalled else verdict, bounds, _said(findings), "", touched)

    def _findings(self, judge: Judge, subject: FormulaSubject) -> list[Finding]:
        """What is said about the property, by the rule, or by all rules that are no notes."""
        asked = self.asked
        if asked.property:
            found: Iterable[Finding] = (one for one in judge.every(subject, self.code, lambda entry: entry.rule.bounding) if one.fault.property == asked.property)
        elif asked.rule and not asked.rule.startswith(RECORD):
            found = (one for one in judge.every(subject, self.code, lambda entry: entry.id == asked.rule) if one.rule == asked.rule)
        else:
            found = self._all(judge, subject.path)
        return [one for one in found if one.fault.kind in SPEAKS]

    def _all(self, judge: Judge, path: str) -> Iterator[Finding]:
        """What is found about the formula as lint would tell it, without notes; or by the one rule about records that was asked for."""
        for one in judge.formula(judge.catalog.formula(path)):
            if one.rule == self.asked.rule if self.asked.rule else one.level is not Level.note:
                yield one


NOWHERE = "there is no such formula"


def _said(findings: Iterable[Finding]) -> dict[str, str]:
    """What each rule says first."""
    found: dict[str, str] = {}
    for one in findings:
        found.setdefault(one.rule, one.fault.message)
    return found


def _behind(catalog: Catalog, code: str) -> set[str]:
    """Codes, in small letters, of everything that a formula rests on, through its intermediates and alternates."""
    found: set[str] = set()
    wanted = [code]
    while wanted:
        sheet = catalog.sheet(wanted.pop())
        for used in codes_in(sheet) if sheet is not None else ():
            if used.casefold() not in found:
                found.add(used.casefold())
                wanted.append(used)
    return found


def known_rules(catalog: Catalog) -> set[str]:
    """Ids of all rules that could ever have spoken in a state."""
    return {entry.id for entry in catalog.rulebook.listed()}
