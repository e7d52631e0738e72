"""What a release asks of a formula, and the record of it: everything is proved first, then written down with what it rests on."""

from __future__ import annotations

import posixpath
from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from formulint import __version__, approval, recorded
from formulint.ancestry import committed_on
from formulint.approval import STATED, Heard, Trust, What
from formulint.bearing import Bearing
from formulint.catalog import SETTINGS_FILE, Catalog, stem
from formulint.content import Bounded, Gap
from formulint.contract import in_contract, unit_of
from formulint.errors import UserError
from formulint.evidence_on_file import on_file
from formulint.finding import Fault, Finding, Level, Place
from formulint.formula import Formula
from formulint.git import Repository
from formulint.hazard.classify import of_subject
from formulint.hazard.scheme import CAUTION as SCREENING
from formulint.hazard.scheme import SCHEMES
from formulint.interval import ends
from formulint.judge import Judge, Scope
from formulint.measured import findings as of_results
from formulint.packing import source, toml_names
from formulint.premises import assumptions
from formulint.proposal import refuses
from formulint.released import (
    Conceded,
    Figure,
    Fingerprints,
    Given,
    Hazard,
    Input,
    Pack,
    ReleaseRecord,
    Relied,
    code_of,
)
from formulint.rulebook import Shipped
from formulint.scope import looked_up
from formulint.settings_check import require_settings
from formulint.side import Side, side, verdict_of
from formulint.snapshot import Snapshot

LOUD = "approvals are stated, not proved: whoever they name has signed nothing, because the settings ask for no signature"


class Proof(Struct, frozen=True):
    """What was found when a revision was to be released: all findings, those that refuse it, and the record where none does."""

    catalog: Catalog
    code: str
    commit: str
    findings: tuple[Finding, ...]
    heard: Heard
    record: ReleaseRecord | None

    @property
    def refused(self) -> tuple[Finding, ...]:
        """What is not proved; the list of old findings proves nothing."""
        return tuple(one for one in self.findings if refuses(replace(one, granted=None) if one.stood else one))


class Asked(Struct, frozen=True):
    """Which release: the formula, the commit (full id) with its tree, the day, and the approvals that it may rest on (None: all that are found)."""

    code: str
    commit: str
    tree: str
    day: date
    only: tuple[Given, ...] | None = None
    since: str | None = None


def prove(repository: Repository, state: Snapshot, asked: Asked, shipped: Shipped, policy: Catalog | None = None) -> Proof:
    """Prove that a revision may be released, by the policy of a state (default: its own).

    Raises
    ------
    UserError
        Where it cannot be answered: no such formula, settings that cannot be read, history cut off.
    """
    catalog = Catalog(state, shipped, asked.day, policy)
    require_settings(catalog)
    file = catalog.find_formula(asked.code)
    if file is None:
        raise UserError(f"there is no formula {asked.code} in {state.label}", "name a code, such as T-101")
    one = side(catalog, asked.code)
    if one is None:
        return Proof(catalog, asked.code, asked.commit, tuple(Judge(catalog).formula(file)), Heard((), ()), None)
    held = holdings(catalog, one.formula)
    findings = [*_judged(catalog, one, held), *_state(one)]
    bearings = on_file(catalog, asked.code)
    findings += _results(catalog, one, bearings)
    trust = approval.trust_of(catalog)
    heard = _heard(repository, one, asked, trust, state.root)
    findings += [*unapproved(one.formula, one.file.name, trust, heard), *stated(one.formula, one.file.name, heard)]
    proof = Proof(catalog, asked.code, asked.commit, tuple(dict.fromkeys(findings)), heard, None)
    if proof.refused:
        return proof
    return replace(proof, record=_record(proof, one, asked, held, bearings))


# --- what is asked -----------------------------------------------------------------------------------------------


def holdings(catalog: Catalog, formula: Formula) -> dict[str, str]:
    """Files of all that a formula's values rest on, by code: intermediates and materials to any depth, colorants, thinner, vessels."""
    found: dict[str, str] = {}
    waiting = [formula]
    while waiting:
        for code in looked_up(waiting.pop()):
            material, blend = catalog.find_material(code), catalog.find_formula(code)
            if code not in found and material is not None:
                found[code] = material.name
            elif code not in found and blend is not None and blend.record is not None and code != formula.code:
                found[code] = blend.name
                waiting.append(blend.record)
            machine = next((name for name in catalog.equipment() if stem(name) == code), None)
            if code not in found and machine is not None:
                found[code] = machine
    return dict(sorted(found.items()))


def blends(catalog: Catalog, held: Iterable[str]) -> tuple[str, ...]:
    """Those of the codes that are intermediates."""
    return tuple(code for code in held if catalog.find_material(code) is None and catalog.find_formula(code) is not None)


