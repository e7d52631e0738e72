"""What a release or its verification came to, as a report and as an object for machines."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
from msgspec import Struct

from formulint import __version__
from formulint.catalog import Catalog
from formulint.released import Given, ReleaseRecord
from formulint.releasing import Done
from formulint.render.json_report import dumps, result
from formulint.report import (
    CAUTION,
    Cell,
    Report,
    Section,
    Table,
    Tone,
    by_record,
    counted,
    located,
    state_words,
    stop_line,
    summary,
)
from formulint.reproof import Verified


def of_release(done: Done) -> Report:
    """What keeps a revision from being released, or what is on record now."""
    proof = done.proof
    catalog = proof.catalog
    refused = proof.refused
    loud = [one for one in proof.findings if one.rule == "approval/proved"]
    sections = by_record(catalog, located(catalog, (*refused, *loud)))
    record = proof.record
    facts = [f"commit {proof.commit[:10]}, judged as on {catalog.today}"]
    if record is not None:
        sections = (*sections, *record_sections(record))
    if done.written:
        closing = [f"released: {done.name}", "Add it to git and commit it: nobody edits it afterwards."]
        closing += [f"tagged: {done.tagged}, here only until it is pushed"] if done.tagged else []
    else:
        closing = [f"{counted(len(refused), 'proof')} missing: {summary(refused)}"]
        closing += [f"NO: {stop_line(catalog, one)}" for one in refused[:5]]
        closing += [f"and {len(refused) - 5} more"] if len(refused) > 5 else []
        closing.append("Not released; nothing was written.")
    return Report(f"formulint release: {proof.code}", tuple(facts), sections, (*closing, CAUTION))


def record_sections(record: ReleaseRecord) -> tuple[Section, ...]:
    """A record as tables."""
    heading = f"{record.formula}  {record.name} (revision {record.revision}, released on {record.released_on})"
    prints = (("composition", record.digest.composition), ("making", record.digest.making), ("data", record.digest.data), ("commit", record.commit))
    seals = Table(("what", "fingerprint"), tuple((Cell(name), Cell(value)) for name, value in prints))
    return (Section(heading, (), (seals, approvals_table(record.approval)), record.cautions),)


def approvals_table(given: Sequence[Given]) -> Table:
    """Who approved, and how that is known."""
    rows = [
        (Cell(one.by), Cell(one.how, "plain" if one.key else "warn"), Cell(one.key or "no key", "muted"), Cell(str(one.on)), Cell(f"{one.kind} {one.object[:10]}", "muted"))
        for one in given
    ]
    return Table(("approved by", "how", "key", "on", "in"), tuple(rows))


def to_json(done: Done) -> str:
    """The ``release`` object."""
    catalog = done.proof.catalog
    record = done.proof.record
    return dumps(
        {
            "format": "formulint/release/1",
            "formula": done.proof.code,
            "commit": done.proof.commit,
            "date": str(catalog.today),
            "released": done.written,
            "path": done.name or None,
            "tag": done.tagged or None,
            "record": None if record is None else plain(record),
            "results": [result(catalog, one) for one in done.proof.refused],
        }
    )


def plain(record: Struct) -> object:
    """A record, or a part of one, as its file says it, for machines."""
    return msgspec.to_builtins(record)


# --- proved again ------------------------------------------------------------------------------------------------


def of_verified(catalog: Catalog, found: Sequence[Verified]) -> Report:
    """Which records were proved again, and of the others why not."""
    rows = []
    for one in found:
        words = "cannot be answered" if one.cannot else "does not hold" if one.troubles else "holds"
        tone: Tone = "warn" if one.cannot else "bad" if one.troubles else "good"
        record = one.record
        by = "" if record is None else ", ".join(f"{each.by} ({each.how})" for each in record.approval)
        rows.append((Cell(one.code), Cell(words, tone), Cell("" if record is None else str(record.released_on)), Cell("" if record is None else record.tool, "muted"), Cell(by)))
    table = Table(("record", "proved again", "released on", "by formulint", "approved by"), tuple(rows))
    sections = [Section("Records of releases", (), (table,))]
    for one in found:
        told = [*([one.cannot] if one.cannot else []), *([f"do: {one.remedy}"] if one.remedy else []), *(trouble.words for trouble in one.troubles), *one.notes]
        if told:
            sections.append(Section(one.path, remarks=tuple(told)))
    closing = [f"{counted(len(found), 'record')}: {sum(one.holds for one in found)} proved again"]
    closing += [f"NO: {one.code}: {(one.cannot or one.troubles[0].words)}" for one in found if not one.holds][:5]
    closing += ["By calculation of the same files: objects, digests, approvals, numbers.", CAUTION]
    title = f"formulint release: records of {state_words(catalog.snapshot.label)}, proved again by formulint {__version__}"
    return Report(title, (), tuple(sections), tuple(closing))


def verified_json(catalog: Catalog, found: Sequence[Verified]) -> str:
    """The ``release-verify`` object."""
    return dumps({"format": "formulint/release-verify/1", "state": catalog.snapshot.label, "tool": __version__, "records": [verified_object(one) for one in found]})


def verified_object(one: Verified) -> dict[str, object]:
    """One record proved again, for machines."""
    return {
        "code": one.code, "path": one.path, "holds": one.holds, "cannot": one.cannot or None,
        "troubles": [{"level": trouble.level, "text": trouble.words} for trouble in one.troubles], "notes": list(one.notes),
        "record": None if one.record is None else plain(one.record),
    }  # fmt: skip
