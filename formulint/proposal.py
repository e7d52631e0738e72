"""What a proposal does to policy: settings, house rules, and the files of a repository that decide what is checked."""

from __future__ import annotations

import posixpath
from collections import defaultdict
from collections.abc import Iterable, Iterator

from msgspec.structs import replace

from formulint import git
from formulint.catalog import SETTINGS_FILE, Catalog
from formulint.finding import Fault, Finding, Level, Place
from formulint.judge import Judge, Scope
from formulint.leave import leave_of
from formulint.root import upwards
from formulint.settings import Folders, Settings
from formulint.snapshot import FileChange, Snapshot
from formulint.standing import STANDING_FILE

# Files and folders (of the whole repository, without regard to case) that decide what is checked, and by whom.
GUARDED = (
    ".pre-commit-config.yaml", ".gitlab-ci.yml", ".travis.yml", ".drone.yml", ".woodpecker.yml", "azure-pipelines.yml", "bitbucket-pipelines.yml",
    "jenkinsfile", "codeowners", "docs/codeowners", ".lfsconfig",
)  # fmt: skip
GUARDED_FOLDERS = (".github/", ".gitlab/", ".forgejo/", ".gitea/", ".ci/", ".circleci/", ".woodpecker/", ".buildkite/", ".githooks/", ".husky/")
ANYWHERE = (".gitattributes", ".gitmodules")  # what git makes of a file, and what it fetches
POLICY = "proposal/policy"
"""The rule of findings about settings, rules, and files that decide what is checked."""
APART = "the policy approver decides on it; propose it apart from any formula"


def notice(rule: str, place: Place, words: str, remedy: str, formula: str = "", material: str = "") -> Finding:
    """Something that a person has to look at: a review that is due, whatever the figures say."""
    return Finding(f"proposal/{rule}", Level.error, Fault(place, words, remedy, "review"), formula, material)


def refuses(finding: Finding) -> bool:
    """True for what the gate lets nobody pass with: a failure, a question that is open, a review that is due."""
    if finding.rule.startswith("record/") and finding.fault.kind == "review":
        return False  # portability: read all the same
    return finding.blocks or (finding.fault.kind == "review" and finding.granted is None)


def first() -> Finding:
    """The notice of a repository that becomes one of formulas only by this proposal."""
    words = "first adoption: the base has no formulint.toml, so nothing but the shipped rules judges this"
    return notice("first-adoption", Place(SETTINGS_FILE), words, "somebody who answers for the policy reads the whole proposal")


def guarded(repository: git.Repository, old: str, state: Snapshot, settings: Settings) -> Iterator[Finding]:
    """Settings, house rules, and files of the repository that decide what is checked, where they change."""
    marks = {place + SETTINGS_FILE for place in upwards(state.root)}
    alike = _alike(state, settings.folders)
    for one in repository.differences(old, state.commit or old):
        name, own = one.name, one.name.removeprefix(state.root) if one.name.startswith(state.root) else ""
        if one.name in marks or _acts(own, settings):
            words = f"{own or name} is changed: settings, rules and concessions of the proposal do not act in it"
            yield notice("policy", Place(own or name), words, APART)
        elif _guards(name.casefold()):
            yield notice("policy", Place(name), f"{name} is changed: it decides what is checked, or how", APART)
        elif int(one.new_mode, 8) and (twin := _twin(own, settings.folders)):
            words = f"{own} differs only in upper and lower case from {twin}: some machines take it for that"
            yield notice("case", Place(own), words, "give it another name")
        elif int(one.new_mode, 8) and (others := [name for name in alike.get(_folded(own), ()) if name != own]):
            words = f"{own} and {others[0]} are one name on some machines: one of the two is not what lies there"
            yield notice("case", Place(own), words, "give it another name")


def _acts(own: str, settings: Settings) -> bool:
    """True for settings, house rules, concessions, old findings and the list of who may sign (names below the root)."""
    if own in (SETTINGS_FILE, STANDING_FILE) or f"{own}/".startswith((f"{settings.folders.rules}/", f"{settings.folders.concessions}/")):
        return True
    return bool(own and settings.signers) and own == posixpath.normpath(settings.signers)


def _guards(folded: str) -> bool:
    return folded in GUARDED or f"{folded}/".startswith(GUARDED_FOLDERS) or folded.rpartition("/")[2] in ANYWHERE


def _alike(state: Snapshot, folders: Folders) -> dict[str, list[str]]:
    """Names in our folders that differ in no more than upper and lower case, or in how accents are put together."""
    starts, found = tuple(f"{folder}/" for folder in folders.all), defaultdict(list)
    for name in state.entries:
        if name.startswith(starts):
            found[_folded(name)].append(name)
    return {folded: names for folded, names in found.items() if len(names) > 1}


def _folded(name: str) -> str:
    if name.isascii():
        return name.casefold()
    from unicodedata import normalize

    return normalize("NFC", name).casefold()


def _twin(own: str, folders: Folders) -> str:
    """What a name of another case may be taken for: the settings, or a folder of ours; else empty."""
    for ours in (SETTINGS_FILE, STANDING_FILE, *folders.all):
        start = own[: len(ours)]
        if start != ours and start.casefold() == ours.casefold() and own[len(ours) :][:1] in ("", "/"):
            return ours
    return ""


def own_policy(after: Catalog, changes: Iterable[FileChange]) -> Iterator[Finding]:
    """What is wrong with settings, rules and concessions that the proposal brings: they do not act, but would once they are merged."""
    changes = tuple(changes)
    if not any(_acts(one.name, after.settings) for one in changes):
        return
    own = Catalog(after.snapshot, after.shipped, after.today)
    changed = {one.name for one in changes}
    leave = leave_of(own)
    of_leave = () if leave is None else leave.faults(own.formula_files(), own.material_files(), False)
    useless = (one for one in of_leave if one.level is Level.warning and one.fault.place.path in changed)  # gives no leave once it is merged
    for one in (*policy_findings(own), *useless):
        mark = own.locate(one.fault.place)
        yield replace(one, fault=replace(one.fault, place=replace(one.fault.place, line=mark.line, column=mark.column)))


def policy_findings(catalog: Catalog) -> Iterator[Finding]:
    """What is wrong with settings, house rules, concessions and old findings, so that they do not say what the house means."""
    for one in Judge(catalog).findings(Scope((), ())):
        if one.blocks and _acts(one.fault.place.path, catalog.settings):
            yield one
