"""A report as lines that a build machine shows beside the changed lines: the worst first, as many as hosts show."""

from __future__ import annotations

from formulint.clean import log_line, workflow_data, workflow_property
from formulint.finding import Finding, Level
from formulint.report import Located, Report

MOST = 10  # errors, and as many warnings, that a code host shows of one step (its documentation, verified)
WORDS = {Level.error: "error", Level.warning: "warning", Level.note: "notice"}


def show(report: Report) -> str:
    """A line for each finding that a host would show, then what was left out, then what it all means."""
    lines: list[str] = []
    left = 0
    shown = dict.fromkeys(WORDS.values(), 0)
    for one in report.findings:
        word = weight(one.finding)
        shown[word] += 1
        if shown[word] > MOST:
            left += 1
        else:
            lines.append(_line(word, one, report.root))
    if left:
        lines.append(f"and {left} more that hosts would not show here; the report lists them")
    return "\n".join([*lines, log_line(report.title), *(log_line(words) for words in report.closing)]) + "\n"


def weight(finding: Finding) -> str:
    """The word of a host for how much a finding weighs: what does not stop is at most a warning, what may stand a notice."""
    if finding.blocks:
        return "error"
    if finding.granted is not None:
        return WORDS[Level.note]
    return WORDS[min(finding.level, Level.warning)]


def _line(word: str, one: Located, root: str) -> str:
    finding, mark = one.finding, one.mark
    where = [("file", root + mark.path)] if mark.path else []
    where += [("line", str(mark.line)), ("col", str(max(mark.column, 1)))] if mark.line else []
    where.append(("title", finding.rule))
    remedy = f" - do: {finding.fault.remedy}" if finding.fault.remedy else ""
    properties = ",".join(f"{key}={workflow_property(value)}" for key, value in where)
    return f"::{word} {properties}::{workflow_data(finding.fault.message + remedy, 1000)}"
