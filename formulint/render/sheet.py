"""A report as comma-separated values: one row a finding or a row of a table, for a spreadsheet."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from io import StringIO

from formulint.clean import csv_cell
from formulint.render.terminal import label
from formulint.report import Report

FINDING = ("record", "finding", "rule", "level", "file", "line", "measured", "limit", "remedy")


def show(report: Report) -> str:
    """One table with a head; cells that a row has no use for are empty."""
    columns = dict.fromkeys(("record", *(FINDING[1:] if report.findings else ())))
    columns.update(dict.fromkeys(name.removeprefix(">") for section in report.sections for table in section.tables for name in table.columns))
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # as RFC 4180 has it
    writer.writerow(columns)
    for row in _rows(report):
        writer.writerow([csv_cell(row.get(name, "")) for name in columns])
    return out.getvalue()


def _rows(report: Report) -> Iterator[dict[str, str]]:
    for section in report.sections:
        record = section.heading.split("  ")[0]
        for one in section.findings:
            fault = one.finding.fault
            yield dict(
                zip(
                    FINDING,
                    (record, fault.message, one.finding.rule, label(one.finding), report.root + one.mark.path, str(one.mark.line or ""),
                     fault.measured or "", fault.limit or "", fault.remedy),
                    strict=True,
                )
            )  # fmt: skip
        for table in section.tables:
            for cells in table.rows:
                yield {"record": record, **{name.removeprefix(">"): cell.text for name, cell in zip(table.columns, cells, strict=True)}}
