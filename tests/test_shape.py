"""A table becomes a record, or all that is wrong with it is told: never neither, never less than there is."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import jsonschema
import msgspec
import pytest
import tomli
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec import Struct, inspect
from reading_cases import Case, cases, disagreements, read_text

from formulint import figure
from formulint.finding import Fault, KeyPath
from formulint.formula import Formula
from formulint.kinds import KINDS
from formulint.material import Material
from formulint.misfit import MOST, PATTERNS
from formulint.settings import Settings
from formulint.shape import read_table, schema

RECORDS: tuple[type[Struct], ...] = (Formula, Material, Settings, *KINDS.values())


# --- what is said, and of which line -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "case", [case for record in ("formula", "material", "settings") for case in cases(f"reading/{record}.toml")], ids=str
)
def test_words_and_line_of_every_fault(case: Case) -> None:
    assert disagreements(case) == []
