"""What a release or its verification came to, as a report and as an object for machines."""

from __future__ import annotations

from formulint.released import ReleaseRecord
from formulint.releasing import Done
from formulint.render.json_report import dumps, result
from formulint.report import CAUTION, Cell, Report, Section, Table, by_record, counted, located, stop_line, summary


def of_release(done: Done) -> Report:
    """What keeps a revision from being released, or what is on record now."""
    proof = done.proof
    catalog = proof.catalog
    refused = proof.refused
    sections = by_record(catalog, located(catalog, refused))
    record = proof.record
    facts = [f"commit {proof.commit[:10]}, judged as on {catalog.today}"]
    if record is not None:
        sections = (*sections, *record_sections(record))
    if done.written:
        closing = [f"released: {done.name}", "Add it to git and commit it: nobody edits it afterwards."]
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
    return (Section(heading, (), (seals, approvals(record)), record.cautions),)


def approvals(record: ReleaseRecord) -> Table:
    """Who approved a record, and how that is known."""
    rows = [
        (Cell(one.by), Cell(one.how, "plain" if one.key else "warn"), Cell(one.key or "no key", "muted"), Cell(str(one.on)), Cell(f"{one.kind} {one.object[:10]}", "muted"))
        for one in record.approval
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


def plain(record: ReleaseRecord) -> object:
    """A record as its file says it, for machines."""
    import msgspec

    return msgspec.to_builtins(record)


