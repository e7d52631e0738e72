"""A formula along its commits in real repositories: which commits count, who crossed a limit, what a clone lacks."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from repos import Commit, Repo, build
from repository import Json, Table, ask, run, tables, text

SETTINGS = 'format = 1\nwater_density = "1 kg/L"\n'
WATER: Table = {"code": "RM-1", "name": "water", "functions": ["water"], "density": "1 kg/L", "nonvolatile": "0 %", "water": "100 %"}
LATEX: Table = {"code": "RM-2", "name": "latex", "functions": ["binder"], "density": "1 kg/L", "nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "1.1 kg/L"}
ASKED = ("history", "T-1", "--property", "nonvolatile_mass")


def sheet(latex: int, *, limit: str = "30 %", code: str = "T-1", of: str = "RM-2", more: Table | None = None) -> str:
    """A hundred kilograms of latex in water, with a lower limit for the solids."""
    lines = [{"material": "RM-1", "amount": f"{100 - latex} kg"}, {"material": of, "amount": f"{latex} kg"}]
    fields: Table = {"code": code, "name": "white", "revision": 1, "state": "production", "class": "clear", "batch": "100 kg", **(more or {})}
    limits = {} if more else {"limits": {"nonvolatile_mass": {"min": limit}}}
    return text({**fields, **limits, "stage": [{"name": "Letdown", "kind": "letdown", "additions": lines}]})


START = {"formulint.toml": SETTINGS, "materials/RM-1.toml": text(WATER), "materials/RM-2.toml": text(LATEX), "formulas/T-1.toml": sheet(70)}
BASE = Commit("first sheet", START)


def followed(repo: Repo, *words: str) -> dict[str, Json]:
    """The answer of ``history`` in JSON."""
    data = run(repo.path, *(words or ASKED), "--format", "json")
    assert data.status == 0, data.err
    found: dict[str, Json] = json.loads(data.out)
    return found


def values(repo: Repo, *words: str) -> list[Json]:
    return [one["value"] for one in tables(followed(repo, *words)["points"])]


def crossings(repo: Repo, *words: str) -> list[tuple[Json, Json]]:
    return [(one["rule"], one["began"]) for one in tables(followed(repo, *words)["crossings"])]


@pytest.fixture
def crossed(tmp_path: Path) -> Repo:
    edits = [Commit("less latex", {"formulas/T-1.toml": sheet(50)}), Commit("more latex", {"formulas/T-1.toml": sheet(62)})]
    return build(tmp_path / "r", [BASE, Commit("unrelated", {"notes/x.txt": "x"}), *edits])


def test_a_point_for_each_commit_that_bears_on_it(crossed: Repo) -> None:
    found = followed(crossed)
    assert values(crossed) == [35.0, 25.0, 31.0]
    assert [one["verdict"] for one in tables(found["points"])] == ["pass", "fail", "pass"]
    assert (found["commits"], found["missing_before"]) == (4, None)


def test_the_commit_that_crossed_is_named_with_author_and_day(crossed: Repo) -> None:
    began, ceased = tables(followed(crossed)["crossings"])
    assert (began["rule"], began["began"], ceased["began"]) == ("own-limit/nonvolatile-mass", True, False)
    assert began["commit"] == crossed.git("rev-parse", "HEAD~1")
    assert (began["author"], began["date"]) == ("A. Chemist <a.chemist@example.org>", "2026-01-03")
    words = " ".join(run(crossed.path, *ASKED).out.split())
    assert f"{str(began['commit'])[:7]} of 2026-01-03 by A. Chemist: own-limit/nonvolatile-mass began to speak (35.0 % -> 25.0 %, limit at least 30)" in words


def test_a_value_is_that_of_the_commit_itself(crossed: Repo) -> None:
    for point in tables(followed(crossed)["points"]):
        there = ask(crossed.path, "properties", "T-1", "--at", str(point["commit"])).formulas["T-1"]["properties"]
        assert isinstance(there, dict)
        assert isinstance(value := there["nonvolatile_mass"], dict)
        assert point["value"] == value["value"]


def test_it_stops_where_it_is_asked_to(crossed: Repo) -> None:
    assert values(crossed, "history", "T-1", "HEAD~1", "--property", "nonvolatile_mass") == [35.0, 25.0]


TOUCHES: dict[str, dict[str, str | None]] = {
    "a material": {"materials/RM-2.toml": text({**LATEX, "nonvolatile": "60 %", "water": "40 %"})},
    "the settings": {"formulint.toml": SETTINGS + 'units = "us"\n'},
    "a rule of the house": {"rules/house.toml": "# nothing yet\n"},
    "the sheet": {"formulas/T-1.toml": sheet(71)},
}


@pytest.mark.parametrize("files", TOUCHES.values(), ids=TOUCHES.keys())
def test_whatever_it_rests_on_makes_a_point(tmp_path: Path, files: dict[str, str | None]) -> None:
    repo = build(tmp_path, [BASE, Commit("touch", files)])
    assert len(values(repo)) == 2


def test_what_it_does_not_rest_on_makes_none(tmp_path: Path) -> None:
    other = {"materials/RM-9.toml": text({**WATER, "code": "RM-9"}), "formulas/T-2.toml": sheet(10, code="T-2")}
    assert values(build(tmp_path, [BASE, Commit("another paint", other)])) == [35.0]


def test_an_intermediate_bears_on_what_holds_it(tmp_path: Path) -> None:
    blend = {"class": "intermediate", "name": "blend"}
    first = {**START, "formulas/IM-1.toml": sheet(50, code="IM-1", more=blend), "formulas/T-1.toml": sheet(80, of="IM-1")}
    repo = build(tmp_path, [Commit("a", first), Commit("b", {"formulas/IM-1.toml": sheet(80, code="IM-1", more=blend)})])
    assert values(repo) == [20.0, 32.0]
    assert crossings(repo) == [("own-limit/nonvolatile-mass", True), ("own-limit/nonvolatile-mass", False)]


def test_a_file_that_moves_keeps_its_code(tmp_path: Path) -> None:
    moved = {"formulas/T-1.toml": None, "formulas/white/T-1.toml": sheet(70)}
    repo = build(tmp_path, [BASE, Commit("move", moved), Commit("edit", {"formulas/white/T-1.toml": sheet(80)})])
    assert values(repo) == [35.0, 35.0, 40.0]


def test_folders_that_move_are_followed_by_the_settings_of_each_commit(tmp_path: Path) -> None:
    moved = {"formulas/T-1.toml": None, "sheets/T-1.toml": sheet(70), "formulint.toml": SETTINGS + '[folders]\nformulas = "sheets"\n'}
    assert values(build(tmp_path, [BASE, Commit("move", moved)])) == [35.0, 35.0]


def test_what_is_removed_and_comes_again_is_told(tmp_path: Path) -> None:
    repo = build(tmp_path, [BASE, Commit("out", {"formulas/T-1.toml": None}), Commit("in", {"formulas/T-1.toml": sheet(80)})])
    assert values(repo) == [35.0, None, 40.0]
    assert [one["kind"] for one in tables(followed(repo)["points"])] == ["known", "absent", "known"]


def test_what_cannot_be_read_stops_nothing(tmp_path: Path) -> None:
    repo = build(tmp_path, [BASE, Commit("broken", {"formulas/T-1.toml": "code = "}), Commit("mended", {"formulas/T-1.toml": sheet(70)})])
    assert values(repo) == [35.0, None, 35.0]
    assert crossings(repo, "history", "T-1", "--rule", "record/readable") == [("record/readable", True), ("record/readable", False)]


def test_a_missing_figure_is_open_and_no_value(tmp_path: Path) -> None:
    unknown = text({name: raw for name, raw in LATEX.items() if name != "nonvolatile"})
    repo = build(tmp_path, [BASE, Commit("unknown", {"materials/RM-2.toml": unknown})])
    last = tables(followed(repo)["points"])[-1]
    assert (last["value"], last["kind"], last["verdict"]) == (None, "open", "open")


def test_a_limit_that_moves_is_told_from_a_value_that_does(tmp_path: Path) -> None:
    repo = build(tmp_path, [BASE, Commit("stricter", {"formulas/T-1.toml": sheet(70, limit="36 %")})])
    assert crossings(repo) == [("own-limit/nonvolatile-mass", True)]
    assert "the value is as before" in " ".join(run(repo.path, *ASKED).out.split())


def test_a_merge_counts_as_one_step_of_the_line(tmp_path: Path) -> None:
    repo = build(tmp_path, [BASE])
    repo.git("checkout", "-q", "-b", "side")
    repo.commit("one", {"formulas/T-1.toml": sheet(50)})
    repo.commit("two", {"formulas/T-1.toml": sheet(64)})
    repo.git("checkout", "-q", "main")
    repo.git("merge", "-q", "--no-ff", "-m", "merge side", "side", date="2026-01-09T12:00:00+00:00")
    assert values(repo) == [35.0, 32.0]
    assert tables(followed(repo)["points"])[-1]["commit"] == repo.head


def test_a_shallow_clone_says_what_is_missing(crossed: Repo, tmp_path: Path) -> None:
    subprocess.run(("git", "clone", "-q", "--depth", "2", f"file://{crossed.path}", str(tmp_path / "clone")), check=True)
    clone = Repo(tmp_path / "clone")
    found = followed(clone)
    assert values(clone) == [25.0, 31.0]
    assert found["missing_before"] == crossed.git("rev-parse", "HEAD~1")
    assert "git fetch --unshallow" in " ".join(run(clone.path, *ASKED).out.split())


def test_a_root_below_the_top_is_followed(tmp_path: Path) -> None:
    first, second = ({f"paint/{name}": raw for name, raw in files.items()} for files in (START, {"formulas/T-1.toml": sheet(80)}))
    build(tmp_path, [Commit("a", first), Commit("b", second)])
    assert values(Repo(tmp_path / "paint")) == [35.0, 40.0]


HOUSE = """
[[rule]]
id = "no-much-latex"
kind = "limit"
level = "warning"
property = "nonvolatile_mass"
max = "32 %"
title = "Solids are low."
why = "The house has learned it."
source = { document = "the house", checked = "house" }
"""


def test_a_rule_is_followed_by_its_id(tmp_path: Path) -> None:
    rule = "house/no-much-latex"
    repo = build(tmp_path, [BASE, Commit("rule", {"rules/house.toml": HOUSE}), Commit("less", {"formulas/T-1.toml": sheet(60)})])
    assert crossings(repo, "history", "T-1", "--rule", rule) == [(rule, True), (rule, False)]
    assert crossings(repo) == [(rule, True), (rule, False)]


REFUSED = {
    "no such property": (("T-1", "--property", "nonvolatile_mas"), "did you mean nonvolatile_mass"),
    "a family of properties": (("T-1", "--property", "VOC"), "did you mean voc_material, voc_less_water, voc_by_difference"),
    "nothing near": (("T-1", "--property", "wittiness"), "formulint properties T-101 --format json lists them"),
    "no such formula": (("T-7",), "T-1"),
    "no such rule": (("T-1", "--rule", "voc/moon"), 'there is no rule "voc/moon"'),
    "no formula named": ((), "history asks which formula"),
    "no such commit": (("T-1", "nowhere"), "does not name a commit"),
}


@pytest.mark.parametrize(("words", "said"), REFUSED.values(), ids=REFUSED.keys())
def test_what_cannot_be_answered_is_said(crossed: Repo, words: tuple[str, ...], said: str) -> None:
    answer = run(crossed.path, "history", *words)
    assert answer.status == 2
    assert said in answer.err


def test_the_chart_marks_what_is_outside(crossed: Repo) -> None:
    out = run(crossed.path, *ASKED).out
    assert out.count("X") == 1
    assert "-----" in out


PAGE = (*ASKED, "--format", "html")


def test_the_page_draws_it_and_asks_for_nothing_else(crossed: Repo) -> None:
    out = run(crossed.path, *PAGE).out
    assert (out.count("<svg "), out.count("</svg>")) == (1, 1)
    assert "3 commits, 1 outside a limit, last 31.0." in out
    assert "<script" not in out and "http" not in out and "<metadata" not in out
    assert out == run(crossed.path, *PAGE).out


def test_a_limit_that_moved_is_drawn_where_it_was(crossed: Repo) -> None:
    before = run(crossed.path, *PAGE).out
    crossed.commit("stricter", {"formulas/T-1.toml": sheet(70, limit="36 %")})
    assert run(crossed.path, *PAGE).out.count("stroke-dasharray") == before.count("stroke-dasharray") == 1


def page_after(first: str, folder: Path) -> str:
    """The page where something is done before."""
    call = f"{first}; from formulint.cli import main; main({list(PAGE)!r})"
    return subprocess.run((sys.executable, "-c", call), cwd=folder, capture_output=True, text=True, check=True).stdout


def test_a_page_without_a_picture_says_why_and_has_the_chart(crossed: Repo) -> None:
    out = page_after("import sys; sys.modules['matplotlib'] = None", crossed.path)
    assert "<svg" not in out
    assert "install formulint[pictures]; the same in characters" in out and "-----" in out


def test_a_stranger_s_settings_change_no_picture(crossed: Repo) -> None:
    assert page_after("open('matplotlibrc', 'w').write('svg.fonttype: path')", crossed.path) == page_after("pass", crossed.path)


def test_one_author_is_named_once(crossed: Repo) -> None:
    assert run(crossed.path, *ASKED).out.count("A. Chemist") == 3  # beside two crossings


COUNT = "import sys, formulint.document as d; n = []; tomli = d.tomli.loads; d.tomli.loads = lambda t, **more: (n.append(t), tomli(t, **more))[1]"


def test_each_version_of_a_file_is_parsed_once(tmp_path: Path) -> None:
    edits = [Commit(str(at), {"formulas/T-1.toml": sheet(60 + at % 2)}) for at in range(6)]
    repo = build(tmp_path, [BASE, *edits])
    call = f"{COUNT}; from formulint.cli import main; main(['-C', {str(repo.path)!r}, *{ASKED!r}, '--output', {str(tmp_path / 'o')!r}]); print(len(n), len(set(n)))"
    done = subprocess.run((sys.executable, "-c", call), capture_output=True, text=True, check=True)
    parsed, different = done.stdout.split()
    assert parsed == different
