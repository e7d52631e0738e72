"""Pictures of a page: the same bytes each time, heard as well as seen, in colours that can be read by day and night, and never needed."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

import pytest
from in_memory import of_files
from repository import run
from test_outputs import page, show
from test_render import DEMO, HOSTILE, STEERS, changed, demo_files

from formulint import computed, tables
from formulint.compare import formulas
from formulint.judge import Judge
from formulint.order_report import ordering
from formulint.order_report import report as order_report
from formulint.picture import Arrow, Arrows, Bar, Level, Levels, Numbers, Picture, Span, Stacks, Track, Tracks
from formulint.pictured import MOST_PICTURED, PARTS
from formulint.render.pictures import LETTER, cut, draw, width_of
from formulint.render.style import DAY, NIGHT
from formulint.render.vector import ROLES
from formulint.report import Report, Section
from formulint.scope import Touched
from formulint.side import side

NONE = Numbers((), ())


def drawn(before: Mapping[str, str]) -> Report:
    """A comparison of the demo repository with its changed state, for a page."""
    old = of_files(before)
    codes = [Path(name).stem for name in changed().formula_files()]
    return tables.diff(old, changed(), formulas(old, changed(), codes), (), Touched((), (), {}, (), ()), True)


@cache
def diff() -> Report:
    """What changed, with pictures."""
    return drawn(demo_files())


def properties(*codes: str) -> Report:
    """Values of formulas, with pictures."""
    sides = [one for code in codes if (one := side(changed(), code)) is not None]
    return computed.properties(changed(), sides, (), pictures=True)


@cache
def order() -> Report:
    """The order of a formula, with its picture."""
    judge = Judge(changed())
    file = changed().find_formula("T-101")
    assert file is not None
    return order_report(changed(), [ordering(judge, file, True)])


REPORTS: dict[str, Callable[[], Report]] = {"diff": diff, "properties": lambda: properties("T-101", "T-149"), "order": order}


@pytest.mark.parametrize("what", REPORTS)
def test_the_same_bytes_each_time_and_nothing_of_the_day(what: str) -> None:
    text = show("html", REPORTS[what]())
    assert text == show("html", REPORTS[what]())
    assert "<svg" in text and not re.search(r"matplotlib|metadata|<!DOCTYPE svg|#0000[01]", text)


@pytest.mark.parametrize("what", REPORTS)
def test_a_page_with_pictures_is_read_by_anybody(what: str) -> None:
    read = page(show("html", REPORTS[what]()))
    names = [tag for tag, _ in read.elements]
    assert {"svg", "figure", "figcaption", "desc"} <= set(names) and not {"script", "img", "link", "foreignobject"} & set(names)
    ids = [held["id"] for _, held in read.elements if "id" in held]
    assert len(ids) == len(set(ids))
    pointed = {value[1:] for _, held in read.elements for name, value in held.items() if name == "href" and value} | set(re.findall(r"url\(#([\w-]+)\)", str(read.elements)))
    assert pointed <= set(ids)
    labels = {word for _, held in read.elements for word in (held.get("aria-labelledby") or "").split()}
    assert labels and labels <= set(ids)
    assert not any("style" in held for tag, held in read.elements)


@pytest.mark.parametrize("what", REPORTS)
def test_every_picture_has_its_numbers_in_a_table(what: str) -> None:
    report = REPORTS[what]()
    pictures = [one for section in report.sections for one in section.pictures]
    said = page(show("html", report)).text
    assert pictures and all(one.said and one.numbers.rows for one in pictures)
    assert [cell for one in pictures for row in one.numbers.rows for cell in row if cell not in said] == []


def test_what_is_asked_for_without_a_page_has_no_pictures() -> None:
    assert all(not section.pictures for section in computed.properties(changed(), [one for one in (side(changed(), "T-101"),) if one], ()).sections)


def test_values_stand_where_they_are() -> None:
    (section,) = (one for one in diff().sections if one.heading.startswith("T-140"))
    tracks = next(one for one in section.pictures if isinstance(one, Tracks))
    voc = next(one for one in tracks.tracks if one.label == "VOC less water")
    assert voc.before is not None and voc.after is not None and voc.verdict == "fails" and tracks.tracks[0] is voc
    assert (voc.least, voc.before.text) == (None, "33.8") and voc.most == pytest.approx(50.0)


def test_stages_add_up_to_the_mass_of_the_sheet() -> None:
    one = side(changed(), "T-149")
    assert one is not None
    stacks = next(picture for picture in properties("T-149").sections[0].pictures if isinstance(picture, Stacks))
    total = sum(sum(bar.amounts) for _, bars in stacks.groups for bar in bars)
    mass = one.values["mass"]
    assert isinstance(mass, float) and total * 0.45359237 == pytest.approx(mass) and set(stacks.parts) <= set(PARTS)


def test_what_is_not_known_is_not_drawn_as_little() -> None:
    files = demo_files(T_101=('{ material = "RM-1001", amount = "250.0 lb" }', '{ material = "RM-9999", amount = "25.0 gal" }'))
    shelf = of_files(files)
    one = side(shelf, "T-101")
    assert one is not None
    found = computed.properties(shelf, [one], (), pictures=True).sections[0].pictures
    assert not any(isinstance(picture, Stacks | Levels) for picture in found)
    assert all(track.after is None for picture in found if isinstance(picture, Tracks) for track in picture.tracks if track.label == "Density")


def test_a_page_of_many_says_how_many_have_no_pictures() -> None:
    files = demo_files()
    sheet = files["formulas/T-101.toml"]
    files |= {f"formulas/T-{at}.toml": sheet.replace('"T-101"', f'"T-{at}"') for at in range(500, 500 + MOST_PICTURED + 3)}
    shelf = of_files(files)
    sides = [one for at in range(500, 500 + MOST_PICTURED + 3) if (one := side(shelf, f"T-{at}")) is not None]
    text = show("html", computed.properties(shelf, sides, (), pictures=True))
    assert f"pictures of the first {MOST_PICTURED} formulas; 3 more have tables only" in text
    assert text.count("<h2") == MOST_PICTURED + 3 and len(text) < 600_000


# --- what strangers write ----------------------------------------------------------------------------------------

MARKUP = ["</svg><script>x</script>", "$\\frac{", "${a}^{b}$", "_x", "\\", "&amp;", "漆" * 300, "\u202eab", ""]


def all_of(text: str) -> tuple[Picture, ...]:
    """One picture of each kind, with a text in every place for one."""
    numbers = Numbers((text, f">{text}"), ((text, text),))
    span = Span(1.0, 2.0, text)
    return (
        Tracks(text, text, numbers, (Track(text, span, span, 0.0, None, text, text), Track(text, None, None, None, 3.0, text, "fails"), Track(text, None, span, 1.5, 1.5, text)), 1),
        Levels(text, text, numbers, (Level(text, 50.0, 130.0, text),)),
        Stacks(text, text, numbers, (text, text), ((text, (Bar(text, (0.0, 1.0), text), Bar(text, (0.0, 0.0), text))),)),
        Arrows(text, text, numbers, (text, text), (Arrow(0, 1), Arrow(1, 0, True), Arrow(0, 0))),
    )  # fmt: skip


@pytest.mark.parametrize("text", [*HOSTILE.values(), *MARKUP])
def test_text_of_a_stranger_is_only_text_in_a_picture(text: str) -> None:
    said = show("html", Report("t", (), (Section("s", pictures=all_of(text)),), ()))
    tags = {tag for tag, _ in page(said).elements}
    assert tags & {"script", "b", "img", "a"} <= set() and "svg" in tags
    assert not STEERS.search(said)


def test_pictures_of_nothing_are_empty() -> None:
    kinds = (Tracks("t", "s", NONE), Levels("t", "s", NONE), Stacks("t", "s", NONE), Arrows("t", "s", NONE))
    assert [draw(one, "p") for one in kinds] == [""] * 4


@pytest.mark.parametrize("room", [5.0, 40.0, 200.0])
@pytest.mark.parametrize("text", ["", "a short one", "wide " * 40, "漆" * 40])
def test_text_that_is_cut_fits_and_says_so(text: str, room: float) -> None:
    found = cut(text, room, 10)
    assert width_of(found, 10) <= max(room, LETTER * 10)
    assert found == text or found.endswith("…")


def test_more_than_can_be_seen_is_bounded() -> None:
    stages = tuple((f"stage {at}", (Bar("now", (1.0,), "1 kg"),)) for at in range(500))
    arrows = tuple(Arrow(at, at + 1) for at in range(499))
    many = (Stacks("t", "s", NONE, ("a",), stages), Arrows("t", "s", NONE, tuple(f"item {at}" for at in range(500)), arrows))
    assert all(len(draw(one, "p")) < 60_000 for one in many)


# --- colours -----------------------------------------------------------------------------------------------------


def luminance(colour: str) -> float:
    """Relative luminance of a colour as the guidelines for accessible pages define it (WCAG 2.1; memory)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """How well two colours stand out from each other: from 1 to 21."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("palette", [DAY, {**DAY, "paper": "#ffffff"}, NIGHT], ids=["day", "paper", "night"])
@pytest.mark.parametrize("role", ["ink", "soft", "stop", "wait"])
def test_writing_stands_out(palette: dict[str, str], role: str) -> None:
    assert min(contrast(palette[role], palette[ground]) for ground in ("paper", "band")) >= 4.5


@pytest.mark.parametrize("palette", [DAY, NIGHT], ids=["day", "night"])
def test_patterns_stand_out_from_what_they_lie_on(palette: dict[str, str]) -> None:
    assert min(contrast(palette["ink"], palette[part]) for part in "abcdef") >= 4.5


def test_contrast_is_reckoned_as_published() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


def test_every_colour_of_a_picture_is_one_of_the_page() -> None:
    assert set(ROLES) == set(DAY) == set(NIGHT)
    text = show("html", diff())
    assert set(re.findall(r'class="([^"]*)"[^>]* d=', text)) and not re.search(r'(fill|stroke)="#', text)


# --- without what draws, and with a stranger's settings of it ----------------------------------------------------

START = "import sys\nfrom formulint.cli import main\nsys.exit(main(sys.argv[1:]))\n"
BLOCKED = f"import sys\nsys.modules['matplotlib'] = None\n{START}"
LACKING = "pictures need matplotlib: install formulint[pictures]"


def asked(folder: Path, start: str) -> str:
    """The page of a formula, written by an interpreter started so in a folder."""
    words = ("-C", str(DEMO), "properties", "T-101", "--format", "html", "--today", "2026-01-12")
    ran = subprocess.run((sys.executable, "-c", start, *words), cwd=folder, capture_output=True, text=True, check=False, env={**os.environ, "PYTHONSAFEPATH": "1"})
    assert (ran.returncode, ran.stderr) == (0, "")
    return ran.stdout


def test_without_it_one_sentence_says_so_and_nothing_else_is_lost(tmp_path: Path) -> None:
    without, whole = asked(tmp_path, BLOCKED), asked(tmp_path, START)
    assert "<svg" not in without and "<svg" in whole
    assert without.replace(f'<p class="said">{LACKING}</p>\n', "", 1) == re.sub(r"<svg.*?</svg>\n", "", whole, flags=re.DOTALL)


def test_settings_of_a_stranger_in_the_folder_are_not_read(tmp_path: Path) -> None:
    clean = asked(tmp_path, START)
    (tmp_path / "matplotlibrc").write_bytes(b"svg.fonttype: path\nfont.size: 40\nnonsense \x1b[2J\nhatch.color: red\n\xff")
    assert asked(tmp_path, START) == clean


def test_a_page_without_pictures_does_not_need_it() -> None:
    words = ("-C", str(DEMO), "lint", "--format", "html", "--today", "2026-01-12")
    ran = subprocess.run((sys.executable, "-c", BLOCKED, *words), capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stderr, LACKING in ran.stdout) == (0, "", False)


def test_the_command_draws(tmp_path: Path) -> None:
    answer = run(DEMO, "order", "T-101", "--format", "html", "--output", str(tmp_path / "page"))
    assert answer.status in (0, 1) and (tmp_path / "page").read_text().count("<svg") == 1
