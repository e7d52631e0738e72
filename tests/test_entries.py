"""What is listed of single substances: a record that says as much is let be, one that says less is told, and in what."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from msgspec import UNSET
from msgspec.structs import replace

from formulint.hazard.entries import Listed, covers, entries, milder
from formulint.hazard.ingredient import understood
from formulint.hazard.scheme import share
from formulint.material import Component
from formulint.shape import read_table

ALL = {one.name: one for one in entries().values()}
every_entry = pytest.mark.parametrize("listed", ALL.values(), ids=ALL)


def component(listed: Listed, **figures: object) -> Component:
    """A component that says of a substance what its entry says, or other figures."""
    said = {"limits": listed.limits, "m_acute": listed.m_acute, "m_chronic": listed.m_chronic, **figures}
    table = {"name": listed.name, "share": "1 %", "cas": listed.cas[0], "hazards": list(listed.hazards), "hazard_figures": said}
    record, faults = read_table(table, Component, "m.toml", ("component", 0))
    assert record is not None, faults
    return record


def fewer(listed: Listed) -> Iterator[tuple[str, Component]]:
    """Records that lack one thing each, and a word of what is said then."""
    whole = component(listed)
    for at, name in enumerate(listed.hazards):
        yield name, replace(whole, hazards=(*listed.hazards[:at], *listed.hazards[at + 1 :]))
    for name, most in listed.limits.items():
        rest = {key: raw for key, raw in listed.limits.items() if key != name}
        yield f"a limit for {name}, {most}", component(listed, limits=rest)
        yield f"a limit for {name} of {most}", component(listed, limits={**rest, name: f"{float(most.split()[0]) * 1.01:g} %"})
    for name, factor in (("acute", listed.m_acute), ("chronic", listed.m_chronic)):
        if factor != "1":
            yield f"{name} M-factor of {factor}", component(listed, **{f"m_{name}": str(int(factor) // 10)})


@every_entry
def test_a_record_that_says_as_much_is_let_be(listed: Listed) -> None:
    assert list(milder(component(listed), listed)) == []
    assert list(milder(replace(component(listed), hazards=UNSET), listed)) == []


@every_entry
def test_a_record_that_says_less_is_told_in_what(listed: Listed) -> None:
    for words, record in fewer(listed):
        said = list(milder(record, listed))
        assert len(said) == 1 and words in said[0], said


@every_entry
def test_an_entry_is_in_words_that_are_computed(listed: Listed) -> None:
    assert all(map(understood, listed.hazards))
    assert all(0 < share(most) < 1 for most in listed.limits.values())
    assert listed.checked in ("verified", "memory") and listed.source


@pytest.mark.parametrize(
    ("held", "wanted", "enough"),
    [
        ("Skin Sens. 1A", "Skin Sens. 1A", True), ("Skin Sens. 1", "Skin Sens. 1A", False), ("Skin Sens. 1A", "Skin Sens. 1", True),
        ("Skin Corr. 1A", "Skin Corr. 1C", True), ("Skin Corr. 1C", "Skin Corr. 1B", False), ("Acute Tox. 3 (oral)", "Acute Tox. 4 (oral)", True),
        ("Acute Tox. 4 (oral)", "Acute Tox. 3 (oral)", False), ("Acute Tox. 2 (dermal)", "Acute Tox. 3 (oral)", False), ("Acute Tox. 3", "Acute Tox. 3 (oral)", True),
        ("Eye Dam. 1", "Eye Irrit. 2", False), ("STOT RE 1 (larynx)", "STOT RE 1", True), ("Aquatic Chronic 1", "Aquatic Chronic 3", True),
    ],
)  # fmt: skip
def test_which_class_is_as_severe(held: str, wanted: str, enough: bool) -> None:
    assert covers(held, wanted) == enough
