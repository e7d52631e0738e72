"""A report as JUnit XML, which build servers count: a case for each finding; what stops is a failure."""

from __future__ import annotations

from formulint.clean import xml_attribute, xml_text
from formulint.render.terminal import finding_lines, label
from formulint.report import Located, Report

WIDE = 10_000  # no line of the text is broken
ROOM = 2000  # characters of one line of the text


def show(report: Report) -> str:
    """The report as one suite; the last case is the verdict, so that a suite without findings is not empty."""
    cases = [line for one in report.findings for line in _case(one, report.root)]
    closing = "\n".join(xml_text(words, ROOM) for words in (*report.facts, *report.closing))
    count = len(report.findings)
    stops = sum(1 for one in report.findings if one.finding.blocks)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<testsuites name="formulint" tests="{count + 1}" failures="{stops}">',
        f'<testsuite name="{xml_attribute(report.title)}" tests="{count + 1}" failures="{stops}" errors="0" skipped="0">',
        *cases,
        '<testcase classname="formulint" name="judged">',
        f"<system-out>{closing}</system-out>",
        "</testcase>",
        "</testsuite>",
        "</testsuites>",
    ]
    return "\n".join(lines) + "\n"


def _case(one: Located, root: str) -> list[str]:
    """One case; its name holds rule and message, because hosts drop a second case of one name."""
    finding = one.finding
    record = finding.formula or finding.material or "repository"
    text = "\n".join(xml_text(line, ROOM) for line in finding_lines(one, WIDE, set()))
    file = f' file="{xml_attribute(root + one.mark.path)}"' if one.mark.path else ""
    line = f' line="{one.mark.line}"' if one.mark.line else ""
    name = xml_attribute(f"{finding.rule}: {finding.fault.message}")
    if finding.blocks:
        inner = f'<failure type="{xml_attribute(label(finding))}" message="{xml_attribute(finding.fault.message)}">{text}</failure>'
    else:
        inner = f"<system-out>{text}</system-out>"
    return [f'<testcase classname="{xml_attribute(record)}" name="{name}"{file}{line}>', inner, "</testcase>"]
