"""Who approved a revision of a formula: in a signed commit or tag that names the digests of what was approved.

An approval is bound to digests and to nothing else: it dies when one of them changes, and survives a rebase. Roles and
keys are those of the settings and the list of signers of one state, which must not be the one that asks to be approved.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date
from itertools import chain
from typing import Literal

from msgspec import Struct

from formulint import chronicle
from formulint.ancestry import day_of, shallow
from formulint.catalog import SETTINGS_FILE, Catalog
from formulint.errors import UserError
from formulint.fingerprints import Digests, short
from formulint.git import Repository
from formulint.released import Given
from formulint.signature import Keys, Signature, Signed, keys, taken_apart, verified

MOST_TAGS = 5000  # the newest ones are read
MOST_COMMITS = 5000  # that would approve something; the newest ones are read
MOST_SIGNERS = 500  # commits that change a formula between two releases; of each the signature is looked at
LONGEST = 64 << 10  # bytes of a tag
STATED: Literal["stated, not proved"] = "stated, not proved"
_LINE = re.compile(r"(Approves|Composition|Making|Data): (.*)")
_WHAT = re.compile(r"([A-Za-z0-9]+(?:-[A-Za-z0-9]+)*) revision ([1-9][0-9]{0,5})")


class What(Struct, frozen=True):
    """What a message approves: one revision of one formula, by its digests."""

    formula: str
    revision: int
    digests: Digests


class Trust(Struct, frozen=True):
    """Whose approval of a formula counts: addresses in small letters, whether unsigned ones do, and by which keys.

    ``signers`` are the bytes of the list of keys, None where there is none; ``why`` says what is wrong with it.
    """

    names: tuple[str, ...]
    stated: bool
    signers: bytes | None
    openpgp: Mapping[str, str]
    why: str = ""

    @property
    def asked(self) -> bool:
        """True where somebody may approve and there is a way to say so."""
        return bool(self.names) and (self.stated or self.signers is not None or bool(self.openpgp))


class Offer(Struct, frozen=True):
    """A commit or a tag (by its full id) that would approve something."""

    kind: str
    oid: str
    signed: Signed
    named: tuple[What, ...]


class Heard(Struct, frozen=True):
    """What was found: approvals that count, and of the others why not, in words."""

    given: tuple[Given, ...]
    doubts: tuple[str, ...]


def message(what: What) -> str:
    """The lines by which somebody approves."""
    seals = what.digests
    return f"Approves: {what.formula} revision {what.revision}\nComposition: {seals.composition}\nMaking: {seals.making}\nData: {seals.data}\n"


def read(text: str) -> list[What]:
    """What a message approves; of a revision whose digests are not each named once, nothing."""
    found: list[What] = []
    blocks: list[list[tuple[str, str]]] = []
    for line in text.split("\n"):
        match = _LINE.fullmatch(line.removesuffix("\r"))
        if match is None:
            continue
        if match[1] == "Approves":
            blocks.append([])
        if blocks:
            blocks[-1].append((match[1], match[2].strip(" ")))
    for block in blocks:
        words = dict(block)
        what = _WHAT.fullmatch(words["Approves"])
        if what is not None and len(block) == len(words) == 4:
            found.append(What(what[1], int(what[2]), Digests(words["Composition"], words["Making"], words["Data"])))
    return found


def trust_of(policy: Catalog) -> Trust:
    """Whose approval counts, by the settings of a state."""
    source = policy.policy or policy
    settings = source.settings
    raw, why = None, ""
    if settings.signers:
        name = posixpath.normpath(settings.signers)
        if name in source.snapshot.entries:
            raw = source.snapshot.read(name)
        else:
            why = f"{SETTINGS_FILE} names {settings.signers} as the list of signers, and there is no such file"
    names = tuple(dict.fromkeys(map(plain, settings.approvers.formula)))
    openpgp = {plain(address): print_ for address, print_ in settings.approvers.gpg.items()}
    return Trust(names, settings.approvals == "stated", raw, openpgp, why)


def plain(address: str) -> str:
    """An address as two of them are compared: plain letters in small; a letter that only looks like one stays another."""
    return "".join(one.lower() if one.isascii() else one for one in address.strip())


def heard(repository: Repository, what: What, trust: Trust, tips: Sequence[str], authors: Collection[str], latest: date) -> Heard:
    """The approvals of a revision in all tags, and in the commits behind ``tips`` (full ids), none dated after ``latest``.

    Raises
    ------
    UserError
        Where history was cut off, an object is missing, or nothing is there that verifies signatures.
    """
    return judged(repository, offers(repository, tips), what, trust, authors, latest)


def offers(repository: Repository, tips: Sequence[str]) -> tuple[Offer, ...]:
    """Everything that would approve anything: annotated tags, and commits behind ``tips`` (full ids); the newest of each."""
    if repository.shallow:
        raise shallow("who approved what")
    return taken(chain(_tags(repository), _commits(repository, tips)))


def taken(found: Iterable[tuple[str, str, bytes]]) -> tuple[Offer, ...]:
    """Objects (kind, full id, bytes) as what they would approve; those that approve nothing are left out."""
    parts = ((kind, oid, taken_apart(kind, raw)) for kind, oid, raw in found)
    read_ = ((kind, oid, signed, tuple(read(signed.text))) for kind, oid, signed in parts if signed is not None)
    return tuple(Offer(kind, oid, signed, named) for kind, oid, signed, named in read_ if named)


def judged(
    repository: Repository, found: Iterable[Offer], what: What, trust: Trust, authors: Collection[str], latest: date
) -> Heard:
    """Which of these approve a revision; each person once, by the first of the approvals."""
    given: dict[str, Given] = {}
    doubts: dict[str, None] = {}
    with keys(trust.signers, trust.openpgp) as known:
        for offer in found:
            named = [one for one in offer.named if (one.formula, one.revision) == (what.formula, what.revision)]
            if not named:
                continue
            one = _judge(repository, offer, known, trust, latest) if what in named else _other(named[0], what)
            if isinstance(one, Given) and plain(one.by) in authors:
                one = f"{one.by} changed the formula: somebody else approves it"
            if isinstance(one, str):
                doubts[f"{offer.kind} {offer.oid[:10]}: {one}"] = None
                continue
            old = given.get(plain(one.by))
            if old is None or (old.how == STATED, old.on, old.object) > (one.how == STATED, one.on, one.object):
                given[plain(one.by)] = one
    return Heard(tuple(given[name] for name in sorted(given)), tuple(doubts))


def _other(named: What, what: What) -> str:
    for word in Digests.__struct_fields__:
        if getattr(named.digests, word) != getattr(what.digests, word):
            return f"it approves {word} {short(getattr(named.digests, word))}, and that is {short(getattr(what.digests, word))} now"
    return ""


def _judge(repository: Repository, offer: Offer, known: Keys, trust: Trust, latest: date) -> Given | str:
    kind, oid, signed = offer.kind, offer.oid, offer.signed
    day = day_of(str(signed.seconds))
    if day > latest:
        return f"it is dated {day}, after {latest}"
    if signed.merge:
        return "it is a merge, whose message repeats words of others: approve by a tag, or by a commit of your own"
    by, key = signed.mail, ""
    if signed.sort and (known.signers or known.openpgp or not trust.stated):
        found: Signature | str = verified(repository, kind, oid, signed.sort, known)
        if isinstance(found, str):
            return found
        by, key = found.principal, found.key
        if kind == "commit" and plain(signed.mail) != plain(by):  # a rebase signs whatever others have written
            return f"{signed.mail} wrote it and {by} signed it: nobody approves in the words of somebody else"
    elif not trust.stated:
        return "it is not signed"
    if plain(by) not in trust.names:
        return f"{by} is not among those who approve formulas"
    return Given(by, "signed" if key else STATED, day, "tag" if kind == "tag" else "commit", oid, key or None)


def objects(repository: Repository, given: Iterable[Given]) -> tuple[Offer, ...]:
    """What holds these approvals; UserError where one is missing."""
    return taken((one.kind, one.object, repository.contents({one.object: f"the {one.kind} of an approval"}, one.kind)[one.object]) for one in given)


def _tags(repository: Repository) -> Iterator[tuple[str, str, bytes]]:
    """The newest annotated tags."""
    form = "--format=%(objecttype) %(objectsize) %(objectname)"
    rows = repository.git.run("for-each-ref", "--sort=-creatordate", f"--count={MOST_TAGS}", form, "refs/tags").decode("ascii", "replace").split("\n")
    parts = [row.split(" ") for row in rows if row.startswith("tag ")]
    wanted = dict.fromkeys(oid for _, size, oid in parts if size.isdecimal() and int(size) <= LONGEST)
    found = repository.contents(dict.fromkeys(wanted, "a tag"), "tag")
    yield from (("tag", oid, raw) for oid, raw in found.items() if b"\nApproves: " in raw)


def _commits(repository: Repository, tips: Sequence[str]) -> Iterator[tuple[str, str, bytes]]:
    """The newest commits that would approve something."""
    words = ("rev-list", f"--max-count={MOST_COMMITS}", "--fixed-strings", "--grep=Approves: ", *tips, "--")
    wanted = repository.git.run(*words).decode("ascii").split()
    found = repository.contents(dict.fromkeys(wanted, "a commit"), "commit")
    yield from (("commit", oid, raw) for oid, raw in found.items())


def authors(repository: Repository, root: str, codes: Collection[str], tips: Sequence[str], since: str | None, trust: Trust) -> frozenset[str]:
    """Who changed the sheets of these codes behind ``tips`` and not behind ``since`` (full ids): as commits say it, and by their signatures.

    Raises
    ------
    UserError
        Where history was cut off, ``since`` is not here, or there are too many to look at.
    """
    form = "%H%x00%ae%x00%(trailers:key=Co-authored-by,valueonly,separator=%x00)"
    # Without the full history git passes over a side of a merge that came to the same as the other.
    rows = chronicle.asked(repository, form, tips, since, chronicle.files_of(root, codes), "--full-history")
    commits: list[str] = []
    found: set[str] = set()
    for row in rows:
        oid, _, rest = row.partition("\0")
        address, *others = rest.split("\0")
        if address:
            commits.append(oid)
            found.add(plain(address))
        found |= {plain(mail) for other in others for mail in re.findall(r"<([^<>]*)>", other)}
    if len(commits) > MOST_SIGNERS:
        raise UserError(f"{len(commits)} commits changed {', '.join(codes)} since its last release: too many to know who wrote it", "join commits that belong together")
    return frozenset(found | set(_signers(repository, commits, trust)))


def _signers(repository: Repository, commits: Sequence[str], trust: Trust) -> Iterator[str]:
    """Who signed commits by keys that are known: the name of an author is written freely, a key is not."""
    raws = repository.contents(dict.fromkeys(commits, "a commit"), "commit")
    with keys(trust.signers, trust.openpgp) as known:
        for oid, raw in raws.items():
            signed = taken_apart("commit", raw)
            if signed is not None and signed.sort:
                found = verified(repository, "commit", oid, signed.sort, known)
                if isinstance(found, Signature):
                    yield plain(found.principal)


def require(catalog: Catalog) -> Repository:
    """The repository of a state; UserError for files without git, where nobody can have approved anything."""
    if catalog.snapshot.repository is None:
        raise UserError("these files are in no git repository, and approvals are kept by git", "make one with git init")
    return catalog.snapshot.repository
