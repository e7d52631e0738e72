"""Sheets read and weighed by what differs from their last version: the same as read and resolved as a whole, or not at all."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from in_memory import of_files
from synthetic import files, formula_code

from formulint.amounts import Resolved, resolve
from formulint.document import Document, load
from formulint.formula import Formula
from formulint.rereading import Reading
from formulint.reweighing import weighing
from formulint.shape import read

many = settings(max_examples=150, derandomize=True, deadline=None)
SHELF = of_files(files(10, 40))
SHEET = files(10, 40)[f"formulas/{formula_code(7)}.toml"]
LINES = SHEET.split("\n")
AMOUNTS = [at for at, line in enumerate(LINES) if "amount" in line]
PIECES = ('"', "'", "{", "}", "#", ",", "=", "\\", "\r", "\t", " ", "0", "a", "]", "[", '"""', "\u00e9", "1 lb", ', note = "x"', "12:30", "material")


def whole(text: str) -> tuple[Document | None, Formula | None]:
    """A text read as a whole; no record where anything is to be said about it."""
    document, faults = load("t.toml", text.encode("utf-8", "surrogatepass"))
    if document is None or faults:
        return None, None
    return document, read(document, Formula)[0]


def started(text: str) -> Reading | None:
    document, formula = whole(text)
    return None if document is None or formula is None else Reading(document, formula)


@st.composite
def edits(draw: st.DrawFn) -> tuple[int, str]:
    """A line by its number, and what it is to be."""
    at = draw(st.sampled_from([*range(len(LINES)), *(3 * AMOUNTS)]))
    line = LINES[at]
    sort = draw(st.sampled_from(("amount", "amount", "char", "char", "note", "restore", "head")))
    if sort == "amount":
        line = re.sub(r'amount = "[^"]*"', f'amount = "{draw(st.sampled_from(("5.0 lb", "6 kg", "7.00 lb", "q.s.", "1 %", "x")))}"', line)
    elif sort == "char" and line:
        place = draw(st.integers(0, len(line)))
        line = line[:place] + draw(st.sampled_from(PIECES)) + line[place + draw(st.integers(0, 1)) :]
    elif sort == "note":
        line = line.replace('lb" }', 'lb", note = "slowly" }')
    elif sort == "head":
        at, line = draw(st.sampled_from(((3, "revision = 7"), (3, "revision = 0"), (2, 'name     = "a # b"'), (4, 'state    = "pilot"'), (4, 'state    = "x"'))))
    return at, line


def versions(changes: Sequence[tuple[int, str]]) -> list[str]:
    """The sheet after each of these edits."""
    lines, found = list(LINES), []
    for at, line in changes:
        lines[at] = line
        found.append("\n".join(lines))
    return found


@many
@given(changes=st.lists(edits(), min_size=1, max_size=6))
def test_what_is_taken_over_is_what_the_whole_text_says(changes: list[tuple[int, str]]) -> None:
    reading = started(SHEET)
    for text in versions(changes):
        if reading is None or not reading.next(text.encode("utf-8", "surrogatepass")):
            reading = started(text)
            continue
        assert reading.formula == whole(text)[1]


def test_most_commits_are_taken_over() -> None:
    reading = started(SHEET)
    assert reading is not None
    texts = versions([(3, "revision = 2"), (AMOUNTS[2], re.sub(r"[0-9.]+ lb", "3.3 lb", LINES[AMOUNTS[2]]))])
    assert [(reading.next(text.encode()), reading.alike) for text in texts] == [(True, True), (True, True)]
    assert (reading.formula, len(reading.moved)) == (whole(texts[-1])[1], 1)


REFUSED = {
    "a line more": SHEET + "\n",
    "no text": "\udcff",
    "another class": SHEET.replace('class    = "flat"', 'class    = "satin"'),
    "a comment that hides the end": SHEET.replace('lb" },', 'lb" # },', 1),
    "no amount": SHEET.replace('lb" },', 'lbs of it" },', 1),
    "a byte order mark": "\ufeff" + SHEET,
}


@pytest.mark.parametrize("text", REFUSED.values(), ids=REFUSED.keys())
def test_what_cannot_be_told_by_its_line_is_read_as_a_whole(text: str) -> None:
    reading = started(SHEET)
    assert reading is not None
    assert not reading.next(text.encode("utf-8", "surrogateescape"))


def test_a_line_with_more_than_another_amount_is_not_alike() -> None:
    reading = started(SHEET)
    assert reading is not None
    assert reading.next(SHEET.replace('lb" },', 'lb", note = "x" },', 1).encode())
    assert not reading.alike


def test_a_line_that_is_restored_loses_what_it_had_in_between() -> None:
    reading = started(SHEET)
    assert reading is not None
    first = LINES[AMOUNTS[0]]
    for line in (first.replace('lb" }', 'lb", note = "x" }'), re.sub(r"[0-9.]+ lb", "9.9 lb", first)):
        text = SHEET.replace(first, line)
        assert reading.next(text.encode())
    assert reading.formula == whole(text)[1]


JOINED = re.sub(r",  # [^\n]*\n  ", ", ", SHEET, count=1)


def amounts(first: str, second: str) -> str:
    """A sheet whose first two lines are written as one, with these amounts."""
    return JOINED.replace("240.0 lb", first).replace("1.2 lb", second)


def test_two_additions_on_one_line_of_text_are_not_confused() -> None:
    reading = started(JOINED)
    assert reading is not None
    for text in (amounts("240.0 lb", "1.3 lb"), amounts("241.0 lb", "1.2 lb"), amounts("241.0 lb", "1.4 lb")):
        if not reading.next(text.encode()):
            reading = started(text)
        assert reading is not None
        assert reading.formula == whole(text)[1]


def test_line_ends_of_another_system_are_taken_over() -> None:
    reading = started(SHEET.replace("\n", "\r\n"))
    assert reading is not None
    text = SHEET.replace("1.2 lb", "1.3 lb").replace("\n", "\r\n")
    assert reading.next(text.encode())
    assert reading.formula == whole(text)[1]


def resolved(formula: Formula) -> Resolved:
    return resolve(formula, "t.toml", SHELF.supply)


MOVES = st.lists(st.tuples(st.sampled_from(AMOUNTS), st.sampled_from(("5.0 lb", "6 kg", "0.125 lb", "7 g", "3 gal", "q.s."))), min_size=1, max_size=6)


@many
@given(moves=MOVES)
def test_a_sheet_weighed_again_is_the_sheet_resolved(moves: list[tuple[int, str]]) -> None:
    reading = started(SHEET)
    assert reading is not None
    scale = weighing(reading.formula, resolved(reading.formula), SHELF.supply)
    for text in versions([(at, re.sub(r'amount = "[^"]*"', f'amount = "{amount}"', LINES[at])) for at, amount in moves]):
        assert reading.next(text.encode())
        found = None if scale is None else scale.moved(reading.formula, reading.moved)
        assert found in (None, resolved(reading.formula))
        if found is None:
            scale = weighing(reading.formula, resolved(reading.formula), SHELF.supply)


def test_plain_masses_are_weighed_again() -> None:
    reading = started(SHEET)
    assert reading is not None
    scale = weighing(reading.formula, resolved(reading.formula), SHELF.supply)
    assert scale is not None
    assert reading.next(SHEET.replace("1.2 lb", "1.3 lb").encode())
    assert scale.moved(reading.formula, reading.moved) == resolved(reading.formula)
