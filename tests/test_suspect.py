"""Which line is named as a slip: on a sheet that does not add up, and where two states show that one line slipped."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from functools import cache

import pytest
from in_memory import findings, of_files
from story import EXAMPLE

from formulint.compare import formulas

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


# --- from one state to another -----------------------------------------------------------------------------------

FILLED = {
    "T-301": [('"RM-1001", amount = "131.8 lb"', '"RM-1001", amount = "q.s."')],
    "T-120": [('"RM-1001", amount = "146.3 lb"', '"RM-1001", amount = "q.s."')],
}
"""Sheets that water fills up, so that they close whatever a line says."""
BIT = 'RM-1801", amount =   "1.5 lb"'
DISPERSANT = 'RM-1401", amount =   "8.0 lb"'
Edits = list[tuple[str, str]]


def said(code: str, first: Edits, edits: Edits) -> list[str]:
    """What is said of a likely slip where a formula is edited."""
    name = f"formulas/{code}.toml"
    before = {**FILES, name: _edited(FILES[name], first)}
    (change,) = formulas(of_files(before), of_files({**before, name: _edited(before[name], edits)}), [code])
    return [f"{one.fault.message} | {one.fault.remedy}" for one in change.own if one.rule == "change/likely-slip"]


def _edited(text: str, edits: Edits) -> str:
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


@pytest.mark.parametrize(
    ("code", "old", "new", "words"),
    [
        ("T-301", BIT, BIT.replace("1.5 lb", "15 lb"), "RM-1801 went from 1.5 lb to 15 lb, 10 times what it was: the same digits with the point elsewhere | write 1.5 lb again"),
        ("T-301", BIT, BIT.replace("1.5 lb", "0.15 lb"), "0.1 times what it was: the same digits with the point elsewhere"),
        ("T-301", BIT, BIT.replace("1.5 lb", "1.5 kg"), "2.2 times what it was: the same figure in another unit"),
        ("T-301", BIT, BIT.replace("1.5 lb", "7.5 lb"), "5 times what it was: divided by the active part, 20 %, once too often"),
        ("T-120", DISPERSANT, DISPERSANT.replace("8.0 lb", "2.0 lb"), "0.25 times what it was: which is the nonvolatile of that, 25 %"),
        ("T-301", BIT, BIT.replace("1.5 lb", "15.07 lb"), "10 times what it was"),  # 0.47 % off ten times
    ],
    ids=["ten times", "a tenth", "unit", "active part", "nonvolatile", "just near enough"],
)
def test_a_line_that_slipped_is_named_where_something_breaks(code: str, old: str, new: str, words: str) -> None:
    (told,) = said(code, FILLED[code], [(old, new)])
    assert words in told
    assert said(code, FILLED[code], []) == []


@pytest.mark.parametrize(
    ("code", "first", "edits"),
    [
        ("T-301", FILLED["T-301"], [(BIT, BIT.replace("1.5 lb", "15.09 lb"))]),  # 0.6 % off ten times
        ("T-301", FILLED["T-301"], [(BIT, BIT.replace("1.5 lb", "1.5 kg")), ('"9.0 lb" },  # polyacid', '"9.0 kg" },  # polyacid')]),
        ("T-120", FILLED["T-120"], [('"5.0 lb" },  # propylene glycol', '"0.5 lb" },  # propylene glycol')]),
        ("T-301", [], [(BIT, BIT.replace("1.5 lb", "15 lb"))]),
        ("T-301", FILLED["T-301"], [(BIT, BIT.replace("1.5 lb", "6.0 lb"))]),
    ],
    ids=["no known ratio", "two lines", "nothing breaks", "the sheet names it", "four times"],
)
def test_a_line_is_not_named_for_nothing(code: str, first: Edits, edits: Edits) -> None:
    assert said(code, first, edits) == []


DENSITIES = {
    "a digit too many": ("RM-1305", "8.78 lb/gal", "18.78 lb/gal", "T-140"),
    "another unit": ("RM-1101", "33.30 lb/gal", "33.30 kg/L", "T-120"),
    "a figure in kg/L, called lb/gal": ("RM-1101", "33.30 lb/gal", "4.0 lb/gal", "T-101"),
}


def closure(edits: dict[str, tuple[str, str]], code: str) -> tuple[str, tuple[str, ...]]:
    """What is said of the sum of a sheet, after edits of files: the remedy, and what is to be looked at."""
    files = {**FILES, **{name: FILES[name].replace(old, new) for name, (old, new) in edits.items()}}
    found = next(one for one in findings(of_files(files), code) if one.rule == "closure/batch")
    return found.fault.remedy, tuple(place.path for place in found.fault.related)


@pytest.mark.parametrize(("material", "old", "new", "code"), DENSITIES.values(), ids=DENSITIES)
def test_a_density_that_is_unusual_is_looked_at_before_the_lines(material: str, old: str, new: str, code: str) -> None:
    name = f"materials/{material}.toml"
    remedy, seen = closure({name: (f'"{old}"', f'"{new}"')}, code)
    assert remedy.startswith(f"look at {name} before the lines: {material}: density {new}")
    assert seen == (name,)


def test_a_density_that_is_unusual_but_closes_nothing_is_not_blamed_for_a_line() -> None:
    odd, slip = {"materials/RM-1101.toml": ('"33.30 lb/gal"', '"36.00 lb/gal"')}, {"formulas/T-140.toml": ('"500.0 lb"', '"50.0 lb"')}
    assert closure(odd | slip, "T-140")[0].startswith("look for a line in another unit, doubled or missing")


def test_a_line_copied_once_too_often_is_named() -> None:
    line = '  { material = "RM-1001", amount = "151.3 lb" },'
    remedy, seen = closure({"formulas/T-140.toml": (line, f"{line}\n{line}")}, "T-140")
    assert remedy.startswith("leaving out 151.3 lb of RM-1001 (it stands there twice) would close it (99.99 gal)")
    assert seen == ("formulas/T-140.toml",)
