"""Any bytes become a document or a fault with its place, in bounded time, in words for somebody who does not know TOML."""

from __future__ import annotations

import sys
import time
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reading_cases import Case, cases, disagreements

from formulint.document import LARGEST, Document, load
from formulint.finding import Fault, Mark

CONFORMANCE = Path(__file__).parent / "conformance"
VALID = sorted(CONFORMANCE.glob("valid/**/*.toml"))
INVALID = sorted(CONFORMANCE.glob("invalid/**/*.toml"))
TEXTS = [path.read_bytes() for path in VALID]


def fault(raw: bytes) -> Fault:
    """The one fault of a file that cannot be read."""
    document, (only,) = load("f.toml", raw)
    assert document is None
    return only


def document(raw: bytes) -> Document:
    """A file that can be read, whatever is said about it."""
    found, _ = load("f.toml", raw)
    assert found is not None
    return found


# --- what is said, and of which line -------------------------------------------------------------------------------


@pytest.mark.parametrize("case", [*cases("reading/syntax.toml"), *cases("reading/dialect.toml")], ids=str)
def test_words_and_line_of_a_syntax_fault(case: Case) -> None:
    assert disagreements(case) == []


@pytest.mark.parametrize("case", cases("must_fail/reading.toml"), ids=str)
def test_the_runner_of_the_cases_can_fail(case: Case) -> None:
    assert any(case.fails in words for words in disagreements(case))


@pytest.mark.parametrize("path", INVALID, ids=lambda path: str(path.relative_to(CONFORMANCE)))
def test_invalid_toml_is_told_in_our_own_words_or_is_toml_1_1(path: Path) -> None:
    found, faults = load("f.toml", path.read_bytes())
    assert len(faults) == 1
    assert "cannot be read:" not in faults[0].message
    assert 1 <= faults[0].place.line <= path.read_bytes().count(b"\n") + 1
    assert faults[0].kind == ("fail" if found is None else "review")


def test_nine_of_the_invalid_files_are_valid_since_toml_1_1() -> None:
    assert sum(load("f.toml", path.read_bytes())[0] is not None for path in INVALID) == 9


@pytest.mark.skipif(sys.version_info >= (3, 15), reason="tomllib reads TOML 1.1 from Python 3.15 on")
@pytest.mark.parametrize("path", VALID, ids=lambda path: str(path.relative_to(CONFORMANCE)))
def test_a_remark_is_made_exactly_where_a_reader_of_toml_1_0_stops(path: Path) -> None:
    raw = path.read_bytes()
    try:
        tomllib.loads(raw.decode())
        refused = False
    except tomllib.TOMLDecodeError:
        refused = True
    assert bool(load("f.toml", raw)[1]) is refused


# --- bytes ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("raw", "line", "column", "words"),
    [
        (b'a = "x"\nb = "5 \xb5m"', 2, 8, 'byte 0xB5 is not UTF-8, perhaps "\u00b5"'),
        ('\u00e9 = "\u00fc" \u00fc'.encode() + b"\xff", 1, 10, "byte 0xFF is not UTF-8"),
        (b'\xef\xbb\xbf"\xff"', 1, 2, "byte 0xFF is not UTF-8"),
        (b"\xff\xfea\0 \0=\0 \x001\0", 1, 1, "not a text in UTF-8"),
        (b'a = "x"\nb = "\0"', 2, 6, "not a text in UTF-8"),
        (b"version https://git-lfs.github.com/spec/v1\noid sha256:00\n", 1, 1, "only a pointer"),
        (b"#" * (LARGEST + 1), 1, 1, "1.0 MiB; at most 1 MiB"),
        (b"a = " + b"[" * 3000, 1, 37, "brackets inside brackets"),
        (b"b = 1\n" + b"a." * 1500 + b"a = 1", 2, 1, "names joined by points"),
        (b"b = 1\na = " + b"7" * 5000, 2, 5, "a number of 5000 digits"),
        (b"a = 1\rb = 2\n", 1, 6, "carriage return alone"),
    ],
)
def test_bytes_that_cannot_be_read(raw: bytes, line: int, column: int, words: str) -> None:
    only = fault(raw)
    assert (only.place.line, only.place.column) == (line, column)
    assert words in only.message


def test_a_byte_order_mark_is_read_past_and_told() -> None:
    found, (only,) = load("f.toml", b'\xef\xbb\xbfcode = "T-101"')
    assert found is not None
    assert (found.data, found.text, found.bom) == ({"code": "T-101"}, 'code = "T-101"', True)
    assert (only.kind, only.place.line) == ("review", 1)


