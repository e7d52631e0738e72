"""What people and machines are shown: it fits the screen, strangers' texts do nothing in it, and the contract holds."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

import pytest
from in_memory import of_files
from repository import run, write

from formulint import computed, report, tables
from formulint.catalog import Catalog
from formulint.cli import main
from formulint.compare import formulas
from formulint.judge import Judge
from formulint.render import json_pages, json_report, spelled, terminal
from formulint.report import Cell, Report, Section, Table
from formulint.scope import Touched, everything
from formulint.side import side

DEMO = Path(__file__).parent.parent / "example_repo"
WIDTHS = (60, 80, 120, 200)
STYLE = re.compile(r"\x1b\[[0-9;]*m")
STEERS = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
COMMAND = re.compile(r"^\s*::|##[\w.-]*\[", re.M)
HOSTILE = {
    "escape": "\x1b[31mred\x1b[0m",
    "eight-bit escape": "\x9b31mred",
    "title": "\x1b]0;owned\x07",
    "direction": "\u202egnp.exe \u2066x",
    "lines": "one\r\ntwo\n::error::three",
    "command at the start": "::error file=x,line=1::stop",
    "command after a blank": "x ::set-output name=y::z",
    "older command": "##[error]stop ##vso[task]",
    "markup": "[red]not red[/red] [link=https://example.org]x[/link] :smile:",
    "half a character": "T-\udcff",
    "ten thousand": "x" * 10_000,
    "many words": "word " * 2_000,
    "marks": "e" + "\u0301" * 200,
}  # fmt: skip


def demo_files(**changes: tuple[str, str]) -> dict[str, str]:
    """The files of the demo repository, with texts of formulas replaced: ``T_101=(old, new)``."""
    paths = [DEMO / "formulint.toml", *DEMO.glob("*/*.toml")]
    found = {str(path.relative_to(DEMO)): path.read_text(encoding="utf-8") for path in paths}
    for code, (old, new) in changes.items():
        name = f"formulas/{code.replace('_', '-')}.toml"
        assert old in found[name]
        found[name] = found[name].replace(old, new, 1)
    return found


@cache
def changed() -> Catalog:
    """The demo repository with a line doubled, a coalescent exchanged and a code mistyped."""
    return of_files(
        demo_files(T_101=('"250.0 lb"', '"500.0 lb"'), T_140=('"RM-1021"', '"RM-1020"'), T_210=("RM-1302", "RM-1307"))
    )


def lint_of(catalog: Catalog) -> Report:
    """Everything that is said about a repository, notes too."""
    scope = everything(catalog)
    return report.lint(catalog, scope, Judge(catalog).findings(scope), True)


def properties_of(catalog: Catalog) -> Report:
    """All values of all formulas."""
    sides = [one for name in catalog.formula_files() if (one := side(catalog, Path(name).stem)) is not None]
    return computed.properties(catalog, sides, ())


def diff_of(before: Catalog, after: Catalog) -> Report:
    """What changed between two repositories."""
    codes = [Path(name).stem for name in after.formula_files()]
    return tables.diff(before, after, formulas(before, after, codes), (), Touched((), (), {}, (), ()))


REPORTS = {
    "lint": lambda: lint_of(changed()),
    "properties": lambda: properties_of(changed()),
    "diff": lambda: diff_of(of_files(demo_files()), changed()),
}


def too_wide(text: str, width: int) -> list[str]:
    """Lines beyond the width, but for those that a single word makes so."""
    lines = [line for line in text.split("\n") if len(line) > width]
    return [line for line in lines if max(len(word) for word in line.split()) + 10 <= width]


# ---------------------------------------------------------------- the width of the screen


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("what", REPORTS)
def test_no_line_is_longer_than_the_screen(what: str, width: int) -> None:
    assert too_wide(terminal.plain(REPORTS[what](), width), width) == []


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("what", REPORTS)
def test_nothing_is_lost_on_a_narrow_screen(what: str, width: int) -> None:
    """All that is written is the same words, however they are broken."""
    words = re.sub(r"\s+", "", terminal.plain(REPORTS[what](), 10_000))
    assert sorted(re.sub(r"\s+", "", terminal.plain(REPORTS[what](), width))) == sorted(words)


def table(*rows: tuple[str, ...], columns: tuple[str, ...] = ("name", ">number")) -> Table:
    """A table of plain cells."""
    return Table(columns, tuple(tuple(Cell(text) for text in row) for row in rows))


def test_text_gives_way_before_numbers() -> None:
    lines = terminal.table_lines(table(("a name of several words that is long", "123456.789")), 40)
    assert all(len(line) <= 40 for line in lines)
    assert any(line.endswith("123456.789") for line in lines)


def test_a_long_word_in_a_cell_is_broken_and_its_neighbours_stay() -> None:
    lines = terminal.table_lines(table(("x" * 300, "1.5")), 60)
    assert all(len(line) <= 60 for line in lines) and lines[1].endswith("1.5")
    assert sum(line.count("x") for line in lines) == 300


def test_an_empty_table_and_an_empty_column_take_no_room() -> None:
    assert terminal.table_lines(table(), 80) == []
    assert terminal.table_lines(table(("a", ""), ("b", "")), 80) == ["  name", "  a", "  b"]


@pytest.mark.parametrize(("columns", "width"), [("", 80), ("10", 60), ("100", 100), ("999", 200), ("wide", 80)])
def test_the_width_is_that_of_the_screen_within_reason(
    columns: str, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns) if columns else monkeypatch.delenv("COLUMNS", raising=False)
    assert terminal.width_of_screen() == width


# ---------------------------------------------------------------- texts of strangers


def quoted(text: str) -> str:
    """A text in TOML, every odd character as an escape; half characters cannot be written there."""
    whole = text.encode("utf-8", "ignore").decode()
    return '"' + "".join(one if one.isalnum() or one in " .-" else f"\\U{ord(one):08x}" for one in whole) + '"'


def hostile(text: str) -> dict[str, str]:
    """A repository in which every place that takes any text holds this one, also where that is a fault."""
    odd = quoted(text)
    material = f'code = "M"\nname = {odd}\nfunctions = ["other"]\nsupplier = {odd}\ntags = [{odd}]\nnote = {odd}\n'
    material += (
        f'nonvolatile = "100 %"\n[[component]]\nname = {odd}\ncas = {odd}\nshare = "1 %"\n[source]\n{odd} = {odd}\n'
    )
    head = f'name = {odd}\nrevision = 1\nstate = "production"\nclass = "flat"\nbatch = "1 L"\nmarkets = ["us-national", {odd}]\n'
    stage = (
        f'[[stage]]\nname = {odd}\nkind = "grind"\nadditions = [{{ material = "M", amount = "2 kg", note = {odd} }}]\n'
    )
    more = f"[category]\nus-national = {odd}\n[limits]\n{odd} = {{ max = {odd} }}\n"
    settings = f'format = 1\n[[rule_setting]]\nrule = {odd}\nlevel = "note"\nreason = {odd}\n'
    house = f'[[rule]]\nid = "x"\nkind = "dose"\nlevel = "error"\ntitle = {odd}\nwhy = {odd}\nremedy = {odd}\nname = {odd}\n'
    house += f'of = {{ codes = ["M"] }}\nmax = "1 %"\nsource = {{ document = {odd}, section = {odd}, checked = "verified" }}\n'
    good = head.replace(f", {odd}]", "]") + 'state_ = "x"\n'
    return {
        "formulint.toml": settings,
        "materials/M.toml": material,
        "formulas/T-1.toml": f'code = "T-1"\n{head}{stage}{more}',
        "formulas/T-2.toml": f'code = "T-2"\n{good.replace("state_", "note")}{stage}',
        "rules/h.toml": house,
        f"formulas/{text[:200].replace('/', '')}.toml": f'code = "T-3"\n{head}{stage}',
    }


def steering(text: str) -> list[str]:
    """What in a text would steer a screen or a machine that reads along."""
    return [*STEERS.findall(text), *COMMAND.findall(text)]


def hostile_reports(text: str) -> Iterator[Report]:
    """All kinds of report about a hostile repository."""
    catalog = of_files(hostile(text))
    yield lint_of(catalog)
    yield properties_of(catalog)
    yield diff_of(of_files({"formulint.toml": "format = 1\n"}), catalog)


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_text_is_harmless_in_plain_lines(kind: str) -> None:
    for one in hostile_reports(HOSTILE[kind]):
        for width in WIDTHS:
            text = terminal.plain(one, width)
            assert steering(text) == []
            assert len(text) < 60_000 and too_wide(text, width) == []


@pytest.fixture
def screen(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """Standard output that says it is a screen with colours, 80 columns wide."""
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLUMNS", "80")
    return monkeypatch


@pytest.mark.parametrize("kind", HOSTILE)
@pytest.mark.usefixtures("screen")
def test_a_hostile_text_is_harmless_on_a_screen(kind: str) -> None:
    for one in hostile_reports(HOSTILE[kind]):
        text = terminal.show(one)
        assert "\x1b[" in text
        assert steering(STYLE.sub("", text)) == []


@pytest.mark.usefixtures("screen")
def test_markup_in_a_name_is_shown_as_it_is() -> None:
    text = STYLE.sub("", terminal.show(lint_of(of_files(hostile(HOSTILE["markup"])))))
    assert "[red]not red[/red]" in text and ":smile:" in text


def test_a_name_of_ten_thousand_letters_ends_with_an_ellipsis() -> None:
    text = terminal.plain(lint_of(of_files(hostile(HOSTILE["ten thousand"]))), 80)
    assert "x" * 100 in text and "x" * 500 not in text and "…" in text


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_text_stays_a_value_in_json(kind: str) -> None:
    catalog = of_files(hostile(HOSTILE[kind]))
    text = json_report.lint(catalog, Judge(catalog).findings(everything(catalog)), {})
    assert STEERS.findall(text) == []
    assert json.loads(text.encode("utf-8"))["format"] == "formulint/lint/1"


# ---------------------------------------------------------------- tones


def test_tones_are_for_screens_that_want_them(screen: pytest.MonkeyPatch) -> None:
    shown = REPORTS["properties"]()
    assert "\x1b[" in terminal.show(shown)
    for name, value in (("NO_COLOR", "1"), ("TERM", "dumb")):
        with screen.context() as patch:
            patch.setenv(name, value)
            assert terminal.show(shown) == terminal.plain(shown, 80)
    with screen.context() as patch:
        patch.setenv("NO_COLOR", "")  # empty means: not asked for
        assert "\x1b[" in terminal.show(shown)


def test_no_tone_where_nobody_watches() -> None:
    assert "\x1b" not in terminal.show(REPORTS["lint"]())


@pytest.mark.parametrize("what", REPORTS)
@pytest.mark.parametrize("width", WIDTHS)
def test_a_screen_shows_the_words_of_the_plain_report(what: str, width: int, screen: pytest.MonkeyPatch) -> None:
    screen.setenv("COLUMNS", str(width))
    shown = REPORTS[what]()
    text = STYLE.sub("", terminal.show(shown))
    assert max(len(line) for line in text.split("\n")) <= max(width, 120)
    letters = re.sub(r"[\s─]+", "", text)
    assert sorted(letters) == sorted(re.sub(r"\s+", "", terminal.plain(shown, width)))


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pseudo-terminal")
def test_a_real_terminal_is_written_to_with_tones(tmp_path: Path) -> None:
    import pty

    ours, theirs = pty.openpty()
    folder = simple(tmp_path)
    environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "70"}
    call = [sys.executable, "-m", "formulint", "-C", str(folder), "properties"]
    done = subprocess.run(call, stdout=theirs, stderr=theirs, stdin=subprocess.DEVNULL, env=environment, check=False)
    os.close(theirs)
    text = os.read(ours, 100_000).decode()
    os.close(ours)
    assert done.returncode == 0 and "\x1b[1m" in text and "Density, kg/L" in STYLE.sub("", text)


# ---------------------------------------------------------------- screens that lack characters


def simple(folder: Path, name: str = "Weiß, 漢字 😀") -> Path:
    """A repository on disk with one readable formula that is stopped by its own limit."""
    water = {"name": "water", "functions": ["water"], "density": "1 kg/L", "nonvolatile": "0 %", "water": "100 %"}
    stage = {"name": "Mix", "kind": "grind", "additions": [{"material": "W", "amount": "1 kg"}]}
    formula: Mapping[str, object] = {
        "name": name, "revision": 1, "state": "production", "class": "intermediate", "batch": "1 kg",
        "limits": {"density": {"max": "0.9 kg/L"}}, "stage": [stage],
    }  # fmt: skip
    return write(folder, {"format": 1}, {"W": water}, {"T-1": formula})


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
@pytest.mark.parametrize("how", ["terminal", "json"])
def test_a_screen_that_lacks_a_letter_still_gets_an_answer(
    encoding: str, how: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONIOENCODING", encoding)
    folder = simple(
        tmp_path, "Weiß, 漢字 😀".encode(encoding, "ignore").decode(encoding) if encoding == "utf-8" else "漢字 😀"
    )
    call = [sys.executable, "-m", "formulint", "-C", str(folder), "properties", "--format", how]
    done = subprocess.run(call, capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.decode(encoding)


def test_what_a_screen_lacks_is_spelled_so_that_json_reads_it_back() -> None:
    text = json.dumps({"name": "Weiß 漢 😀"}, ensure_ascii=False)
    assert json.loads(spelled(text, "ascii").encode("ascii")) == {"name": "Weiß 漢 😀"}
    assert spelled("Weiß 漢", "cp1252") == "Weiß \\u6f22"


# ---------------------------------------------------------------- the contract for machines

RESULT = [
    "rule", "kind", "level", "message", "formula", "material", "path", "line", "column", "keys", "measured", "limit", "unit",
    "remedy", "why", "source", "missing", "related", "remedies", "suppressed",
]  # fmt: skip
KEYS = {
    "lint": ["format", "state", "date", "date_origin", "judged", "assumed", "verdict", "results"],
    "properties": ["format", "state", "date", "formulas"],
    "diff": ["format", "before", "after", "date", "formulas", "records", "affected", "policy", "measurements"],
}
FORMULA = {
    "properties": ["code", "revision", "state", "digest", "properties", "lines", "stages", "hazards"],
    "diff": ["code", "class", "unread", "policy", "fields", "digest", "additions", "properties", "not_split", "results", "tests_due"],
}
PROPERTY = {
    "properties": {"value", "unit", "kind"},
    "diff": {"id", "unit", "before", "after", "delta", "limit", "limit_before", "verdict", "causes"},
}


@cache
def machine(what: str) -> str:
    """The object of a command over the changed demo repository."""
    before, after = of_files(demo_files()), changed()
    codes = [Path(name).stem for name in after.formula_files()]
    if what == "lint":
        return json_report.lint(after, Judge(after).findings(everything(after)), {"formulas": 8, "materials": 40})
    if what == "properties":
        return json_pages.properties(after, [one for code in codes if (one := side(after, code)) is not None])
    return json_report.diff(before, after, formulas(before, after, codes), (), {"T-101": "RM-1001"}, ["formulint.toml"])


def numbers(value: object) -> Iterator[float]:
    """Every number that is not whole, at any depth."""
    if isinstance(value, float):
        yield value
    elif isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from numbers(inner)


@pytest.mark.parametrize("what", KEYS)
def test_one_object_with_the_keys_of_the_contract(what: str) -> None:
    data = json.loads(machine(what))
    assert list(data) == KEYS[what]
    assert data["format"] == f"formulint/{what}/1"


@pytest.mark.parametrize("what", FORMULA)
def test_every_formula_has_the_keys_of_the_contract(what: str) -> None:
    for one in json.loads(machine(what))["formulas"]:
        assert list(one) == FORMULA[what]
        values = one["properties"].values() if what == "properties" else one["properties"]
        assert all(set(value) >= PROPERTY[what] for value in values) and values


def test_every_finding_has_the_keys_of_the_contract() -> None:
    results = json.loads(machine("lint"))["results"]
    results += [one for change in json.loads(machine("diff"))["formulas"] for one in change["results"]["new"]]
    assert len(results) > 20
    assert all(list(one) == RESULT for one in results)
    assert {one["kind"] for one in results} <= {"fail", "open", "review"}
    assert {one["level"] for one in results} == {"error", "warning", "note"}


def test_a_finding_says_where_and_how_much() -> None:
    found = [one for one in json.loads(machine("lint"))["results"] if one["rule"] == "voc/us-south-coast"]
    one = found[0]
    assert (one["formula"], one["path"], one["keys"]) == ("T-140", "formulas/T-140.toml", ["markets"])
    assert (one["limit"], one["unit"]) == ("50 g/L", "g/L")
    assert one["line"] > 0 and one["column"] > 0 and float(one["measured"].split()[0]) > 50


@pytest.mark.parametrize("what", KEYS)
def test_numbers_have_at_most_twelve_digits(what: str) -> None:
    found = list(numbers(json.loads(machine(what), parse_constant=lambda word: pytest.fail(word))))
    assert [one for one in found if float(f"{one:.12g}") != one] == []
    assert found or what == "lint"


@pytest.mark.parametrize("what", KEYS)
def test_the_same_question_gets_the_same_bytes(what: str) -> None:
    first = machine(what)
    machine.cache_clear()
    assert machine(what) == first
    assert first.endswith("}\n") and first.encode("utf-8")


def test_the_settings_of_the_house_are_told_to_machines_too() -> None:
    setting = '\n[[rule_setting]]\nrule = "dose/bit"\nlevel = "note"\nreason = "tested"\n'
    catalog = of_files({"formulint.toml": "format = 1\n" + setting})
    assert "set by the house: dose/bit is note (tested)" in json.loads(json_report.lint(catalog, (), {}))["assumed"]


def test_units_of_machines_are_metric_whatever_people_see() -> None:
    one = json.loads(machine("properties"))["formulas"][0]["properties"]
    assert (one["density"]["unit"], one["volume"]["unit"], one["pigment_binder"]["unit"]) == ("kg/L", "L", "1")
    assert "lb/gal" in terminal.plain(REPORTS["properties"](), 80)


# ---------------------------------------------------------------- files


@pytest.mark.parametrize("how", ["terminal", "json"])
def test_a_file_holds_what_the_screen_would_show(how: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder, target = simple(tmp_path), tmp_path / "report"
    target.write_text("an older and much longer report\n" * 1000)
    words = ["-C", str(folder), "lint", "--today", "2026-01-12", "--format", how]
    assert main([*words, "--output", str(target)]) == main(words) == 1
    assert capsys.readouterr().out == target.read_text(encoding="utf-8")
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


@pytest.mark.parametrize("link", ["file", "nothing"])
def test_nothing_is_written_through_a_link(link: str, tmp_path: Path) -> None:
    folder, target, kept = simple(tmp_path), tmp_path / "report", tmp_path / "kept"
    if link == "file":
        kept.write_text("mine")
    target.symlink_to(kept)
    answer = run(folder, "lint", "--output", str(target))
    assert (answer.status, answer.out) == (2, "") and "is a link" in answer.err
    assert (kept.read_text() if kept.exists() else None) == ("mine" if link == "file" else None)


def test_a_report_that_cannot_be_written_is_no_answer(tmp_path: Path) -> None:
    answer = run(simple(tmp_path), "lint", "--output", str(tmp_path / "no such folder" / "report"))
    assert answer.status == 2 and "cannot be written" in answer.err


# ---------------------------------------------------------------- words


def test_a_section_without_findings_is_its_heading_and_tables() -> None:
    shown = Report("title", ("fact",), (Section("heading", (), (table(("a", "1")),), ("remark",)),), ("closing",))
    assert terminal.plain(shown) == "title\nfact\n\nheading\n  name  number\n  a          1\n  remark\n\nclosing\n"


def test_why_is_told_once_for_each_rule() -> None:
    told = {(one.rule, one.why[:50]) for one in Judge(changed()).findings(everything(changed())) if one.why}
    text = terminal.plain(lint_of(changed()), 10_000)
    times = Counter(why for _, why in told)
    assert len(told) > 5
    assert {why: text.count(f"why: {why}") for why in times} == times


@pytest.mark.parametrize("kind", HOSTILE)
def test_the_hostile_repository_is_hostile_in_many_places(kind: str) -> None:
    catalog = of_files(hostile(HOSTILE[kind]))
    rules = {one.rule for one in Judge(catalog).findings(everything(catalog))}
    assert rules >= {"record/consistent", "record/known-rule", "house/x"}
