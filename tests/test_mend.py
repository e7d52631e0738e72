"""A remedy written into its file: that piece and no other byte; and what is refused."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from repository import Answer, run
from story import EXAMPLE

SHEET = "formulas/T-140.toml"
DAY = ("--today", "2026-01-12")
OLD, NEW = b'"RM-1604", amount =  "18.0 kg"', b'"RM-1604", amount =  "18.0 lb"'

DRESS: dict[str, Callable[[bytes], bytes]] = {
    "as it is": lambda raw: raw,
    "line ends of Windows": lambda raw: raw.replace(b"\n", b"\r\n"),
    "byte order mark": lambda raw: b"\xef\xbb\xbf" + raw,
    "comments everywhere": lambda raw: raw.replace(b"\n", b"  # 18.0 kg \xc3\xa9\n"),
    "no line end at the end": lambda raw: raw.rstrip(b"\n"),
    "tabs": lambda raw: raw.replace(b"  { ", b"\t{\t"),
    "single quotation marks": lambda raw: raw.replace(b'"18.0 kg"', b"'18.0 kg'"),
}


@pytest.fixture
def works(tmp_path: Path) -> Path:
    """The example with a pound typed as a kilogram, in a plain folder."""
    shutil.copytree(EXAMPLE, tmp_path / "works")
    sheet = tmp_path / "works" / SHEET
    raw = sheet.read_bytes().replace(NEW, OLD)
    assert OLD in raw
    sheet.write_bytes(raw)
    return tmp_path / "works"


def mend(works: Path, *words: str) -> Answer:
    return run(works, "mend", "T-140", *DAY, *words)


def refused(answer: Answer) -> str:
    """What a refusal says, without line ends."""
    assert answer.status == 2, answer
    return " ".join(answer.err.split())


@pytest.mark.parametrize("name", DRESS)
def test_no_other_byte_is_touched(works: Path, name: str) -> None:
    dressed = DRESS[name]((works / SHEET).read_bytes())
    (works / SHEET).write_bytes(dressed)
    answer = mend(works, "--remedy", "1")
    assert answer.status == 0, answer
    expected = {dressed.replace(b"18.0 kg", b"18.0 lb"), dressed.replace(OLD, NEW)}
    assert (works / SHEET).read_bytes() in expected


@pytest.mark.parametrize("name", [name for name in DRESS if name != "single quotation marks"])
def test_a_line_moves_whole(works: Path, name: str) -> None:
    (works / SHEET).write_bytes(DRESS[name]((works / SHEET).read_bytes().replace(OLD, NEW)))
    before = (works / SHEET).read_bytes().split(b"\n")
    answer = mend(works, "--notes", "--remedy", "1")
    assert "move RM-1010 in Letdown before RM-1305" in answer.out, answer
    after = (works / SHEET).read_bytes().split(b"\n")
    latex, glycol = (next(at for at, line in enumerate(before) if code in line) for code in (b"RM-1305", b"RM-1010"))
    assert after == [*before[:latex], before[glycol], *before[latex:glycol], *before[glycol + 1 :]]


def test_the_list_writes_nothing(works: Path) -> None:
    before = (works / SHEET).read_bytes()
    answer = mend(works)
    assert "1 RM-1604 in Post (line 41) from 18.0 kg to 18.0 lb" in " ".join(answer.out.split())
    assert (works / SHEET).read_bytes() == before


def test_after_it_nothing_is_left_to_mend(works: Path) -> None:
    assert run(works, "lint", "T-140", *DAY).status == 1
    assert mend(works, "--remedy", "1").status == 0
    assert run(works, "lint", "T-140", *DAY).status == 0
    assert "nothing that could be written was found" in mend(works).out


def test_edits_of_the_report_are_enough_to_write_it(works: Path) -> None:
    said = json.loads(mend(works, "--format", "json").out)
    edit = said["remedies"][0]["edits"][0]
    lines = (works / SHEET).read_text(encoding="utf-8").splitlines(keepends=True)
    line, start = lines[edit["line"] - 1], edit["column"] - 1
    assert line[start:].startswith(edit["old"])
    lines[edit["line"] - 1] = line[:start] + edit["new"] + line[start + len(edit["old"]) :]
    assert mend(works, "--remedy", "1").status == 0
    assert (works / SHEET).read_text(encoding="utf-8") == "".join(lines)


# --- refusals ----------------------------------------------------------------------------------------------------


def test_refused_where_the_file_has_changed_since(works: Path) -> None:
    seen = json.loads(mend(works, "--format", "json").out)["seen"]
    (works / SHEET).write_bytes((works / SHEET).read_bytes().replace(b"500.0 lb", b"500.1 lb"))
    before = (works / SHEET).read_bytes()
    assert f"has changed since: it was {seen}" in refused(mend(works, "--remedy", "1", "--seen", seen))
    assert (works / SHEET).read_bytes() == before


def test_written_where_it_has_not(works: Path) -> None:
    seen = json.loads(mend(works, "--format", "json").out)["seen"]
    assert mend(works, "--remedy", "1", "--seen", seen).status == 0


@pytest.mark.parametrize("number", ["0", "2"])
def test_refused_where_there_is_no_such_remedy(works: Path, number: str) -> None:
    assert f"there is no remedy {number}: there is one" in refused(mend(works, "--remedy", number))


@pytest.mark.parametrize("words", ["x", "1.5", "-1"])
def test_refused_where_it_is_no_number(works: Path, words: str) -> None:
    assert run(works, "mend", "T-140", *DAY, "--remedy", words).status == 2


def test_nothing_is_written_through_a_link(works: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside.toml"
    os.replace(works / SHEET, outside)
    before = outside.read_bytes()
    (works / SHEET).symlink_to(outside)
    assert "no formula or material" in refused(mend(works, "--remedy", "1"))
    assert outside.read_bytes() == before


def test_a_material_is_no_formula(works: Path) -> None:
    assert "RM-1101 is not one formula" in refused(run(works, "mend", "RM-1101", *DAY))


def test_one_has_to_be_named(works: Path) -> None:
    assert "which formula is meant" in refused(run(works, "mend"))


def test_additions_that_share_a_line_are_not_moved(works: Path) -> None:
    raw = (works / SHEET).read_bytes().replace(OLD, NEW)
    (works / SHEET).write_bytes(raw.replace(b",  # all-acrylic latex, fine\n", b","))
    said = " ".join(mend(works, "--notes").out.split())
    assert "cannot be moved for you: the additions do not stand one on each line" in said


def test_refused_where_it_changes_while_it_is_computed(works: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from formulint import mend as module
    from formulint.catalog import Catalog
    from formulint.errors import UserError
    from formulint.rulebook import Shipped
    from formulint.snapshot import work_tree

    catalog = Catalog(work_tree(str(works)), Shipped())
    found = module.mending(catalog, catalog.formula(SHEET), False)
    (works / SHEET).write_bytes((works / SHEET).read_bytes() + b"# one more remark\n")
    with pytest.raises(UserError, match="has changed while this was computed"):
        module.write(catalog, found, found.offers[0])


def test_a_plain_folder_is_not_told_of_git(works: Path) -> None:
    answer = mend(works, "--remedy", "1")
    assert f"written: {SHEET}\n" in answer.out
    assert "git restore" not in answer.out


def test_what_is_only_noted_is_mended_by_the_command_that_is_told(tmp_path: Path) -> None:
    assert run(tmp_path, "start", ".").status == 0
    line = next(one for one in run(tmp_path, "lint", "--notes", *DAY).out.splitlines() if one.startswith("formulint mend"))
    assert line == "formulint mend F-001 --notes shows what can be written for you"
    assert "--remedy 1" in run(tmp_path, *line.split(" shows ")[0].split()[1:], *DAY).out
