"""Which line of a sheet that does not add up is named: the one that slipped, on every line of the example; never another."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from functools import cache

import pytest
from in_memory import findings, of_files
from story import EXAMPLE

FILES = {path.relative_to(EXAMPLE).as_posix(): path.read_text(encoding="utf-8") for path in EXAMPLE.rglob("*.toml") if "story" not in path.parts}
CODES = sorted(name.removeprefix("formulas/").removesuffix(".toml") for name in FILES if name.startswith("formulas/"))
LINE = re.compile(r'(?P<head> *\{ material = "(?P<code>RM-\d+)", amount = +)"(?P<number>[0-9.]+) lb"(?P<rest>.*\n)')
NAMED = re.compile(r"(?:[0-9.]+ \w+|leaving out [0-9.]+ lb) of (RM-\d+) (?:instead|\()")
SLIPS: dict[str, Callable[[Decimal], str]] = {
    "ten times": lambda number: f"{number * 10:f} lb",
    "a tenth": lambda number: f"{number / 10:f} lb",
    "kilograms for pounds": lambda number: f"{number:f} kg",
    "gallons for pounds": lambda number: f"{number:f} gal",
}


@cache
def remedies(how: str) -> tuple[tuple[str, str], ...]:
    """What is said where one line of a sheet is written so and the sheet no longer closes: the line's code, and the remedy."""
    return tuple(_remedies(how))


def _remedies(how: str) -> Iterator[tuple[str, str]]:
    for code in CODES:
        name = f"formulas/{code}.toml"
        for line in LINE.finditer(FILES[name]):
            wrong = f'{line["head"]}"{SLIPS[how](Decimal(line["number"]))}"{line["rest"]}' if how in SLIPS else ""
            text = FILES[name][: line.start()] + wrong + FILES[name][line.end() :]
            found = findings(of_files({**FILES, name: text}), code)
            yield from ((line["code"], one.fault.remedy) for one in found if one.rule == "closure/batch")


@pytest.mark.parametrize("how", SLIPS)
def test_no_other_line_is_named_than_the_one_that_slipped(how: str) -> None:
    said = [(code, NAMED.findall(remedy)) for code, remedy in remedies(how)]
    assert [(code, named) for code, named in said if set(named) - {code}] == []


@pytest.mark.parametrize("how", SLIPS)
def test_nearly_every_slip_is_named(how: str) -> None:
    said = [(code, NAMED.findall(remedy)) for code, remedy in remedies(how)]
    assert len(said) >= 80
    assert len([code for code, named in said if code not in named]) <= 1


def test_where_a_line_is_missing_none_is_named() -> None:
    said = remedies("left out")
    assert len(said) > 80
    assert [one for one in said if NAMED.findall(one[1])] == []