def _judged(catalog: Catalog, one: Side, held: dict[str, str]) -> Iterator[Finding]:
    inner = blends(catalog, held)
    formulas = (one.file.name, *(held[code] for code in inner))
    materials = tuple(name for code, name in held.items() if catalog.find_material(code) is not None)
    judge = Judge(catalog, frozenset(inner))
    inside = {one.formula.code, *held}
    for finding in judge.findings(Scope(formulas, materials)):
        if finding.formula in inside or finding.material in inside or not (finding.formula or finding.material):
            yield finding


def _state(one: Side) -> Iterator[Finding]:
    formula = one.formula
    if formula.state != "production":
        words = f"{formula.code} is in state {formula.state}; what is released is in production"
        yield recorded.finding("in-production", Place(one.file.name, ("state",)), words, 'write state = "production" and have that approved', formula.code)


def _results(catalog: Catalog, one: Side, bearings: Sequence[Bearing]) -> Iterator[Finding]:
    """What the results on file do not show: all of it where the settings require results, else only what failed."""
    if catalog.settings.results == "required":
        yield from of_results(Judge(catalog), Scope((one.file.name,), (), proved=frozenset((one.formula.code,))))
        return
    for bearing in bearings:
        if bearing.verdict == "fail":
            place = Place(one.file.name, ("tests", bearing.test))
            yield recorded.finding("tests-met", place, f"{bearing.title} was measured and fails: {bearing.reason}", "mend the paint and measure it again", one.formula.code)


def unproved(bearings: Iterable[Bearing]) -> str:
    """What is said of tests that a formula asks for and no result on file shows; empty where there is none."""
    names = [bearing.title for bearing in bearings if bearing.verdict != "pass"]
    return f"not shown by results on file, which the settings do not require: {', '.join(names)}" if names else ""


def _heard(repository: Repository, one: Side, asked: Asked, trust: Trust, root: str) -> Heard:
    if not trust.asked:
        return Heard((), ())
    what = What(one.formula.code, one.formula.revision, one.digests.whole)
    codes = (one.formula.code, *sorted(one.blends))
    wrote = approval.authors(repository, root, codes, (asked.commit,), asked.since, trust)
    if asked.only is None:
        return approval.heard(repository, what, trust, (asked.commit,), wrote, asked.day)
    return approval.judged(repository, approval.objects(repository, asked.only), what, trust, wrote, asked.day)


def unapproved(formula: Formula, path: str, trust: Trust, heard: Heard) -> Iterator[Finding]:
    """The finding of a revision that nobody approved; none where somebody did."""
    if heard.given:
        return
    code, place = formula.code, Place(path, ("revision",))
    start = f"revision {formula.revision} of {code} is not approved"
    if not trust.names:
        words, helps = f"{start}: the settings name nobody who may approve formulas", "name somebody in formulint.toml under [approvers], formula"
    elif not trust.asked:
        words = f"{start}: {trust.why or 'the settings name no list of signers, so no signature can be verified'}"
        helps = 'say signers = "approvers.signers" in formulint.toml, or approvals = "stated" if the house does without signatures'
    else:
        few = "; ".join(heard.doubts[:3]) + (f"; and {len(heard.doubts) - 3} more" if len(heard.doubts) > 3 else "")
        words = f"{start}: {few or 'no tag and no commit approves it by its digests'}"
        helps = f"formulint approve {code} prints what to sign: {' or '.join(trust.names)}"
    yield Finding("approval/given", Level.error, Fault(place, words, helps, "review"), code, "", "What is sold was looked at by somebody who did not write it.", recorded.HOUSE)


def stated(formula: Formula, path: str, heard: Heard) -> Iterator[Finding]:
    """What is said of approvals that nobody signed, wherever they count."""
    unsigned = [one for one in heard.given if one.key is None]
    if unsigned:
        said = ", ".join(f"{one.by} ({one.kind} {one.object[:10]})" for one in unsigned)
        words = f"revision {formula.revision} of {formula.code} is approved as stated, not proved: {said} signed nothing"
        helps = 'approvals = "signed" in formulint.toml asks for signatures'
        yield Finding("approval/proved", Level.warning, Fault(Place(path, ("revision",)), words, helps), formula.code, "", "Whoever writes a commit writes its name freely.", recorded.HOUSE)


# --- what is written down ----------------------------------------------------------------------------------------


