"""Answers to an auditor as printable pages and as objects for machines."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from formulint import audit
from formulint.approval import STATED
from formulint.audit import Approved, ConcessionToday, Since, Valid
from formulint.catalog import Catalog
from formulint.changed import change_section
from formulint.computed import lines_table
from formulint.release_report import approvals_table, plain, record_sections, verified_object
from formulint.released import Given
from formulint.render.json_report import change_object, dumps
from formulint.report import CAUTION, Cell, Report, Section, Table, counted, state_words
from formulint.reproof import Verified

LOUD = "Approvals that are stated are not proved: nobody signed them."


def _page(catalog: Catalog, question: str, sections: Iterable[Section], closing: Sequence[str]) -> Report:
    title = f"formulint audit: {question}"
    facts = (f"answered from {state_words(catalog.snapshot.label)}, {catalog.snapshot.commit or ''}, as on {catalog.today}",)
    return Report(title, facts, tuple(sections), (*closing, CAUTION))


def of_valid(catalog: Catalog, found: Valid) -> Report:
    """Which formula was valid on a day, with its sheet."""
    question = f"which {found.code} was valid on {found.on}"
    record = None if found.verified is None else found.verified.record
    if found.verified is None or record is None or found.why:
        words = found.why or "its record cannot be read"
        return _page(catalog, question, _of_record(found.verified), (f"None that is proved: {words}.", *(f"DOUBT: {told}" for told in found.doubts)))
    sections = [*record_sections(record), *_of_record(found.verified)]
    if found.state is not None and found.sheet is not None:
        sections.insert(0, Section("The sheet as it was released", (), (lines_table(found.state, found.sheet),)))
    answer = f"Revision {record.revision} of {found.code}, released on {record.released_on}"
    closing = [f"{answer}, proved again." if found.sure else f"{answer}, but not beyond doubt."]
    closing += [f"DOUBT: {words}" for words in found.doubts]
    closing += [f"DOUBT: {trouble.words}" for trouble in found.verified.troubles[:5]]
    closing += [LOUD] if audit.unsigned(found.verified) else []
    return _page(catalog, question, sections, closing)


def _of_record(verified: Verified | None) -> list[Section]:
    if verified is None:
        return []
    told = (*(trouble.words for trouble in verified.troubles), *verified.notes)
    word = "proved again: objects, digests, approvals, numbers" if verified.holds else "does not hold"
    return [Section(f"{verified.code}: {word}", remarks=told)]


def of_approved(catalog: Catalog, found: Approved) -> Report:
    """Who approved a formula, and on what evidence."""
    now = f"Revision {found.revision} as it is now"
    doubts = tuple(f"does not count: {words}" for words in found.heard.doubts)
    sections = [Section(now, (), (approvals_table(found.heard.given),) if found.heard.given else (), doubts)]
    for one in found.verified:
        record = one.record
        if record is None:
            sections += _of_record(one)
            continue
        tables = [approvals_table(record.approval)]
        rows = tuple((Cell(each.test), Cell(each.value), Cell(each.verdict), Cell(each.method), Cell(str(each.measured_on)), Cell(each.by)) for each in record.result)
        tables += [Table(("test", "value", "verdict", "method", "measured on", "by"), rows)] if rows else []
        conceded = tuple(f"conceded by {each.approved_by} until {each.expires}: {each.rule}, {each.code}" for each in record.concession)
        told = (*conceded, *(trouble.words for trouble in one.troubles), *one.notes)
        heading = f"Revision {record.revision}, released on {record.released_on}: {'proved again' if one.holds else 'does not hold'}"
        sections.append(Section(heading, (), tuple(tables), told))
    given = found.heard.given
    words = f"approved by {', '.join(f'{one.by} ({one.how})' for one in given)}" if given else "not approved"
    closing = [f"{now}: {words}."]
    closing += [LOUD] if any(one.how == STATED for one in given) or any(audit.unsigned(one) for one in found.verified) else []
    closing += [] if found.asked else ["The settings name no approvers of formulas, or no list of signers: nothing can be proved."]
    return _page(catalog, f"who approved {found.code}", sections, closing)


def of_since(catalog: Catalog, found: Since) -> Report:
    """What changed since the last release, who did it and why."""
    rows = tuple((Cell(str(one.day)), Cell(one.author), Cell(one.subject), Cell(one.commit[:10], "muted")) for one in found.steps)
    sections = [] if found.change is None else [change_section(found.before, catalog, found.change, ())]
    if rows:
        sections.append(Section("Commits since", (), (Table(("on", "author (as stated)", "what", "commit"), rows),)))
    last = f"revision {found.head.revision}, released on {found.head.released_on} from {found.head.commit[:10]}"
    moved = found.change is not None and (found.change.fields or found.change.additions or found.change.properties or found.change.unread)
    touched = f"{counted(len(rows), 'commit')} touched it or what is in it" if rows or moved else "nothing changed"
    closing = [f"Since {last}: {touched}."]
    return _page(catalog, f"what changed in {found.code} since its last release", sections, closing)


def of_concessions(catalog: Catalog, found: Sequence[ConcessionToday]) -> Report:
    """What is conceded, why, by whom and until when."""
    rows = []
    for one in found:
        record = one.record
        if record is None:
            rows.append((Cell(one.file, "bad"), *(Cell("") for _ in range(5)), Cell(one.word, "bad")))
            continue
        reach = f" (in {', '.join(one.reaches)})" if one.reaches else ""
        upto = f" up to {record.up_to}" if record.up_to else ""
        by = ", ".join(filter(None, (record.approved_by, record.also_approved_by)))
        rows.append(
            (
                Cell(record.code), Cell(record.rule), Cell(f"{record.subject}{upto}{reach}"), Cell(record.reason), Cell(by),
                Cell(str(record.expires)), Cell(one.word, "plain" if one.findings else "warn"),
            )
        )  # fmt: skip
    table = Table(("concession", "rule", "for", "reason", "approved by", "until", "today"), tuple(rows))
    acting = sum(bool(one.findings) for one in found)
    closing = [f"{counted(len(found), 'concession')}, of which {acting} let something stand on {catalog.today}."]
    return _page(catalog, "what is conceded, and why", [Section("Concessions", (), (table,))] if rows else [], closing)


# --- for machines ------------------------------------------------------------------------------------------------


def _object(catalog: Catalog, question: str, **more: object) -> str:
    head = {"format": "formulint/audit/1", "question": question, "state": catalog.snapshot.label, "commit": catalog.snapshot.commit, "date": str(catalog.today)}
    return dumps({**head, **more})


def valid_json(catalog: Catalog, found: Valid) -> str:
    """The answer to ``valid``."""
    record = None if found.verified is None else verified_object(found.verified)
    return _object(catalog, "valid", formula=found.code, on=str(found.on), sure=found.sure, why=found.why or None, doubts=list(found.doubts), record=record)


def approved_json(catalog: Catalog, found: Approved) -> str:
    """The answer to ``approval``."""
    given: Sequence[Given] = found.heard.given
    return _object(
        catalog, "approval", formula=found.code, revision=found.revision, approvals=[plain(one) for one in given],
        doubts=list(found.heard.doubts), records=[verified_object(one) for one in found.verified],
    )  # fmt: skip


def since_json(catalog: Catalog, found: Since) -> str:
    """The answer to ``changes``."""
    steps = [{"commit": one.commit, "date": str(one.day), "author": one.author, "subject": one.subject} for one in found.steps]
    change = None if found.change is None else change_object(found.before, catalog, found.change)
    return _object(catalog, "changes", formula=found.code, released=plain(found.head), change=change, commits=steps)


def concessions_json(catalog: Catalog, found: Sequence[ConcessionToday]) -> str:
    """The answer to ``concessions``."""
    listed = [
        {"path": one.file, "record": None if one.record is None else plain(one.record), "today": one.word, "acts": bool(one.findings), "reaches": list(one.reaches)}
        for one in found
    ]
    return _object(catalog, "concessions", concessions=listed)