def test_windows_line_ends_are_kept_and_not_told() -> None:
    found, faults = load("f.toml", b'a = 1\r\nb = """x\r\ny"""\r\n')
    assert found is not None
    assert (faults, found.text.count("\r\n")) == ((), 3)
    assert found.mark(("b",)) == Mark("f.toml", 2, 1)


def test_a_syntax_fault_has_the_same_place_with_windows_line_ends() -> None:
    lines = ["a = 1", "b = [", "  1", "  2 ]"]
    unix, windows = (fault(end.join(lines).encode()).place for end in ("\n", "\r\n"))
    assert unix == windows


def test_many_conflicts_are_cut_off() -> None:
    assert len(load("f.toml", b"<<<<<<< HEAD\n=======\n>>>>>>> b\n" * 500)[1]) == 20


# --- places --------------------------------------------------------------------------------------------------------

SHEET = b"""code = "T-101"
[[stage]]
name = "Grind"
additions = [
  { material = "RM-1", until = { fineness = { min = "3 hegman" } } },
]
"""


@pytest.mark.parametrize(
    ("keys", "line", "column"),
    [
        (("code",), 1, 1),
        (("stage",), 2, 3),
        (("stage", 0), 2, 3),
        (("stage", 0, "kind"), 2, 3),
        (("stage", 0, "additions", 0), 5, 3),
        (("stage", 0, "additions", 0, "amount"), 5, 3),
        (("stage", 0, "additions", 0, "until", "fineness", "min"), 5, 47),
        (("stage", 0, "additions", 7, "material"), 4, 1),
        (("batch",), 1, 1),
        ((), 1, 1),
    ],
)
def test_a_mark_is_that_of_the_nearest_thing_that_is_written(
    keys: tuple[str | int, ...], line: int, column: int
) -> None:
    assert document(SHEET).mark(keys) == Mark("f.toml", line, column)


def test_a_span_is_that_of_the_value() -> None:
    sheet = document(SHEET)
    start, end = sheet.span(("stage", 0, "name")) or (0, 0)
    assert sheet.text[start:end] == '"Grind"'
    assert sheet.span(("stage", 0)) is None
    assert sheet.span(("batch",)) is None


def test_a_decimal_number_keeps_its_digits() -> None:
    assert [str(number) for number in document(b"a = [8.340, nan, -1e400]").data["a"]] == ["8.340", "nan", "-1e400"]  # type: ignore[attr-defined]


# --- laws ----------------------------------------------------------------------------------------------------------


@settings(deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_are_a_document_or_a_fault(raw: bytes) -> None:
    found, faults = load("f.toml", raw)
    assert (found is None) == any(fault.kind == "fail" for fault in faults)


@settings(deadline=None)
@given(st.sampled_from(TEXTS), st.data())
def test_a_damaged_file_is_a_document_or_a_fault_with_its_place(raw: bytes, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(raw)))
    typed = data.draw(st.sampled_from([b"", b'"', b"'", b"[", b"]", b"{", b"}", b",", b"=", b".", b"\n", b"#", b"\\"]))
    found, faults = load("f.toml", raw[:at] + typed + raw[at + data.draw(st.integers(0, 3)) :])
    assert (found is None) == any(fault.kind == "fail" for fault in faults)
    assert all(fault.place.line >= 1 and fault.place.column >= 1 for fault in faults)


HOSTILE = [
    b"[", b"{", b"a.", b"1", b'"', b"'", b'"""', b"'''", b"\\", b'\\"', b"[a]\n", b"[[a]]\n", b"a=", b"a = 1 ",
    b"a,", b"a = [", b"a={", b" ", b"\n", b"#", b"a={b=[\n", b"-", b"0x", b"2026-01-05", b"<<<<<<< a\n", b"=======\n",
    b"\xc3\xa9", b"a = ,\n", b":00", b"},", b"\r", b"[" + b"a." * 400 + b"a]\n",
]  # fmt: skip
OPENINGS = [b"", b"a = ", b'a = "', b"a = [", b"a = [{b=1},", b"a = {b = ", b'a = """']


def seconds(raw: bytes) -> float:
    """Time to read the bytes and to find a place in them."""
    start = time.process_time()
    found, _ = load("f.toml", raw)
    if found is not None:
        found.mark(("a", 3, "b"))
    return time.process_time() - start


@pytest.mark.parametrize("opening", OPENINGS, ids=repr)
def test_no_file_takes_much_longer_than_an_ordinary_one_of_its_size(opening: bytes) -> None:
    size = LARGEST // 4
    ordinary = seconds(b"".join(b'k%06d = { material = "RM-1", amount = "5 lb" }\n' % n for n in range(size // 49)))
    slowest = max(HOSTILE, key=lambda unit: seconds(opening + unit * ((size - len(opening)) // len(unit))))
    assert seconds(opening + slowest * ((size - len(opening)) // len(slowest))) < 30 * ordinary