def _record(proof: Proof, one: Side, asked: Asked, held: dict[str, str], bearings: Sequence[Bearing]) -> ReleaseRecord:
    catalog, formula = proof.catalog, one.formula
    granted = _conceded(catalog, proof.findings)
    relied = tuple(_relied(bearing) for bearing in bearings)
    results = {one.path for several in relied for one in several}
    files = {one.file.name, *held.values(), *policy_files(catalog), *(name for name, _ in granted), *results}
    entries = catalog.snapshot.entries
    cautions = [*assumptions(catalog), *([LOUD] if any(each.how == STATED for each in proof.heard.given) else []), unproved(bearings), SCREENING]
    return ReleaseRecord(
        format=1, code=code_of(formula.code, formula.revision), formula=formula.code, name=formula.name, revision=formula.revision,
        released_on=asked.day, tool=__version__, commit=asked.commit, tree=asked.tree, root=catalog.snapshot.root,
        digest=Fingerprints(one.digests.composition, one.digests.making, one.digests.data), packs=packs(catalog.shipped),
        input=tuple(Input(name, entries[name].oid) for name in sorted(files)), property=tuple(_figures(catalog, one)),
        hazard=tuple(_hazards(catalog, one)), concession=tuple(each for _, each in granted), result=tuple(each for several in relied for each in several),
        approval=proof.heard.given, cautions=tuple(dict.fromkeys(filter(None, cautions))),
    )  # fmt: skip


def policy_files(catalog: Catalog) -> Iterator[str]:
    """Names of the settings, the house rules and the list of signers of a state."""
    yield SETTINGS_FILE
    signers = posixpath.normpath(catalog.settings.signers) if catalog.settings.signers else ""
    start = f"{catalog.settings.folders.rules}/"
    for name in catalog.snapshot.entries:
        if name == signers or (name.startswith(start) and name.endswith(".toml")):
            yield name


def packs(shipped: Shipped) -> dict[str, Pack]:
    """The shipped packs with their versions, each with a digest over its files as they lie there."""
    from hashlib import sha256

    found: dict[str, list[str]] = {}
    for name in toml_names(shipped.root):
        found.setdefault(name.partition("/")[0], []).append(f"{name} {sha256(source(shipped.root, name)).hexdigest()}\n")
    versions = shipped.versions()
    return {name: Pack(versions.get(name, ""), sha256("".join(lines).encode()).hexdigest()) for name, lines in found.items()}


def _figures(catalog: Catalog, one: Side) -> Iterator[Figure]:
    currency = catalog.settings.currency
    for name, value in one.values.items():
        between = value.between if isinstance(value, Bounded) else None if isinstance(value, Gap) else value
        low, high = ("", "") if between is None else (f"{in_contract(name, end, currency):.12g}" for end in ends(between))
        known = {} if between is None else {"value": low} if low == high else {"min": low, "max": high}
        yield Figure(name, unit_of(name, currency), **known, open=isinstance(value, Gap), verdict=verdict_of(one, name) or None)


def _hazards(catalog: Catalog, one: Side) -> Iterator[Hazard]:
    subject = catalog.subject(one.file)
    for name in SCHEMES:
        each = of_subject(name, subject)
        sure = (outcome.result if outcome.statement in ("", outcome.result) else f"{outcome.result} {outcome.statement}" for outcome in each.of("known", "statement"))
        yield Hazard(name, each.known, tuple(dict.fromkeys(sure)), tuple(dict.fromkeys(outcome.result for outcome in each.of("open"))))


def _conceded(catalog: Catalog, findings: Iterable[Finding]) -> list[tuple[str, Conceded]]:
    acting = {one.granted.by for one in findings if one.granted is not None and not one.stood}
    found = [(file.name, file.record) for file in catalog.concessions() if file.record is not None and file.record.code in acting]
    return [(name, Conceded(one.code, one.rule, one.subject, one.approved_by, one.expires, one.up_to)) for name, one in found]


def _relied(bearing: Bearing) -> tuple[Relied, ...]:
    return tuple(Relied(bearing.test, bearing.verdict, one.value, one.method, one.measured_on, one.by, one.file) for one in bearing.results)


# --- which day, which commit -------------------------------------------------------------------------------------


def dates(repository: Repository, asked: Asked, earlier: Iterable[tuple[str, date]]) -> Iterator[Finding]:
    """What is odd about the day: a commit, or a release before this one, that is dated after it."""
    made = committed_on(repository, asked.commit)
    if made > asked.day:
        words = f"commit {asked.commit[:7]} is dated {made}, after the day of the release, {asked.day}: one of two clocks is wrong"
        yield odd_day(asked.code, words, "say --today with the right day, or commit again with a clock that is right")
    for code, day in earlier:
        if day > asked.day:
            yield odd_day(asked.code, f"{code} was released on {day}, after {asked.day}", "say --today with the right day")


def odd_day(code: str, words: str, helps: str) -> Finding:
    """The finding of a day on which a release cannot have been made."""
    return Finding("release/date", Level.error, Fault(Place(""), words, helps, "review"), code, "", "", recorded.HOUSE)


