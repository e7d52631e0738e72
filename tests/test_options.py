"""Command lines: the quick reader and the standard library's give the same, and what is not plain is left to the latter."""

from __future__ import annotations

from importlib import import_module

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulint import cli
from formulint.options import Option, plain_start, quick

OPTIONS: dict[str, tuple[Option, ...]] = {name: import_module(f"formulint.commands.{name}").OPTIONS for name in cli.COMMANDS}
WORDS = st.sampled_from(["T-101", "formulas/T-101.toml", "HEAD", "HEAD~2", "A B", "", "v1.0", "lint", "a=b", "2026"])
READ = {"DATE": st.dates().map(lambda day: day.isoformat()), "NUMBER": st.integers(0, 999).map(str), "SIZE": st.sampled_from(["500 gal", "250 kg"])}
"""Values of options that are read, by what stands for them in the help."""


def values(option: Option) -> st.SearchStrategy[list[str]]:
    """An option with a value it takes."""
    if not option.value:
        return st.just([option.name])
    text = st.sampled_from(option.choices) if option.choices else READ[option.value] if option.read is not None else WORDS
    return text.map(lambda value: [option.name, value])


@st.composite
def lines(draw: st.DrawFn) -> list[str]:
    """A line of whole options and values, at most one of each group, with the words that are given by place anywhere between."""
    command = draw(st.sampled_from(sorted(OPTIONS)))
    named = [option for option in OPTIONS[command] if not option.positional]
    chosen = draw(st.lists(st.sampled_from(named), unique_by=lambda option: option.group or option.name)) if named else []
    parts = [draw(values(option)) for option in chosen]
    places = [option for option in OPTIONS[command] if option.positional]
    most = 4 if any(option.several for option in places) else len(places)
    for word in draw(st.lists(WORDS, max_size=most)):
        parts.insert(draw(st.integers(0, len(parts))), [word])
    if any(option.takes_rest for option in OPTIONS[command]):
        parts.append(draw(st.sampled_from([[], ["--"], ["--", "T-101"], ["--", "-x", "--"]])))
    folder = draw(st.sampled_from([[], ["-C", "."], ["-C", "paint"], ["-C", ""]]))
    return [*folder, command, *(word for part in parts for word in part)]


def quickly(words: list[str]) -> dict[str, object] | None:
    """What the quick reader makes of a line."""
    start = plain_start(words, cli.COMMANDS)
    if start is None:
        return None
    folder, command, rest = start
    found = quick(OPTIONS[command], rest)
    return None if found is None else {**vars(found), "folder": folder, "command": command}


@settings(max_examples=150, derandomize=True, deadline=None)
@given(words=lines())
def test_plain_lines_are_read_quickly_and_alike(words: list[str]) -> None:
    assert quickly(words) == vars(cli.standard(words))


REPEATED = [
    ["lint", "--notes", "--notes"], ["lint", "--today", "2026-01-12", "--today", "2026-01-13"], ["diff", "--only", "A", "--only", "B"],
    ["lint", "--format", "json", "--format", "terminal"], ["diff", "A..B"], ["properties"],
]  # fmt: skip


@pytest.mark.parametrize("words", REPEATED, ids=" ".join)
def test_what_is_said_twice_is_read_alike(words: list[str]) -> None:
    assert quickly(words) == vars(cli.standard(words))


NOT_PLAIN = [
    [], ["--version"], ["-h"], ["--help"], ["lint", "-h"], ["lint", "--help"], ["polish"], ["lint", "--format=json"], ["lint", "--form", "json"],
    ["lint", "--format"], ["lint", "--format", "xml"], ["lint", "--format", "--notes"], ["lint", "--today", "soon"], ["lint", "--today", "2026-13-01"],
    ["lint", "--at", "-1"], ["lint", "--staged", "--at", "HEAD"], ["lint", "--at", "A", "--at", "B"], ["lint", "--only", "T-101"], ["lint", "--", "T-101"],
    ["lint", "-"], ["lint", "--output", "-"], ["lint", "-v"], ["diff", "A", "B", "C"], ["-C"], ["-C", "paint"], ["lint", "-C", "paint"],
    ["-Cpaint", "lint"], ["--notes", "lint"],
]  # fmt: skip


@pytest.mark.parametrize("words", NOT_PLAIN, ids=" ".join)
def test_what_is_not_plain_is_left_to_the_standard_reader(words: list[str]) -> None:
    assert quickly(words) is None


REFUSED = {
    "lint --format xml": "invalid choice: 'xml'",
    "lint --today soon": '"soon" is no date; write year-month-day',
    "lint --staged --at HEAD": "not allowed with argument",
    "lint --nots": "unrecognized arguments: --nots",
    "diff A B C": "unrecognized arguments: C",
    "properties --format": "expected one argument",
    "polish": "invalid choice: 'polish'",
    "-C": "expected one argument",
}


@pytest.mark.parametrize("line", REFUSED)
def test_a_wrong_line_is_refused_with_a_sentence(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        cli.read(line.split())
    assert stopped.value.code == 2
    assert REFUSED[line] in capsys.readouterr().err


@pytest.mark.parametrize("command", OPTIONS)
def test_help_tells_every_option(command: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "1000")  # a narrow screen breaks words at their hyphens
    with pytest.raises(SystemExit) as stopped:
        cli.read([command, "--help"])
    said = " ".join(capsys.readouterr().out.split())
    assert stopped.value.code == 0
    assert [option.name for option in OPTIONS[command] if " ".join(option.help.split()) not in said] == []


APART: dict[str, dict[str, object]] = {
    "history T-140 --property density main": {"what": "T-140", "revision": "main", "property": "density"},
    "lint A --staged B": {"what": ["A", "B"], "staged": True},
    "diff A --only T-101 B": {"old": "A", "new": "B", "only": ["T-101"]},
}


@pytest.mark.parametrize("line", APART)
def test_options_may_stand_between_what_is_given_by_place(line: str) -> None:
    found = vars(cli.standard(line.split()))
    assert quickly(line.split()) == found
    assert {key: found[key] for key in APART[line]} == APART[line]


WRONG = [["-C", "-x", "lint"], ["history", "T-140", "--property", "density", "main", "more"], ["diff", "A", "--staged", "B", "C"]]


@pytest.mark.parametrize("words", WRONG, ids=" ".join)
def test_what_the_standard_reader_refuses_is_never_read_quickly(words: list[str]) -> None:
    with pytest.raises(SystemExit):
        cli.standard(words)
    assert quickly(words) is None
