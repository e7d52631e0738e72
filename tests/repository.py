"""A formula repository as plain files, written from Python values, and the command asked about it, here or as a process.

>>> write(tmp_path, {"format": 1}, {"RM-1": {"name": "water", ...}}, {"T-1": {"name": "white", "stage": [...], ...}})
>>> ask(tmp_path, "lint", "--format", "json").results
"""

from __future__ import annotations

import gc
import json
import subprocess
import sys
from collections.abc import Mapping
from contextlib import redirect_stderr, redirect_stdout
from datetime import date
from functools import cached_property
from io import StringIO
from pathlib import Path
from typing import NamedTuple

from formulint.cli import main

Json = None | bool | int | float | str | list["Json"] | dict[str, "Json"]
Table = Mapping[str, object]
"""A TOML table: the fields of a record, as its file names them."""


def value(raw: object) -> str:
    """A value in TOML, on one line."""
    if isinstance(raw, Mapping):
        return "{ " + ", ".join(f"{key(name)} = {value(inner)}" for name, inner in raw.items()) + " }"
    if isinstance(raw, list | tuple):
        return "[" + ", ".join(value(inner) for inner in raw) + "]"
    if isinstance(raw, date):
        return raw.isoformat()
    assert isinstance(raw, str | int), f"not a value of the format: {raw!r}"
    return json.dumps(raw, ensure_ascii=False)


def key(name: str) -> str:
    """A key in TOML, quoted where it has to be."""
    return name if name.replace("-", "").replace("_", "").isalnum() and name.isascii() else json.dumps(name)


def text(record: Table) -> str:
    """A record as the text of its file: fields, then its stages, one line an addition."""
    lines = [f"{key(name)} = {value(raw)}" for name, raw in record.items() if name != "stage"]
    stages = record.get("stage", [])
    assert isinstance(stages, list)
    for stage in stages:
        lines += ["", "[[stage]]", *(f"{key(name)} = {value(raw)}" for name, raw in stage.items() if name != "additions")]
        lines += ["additions = [", *(f"  {value(line)}," for line in stage["additions"]), "]"]
    return "\n".join(lines) + "\n"


def write(folder: Path, settings: Table, materials: Mapping[str, Table], formulas: Mapping[str, Table]) -> Path:
    """Write settings, materials and formulas, by code, each to its own file; the folder."""
    (folder / "formulint.toml").write_text(text(settings), encoding="utf-8")
    for place, records in (("materials", materials), ("formulas", formulas)):
        (folder / place).mkdir()
        for code, record in records.items():
            (folder / place / f"{code}.toml").write_text(text({"code": code, **record}), encoding="utf-8")
    return folder


class Answer(NamedTuple):
    """What the command said, and its exit status."""

    status: int
    out: str
    err: str


class Report:
    """An answer in JSON, looked into by name."""

    def __init__(self, answer: Answer) -> None:
        assert answer.status in (0, 1), answer.err
        self.status = answer.status
        self.data: dict[str, Json] = json.loads(answer.out)

    @cached_property
    def formulas(self) -> dict[str, dict[str, Json]]:
        """The formulas of ``properties``, by code."""
        return {str(one["code"]): one for one in tables(self.data["formulas"])}

    @cached_property
    def results(self) -> list[dict[str, Json]]:
        """The findings of ``lint``."""
        return tables(self.data["results"])

    def about(self, formula: str, rule: str) -> list[dict[str, Json]]:
        """The findings of a rule about a formula."""
        return [one for one in self.results if one["formula"] == formula and one["rule"] == rule]


def tables(raw: Json) -> list[dict[str, Json]]:
    """A list of objects, as such."""
    assert isinstance(raw, list)
    found = [one for one in raw if isinstance(one, dict)]
    assert len(found) == len(raw)
    return found


def run(folder: Path, *words: str) -> Answer:
    """The command, as a process of its own."""
    call = [sys.executable, "-m", "formulint", "-C", str(folder), *words]
    done = subprocess.run(call, capture_output=True, encoding="utf-8", timeout=60, check=False)
    return Answer(done.returncode, done.stdout, done.stderr)


def here(*words: str) -> Answer:
    """The command, in this process."""
    out, err = StringIO(), StringIO()
    try:
        with redirect_stdout(out), redirect_stderr(err):
            status = main(list(words))
    finally:
        gc.enable()  # the command switches it off
    return Answer(status, out.getvalue(), err.getvalue())


def ask(folder: Path, *words: str, today: str = "2026-01-12") -> Report:
    """The command's answer in JSON, in this process."""
    return Report(here("-C", str(folder), *words, "--today", today, "--format", "json"))
