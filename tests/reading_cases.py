"""Cases of reading: a text of a file, and on the lines where a fault must point the words that it must contain."""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

import tomli
from msgspec import Struct

from formulint.document import load
from formulint.formula import Formula
from formulint.material import Material
from formulint.settings import Settings
from formulint.shape import read

FOLDER = Path(__file__).parent / "cases"
RECORDS: dict[str, type[Struct]] = {"formula": Formula, "material": Material, "settings": Settings}
_EXPECTED = re.compile(r"# <- (.+?)(?= *# <- |$)")


class Case(NamedTuple):
    """``record`` names the Struct, or is ``toml`` where only the syntax is looked at."""

    file: str
    name: str
    text: str
    record: str
    fails: str = ""

    def __str__(self) -> str:
        return f"{self.file}::{self.name}"


def cases(pattern: str) -> list[Case]:
    """The cases of the files that match, below the folder of cases; an unknown key in a case is an error."""
    return [
        Case(path.name, **table)
        for path in sorted(FOLDER.glob(pattern))
        for table in tomli.loads(path.read_text(encoding="utf-8"))["case"]
    ]


def told(case: Case) -> list[tuple[int, str]]:
    """Line and words of every fault."""
    document, faults = load("file.toml", case.text.encode())
    lines = [(fault.place.line, f"{fault.message} | {fault.remedy}") for fault in faults]
    if document is not None and case.record != "toml":
        _, more = read(document, RECORDS[case.record])
        lines += [(document.mark(fault.place.keys).line, f"{fault.message} | {fault.remedy}") for fault in more]
    return lines


def expected(case: Case) -> list[tuple[int, str]]:
    """Line and words of every fault that must be told."""
    lines = enumerate(case.text.split("\n"), 1)
    return [(number, words.strip()) for number, line in lines for words in _EXPECTED.findall(line)]


def disagreements(case: Case) -> list[str]:
    """What is told and not expected, and what is expected and not told."""
    left = told(case)
    wrong = []
    for line, words in expected(case):
        match = next((one for one in left if one[0] == line and words in one[1]), None)
        if match is None:
            wrong.append(f"not told in line {line}: {words}")
        else:
            left.remove(match)
    return wrong + [f"not expected in line {line}: {words}" for line, words in left]
