"""Figures: the cases in ``cases/quantity``, and what holds for every figure and every text."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from fractions import Fraction
from math import nextafter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from msgspec import Struct, ValidationError, convert

from formulint.errors import Misread
from formulint.factors import FACTORS
from formulint.quantity import NOTHING, Quantity, in_unit, read, show
from formulint.unit_words import KINDS, REFUSED, SPELLINGS
from formulint.units import DIMENSIONS, KNOWN, find, unit_names, unit_of

FOLDER = Path(__file__).parent / "cases" / "quantity"
AMOUNT = ("mass", "volume", "mass share", "volume share")


class Case(Struct, frozen=True, forbid_unknown_fields=True):
    """A text (repeated) in a field: read as a number in base units, or refused in these words."""

    text: str
    field: tuple[str, ...]
    base: str = ""
    dimension: str = ""
    message: str = ""
    remedy: str = ""
    repeat: int = 1


def named_cases() -> dict[str, Case]:
    """Every case, named after its file, text and field."""
    found: dict[str, Case] = {}
    for path in sorted(FOLDER.glob("*.toml")):
        for case in convert(tomllib.loads(path.read_text(encoding="utf-8"))["case"], list[Case]):
            name = ascii(f"{path.stem}::{case.text}::{', '.join(case.field)}")
            assert name not in found, f"twice: {name}"
            found[name] = case
    return found


CASES = named_cases()
each_case = pytest.mark.parametrize("case", CASES.values(), ids=CASES)


def reading(text: str, field: tuple[str, ...]) -> Quantity | Misread:
    """What comes of a text: the figure, or why it is none."""
    try:
        return read(text, field)
    except Misread as error:
        return error


def disagreement(case: Case) -> str:
    """How the reading differs from what the case says; empty where it does not."""
    one = reading(case.text * case.repeat, case.field)
    if isinstance(one, Misread):
        said = ("", "", one.message, one.remedy)
    else:
        said = (str(one.exact), one.unit.dimension, "", "")
    return "" if said == (case.base, case.dimension, case.message, case.remedy) else str(said)


@each_case
def test_case(case: Case) -> None:
    assert disagreement(case) == ""


@pytest.mark.parametrize(
    "case",
    [
        Case("2 lb", ("mass",), base="2", dimension="mass"),
        Case("25 %", ("volume share",), base="1/4", dimension="mass share"),
        Case("2 lb", ("mass",)),
        Case("2 LB", ("mass",)),
        Case("2 LB", ("mass",), base="45359237/50000000", dimension="mass"),
        Case("2 LB", ("mass",), message="no unit", remedy='write "2 lb"'),
        Case("2 lb", ("mass",), base="45359237/50000000", dimension="mass", message="no unit"),
        Case("2 kg", ("mass",), base="2", dimension="mass", repeat=2),
    ],
)
def test_wrong_case_is_noticed(case: Case) -> None:
    assert disagreement(case) != ""


def test_unknown_key_of_a_case_is_noticed() -> None:
    with pytest.raises(ValidationError):
        convert({"text": "2 kg", "field": ["mass"], "remark": ""}, Case)


@each_case
def test_what_a_remedy_offers_can_be_written(case: Case) -> None:
    offers = re.findall(r'"([^"]+)"', case.remedy) if case.remedy.startswith('write "') else []
    assert [str(reading(offer, case.field)) for offer in offers] == offers


# --- the words around the units ---------------------------------------------------------------------------------------


def test_every_dimension_has_its_words() -> None:
    assert set(KINDS) == set(DIMENSIONS)


@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_examples_are_figures(dimension: str) -> None:
    assert [str(read(one, (dimension,))) for one in KINDS[dimension][1]] == list(KINDS[dimension][1])


@pytest.mark.parametrize("word", SPELLINGS)
def test_words_lead_to_spellings(word: str) -> None:
    assert all(find(right, DIMENSIONS) for right in SPELLINGS[word])
    assert word == word.lower()


@pytest.mark.parametrize("word", REFUSED)
def test_refused_words_are_no_units_and_say_what_helps(word: str) -> None:
    fields, why, offers, remedy = REFUSED[word]
    assert find(word, fields) is None
    assert why
    assert bool(offers) != bool(remedy)


@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_spellings_do_not_differ_by_capitals_alone(dimension: str) -> None:
    folded = [one.lower() for one in unit_names(dimension)]
    assert len(set(folded)) == len(folded)


# --- laws -------------------------------------------------------------------------------------------------------------

DIGITS = some.from_regex(r"[+-]?[0-9]{1,12}(\.[0-9]{1,12})?([eE][+-]?[0-9]{1,2})?", fullmatch=True)
UNITS = some.sampled_from(
    [("", "number"), *((one.replace("currency", "EUR"), row[0]) for one, rows in FACTORS.items() for row in rows)]
)


@some.composite
def quantities(draw: some.DrawFn) -> Quantity:
    """Any figure in any listed unit."""
    spelled, dimension = draw(UNITS)
    blank = draw(some.sampled_from([" ", ""])) if not spelled[:1].isdigit() and spelled else ""
    return read(draw(DIGITS) + (blank or (" " if spelled[:1].isdigit() else "")) + spelled, (dimension,))


@given(quantities())
def test_reading_what_is_printed_gives_the_same(one: Quantity) -> None:
    assert read(str(one), (one.unit.dimension,)) == one


@given(DIGITS, UNITS)
def test_written_digits_and_unit_survive(digits: str, unit: tuple[str, str]) -> None:
    one = read(f"{digits} {unit[0]}".strip(), (unit[1],))
    assert (one.digits, one.spelled, one.unit.dimension) == (digits, *unit)


@given(quantities())
def test_exact_is_the_number_times_the_factor(one: Quantity) -> None:
    unit = one.unit
    offset = Fraction(unit.offset_num, unit.offset_den)
    assert one.exact == Fraction(one.digits) * Fraction(unit.num, unit.den) + offset


@given(quantities())
def test_base_is_the_float_nearest_to_exact(one: Quantity) -> None:
    error = abs(Fraction(one.base) - one.exact)
    for direction in (float("-inf"), float("inf")):
        assert error <= abs(Fraction(nextafter(one.base, direction)) - one.exact)


@given(quantities())
def test_there_and_back(one: Quantity) -> None:
    symbol, dimension = one.unit.symbol, one.unit.dimension
    scale = abs(one.value) + abs(one.base) / one.unit.factor
    assert abs(in_unit(one.base, symbol, dimension) - one.value) <= 4e-16 * scale


@given(quantities())
def test_half_digit_is_half_way_to_the_next_figure(one: Quantity) -> None:
    step = Fraction(one.unit.num, one.unit.den) * Fraction(10) ** -one.decimals
    mantissa = int(one.digits.lower().partition("e")[0].replace(".", ""))
    assert one.half_digit * 2 == step
    assert Fraction(one.digits) == mantissa * Fraction(10) ** -one.decimals


@given(quantities())
def test_negative_is_below_zero_as_written(one: Quantity) -> None:
    assert one.negative == (Fraction(one.digits) < 0)


@given(quantities(), some.integers(0, 6))
def test_what_is_shown_has_its_decimals_and_no_negative_zero(one: Quantity, digits: int) -> None:
    number = show(one.base, one.unit.symbol, digits, one.unit.dimension).partition(" ")[0]
    assert len(number.partition(".")[2]) == digits
    assert not (number.startswith("-") and float(number) == 0)


FIELDS = some.lists(some.sampled_from(DIMENSIONS), min_size=1, max_size=4, unique=True).map(tuple)
LETTERS = "0123456789.,+-*/^()# \t\n\u00a0\u00bd\u00b0\u00b2\u0663\ud800'\"$\u20ac<>~%xeE_:"
RUNS = ("1e9", "**", "USD", "to", " per ", "1/2", "0", "12", "250.0", "999999999999")
PIECES = some.sampled_from([*FACTORS, *SPELLINGS, *REFUSED, *LETTERS, *RUNS])
TEXTS = some.text(max_size=80) | some.lists(PIECES, max_size=12).map("".join)


@settings(max_examples=1000, deadline=5000)
@given(TEXTS, FIELDS)
def test_any_text_is_a_figure_or_a_misread_at_once(text: str, field: tuple[str, ...]) -> None:
    one = reading(text, field)
    if isinstance(one, Misread):
        assert one.remedy
        assert one.message
        assert one.message.isprintable()
        assert len(one.message + one.remedy) < 1000
    else:
        assert text in (str(one), f"{one.digits}{one.spelled}")


@settings(deadline=5000)
@given(some.sampled_from(["1", " ", "9**", "1/", "kg/", ".", "1.", "((", "5-", "1e", "\u00bd", "-", "1,000", "lb "]))
def test_long_texts_end_at_once(piece: str) -> None:
    for text in ((piece * 64)[:64], piece * 100_000):
        with pytest.raises(Misread):
            read(text, AMOUNT)


# --- single facts -----------------------------------------------------------------------------------------------------


def test_percent_of_an_amount_is_by_mass_whatever_the_order() -> None:
    assert read("25 %", AMOUNT[::-1]).unit.dimension == "mass share"


def test_nothing_is_known_by_identity() -> None:
    assert read("0 kg", ("mass",)) is not NOTHING


@pytest.mark.parametrize(
    ("base", "symbol", "digits", "text"),
    [
        (1.0, "lb/gal", 3, "8.345 lb/gal"),  # 0.45359237 kg in 3.785411784 L
        (0.05, "g/L", 1, "50.0 g/L"),
        (-1e-9, "%", 1, "0.0 %"),
        (0.975, "1", 3, "0.975"),
        (0.975, "", 2, "0.97"),  # the float lies below 0.975
        (273.15, "degF", 1, "32.0 degF"),
        (float("inf"), "kg", 1, "inf kg"),
    ],
)
def test_show(base: float, symbol: str, digits: int, text: str) -> None:
    assert show(base, symbol, digits) == text


def test_a_difference_of_temperatures_has_no_zero() -> None:
    assert in_unit(10.0, "degF", "temperature difference") == 18.0


def test_a_unit_that_does_not_exist_is_a_fault_of_the_program() -> None:
    with pytest.raises(ValueError, match="parsec"):
        unit_of("parsec")


def test_memory_of_units_has_an_end() -> None:
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    for first in letters:
        for second in letters:
            for third in "AB":
                assert (
                    read(f"1 {first}{second}{third}/t", ("price by mass",)).unit.symbol == f"{first}{second}{third}/t"
                )
    assert len(KNOWN[("price by mass",)]) <= 1000


def test_neither_listed_units_nor_nonsense_load_pint() -> None:
    script = (
        "import sys\nfrom formulint.quantity import read\nfrom formulint.errors import Misread\n"
        "for text in ('250.0 lb', '8.34 lb/gal', '9**9**9 kg', '5 parsec/fortnight', '5 lb', '2 degC/min', '1 LB'):\n"
        "    try: read(text, ('density', 'mass'))\n    except Misread: pass\n"
        "print('pint' in sys.modules, 'fractions' in sys.modules)\n"
    )
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert ran.stdout == "False False\n"
