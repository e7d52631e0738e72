"""A computed remedy written into the file of its formula, and nothing else of the file touched."""

from __future__ import annotations

import hashlib

from msgspec import Struct

from formulint.catalog import Catalog, File
from formulint.document import Document
from formulint.errors import UserError
from formulint.finding import Edit, Finding, Remedy
from formulint.formula import Formula
from formulint.judge import Judge
from formulint.remedies import ALLOWED, helped
from formulint.splice import BOM, spliced
from formulint.trial import opened
from formulint.writing import write_below

SEEN = 12  # characters of the fingerprint that people see


class Offer(Struct, frozen=True):
    """A remedy that can be written, with the finding that it mends."""

    finding: Finding
    remedy: Remedy


class Mending(Struct, frozen=True):
    """A formula with all that could be written to mend it; ``seen`` is a fingerprint of its file, ``helpless`` the rest."""

    file: File[Formula]
    document: Document
    offers: tuple[Offer, ...]
    helpless: tuple[Finding, ...]

    @property
    def raw(self) -> bytes:
        """The bytes of the file as it was read."""
        return (BOM if self.document.bom else b"") + self.document.text.encode("utf-8")

    @property
    def seen(self) -> str:
        """A fingerprint of the file as it was read."""
        return hashlib.sha256(self.raw).hexdigest()[:SEEN]


def mending(catalog: Catalog, file: File[Formula], notes: bool) -> Mending:
    """What could be written to mend a formula, each change once.

    Raises
    ------
    UserError
        Where the formula cannot be read.
    """
    if file.record is None or file.document is None:
        raise UserError(f"{file.name} cannot be read as a formula", "formulint lint says what is wrong with it")
    found = helped(catalog, tuple(Judge(catalog).formula(file)), notes)
    offers: dict[tuple[Edit, ...], Offer] = {}
    for finding in found:
        for remedy in finding.remedies:
            if remedy.edits:
                offers.setdefault(remedy.edits, Offer(finding, remedy))
    helpless = tuple(one for one in found if one.remedies and not any(remedy.edits for remedy in one.remedies))
    return Mending(file, file.document, tuple(offers.values()), helpless)


def chosen(found: Mending, number: int, seen: str) -> Offer:
    """The offer of a number.

    Raises
    ------
    UserError
        Where there is none, or the file is not the one that was seen when it was chosen.
    """
    if seen and seen != found.seen:
        message = f"{found.file.name} has changed since: it was {seen}, now it is {found.seen}"
        raise UserError(message, "look at the list again, without --remedy")
    if not 1 <= number <= len(found.offers):
        count = f"there are {len(found.offers)}" if len(found.offers) > 1 else "there is one" if found.offers else "there is none"
        raise UserError(f"there is no remedy {number}: {count}", "formulint mend CODE without --remedy lists them")
    return found.offers[number - 1]


def write(catalog: Catalog, found: Mending, offer: Offer) -> bytes:
    """Write one remedy into the work tree; what the file holds then.

    Raises
    ------
    UserError
        Where the file has changed since it was read, is no plain file below the root, or would not be mended.
    """
    name = found.file.name
    new = spliced(found.document, offer.remedy.edits)
    if not opened(catalog, ALLOWED).mends(offer.finding, name, offer.remedy.edits):
        raise UserError(f"{name} would not be what was said: nothing is written", "look at the list again, without --remedy")
    if catalog.snapshot.read(name) != found.raw:
        raise UserError(f"{name} has changed while this was computed: nothing is written", "look at the list again, without --remedy")
    write_below(catalog.snapshot.folder, name, new)
    return new
