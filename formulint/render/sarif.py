"""A report as SARIF 2.1.0 (OASIS standard): what fails, is open or waits for a review, for pages that list such results."""

from __future__ import annotations

import json
from collections.abc import Iterable
from urllib.parse import quote

from formulint import __version__
from formulint.clean import clean, json_safe
from formulint.finding import Finding, Level, Mark
from formulint.report import Located, Report, granted_words

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
MOST = 5000  # results that a code host keeps of one file (its documentation, verified)


def show(report: Report) -> str:
    """The report as one SARIF log; results beyond what hosts keep are counted in the last one."""
    told = [one for one in report.findings if one.finding.level is not Level.note]
    rules = {one.finding.rule: one.finding for one in reversed(told)}
    numbers = {rule: at for at, rule in enumerate(sorted(rules))}
    leave = any(one.finding.granted is not None for one in told)  # of suppressions, the standard asks for all or none
    results = [{**_result(one, report.root, numbers), **({"suppressions": _leave(one)} if leave else {})} for one in told[:MOST]]
    if len(told) > MOST:
        rest: dict[str, object] = {"kind": "review", "level": "none", "message": {"text": f"{len(told) - MOST} more are not listed here"}}
        results.append({**rest, **({"suppressions": []} if leave else {})})
    run = {
        "tool": {
            "driver": {
                "name": "formulint", "version": __version__, "semanticVersion": __version__,
                "rules": [_rule(rules[rule]) for rule in sorted(rules)],
            }
        },
        "columnKind": "unicodeCodePoints",
        "invocations": [{"executionSuccessful": True}],
        "results": results,
        "properties": {"title": clean(report.title), "closing": [clean(words) for words in report.closing]},
    }  # fmt: skip
    return json_safe(json.dumps({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}, ensure_ascii=False, indent=1)) + "\n"


def fingerprint(finding: Finding) -> str:
    """What stays the same of a finding while lines around it come and go: 32 hexadecimal digits."""
    from hashlib import sha256

    return sha256("\n".join(finding.about).encode("utf-8", "surrogatepass")).hexdigest()[:32]


def _rule(finding: Finding) -> dict[str, object]:
    """A rule, as far as a finding tells of it."""
    source = finding.source
    said = "" if source is None else ", ".join(part for part in (source.document, source.section, source.checked) if part)
    return {
        "id": finding.rule,
        "shortDescription": {"text": clean(finding.rule.rpartition("/")[2].replace("-", " "))},
        "fullDescription": {"text": clean(finding.why or finding.rule)},
        "help": {"text": clean(f"{finding.why} Source: {said}".strip())},
    }


def _result(one: Located, root: str, numbers: dict[str, int]) -> dict[str, object]:
    """A finding; whatever stops is written as failing, so that no page hides it, with the word ``open`` where it is that."""
    finding, fault = one.finding, one.finding.fault
    fails = finding.blocks or fault.kind == "fail"
    words = f"open: {fault.message}" if fails and fault.kind == "open" else fault.message
    kind = "fail" if fails else fault.kind
    remedy = f" - do: {fault.remedy}" if fault.remedy else ""
    found: dict[str, object] = {
        "ruleId": finding.rule,
        "ruleIndex": numbers[finding.rule],
        "kind": kind,
        "level": finding.level.name if kind == "fail" else "none",  # the standard allows a level only where it fails
        "message": {"text": clean(words, 2000) + clean(remedy, 2000)},
        "locations": [_location(one.mark, root)] if one.mark.path else [],
        "partialFingerprints": {"formulint/1": fingerprint(finding)},
        "properties": {
            key: clean(value)
            for key, value in (("formula", finding.formula), ("material", finding.material), ("measured", fault.measured), ("limit", fault.limit))
            if value
        },
    }
    related = [{"id": at, **_location(mark, root)} for at, mark in enumerate(one.related, 1) if mark.path]
    fixes = list(_fixes(finding, root))
    return {**found, **({"relatedLocations": related} if related else {}), **({"fixes": fixes} if fixes else {})}


def _leave(one: Located) -> list[dict[str, str]]:
    """By what a finding may stand, in the words of the standard; an empty list where nobody gave leave."""
    words = granted_words(one.finding)
    return [{"kind": "external", "status": "accepted", "justification": clean(words, 1000)}] if words else []


def _location(mark: Mark, root: str) -> dict[str, object]:
    region = {"region": {"startLine": mark.line, "startColumn": max(mark.column, 1)}} if mark.line else {}
    return {"physicalLocation": {"artifactLocation": {"uri": uri(root + mark.path)}, **region}}


def uri(path: str) -> str:
    """A path as a relative reference: everything that is not plain is percent-encoded."""
    return quote(path.encode("utf-8", "surrogateescape"), safe="/")


def _fixes(finding: Finding, root: str) -> Iterable[dict[str, object]]:
    """The remedies that can be written, as replacements of characters."""
    for remedy in finding.remedies:
        by_path: dict[str, list[dict[str, object]]] = {}
        for edit in remedy.edits:
            gone = {"charOffset": edit.at, "charLength": len(edit.old)}
            by_path.setdefault(edit.path, []).append({"deletedRegion": gone, "insertedContent": {"text": edit.new}})
        if by_path:
            changes = [{"artifactLocation": {"uri": uri(root + path)}, "replacements": list_} for path, list_ in by_path.items()]
            yield {"description": {"text": clean(remedy.text)}, "artifactChanges": changes}
