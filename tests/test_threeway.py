"""Two versions of a record made one: laws that hold whatever was edited, and plain cases of what is a clash."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Mapping
from itertools import combinations
from pathlib import Path
from typing import NamedTuple

import pytest
import tomli
from hypothesis import assume, given
from hypothesis import strategies as st
from story import EXAMPLE

from formulint.combine import combine, combined
from formulint.document import load
from formulint.interleave import Torn, interleave
from formulint.threeway import Marks

SHEET = (EXAMPLE / "formulas/T-101.toml").read_bytes()
MARKS = Marks()


class Row(NamedTuple):
    """A line of a sheet, as it is written."""

    code: str
    amount: str
    note: str = ""
    remark: str = ""
    wide: bool = False

    def __str__(self) -> str:
        note = f', note = "{self.note}"' if self.note else ""
        pad = "   " if self.wide else " "
        return f'  {{ material = "{self.code}", amount ={pad}"{self.amount}"{note} }},{"  # " + self.remark if self.remark else ""}\n'


Sheet = tuple[tuple[Row, ...], ...]
"""Stages of lines."""

STAGES = ("Grind", "Letdown", "Post")


def written(sheet: Sheet, end: str = "\n", last_comma: bool = True) -> bytes:
    stages = (f'\n[[stage]]\nname = "{name}"\nkind = "grind"\nadditions = [\n{"".join(map(str, rows))}]\n' for name, rows in zip(STAGES, sheet, strict=True))
    text = '# a sheet\ncode = "T-1"\nbatch = "100 gal"\n' + "".join(stages) + '\n[limits]  # of the house\npvc = { min = "1 %", max = "2 %" }\n# end\n'
    return (text if last_comma else re.sub(r",((?:  # \w+)?\n\])", r"\1", text)).replace("\n", end).encode()


AMOUNTS = st.sampled_from(["1 lb", "2.0 lb", "3 kg", "0.5 %", "q.s."])
WORDS = st.sampled_from(["", "slowly", "warm"])
ROWS = st.builds(Row, st.just(""), AMOUNTS, WORDS, WORDS, st.booleans())


@st.composite
def sheets(draw: st.DrawFn, codes: int = 99) -> Sheet:
    """A sheet of so many materials; with few of them, several lines are of one."""
    counts = [draw(st.integers(1, 4)) for _ in STAGES]
    rows = [draw(ROWS)._replace(code=f"RM-{number % codes}") for number in range(sum(counts))]
    return tuple(tuple(rows[sum(counts[:at]) : sum(counts[: at + 1])]) for at in range(len(counts)))


@st.composite
def edited(draw: st.DrawFn, sheet: Sheet, new: str) -> Sheet:
    """The sheet after some edits: lines written anew, taken out, put in, moved within their stage and to others."""
    stages = [list(rows) for rows in sheet]
    for number in range(draw(st.integers(0, 4))):
        stage = draw(st.sampled_from(stages))
        at = draw(st.integers(0, len(stage) - 1))
        what = draw(st.sampled_from(["write", "out", "in", "move"]))
        if what == "write":
            stage[at] = draw(ROWS)._replace(code=stage[at].code)
        elif what == "in":
            stage.insert(at, draw(ROWS)._replace(code=f"RM-{new}{number}"))
        elif len(stage) > 1:
            row = stage.pop(at)
            if what == "move":
                other = draw(st.sampled_from(stages))
                other.insert(draw(st.integers(0, len(other))), row)
    return tuple(map(tuple, stages))




def three(codes: int) -> st.SearchStrategy[tuple[Sheet, Sheet, Sheet]]:
    """A sheet, and two edits of it."""
    return sheets(codes).flatmap(lambda base: st.tuples(st.just(base), edited(base, "x"), edited(base, "y")))


THREE, REPEATED = three(99), three(99) | three(2)
END = st.sampled_from(["\n", "\r\n"])


def merged(base: bytes, ours: bytes, theirs: bytes) -> tuple[bytes, bool]:
    found = combined(base, ours, theirs, MARKS)
    assert found is not None, "it can be taken apart"
    return found.raw, found.clash


def facts(sheet: Sheet) -> dict[str, tuple[str, str, str]]:
    """Of every material its stage, its amount and its note."""
    return {row.code: (name, row.amount, row.note) for name, rows in zip(STAGES, sheet, strict=True) for row in rows}


def read(raw: bytes) -> dict[str, tuple[str, str, str]]:
    stages = tomli.loads(raw.decode())["stage"]
    return {line["material"]: (stage["name"], line["amount"], line.get("note", "")) for stage in stages for line in stage["additions"]}


def chosen(base: object, ours: object, theirs: object) -> object:
    """What the side says that changed it; ``...`` where both did."""
    return ours if ours == theirs or base == theirs else theirs if base == ours else ...


def expected(*three: Mapping[str, tuple[str, str, str]]) -> dict[str, tuple[object, ...]]:
    """What the merged record must say of every material; ``...`` stands where it must be a clash."""
    found: dict[str, tuple[object, ...]] = {}
    for code in {code for one in three for code in one}:
        known = [one.get(code) for one in three]
        if None in known:
            whole = chosen(*known)
            found |= {code: whole if isinstance(whole, tuple) else (...,)} if whole is not None else {}
        else:
            found[code] = tuple(chosen(*one) for one in zip(*(one for one in known if one), strict=True))
    return found


def side(raw: bytes, ours: bool) -> bytes:
    """The text with one side chosen at every clash."""
    half = re.compile(rb"^<{7} ours\r?\n(.*?)^={7}\r?\n(.*?)^>{7} theirs\r?\n", re.MULTILINE | re.DOTALL)
    return half.sub(rb"\1" if ours else rb"\2", raw)


# --- laws --------------------------------------------------------------------------------------------------------


@given(REPEATED, END, st.booleans())
def test_what_one_side_left_alone_is_what_the_other_wrote(three: tuple[Sheet, Sheet, Sheet], end: str, comma: bool) -> None:
    base, ours, _ = three
    before, after = written(base), written(ours, end, comma)
    assert merged(before, after, before) == (after, False)
    assert merged(before, before, after) == (after, False)
    assert merged(before, after, after) == (after, False)


@given(REPEATED, st.booleans())
def test_who_is_called_first_does_not_matter(three: tuple[Sheet, Sheet, Sheet], comma: bool) -> None:
    base, ours, theirs = (written(one, last_comma=comma) for one in three)
    (one, clash), (other, clash_too) = merged(base, ours, theirs), merged(base, theirs, ours)
    assert clash is clash_too
    assert side(one, True) == side(other, False) and side(one, False) == side(other, True)
    assert clash is (b"<<<<<<< ours" in one)


@given(THREE, st.booleans())
def test_the_record_is_that_of_both_or_there_is_a_clash(three: tuple[Sheet, Sheet, Sheet], comma: bool) -> None:
    raw, clash = merged(*(written(one, last_comma=comma) for one in three))
    wanted = expected(*map(facts, three))
    assert clash or read(raw) == wanted
    assert clash or not any(... in one for one in wanted.values())


@given(REPEATED, st.booleans())
def test_with_one_side_chosen_at_every_clash_it_can_be_read(three: tuple[Sheet, Sheet, Sheet], comma: bool) -> None:
    raw, _ = merged(*(written(one, last_comma=comma) for one in three))
    for ours in (True, False):
        read(side(raw, ours))


@given(THREE)
def test_where_nobody_changed_an_order_nobody_finds_another(three: tuple[Sheet, Sheet, Sheet]) -> None:
    raw, clash = merged(*map(written, three))
    assume(not clash)
    told = [{(one, other) for rows in sheet for one, other in combinations([row.code for row in rows], 2)} for sheet in three[1:]]
    after = read(raw)
    for one, other in combinations(after, 2):
        if after[one][0] == after[other][0]:
            assert (one, other) in told[0] | told[1] or (other, one) not in told[0] | told[1]


@st.composite
def apart(draw: st.DrawFn) -> tuple[Sheet, Sheet, Sheet, Sheet]:
    """A sheet, two edits of it that touch different lines, and both edits at once."""
    base = draw(sheets())
    found: tuple[list[list[Row]], ...] = ([], [], [])
    for rows in base:
        for one in found:
            one.append([])
        for row in rows:
            who = draw(st.sampled_from([(), (0, 2), (1, 2)]))
            how = draw(st.sampled_from(["write", "out", "behind"]))
            new = draw(ROWS)._replace(code=f"{row.code}-new" if how == "behind" else row.code)
            edit = [new] if how == "write" else [row, new] if how == "behind" else []
            for at, one in enumerate(found):
                one[-1] += edit if at in who else [row]
    assume(all(all(one) for one in found))
    ours, theirs, both = (tuple(map(tuple, one)) for one in found)
    return base, ours, theirs, both


@given(apart(), END)
def test_edits_of_different_lines_are_both_there_to_the_byte(four: tuple[Sheet, Sheet, Sheet, Sheet], end: str) -> None:
    base, ours, theirs, both = (written(one, end) for one in four)
    assert merged(base, ours, theirs) == (both, False)


@given(st.binary(max_size=40), st.lists(st.sampled_from(["a = 1", "b = [", "[x]", "b = 2", "x", "c = {"]), max_size=5), st.sampled_from([0, 1, 2]))
def test_any_text_ends_in_an_answer_or_in_none(junk: bytes, lines: list[str], at: int) -> None:
    text = "\n".join(lines).encode()
    three = [text, text + b"\n", text + junk]
    found = combined(three[at], three[at - 1], three[at - 2], MARKS)
    assert found is None or found.clash or load("", found.raw)[0] is not None


# --- plain cases -------------------------------------------------------------------------------------------------

GLYCOL = b'  { material = "RM-1010", amount =   "6.0 lb" },  # propylene glycol\n'
MORE = GLYCOL.replace(b"6.0", b"7.0")
WATER = b'  { material = "RM-1001", amount = "250.0 lb" },  # water\n'
HEAD = b'batch    = "100 gal"\n'
STEP = b'  { step = "hold", check = "consistency" },\n'

CLASHES: dict[str, tuple[bytes, bytes, bytes, bytes]] = {
    "one amount, written otherwise by both": (GLYCOL, MORE, GLYCOL.replace(b"6.0", b"8.0"), b"<<<<<<< ours\n%b=======\n%b>>>>>>> theirs\n"),
    "taken out, and written otherwise": (GLYCOL, b"", MORE, b"<<<<<<< ours\n%b=======\n%b>>>>>>> theirs\n"),
    "exchanged, and written otherwise": (GLYCOL, GLYCOL.replace(b"1010", b"1011"), MORE, b"RM-1011"),
    "amount and what it is of": (GLYCOL, GLYCOL.replace(b" }", b', on = "binder" }'), MORE, b"<<<<<<< ours\n%b=======\n%b>>>>>>> theirs\n"),
    "one remark, written otherwise by both": (GLYCOL, GLYCOL.replace(b"propylene", b"the"), GLYCOL.replace(b"propylene", b"a"), b"<<<<<<< ours\n%b=======\n%b"),
    "another batch, and other amounts": (HEAD, HEAD.replace(b"100", b"200"), HEAD, b"<<<<<<< ours\n%b=======\n%b>>>>>>> theirs\n"),
    "two lines put in at one place": (GLYCOL, GLYCOL + MORE.replace(b"10", b"11"), GLYCOL + MORE.replace(b"10", b"12"), b"<<<<<<< ours\n"),
}


@pytest.mark.parametrize("name", CLASHES)
def test_a_clash_shows_both(name: str) -> None:
    base, ours, theirs, shown = CLASHES[name]
    also = (WATER, WATER.replace(b"250", b"251")) if name.startswith("another batch") else (b"", b"")
    raw, clash = merged(SHEET, SHEET.replace(base, ours), SHEET.replace(base, theirs).replace(*also))
    assert clash
    assert (shown % (ours, theirs) if b"%b" in shown else shown) in raw


def moved(raw: bytes, line: bytes, behind: bytes) -> bytes:
    """The sheet with a line moved behind another."""
    return raw.replace(line, b"").replace(behind, behind + line)


def test_one_line_moved_to_two_places_is_a_clash() -> None:
    ours, theirs = moved(SHEET, GLYCOL, STEP), moved(SHEET, GLYCOL, WATER)
    raw, clash = merged(SHEET, ours, theirs)
    assert clash and raw.count(b"RM-1010") == 2


def test_lines_of_one_stage_moved_to_two_places_are_a_clash() -> None:
    lines = [line + b"\n" for line in SHEET.split(b"\n") if b"RM-1403" in line or b"RM-1901" in line or b"RM-1208" in line]
    raw, clash = merged(SHEET, moved(SHEET, lines[1], WATER), moved(SHEET, lines[1], lines[2]))
    assert clash and raw.count(b"RM-1403") == 2
    assert b"RM-1403" in side(raw, True).split(b"RM-1601")[0]


def test_a_line_moved_by_one_and_written_otherwise_by_the_other_is_both() -> None:
    raw, clash = merged(SHEET, moved(SHEET, GLYCOL, STEP), SHEET.replace(GLYCOL, MORE))
    assert (raw, clash) == (moved(SHEET.replace(GLYCOL, MORE), MORE, STEP), False)


def test_a_line_moved_and_written_otherwise_by_one_takes_what_the_other_wrote_too() -> None:
    noted = MORE.replace(b'"7.0 lb"', b'"7.0 lb", note = "slowly"')
    raw, clash = merged(SHEET, moved(SHEET.replace(GLYCOL, MORE), MORE, STEP), SHEET.replace(GLYCOL, noted.replace(b"7.0", b"6.0")))
    assert (raw, clash) == (moved(SHEET.replace(GLYCOL, noted), noted, STEP), False)


def test_other_quotation_marks_are_no_change() -> None:
    theirs = SHEET.replace(b'"6.0 lb" }', b"'6.0 lb' }")
    assert theirs != SHEET
    assert merged(SHEET, SHEET.replace(GLYCOL, MORE), theirs) == (SHEET.replace(GLYCOL, MORE), False)


def test_lines_that_share_a_text_line_clash_as_one() -> None:
    base = b'[[stage]]\nname = "A"\nadditions = [{ material = "R", amount = "1 lb" }, { material = "S", amount = "2 lb" }]\n'
    ours, theirs = base.replace(b'"1 lb"', b'"3 lb"'), base.replace(b'"1 lb"', b'"4 lb"')
    (head, line), other = base.replace(b'"1 lb"', b'"3 lb"').split(b"additions"), theirs.split(b"additions")[1]
    assert merged(base, ours, theirs) == (head + b"<<<<<<< ours\nadditions%b=======\nadditions%b>>>>>>> theirs\n" % (line, other), True)
    assert merged(base, ours, base.replace(b'"2 lb"', b'"4 lb"')) == (ours.replace(b'"2 lb"', b'"4 lb"'), False)


def test_nothing_is_lost_in_a_stage_that_cannot_be_taken_apart() -> None:
    odd = SHEET.replace(GLYCOL, MORE).replace(b'"4.0 lb" },  # HEUR, low shear\n', b'"4.0 lb" }  # HEUR\n  ,\n')
    assert combined(SHEET, moved(SHEET, GLYCOL, STEP), odd, MARKS) is None


ORDERS = {
    ("abcd", "bacd", "bcad"): None,
    ("abc", "bac", "acb"): None,
    ("abc", "cab", "cab"): "cab",
    ("abcde", "bcdea", "abdce"): "bdcea",
    ("abcd", "abxcd", "aybcd"): "aybxcd",
    ("abcd", "acd", "abdc"): "abdc",
}


@pytest.mark.parametrize("orders", ORDERS, ids=" ".join)
def test_an_order_is_that_of_both(orders: tuple[str, str, str]) -> None:
    try:
        found = "".join(str(one) for one in interleave(*orders))
    except Torn:
        assert ORDERS[orders] is None
    else:
        assert found == ORDERS[orders]


def test_lines_gathered_in_a_new_stage_keep_what_the_other_side_wrote() -> None:
    stage = b'[[stage]]\nname = "Slurry"\nkind = "premix"\nadditions = [\n%b]\n\n'
    head = b'[[stage]]\nname = "Letdown"'
    ours = SHEET.replace(GLYCOL, b"").replace(head, stage % GLYCOL + head)
    raw, clash = merged(SHEET, ours, SHEET.replace(GLYCOL, MORE))
    assert (raw, clash) == (ours.replace(GLYCOL, MORE), False)


def test_a_stage_named_otherwise_is_the_same_stage() -> None:
    ours = SHEET.replace(b'name = "Letdown"', b'name = "Let-down"')
    assert merged(SHEET, ours, SHEET.replace(GLYCOL, MORE)) == (ours.replace(GLYCOL, MORE), False)


def test_both_ends_of_a_range_may_change_on_either_side() -> None:
    ours, theirs = SHEET.replace(b'"53 %"', b'"54 %"'), SHEET.replace(b'"59 %"', b'"58 %"')
    assert merged(SHEET, ours, theirs) == (ours.replace(b'"59 %"', b'"58 %"'), False)


def test_shares_go_with_any_batch() -> None:
    base = SHEET.replace(b'"250.0 lb"', b'"25 %"')
    raw, clash = merged(base, base.replace(b'"100 gal"', b'"200 gal"'), base.replace(b'"25 %"', b'"26 %"'))
    assert not clash and b'"26 %"' in raw


def test_tables_put_in_by_both_stand_in_one_order_whoever_is_first() -> None:
    ours, theirs = SHEET + b'\n[category]\neu = "A/a"\n', SHEET + b'\n[product.x]\ny = "z"\n'
    assert merged(SHEET, ours, theirs) == merged(SHEET, theirs, ours) == (ours + theirs[len(SHEET) :], False)


def test_longer_marks_with_other_names() -> None:
    found = combined(SHEET, SHEET.replace(GLYCOL, MORE), SHEET.replace(GLYCOL, b""), Marks(9, "HEAD", "topic"))
    assert found is not None and b"<<<<<<<<< HEAD\n" in found.raw and b">>>>>>>>> topic\n" in found.raw
    assert found.where == ("stage Letdown: RM-1010",)


def test_components_of_a_material_go_by_name() -> None:
    base = b'code = "R"\n' + b"".join(b'\n[[component]]\nname = "%b"\nshare = "1 %%"\n' % name for name in (b"a", b"b"))
    ours, theirs = base.replace(b'\n[[component]]\nname = "a"\nshare = "1 %"\n', b""), base.replace(b'"b"\nshare = "1 %"', b'"b"\nshare = "2 %"')
    assert merged(base, ours, theirs) == (ours.replace(b'"1 %"', b'"2 %"'), False)


UNREADABLE: Mapping[str, tuple[bytes, bytes, bytes]] = {
    "a base that is no TOML": (SHEET + b"x\n", SHEET.replace(GLYCOL, MORE) + b"x\n", SHEET + b"x\ny\n"),
    "one side that is no TOML": (SHEET, SHEET.replace(GLYCOL, MORE), SHEET.replace(WATER, b"")[:-1] + b"x\n"),
    "no base": (b"", SHEET, SHEET.replace(GLYCOL, MORE)),
    "two stages of one name": (SHEET.replace(b"Post", b"Grind"), SHEET.replace(GLYCOL, MORE), SHEET.replace(WATER, b"")),
    "marks of another merge": (SHEET, SHEET.replace(GLYCOL, b"<<<<<<< x\n=======\n>>>>>>> y\n"), SHEET.replace(WATER, b"")),
}


@pytest.mark.parametrize("name", UNREADABLE)
def test_what_cannot_be_taken_apart_is_merged_as_git_does(name: str, tmp_path: Path) -> None:
    files = [str(tmp_path / one) for one in ("base", "ours", "theirs")]
    for path, raw in zip(files, UNREADABLE[name], strict=True):
        Path(path).write_bytes(raw)
    call = ("git", "merge-file", "-p", "-L", "ours", "-L", "base", "-L", "theirs", files[1], files[0], files[2])
    git = subprocess.run(call, capture_output=True, check=False)
    found = combine(files[0], files[1], files[2], MARKS)
    assert combined(*UNREADABLE[name], MARKS) is None
    assert (found.raw, found.clash) == (git.stdout, git.returncode > 0) == (Path(files[1]).read_bytes(), found.clash)
