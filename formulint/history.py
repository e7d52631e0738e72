"""A value or a rule of one formula along the line of first parents: the commits that bear on it, and which of them crossed a limit."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from msgspec import Struct

from formulint import lineage
from formulint.catalog import SETTINGS_FILE, Catalog, File, stem
from formulint.content import Gap, Value
from formulint.finding import Finding, Level, Place
from formulint.formula import Formula
from formulint.judge import Judge, codes_in
from formulint.quantity import Quantity
from formulint.rulebook import Shipped
from formulint.snapshot import Entry, Snapshot
from formulint.subject import FormulaSubject, measure_of, value_of
from formulint.verdict import narrowest, outcome, read_bounds

Bounds = tuple[Quantity | None, Quantity | None]
NO_BOUNDS: Bounds = (None, None)
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

    def points(self, line: lineage.Lineage, told: dict[str, lineage.Told], today: date | None) -> Iterator[Point]:
        """A point for each step that touches what the formula rests on, from the first that has the formula."""
        entries: dict[str, Entry] = {}
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
            raw = old.snapshot.source.contents((entry,))[name] if (name, entry.oid, Formula) not in self.shipped.parsed else b""
            self.catalog = self.judge.catalog = old.rewritten(name, raw, entry.oid)
            self.catalog.today = day
        else:
            state = lineage.state_at(self.newest, commit, dict(entries), day)
            self.catalog = Catalog(state, self.shipped, day)
            self.judge = Judge(self.catalog)
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
        findings = self._findings(judge, file)
        rules: dict[str, str] = {}
        for one in findings:
            rules.setdefault(one.rule, one.fault.message)
        worst = max((one.fault.kind for one in findings), key=lambda kind: WORST[kind], default="pass")
        if file.record is None:
            return Point(commit, told, None, "open", NO_BOUNDS, rules, "the file cannot be read", touched)
        if not self.asked.property:
            return Point(commit, told, None, worst, NO_BOUNDS, rules, "", touched)
        if catalog.nesting.knot(self.code):
            return Point(commit, told, None, "open", NO_BOUNDS, rules, "it is made from itself", touched)
        return self._measured(commit, told, catalog.subject(file), judge, rules, touched)

    def _measured(
        self, commit: str, told: lineage.Told, subject: FormulaSubject, judge: Judge, rules: dict[str, str], touched: tuple[str, ...]
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
        recalled = verdict == "fail" and rules and not self._fails
        return Point(commit, told, value, "review" if recalled else verdict, bounds, rules, "", touched)

    def _findings(self, judge: Judge, file: File[Formula]) -> list[Finding]:
        """What is said about the property, by the rule, or by all rules that are no notes."""
        asked = self.asked
        found = list(judge.formula(file))
        if asked.rule and file.record is not None and asked.rule in judge.catalog.rulebook.by_id() and not any(one.rule.startswith("record/") for one in found):
            found += judge.every(judge.catalog.subject(file), self.code)  # told even where another is told in its place
        if asked.rule:
            found = [one for one in found if one.rule == asked.rule]
        elif asked.property:
            found = [one for one in found if one.fault.property == asked.property]
        else:
            found = [one for one in found if one.level is not Level.note]
        self._fails = any(one.fault.kind == "fail" for one in found)
        return [one for one in found if one.fault.kind in SPEAKS]


NOWHERE = "there is no such formula"


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
