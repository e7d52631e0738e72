"""A report as a JSON list of annotations, which a code host shows in the review of a change (its documentation, verified)."""

from __future__ import annotations

import json

from formulint.clean import clean, json_safe
from formulint.finding import Finding, Level
from formulint.render.sarif import fingerprint
from formulint.report import Report

SEVERITY = {Level.error: "critical", Level.warning: "minor", Level.note: "info"}


def show(report: Report) -> str:
    """The list; of findings with one fingerprint, which a host would fold into one, each gets its own by its number."""
    found = []
    seen: dict[str, int] = {}
    for one in report.findings:
        mark = fingerprint(one.finding)
        seen[mark] = seen.get(mark, 0) + 1
        found.append(
            {
                "description": clean(one.finding.fault.message, 1000),
                "check_name": one.finding.rule,
                "fingerprint": mark if seen[mark] == 1 else f"{mark}-{seen[mark]}",
                "severity": severity(one.finding),
                "location": {"path": clean(report.root + (one.mark.path or "formulint.toml"), 1000), "lines": {"begin": max(one.mark.line, 1)}},
            }
        )
    return json_safe(json.dumps(found, ensure_ascii=False, indent=1)) + "\n"


def severity(finding: Finding) -> str:
    """The host's word: ``blocker`` for what stops, else by level; what may stand is a note."""
    if finding.granted is not None:
        return SEVERITY[Level.note]
    return "blocker" if finding.blocks else SEVERITY[finding.level]
