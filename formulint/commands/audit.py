"""``formulint audit``: one answer to one question of an auditor, from what is committed, as a page that can be printed."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

from formulint import audit, audit_report, git, release_report, reproof, snapshot
from formulint.catalog import Catalog
from formulint.commands.states import OUTPUT, TODAY, day, heard, opened, put, shown
from formulint.errors import UserError
from formulint.options import Option
from formulint.report import Report
from formulint.rulebook import Shipped
from formulint.suggest import closest

QUESTIONS = {
    "valid": "which formula was valid on a day (--on)",
    "approval": "who approved it, and on what evidence",
    "changes": "what changed since its last release, by whom and why",
    "concessions": "what is conceded today, why, by whom and until when",
    "records": "which releases no longer prove, and why",
}
OF_ONE = ("valid", "approval", "changes")
LISTED = "; ".join(f"{name}: {words}" for name, words in QUESTIONS.items())

OPTIONS = (
    Option("question", LISTED, "QUESTION"),
    Option("what", "the formula that is asked about", "CODE"),
    Option("--on", "the day that is asked about, such as 2026-03-04", "DATE", read=day),
    Option("--at", "the commit whose records answer (default: HEAD)", "REV"),
    TODAY,
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Answer: 0 where nothing speaks against it, 1 where something does, 2 where nobody can say."""
    if not options.question:
        raise UserError("audit asks which question is to be answered", f"name one of these. {LISTED}. Such as: formulint audit approval T-101")
    if options.question not in QUESTIONS:
        near = closest(options.question, QUESTIONS)
        raise UserError(f'"{options.question}" is no question that can be answered here', f"did you mean {near}?" if near else f"ask one of these. {LISTED}")
    if options.question in OF_ONE and not options.what:
        raise UserError("nobody knows which formula is meant", f"say formulint audit {options.question} T-101")
    if options.question not in OF_ONE and options.what:
        raise UserError(f"{options.question} is asked about the whole repository", f"say formulint audit {options.question}")
    heard(options)
    repository = git.require(options.folder)
    state = snapshot.at(repository, options.at or "HEAD", options.today)
    if options.question == "concessions" and not options.at and options.today is None:
        state = snapshot.as_of_now(state)  # what has run out since the last commit is conceded no more
    catalog = opened(state, Shipped())
    status, page, text = ANSWERS[options.question](options, repository, catalog)
    put(options, text() if options.format == "json" else shown(options, page(), catalog.snapshot.root))
    return status


Answer = tuple[int, Callable[[], Report], Callable[[], str]]


def _valid(options: SimpleNamespace, repository: git.Repository, catalog: Catalog) -> Answer:
    if options.on is None:
        raise UserError("nobody knows which day is meant", f"say formulint audit valid {options.what} --on 2026-03-04")
    found = audit.valid(repository, catalog, options.what, options.on)
    return 0 if found.sure else 1, lambda: audit_report.of_valid(catalog, found), lambda: audit_report.valid_json(catalog, found)


def _approval(options: SimpleNamespace, repository: git.Repository, catalog: Catalog) -> Answer:
    found = audit.approved(repository, catalog, options.what)
    sure = bool(found.heard.given) and all(one.holds for one in found.verified)
    return 0 if sure else 1, lambda: audit_report.of_approved(catalog, found), lambda: audit_report.approved_json(catalog, found)


def _changes(options: SimpleNamespace, repository: git.Repository, catalog: Catalog) -> Answer:
    found = audit.since(repository, catalog, options.what)
    return 0, lambda: audit_report.of_since(catalog, found), lambda: audit_report.since_json(catalog, found)


def _concessions(options: SimpleNamespace, repository: git.Repository, catalog: Catalog) -> Answer:
    found = audit.concessions(catalog)
    return 0, lambda: audit_report.of_concessions(catalog, found), lambda: audit_report.concessions_json(catalog, found)


def _records(options: SimpleNamespace, repository: git.Repository, catalog: Catalog) -> Answer:
    found = reproof.verify_all(repository, catalog, ())
    return reproof.status_of(found), lambda: release_report.of_verified(catalog, found), lambda: release_report.verified_json(catalog, found)


ANSWERS: dict[str, Callable[[SimpleNamespace, git.Repository, Catalog], Answer]] = {
    "valid": _valid, "approval": _approval, "changes": _changes, "concessions": _concessions, "records": _records,
}  # fmt: skip
