"""Fingerprints: what changes which of them, and that their canonical form does not change unnoticed."""

from __future__ import annotations

import json
import sys
from hashlib import sha256

import pytest
from edits import EDITS, base, shelf, states
from hypothesis import given
from hypothesis import strategies as st

from formulint import digest
from formulint.catalog import Catalog
from formulint.fingerprints import Digests
from formulint.side import side

GOLDEN = {
    "T-1": Digests(
        "c1:fea774c3615aa64117179ef7315705cbccf1f31e64af780976b317467dcaea5b",
        "m1:72b07d7cc674961b7b93299a4a2be658c69bbd8421a8e7c1f1bff44a9c17436e",
        "d1:06478a28eea6c829e582b477821f3885f4eb825a51f9da516c3a65648b7c340b",
    ),
    "T-2": Digests(
        "c1:1612a4e8ef134d86e60e58b79ce613d55686ce879fc002482bcdb6707185038d",
        "m1:c08ccf361f924334d6fca30c5c8f2b238822a84a1afe7f822d3239712fc9ef95",
        "d1:78d4f3248bf024c96d0443efc9f8643d73f02a27519a3f833f19f1ea399c1385",
    ),
}
"""Who changes these changes what is recorded in every repository: a new prefix is due, not a new digest."""


def digests(catalog: Catalog, code: str) -> Digests:
    """The fingerprints of a formula."""
    found = side(catalog, code)
    assert found is not None, f"{code} cannot be read"
    return found.digests.whole


def changed(before: Digests, after: Digests) -> str:
    """Initials of the digests that differ."""
    return "".join(name[0] for name in Digests.__struct_fields__ if getattr(before, name) != getattr(after, name))


@pytest.mark.parametrize("name", EDITS)
def test_edit(name: str) -> None:
    edit = EDITS[name]
    found = [changed(digests(before, edit.about), digests(after, edit.about)) for before, after in states(edit)]
    assert found == [edit.digests] * len(found)


@pytest.mark.parametrize("code", GOLDEN)
def test_golden(code: str) -> None:
    assert digests(shelf(base()), code) == GOLDEN[code]


@pytest.mark.parametrize("lacking", [(), ("_sha2",), ("_sha2", "_sha256")])
def test_every_python_gives_the_same(monkeypatch: pytest.MonkeyPatch, lacking: tuple[str, ...]) -> None:
    for name in lacking:
        monkeypatch.setitem(sys.modules, name, None)
    digest._sha256.cache_clear()
    assert digests(shelf(base()), "T-1") == GOLDEN["T-1"]


def test_each_digest_says_what_it_is_of() -> None:
    found = digests(shelf(base()), "T-1")
    assert [found.composition[:3], found.making[:3], found.data[:3]] == ["c1:", "m1:", "d1:"]
    assert {len(found.composition), len(found.making), len(found.data)} == {3 + 64}


def test_a_mass_and_a_volume_are_never_one() -> None:
    # 30 kg of water and 30 L of water are different sheets, whatever the density of the day.
    files = base()
    other = shelf({**files, "formulas/T-2": files["formulas/T-2"].replace('"30 kg"', '"30 L"')})
    assert changed(digests(shelf(files), "T-2"), digests(other, "T-2")) == "cm"


@given(st.recursive(st.none() | st.booleans() | st.integers(-9, 9) | st.text(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=9))
def test_the_quick_way_to_seal_writes_the_canonical_text(content: object) -> None:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    assert digest._seal("c1", content) == f"c1:{sha256(text.encode()).hexdigest()}"
