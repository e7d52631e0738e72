"""The results of tests that are on file for a formula, and how the paint that was measured stands to the sheet as it is now."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from formulint.ancestry import past_of
from formulint.bearing import Asked, Bearing, Bond, Kept, bearings
from formulint.catalog import Catalog, File, stem
from formulint.change import Change
from formulint.compare import formula as compared
from formulint.fingerprints import Digests, digests
from formulint.formula import Formula
from formulint.kinds.evidence import Evidence
from formulint.result import Fingerprint, Results
from formulint.side import side

MOST_STATES = 300  # earlier states of one sheet that are looked through


def on_file(catalog: Catalog, code: str) -> tuple[Bearing, ...]:
    """What is on file for each test of a formula; nothing where there is no such formula, or it cannot be read.

    A result counts for the paint that was measured: the composition digest is that of the sheet as it is, or that of an
    earlier state of the sheet in the history of the repository which, laid beside the present one, is the same paint in
    other digits. The two are compared directly, so that small steps cannot add up; the figures of materials are those of
    today on both sides. Where an earlier state is not found, the result does not count.
    """
    file = catalog.find_formula(code)
    if file is None or file.record is None:
        return ()
    kept = catalog.below(catalog.settings.folders.results, Results, code).values()
    return held(catalog, file, file.record, of_formulas(kept).get(code, []))


def passed(catalog: Catalog, code: str) -> frozenset[str]:
    """The tests of a formula of which a passing result is on file for the paint as it is."""
    if not catalog.index(catalog.settings.folders.results):
        return frozenset()  # most repositories keep none
    return frozenset(one.test for one in on_file(catalog, code) if one.verdict == "pass")


def of_formulas(files: Iterable[File[Results]]) -> dict[str, list[File[Results]]]:
    """The files of results that can be read, by the code of the formula they name."""
    found: dict[str, list[File[Results]]] = {}
    for one in files:
        if one.record is not None:
            found.setdefault(one.record.formula, []).append(one)
    return found


def held(catalog: Catalog, file: File[Formula], formula: Formula, files: Iterable[File[Results]]) -> tuple[Bearing, ...]:
    """What is on file for each test of a formula, given the files that name it."""
    if not formula.tests:
        return ()
    bonds = Bonds(catalog, file, formula)
    kept = tuple(
        Kept(one.name, at, one.record.revision, row, bonds.of(one.record.digest))
        for one in files if one.record is not None
        for at, row in enumerate(one.record.result)
    )  # fmt: skip
    return bearings(formula.tests, kept, catalog.today, lambda test: asked_by_rules(catalog, formula, test))


def asked_by_rules(catalog: Catalog, formula: Formula, test: str) -> Asked:
    """What the rules in force ask of the results of a test."""
    rules = [entry.rule for entry in catalog.rulebook.in_force() if isinstance(entry.rule, Evidence)]
    mine = [rule for rule in rules if rule.concerns(formula) and rule.speaks_of(test)]
    ages = [age for rule in mine if (age := rule.seconds) is not None]
    return Asked(min(ages, default=None), any(rule.mean for rule in mine))


class Bonds:
    """How paints that were measured stand to one sheet; its history is read only where a result is of another composition."""

    def __init__(self, catalog: Catalog, file: File[Formula], formula: Formula) -> None:
        self.catalog = catalog
        self.name = file.name
        self.formula = formula
        self._now: Digests | None = None
        self._states: dict[str, tuple[Digests, Catalog]] | None = None
        self._changes: dict[str, Change] = {}

    @property
    def now(self) -> Digests:
        """The digests of the sheet as it is; nobody asks for them where nothing was measured."""
        self._now = self._now or digests(self.catalog, self.formula)[0]
        return self._now

    def of(self, measured: Fingerprint) -> Bond:
        """How the paint of a fingerprint stands to the sheet."""
        figures = measured.data == self.now.data
        if measured.composition == self.now.composition:
            return Bond("same", figures, measured.making in (None, self.now.making))
        if self._states is None:
            self._states = dict(self._earlier())
        if measured.composition not in self._states:
            return Bond("other", figures)
        then, past = self._states[measured.composition]
        change = self._change(measured.composition, past)
        if change not in (Change.equivalent, Change.procedural):
            return Bond("other", figures)
        return Bond("equivalent", figures, measured.making is None or (measured.making == then.making and change is Change.equivalent))

    def _change(self, composition: str, past: Catalog) -> Change:
        """What the change from an earlier state of the sheet to the present one is."""
        if composition not in self._changes:
            code = stem(self.name)
            change = compared(side(past, code), side(self.catalog, code), code)
            self._changes[composition] = Change.compositional if change is None else change.change
        return self._changes[composition]

    def _earlier(self) -> Iterator[tuple[str, tuple[Digests, Catalog]]]:
        """Earlier states of the sheet by composition, each with the materials of today."""
        for raw in self._texts():
            past = self.catalog.rewritten(self.name, raw)
            then = past.formula(self.name).record
            if then is not None:
                found = digests(past, then)[0]
                yield found.composition, (found, past)

    def _texts(self) -> Iterator[bytes]:
        """What the file of the sheet said before, the oldest first: of states with one composition the newest is kept."""
        state, policy = self.catalog.snapshot, self.catalog.policy
        if state.repository is None:
            return
        commits = [state.commit or state.repository.head, None if policy is None else policy.snapshot.commit]
        folder = state.root + self.catalog.settings.folders.formulas
        starts = [one for one in commits if one is not None]
        names = past_of(state.repository, starts, folder, self.name.rpartition("/")[2], MOST_STATES)
        texts = state.repository.contents({oid: name for name, oid in names})
        yield from (texts[oid] for _, oid in reversed(names))
