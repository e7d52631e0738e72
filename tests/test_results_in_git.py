"""Results in real repositories: carried over by equivalent rewriting only, kept by the gate, and asked for where they are required."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from proposals import Edits, Works, ask, both, copied, works_files, works_in
from story import SECOND_REVISION, amount, in_kilograms, replace
from test_results import rows

TEXTS = works_files()
MASONRY, FLAT, RESULTS, SETTINGS, LATEX = "formulas/T-210.toml", "formulas/T-101.toml", "results/T-210-r1.toml", "formulint.toml", "materials/RM-1302.toml"
MEASURED = (
    {"test": "consistency", "method": "ASTM D562", "value": "102 KU", "after": "24 h"},
    {"test": "gloss_85", "method": "ASTM D523", "value": "4"},
    {"test": "contrast_ratio", "method": "ASTM D2805", "value": "0.971"},
    {"test": "scrub", "method": "ASTM D2486", "value": ["640", "710"]},
    {"test": "ph", "method": "ASTM E70", "value": "8.8"},
)
ROUNDED = in_kilograms(3)
REQUIRED = replace('currency      = "USD"', 'currency      = "USD"\nresults       = "required"')


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Works:
    """The works without results."""
    return works_in(tmp_path_factory.mktemp("results") / "works")


@pytest.fixture(scope="module")
def on_record(tmp_path_factory: pytest.TempPathFactory, bare: Works) -> Works:
    """The works with the results of T-210 as it is, which the settings require."""
    more = {RESULTS: file_of(bare), SETTINGS: REQUIRED(TEXTS[SETTINGS])}
    return works_in(tmp_path_factory.mktemp("required") / "works", {**TEXTS, **more})


def file_of(works: Works, *measured: dict[str, object]) -> str:
    """The file of the results of T-210 at the base."""
    days = ({"measured_on": date(2026, 1, 10), **row} for row in measured or MEASURED)
    digest = formulas(works, works.base)["digest"]
    return rows("T-210-r1", "T-210", {name: digest[name] for name in ("composition", "data")}, *days)


def formulas(works: Works, commit: str) -> dict[str, dict[str, str]]:
    """T-210 in the answer of ``formulint results``."""
    told = ask("-C", str(works.repo), "results", "T-210", "--at", commit)
    found: dict[str, dict[str, str]] = json.loads(told.out)["formulas"][0]
    return found


def verdicts(works: Works, commit: str) -> set[str]:
    """All verdicts on the tests of T-210 at a commit."""
    return {test["verdict"] for test in formulas(works, commit)["tests"]}  # type: ignore[index]


def reasons(works: Works, commit: str) -> str:
    """Why, for all tests."""
    return "\n".join(test["reason"] for test in formulas(works, commit)["tests"])  # type: ignore[index]


# --- carried over ------------------------------------------------------------------------------------------------


def test_the_same_paint_in_other_digits_keeps_its_results(on_record: Works) -> None:
    head = on_record.propose({MASONRY: ROUNDED})
    assert verdicts(on_record, head) == {"pass"} and reasons(on_record, head).count("carried over") == len(MEASURED)


def test_moved_to_another_folder_too(on_record: Works) -> None:
    head = on_record.propose({MASONRY: None, "formulas/masonry/T-210.toml": ROUNDED(TEXTS[MASONRY])})
    assert verdicts(on_record, head) == {"pass"}


def test_exact_kilograms_need_no_carrying(on_record: Works) -> None:
    head = on_record.propose({MASONRY: in_kilograms()})
    assert verdicts(on_record, head) == {"pass"} and "carried" not in reasons(on_record, head)


def test_small_steps_do_not_add_up(on_record: Works) -> None:
    steps = [on_record.base]
    for pounds in ("170.05", "170.1", "170.15", "170.2"):  # each the same as the one before, within half of its last digit
        steps.append(on_record.propose({MASONRY: amount("RM-1001", "170.0 lb", f"{pounds} lb")}, steps[-1]))
    assert [verdicts(on_record, step) for step in steps] == [{"pass"}, {"pass"}, {"open"}, {"open"}, {"open"}]


def test_a_history_without_that_state_carries_nothing(on_record: Works, bare: Works) -> None:
    head = bare.propose({MASONRY: ROUNDED(TEXTS[MASONRY]), RESULTS: file_of(bare)})
    assert verdicts(bare, head) == {"pass"}
    orphan = bare.repo.git("commit-tree", f"{head}^{{tree}}", "-m", "x")
    assert verdicts(bare, orphan) == {"open"}


def test_a_corrected_figure_asks_for_a_review_rounded_or_not(on_record: Works) -> None:
    heavier = replace('density                  = "8.88 lb/gal"', 'density                  = "8.89 lb/gal"')
    for edits in ({LATEX: heavier}, {LATEX: heavier, MASONRY: ROUNDED}):
        assert verdicts(on_record, on_record.propose(edits)) == {"review"}


# --- in a commit -------------------------------------------------------------------------------------------------


def hooked(works: Works, tmp_path: Path, **files: str) -> tuple[Works, str]:
    """A copy in which these files are staged, and what the hook says of rules."""
    own = copied(works, tmp_path / "own")
    for name, content in files.items():
        own.repo.stage({name: content.encode()})
    return own, ask("-C", str(own.repo), "lint", "--staged", "--today", "2026-01-12").said


def test_the_hook_judges_staged_results(bare: Works, tmp_path: Path) -> None:
    said = hooked(bare, tmp_path, **{RESULTS: file_of(bare, {**MEASURED[4], "value": "9.9"})})[1]
    assert "results/within-limits: results/T-210-r1.toml: ph of T-210: 9.9" in said


def test_the_hook_of_another_commit_does_not_read_results(on_record: Works, tmp_path: Path) -> None:
    spoiled = works_in(tmp_path / "works", {**on_record.texts, RESULTS: "= no TOML"})
    own, said = hooked(spoiled, tmp_path, **{FLAT: amount("RM-1901", "1.5 lb", "1.6 lb")(TEXTS[FLAT])})
    assert "T-210-r1" not in said
    assert "record/readable: results/T-210-r1.toml" in ask("-C", str(own.repo), "lint").said


def test_results_of_a_formula_that_goes_away_are_noticed(on_record: Works, tmp_path: Path) -> None:
    own = copied(on_record, tmp_path / "own")
    own.repo.git("rm", "-q", MASONRY)
    assert "record/known-formula: results/T-210-r1.toml: there is no formula T-210" in ask("-C", str(own.repo), "lint", "--staged").said


# --- in a proposal -----------------------------------------------------------------------------------------------

RAISED = both(SECOND_REVISION, amount("RM-1403", "2.5 lb", "2.4 lb"))
KEPT: dict[str, Edits] = {
    "a row more": {RESULTS: lambda text: text + "\n[[result]]\n" + text.split("[[result]]\n")[-1].replace("8.8", "8.9")},
    "the paint in other digits": {MASONRY: ROUNDED},
    "a name": {MASONRY: replace("Exterior masonry flat", "Masonry flat")},
    "a comment in what it is made of": {"materials/RM-1101.toml": lambda text: text + "# seen\n"},
}
REFUSED: dict[str, tuple[Edits, str]] = {
    "a row more, outside": ({RESULTS: lambda text: text + "\n[[result]]\n" + text.split("[[result]]\n")[-1].replace("8.8", "9.9")}, "results/within-limits"),
    "a value made nicer": ({RESULTS: replace('"0.971"', '"0.981"')}, "proposal/evidence: results/T-210-r1.toml: T-210-r1, results of T-210, is changed: contrast ratio 0.971 of 2026-01-10"),
    "taken away": ({RESULTS: None}, "is taken away"),
    "said of another paint": ({RESULTS: replace("revision = 1", "revision = 2")}, "is said to be of another paint"),
    "a paint that nobody measured": ({MASONRY: RAISED}, "results/same-composition"),
    "a figure corrected": ({LATEX: replace('"8.88 lb/gal"', '"8.89 lb/gal"')}, "results/same-figures"),
    "no results at all": ({FLAT: both(SECOND_REVISION, amount("RM-1901", "1.5 lb", "1.6 lb"))}, "T-101, revision 2: no result is on file for consistency, gloss 60, gloss 85, contrast ratio, scrub and ph"),
    "what is required left out": ({SETTINGS: replace('"required"', '"noted"'), MASONRY: RAISED}, "results/same-composition"),
}


@pytest.mark.parametrize("edits", KEPT.values(), ids=KEPT.keys())
def test_what_is_proved_goes_in(on_record: Works, edits: Edits) -> None:
    answer = on_record.gate(on_record.propose(edits))
    assert (answer.status, answer.err) == (0, ""), answer.said


@pytest.mark.parametrize(("edits", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_what_is_not_proved_stays_out(on_record: Works, edits: Edits, words: str) -> None:
    answer = on_record.gate(on_record.propose(edits))
    assert answer.status == 1 and words in answer.said, answer.said


def test_a_merge_that_git_has_not_made_yet_finds_the_history(on_record: Works) -> None:
    main = on_record.propose({"README.md": "# moved on\n"})
    assert on_record.gate(on_record.propose({MASONRY: ROUNDED}), base=main).status == 0


def test_where_results_are_noted_they_keep_nothing_out(bare: Works) -> None:
    added = bare.propose({RESULTS: file_of(bare, {**MEASURED[4], "value": "9.9"})})
    answer = bare.gate(added)
    assert answer.status == 0 and "results/within-limits" in answer.said


# --- what a reviewer is shown ------------------------------------------------------------------------------------

MOVED: dict[str, tuple[Edits, list[tuple[str, str, str | None]]]] = {
    "a row more": (KEPT["a row more"], [("came", "ph", "pass")]),
    "a row more, outside": (REFUSED["a row more, outside"][0], [("came", "ph", "fail")]),
    "a value made nicer": (REFUSED["a value made nicer"][0], [("changed", "contrast_ratio", "pass")]),
    "a row less": ({RESULTS: lambda text: text.rpartition("\n[[result]]")[0] + "\n"}, [("gone", "ph", None)]),
    "taken away": ({RESULTS: None}, [("gone", str(row["test"]), None) for row in MEASURED]),
    "moved below": ({RESULTS: None, "results/old/T-210-r1.toml": "same"}, []),
    "a name": (KEPT["a name"], []),
}


def moved(answer: str) -> list[tuple[str, str, str | None]]:
    """Which rows come, change or go, by the answer for machines."""
    rows = (row for one in json.loads(answer)["measurements"] for row in one["rows"])
    return [(row["change"], (row["after"] or row["before"])["test"], row["verdict"]) for row in rows]


@pytest.mark.parametrize(("edits", "rows"), MOVED.values(), ids=MOVED.keys())
def test_results_that_come_change_or_go_are_listed(on_record: Works, edits: Edits, rows: list[tuple[str, str, str | None]]) -> None:
    head = on_record.propose({name: on_record.texts[RESULTS] if text == "same" else text for name, text in edits.items()})
    assert moved(ask("-C", str(on_record.repo), "diff", on_record.base, head).out) == moved(on_record.gate(head).out) == rows


@pytest.mark.parametrize("how", ["markdown", "html", "terminal"])
def test_the_gate_says_whose_word_it_took(on_record: Works, how: str) -> None:
    head = on_record.propose(KEPT["a row more"])
    page = " ".join(ask("-C", str(on_record.repo), "gate", "--base", on_record.base, "--head", head, how=how).out.split())
    assert "1 result of tests comes with the proposal itself, by its own word from QC:" in page and "whoever reviews it vouches for them" in page and "8.9" in page


def test_a_failure_does_not_vanish_on_the_way_to_pilot(bare: Works) -> None:
    bench = "formulas/trials/T-900.toml"
    failed = bare.propose({"results/T-900-r1.toml": file_of(bare, {**MEASURED[4], "value": "9.9"}).replace("T-210", "T-900")})
    on_the_way = bare.propose({bench: replace('"bench"', '"pilot"'), "results/T-900-r1.toml": None}, failed)
    assert "T-900-r1, results of T-900, is taken away" in bare.gate(on_the_way, base=failed).said
