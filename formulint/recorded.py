"""The release records of one state: which there are, what they say, and formulas that are no longer as released."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import tomli

from formulint.catalog import Catalog, stem
from formulint.document import load
from formulint.finding import Fault, Finding, Level, Place, Source
from formulint.fingerprints import digests, short
from formulint.released import LISTS, Headed, ReleaseRecord, code_of, text_of
from formulint.shape import read, read_table
from formulint.snapshot import FileChange

HOUSE = Source("the record of the release", "", "house")
WHY = "Batches, results and approvals name a revision: two paints under one number cannot be told apart."
UNTOUCHED = "records are written by formulint release and never edited"
KEPT = "take it back as it was; another paint is a new revision with a record of its own"


def finding(rule: str, place: Place, words: str, remedy: str, formula: str = "", why: str = "") -> Finding:
    """Something that is wrong with what was released: an error that nobody may let stand."""
    return Finding(f"release/{rule}", Level.error, Fault(place, words, remedy), formula, "", why, HOUSE)


def names(catalog: Catalog) -> dict[str, str]:
    """The files of release records, by the code that the name of the file promises; of two, the one that lies where the tool writes it."""
    start = f"{catalog.settings.folders.releases}/"
    found = (name for name in catalog.snapshot.entries if name.startswith(start) and name.endswith(".toml"))
    return {stem(name): name for name in sorted(found, key=lambda name: (-name.count("/"), name))}


def headed(catalog: Catalog, name: str) -> Headed | None:
    """What a record says was released, read without its lists; None where that cannot be read."""
    raw = catalog.snapshot.read(name).partition(LISTS.encode())[0]
    try:
        table = tomli.loads(raw.decode("utf-8"))
    except (ValueError, RecursionError):
        return None
    return read_table(table, Headed, name, ())[0]


def whole(catalog: Catalog, name: str) -> tuple[ReleaseRecord | None, str]:
    """A record, and what is wrong with its text, in words; "" where it is as the tool writes it."""
    raw = catalog.snapshot.read(name)
    record, words = of_text(name, raw)
    if record is None:
        return None, words
    if name != f"{catalog.settings.folders.releases}/{stem(name)}.toml":
        return record, f"it does not lie directly in {catalog.settings.folders.releases}/"
    if stem(name) != record.code or record.code != code_of(record.formula, record.revision):
        return record, f"the file is called {stem(name)}, and it records revision {record.revision} of {record.formula}"
    if text_of(record).encode("utf-8", "surrogateescape") != raw:
        return record, "its text is not what formulint release writes"
    return record, ""


def of_text(name: str, raw: bytes) -> tuple[ReleaseRecord | None, str]:
    """A record by the text of its file; else what keeps it from being read, in words."""
    document, faults = load(name, raw)
    if document is None:
        return None, faults[0].message
    record, more = read(document, ReleaseRecord)
    return (record, "") if record is not None else (None, more[0].message)


def of_formula(catalog: Catalog, code: str) -> dict[int, str]:
    """Files of the records of one formula, by revision."""
    found: dict[int, str] = {}
    for one, name in names(catalog).items():
        formula, mark, number = one.rpartition("-r")
        if mark and formula == code and number.isdecimal() and len(number) < 7:
            found[int(number)] = name
    return dict(sorted(found.items()))


def formula_of(name: str) -> str:
    """The code of the formula whose record a file is, as its name promises it."""
    return stem(name).rpartition("-r")[0]


def as_recorded(catalog: Catalog, formulas: Iterable[str]) -> Iterator[Finding]:
    """Formulas (files) that bear the revision of a record and are another paint, or made in another way."""
    known = names(catalog)
    for file in formulas:
        record = catalog.formula(file).record
        name = None if record is None else known.get(code_of(stem(file), record.revision))
        if record is None or name is None:
            continue
        head = headed(catalog, name)
        if head is None:
            words = f"the record of revision {record.revision} of {stem(file)} cannot be read, so nobody can say what was released"
            yield finding("record-kept", Place(name), words, UNTOUCHED, stem(file))
            continue
        now = digests(catalog, record)[0]
        for word, was, here in (("composition", head.digest.composition, now.composition), ("making", head.digest.making, now.making)):
            if was != here:
                words = f"revision {record.revision} is on record with {word} {short(was)}; {stem(file)} now has {short(here)}"
                helps = f"write revision = {record.revision + 1}, or take the lines back as they were released"
                yield finding("as-recorded", Place(file, ("revision",)), words, helps, stem(file), WHY)
                break


def of_scope(catalog: Catalog, formulas: Iterable[str], whole: bool) -> Iterator[Finding]:
    """What is found about released revisions of these formulas; and about all records, where ``whole`` is judged."""
    yield from as_recorded(catalog, formulas)
    if whole:
        yield from readable(catalog)


def readable(catalog: Catalog, wanted: Iterable[str] = ()) -> Iterator[Finding]:
    """Records (files; all if none are named) that are not as the tool writes them."""
    for name in wanted or names(catalog).values():
        trouble = whole(catalog, name)[1]
        if trouble:
            yield finding("record-kept", Place(name), f"{stem(name)} is no record of a release: {trouble}", UNTOUCHED)


def of_commit(before: Catalog, after: Catalog, changes: Iterable[FileChange], formulas: Iterable[str]) -> Iterator[Finding]:
    """What a commit or a proposal does to what was released: to records, and to the formulas (files) that it touches."""
    listed = tuple(changes)
    codes = (stem(one.name).rpartition("-r")[0] for one in changed(before, listed))
    named = [file.name for code in codes if (file := after.find_formula(code)) is not None]
    yield from as_recorded(after, dict.fromkeys((*formulas, *named)))
    yield from of_changes(before, after, listed)


def changed(catalog: Catalog, changes: Iterable[FileChange]) -> tuple[FileChange, ...]:
    """Those of the changes that touch records, by the folder that the policy of a state names."""
    start = f"{catalog.settings.folders.releases}/"
    return tuple(one for one in changes if one.name.startswith(start))


def of_changes(before: Catalog, after: Catalog, changes: Iterable[FileChange]) -> Iterator[Finding]:
    """What is wrong with what becomes of the records of a state: edited, deleted, or added as the tool would not write them."""
    added = []
    for one in changed(before, changes):
        code = stem(one.name)
        if one.kind == "added":
            added += [one.name] if one.name.endswith(".toml") else []
        else:
            what = "deleted" if one.kind == "deleted" else "edited"
            yield finding("record-kept", Place(one.name), f"the record {code} is {what}: {UNTOUCHED}", KEPT)
    if added:
        yield from readable(after, added)
