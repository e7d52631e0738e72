"""Who signed a commit or a tag, as git itself verifies it with the keys of one list; whatever is not plainly good is no signature.

Only what a signature covers is ever read: a tag's text ends where its signature begins.
"""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from msgspec import Struct

from formulint import plumbing
from formulint.errors import UserError
from formulint.git import Repository

MARKS = (b"-----BEGIN SSH SIGNATURE-----", b"-----BEGIN PGP SIGNATURE-----", b"-----BEGIN PGP MESSAGE-----", b"-----BEGIN SIGNED MESSAGE-----")
"""How the signatures that git knows begin."""

_SSH = re.compile(r'Good "git" signature for (\S+) with (\S+) key (SHA256:[A-Za-z0-9+/]{43})\Z')
_OPENPGP = re.compile(r"\[GNUPG:\] ([A-Z_]+)(?: (.*))?\Z")
_BAD = frozenset(("BADSIG", "ERRSIG", "EXPSIG", "EXPKEYSIG", "REVKEYSIG", "NO_PUBKEY", "NODATA"))


class Signature(Struct, frozen=True):
    """A good signature: the principal that the list knows the key by, and the key's fingerprint."""

    principal: str
    key: str


class Signed(Struct, frozen=True):
    """A commit or a tag taken apart: what its signature covers, where there is one.

    ``text`` is the message; ``mail`` and ``seconds`` [since 1970] are those of a tag's maker, of a commit's author and
    committer; ``sort`` is "ssh", "openpgp", "other", or "" where nothing is signed. ``merge``: a commit with several parents.
    """

    text: str
    mail: str
    seconds: int
    sort: str
    merge: bool = False


class Keys(Struct, frozen=True):
    """The keys that count: the path of a list in git's format of allowed signers ("" for none), OpenPGP fingerprints by address."""

    signers: str
    openpgp: Mapping[str, str]


def taken_apart(kind: str, raw: bytes) -> Signed | None:
    """A commit or a tag by its bytes; None where it names nobody or no day."""
    head, _, message = raw.partition(b"\n\n")
    lines = head.split(b"\n")
    if kind == "tag":
        message, sort = _unsigned(message)
        who = when = next((line for line in lines if line.startswith(b"tagger ")), b"")
    else:
        seal = next((line for line in lines if line.startswith((b"gpgsig ", b"gpgsig-sha256 "))), b"").partition(b" ")[2]
        sort = _sort(seal) if seal else ""
        who, when = (next((line for line in lines if line.startswith(role)), b"") for role in (b"author ", b"committer "))
    mail = re.search(rb"<([^<>]*)>", who)
    day = re.search(rb"> (\d{1,11}) [+-]\d{4}\Z", when)
    if mail is None or day is None:
        return None
    merge = kind == "commit" and sum(line.startswith(b"parent ") for line in lines) > 1
    return Signed(message.decode("utf-8", "replace"), mail[1].decode("utf-8", "replace"), int(day[1]), sort, merge)


def _unsigned(message: bytes) -> tuple[bytes, str]:
    """What stands before the first signature of a tag's message, and of which sort that is."""
    kept: list[bytes] = []
    for line in message.split(b"\n"):
        if line.startswith(MARKS):
            return b"\n".join(kept), _sort(line)
        kept.append(line)
    return message, ""


def _sort(seal: bytes) -> str:
    if seal.startswith(b"-----BEGIN SSH"):
        return "ssh"
    return "openpgp" if seal.startswith(b"-----BEGIN PGP") else "other"


@contextmanager
def keys(signers: bytes | None, openpgp: Mapping[str, str]) -> Iterator[Keys]:
    """The keys that count, their list laid where git can read it and nobody else; in memory where the system can, so that nothing stays."""
    if signers is None:
        yield Keys("", openpgp)
        return
    if hasattr(os, "memfd_create") and os.path.isdir("/proc/self/fd"):
        handle, path = os.memfd_create("signers"), ""
        seen = f"/proc/{os.getpid()}/fd/{handle}"
    else:
        handle, path = tempfile.mkstemp(prefix="formulint-", suffix=".signers")
        seen = path
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(signers)
            file.flush()
            yield Keys(seen, openpgp)
    finally:
        if path:
            os.unlink(path)


def verified(repository: Repository, kind: str, oid: str, sort: str, known: Keys) -> Signature | str:
    """The signature of a commit or a tag (full id), or why it does not count, in words.

    Raises
    ------
    UserError
        Where the program that verifies is not there: then nobody can say.
    """
    if sort == "ssh" and not known.signers:
        return "it is signed by an SSH key, and the settings name no list of signers"
    if sort == "openpgp" and not known.openpgp:
        return "it is signed by an OpenPGP key, and the settings pin none under [approvers.gpg]"
    if sort not in ("ssh", "openpgp"):
        return "it is signed in a way that is not known here"
    name = "ssh-keygen" if sort == "ssh" else "gpg"
    program = plumbing.program(name)
    if program is None:
        package = "openssh-client" if sort == "ssh" else "gnupg"
        raise UserError(f"{name} is not installed, so that no signature can be verified", f"install the package {package}")
    option = "gpg.ssh.program" if sort == "ssh" else "gpg.program"
    settings = (f"{option}={program}", f"gpg.ssh.allowedSignersFile={known.signers or os.devnull}", "gpg.minTrustLevel=undefined")
    status, out, said = repository.git.call(*(part for one in settings for part in ("-c", one)), f"verify-{kind}", "--raw", oid)
    lines = [line.rstrip("\r") for line in (out + b"\n" + said).decode("utf-8", "replace").split("\n")]
    found = _ssh(lines) if sort == "ssh" else _openpgp(lines, known.openpgp)
    if found is None or status:
        return "its signature is not good, or by a key that was not in the list on that day"
    return found


def _ssh(lines: list[str]) -> Signature | None:
    """What ssh-keygen says of a good signature; it must say so once, and nothing else of the kind."""
    told = [line for line in lines if "signature" in line]
    match = _SSH.match(told[0]) if len(told) == 1 else None
    return None if match is None else Signature(match[1], match[3])


def _openpgp(lines: list[str], pinned: Mapping[str, str]) -> Signature | None:
    """What gpg says of a good signature by a key whose fingerprint the settings pin; its own trust in names is not asked."""
    told = [(match[1], match[2] or "") for line in lines if (match := _OPENPGP.match(line))]
    words = [word for word, _ in told]
    if words.count("GOODSIG") != 1 or words.count("VALIDSIG") != 1 or not _BAD.isdisjoint(words):
        return None
    parts = next(rest for word, rest in told if word == "VALIDSIG").split()
    prints = {parts[0].upper(), parts[-1].upper()}
    for address, fingerprint in pinned.items():
        if fingerprint.upper() in prints:
            return Signature(address, fingerprint.upper())
    return None
