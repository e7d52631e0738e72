"""A year of the paint works in ``example_repo``: its commits as edits of the files there, and how they are really made.

>>> works, answer = founded(tmp_path / "works")  # commit 0, through the hook, and what the hook said
>>> attempt(works, STEPS["1"]).status            # a commit that passes
>>> attempt(works, STEPS["4"]).said              # what the hook has to say about a slip
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping
from decimal import Decimal
from pathlib import Path
from typing import NamedTuple

from repos import Content, Repo, build

EXAMPLE = Path(__file__).parent.parent / "example_repo"
TOOL = f'"{sys.executable}" -m formulint'
HOOK = f'#!/bin/sh\nexec {TOOL} lint --staged ${{DAY:+--today "$DAY"}}\n'
"""The hook as a person would install it; the day can be given, because the story is told on days of its own."""

Edit = Callable[[str], str]
"""What happens to the text of one file."""


class Step(NamedTuple):
    """A commit of the story: when, what it says, and its edits by code of the record."""

    day: str
    message: str
    edits: Mapping[str, tuple[Edit, ...]]


class Answer(NamedTuple):
    """What git answered: its status, what was said on both streams, and the same with every run of blanks as one."""

    status: int
    text: str

    @property
    def said(self) -> str:
        """The text without line breaks, so that it can be searched whatever the width of the screen."""
        return " ".join(self.text.split())


# --- edits -------------------------------------------------------------------------------------------------------


def replace(before: str, after: str) -> Edit:
    """Exchange a piece of text that stands in the file once."""

    def edit(text: str) -> str:
        assert text.count(before) == 1, f"{before!r} stands {text.count(before)} times"
        return text.replace(before, after)

    return edit


def amount(code: str, before: str, after: str, new: str = "") -> Edit:
    """Exchange the amount of the one line of ``code`` that has it, and the material too where ``new`` is given."""
    line = re.compile(rf'material = "{code}", amount = +"{re.escape(before)}"')

    def edit(text: str) -> str:
        text, count = line.subn(f'material = "{new or code}", amount = "{after}"', text)
        assert count == 1, f"{count} lines of {code} have {before}"
        return text

    return edit


def less(code: str, pounds: str) -> Edit:
    """Take so many pounds from the last line of ``code``, so that water makes room."""

    def edit(text: str) -> str:
        *_, last = re.finditer(rf'material = "{code}", amount = +"([0-9.]+) lb"', text)
        return f'{text[: last.start(1)]}{Decimal(last[1]) - Decimal(pounds)}{text[last.end(1) :]}'

    return edit


def above(code: str, other: str) -> Edit:
    """Move the only line of ``code`` above the only line of ``other``."""

    def edit(text: str) -> str:
        moved, here = _line_of(text, code), _line_of(text, other)
        return text.replace(moved, "").replace(here, moved + here)

    return edit


def below(code: str, line: str) -> Edit:
    """Add a line below the only line of ``code``."""
    return lambda text: text.replace(_line_of(text, code), f"{_line_of(text, code)}  {line}\n")


def in_kilograms(digits: int = 0) -> Edit:
    """Write every amount in kilograms: in full (1 lb is 0.45359237 kg by definition), or with so many significant digits."""

    def kilograms(found: re.Match[str]) -> str:
        exact = Decimal(found[1]) * (Decimal("0.45359237") if found[2] == "lb" else 1)
        rounded = exact.quantize(Decimal(1).scaleb(exact.adjusted() - digits + 1)) if digits else exact
        return f'amount = "{rounded:f} kg"'

    return lambda text: re.sub(r'amount = +"([0-9.]+) (lb|kg)"', kilograms, text)


def _line_of(text: str, code: str) -> str:
    (line,) = re.findall(rf'^.*material = "{code}".*\n', text, re.MULTILINE)
    return str(line)


# --- the story ---------------------------------------------------------------------------------------------------

SECOND_REVISION = replace("revision = 1\n", "revision = 2\n")


def raised(text: str) -> str:
    """The next revision, whichever stands there: what is in production and changes bears another number."""
    text, count = re.subn(r"^revision = (\d+)$", lambda found: f"revision = {int(found[1]) + 1}", text, flags=re.MULTILINE)
    assert count == 1, f"{count} lines with a revision"
    return text


IMPORT = Step("2026-01-12", "import 8 products and 40 materials from spreadsheets", {})

STEPS: dict[str, Step] = {
    "1": Step("2026-01-20", "T-149: preservative 1.5 -> 1.3 lb", {"T-149": (raised, amount("RM-1801", "1.5 lb", "1.3 lb"))}),
    "2": Step(
        "2026-01-26",
        "T-101: density 11.86 +/- 0.15 lb/gal, for the paint of today and the next",
        {"T-101": (replace('min = "11.79 lb/gal", max = "12.09 lb/gal"', 'min = "11.71 lb/gal", max = "12.01 lb/gal"'),)},
    ),
    "3": Step(
        "2026-01-27",
        "T-101 revision 2: less TiO2, some opaque polymer",
        {
            "T-101": (
                raised,
                amount("RM-1101", "200.0 lb", "178.0 lb"),
                below("RM-1301", '{ material = "RM-1306", amount = "30.0 lb" },  # opaque polymer'),
                less("RM-1001", "23.6"),
            )
        },
    ),
    "4": Step("2026-02-03", "T-140: more brush drag", {"T-140": (raised, amount("RM-1604", "18.0 lb", "18.0 kg"))}),
    "5": Step(
        "2026-02-03",
        "T-140: RM-1604 19.5 lb",
        {"T-140": (raised, amount("RM-1604", "18.0 lb", "19.5 lb"), less("RM-1001", "1.4"))},
    ),
    "6": Step("2026-02-10", "T-120: tidy line order", {"T-120": (raised, above("RM-1101", "RM-1401"))}),
    "8": Step("2026-02-17", "T-210: amounts in kg for export trial", {"T-210": (in_kilograms(),)}),
    "8b": Step("2026-02-17", "T-210: amounts in kg, three digits", {"T-210": (in_kilograms(3),)}),
    "9": Step(
        "2026-02-24",
        "T-140: cheaper coalescent",
        {"T-140": (raised, amount("RM-1021", "10.0 lb", "14.0 lb", "RM-1020"), less("RM-1001", "4.5"))},
    ),
    "10": Step(
        "2026-03-03",
        "T-140 revision 3: low-volatility coalescent 11 lb, glycol 9 -> 7",
        {
            "T-140": (
                raised,
                amount("RM-1021", "10.0 lb", "11.0 lb"),
                amount("RM-1010", "9.0 lb", "7.0 lb"),
            )
        },
    ),
    "11": Step("2026-03-10", "T-301: stronger preservation", {"T-301": (raised, amount("RM-1802", "0.8 lb", "1.2 lb"))}),
    "12": Step(
        "2026-03-12",
        "T-301: RM-1801 1.5 -> 1.8 lb",
        {"T-301": (raised, amount("RM-1801", "1.5 lb", "1.8 lb"), less("RM-1001", "0.3"))},
    ),
    "13": Step("2026-03-20", "T-210: second-source latex", {"T-210": (raised, replace('"RM-1302"', '"RM-1307"'))}),
    "14": Step(
        "2026-03-24",
        "T-210 revision 2: second-source latex, approved, at equal solids",
        {
            "T-210": (raised, amount("RM-1302", "390.0 lb", "419.4 lb", "RM-1307"), less("RM-1001", "29.4")),
            "RM-1307": (replace('"trial"', '"approved"'),),
        },
    ),
    "glycol": Step("2026-04-13", "T-120: glycol 5 -> 6 lb", {"T-120": (raised, amount("RM-1010", "5.0 lb", "6.0 lb"))}),
    "coalescent": Step(
        "2026-04-14", "T-120: coalescent 9.5 -> 10.5 lb", {"T-120": (raised, amount("RM-1020", "9.5 lb", "10.5 lb"))}
    ),
}
"""Everything after the import, by the number it has in the story; the last two are the sides of a merge."""


def files() -> dict[str, Content]:
    """Everything in ``example_repo``, by name."""
    found = sorted(path for path in EXAMPLE.rglob("*") if path.is_file())
    return {path.relative_to(EXAMPLE).as_posix(): path.read_bytes() for path in found}


def edited(repo: Repo, step: Step) -> dict[str, Content]:
    """What the files on disk become by a step."""
    after: dict[str, Content] = {}
    for code, edits in step.edits.items():
        (path,) = repo.path.rglob(f"{code}.toml")
        text = path.read_text()
        for edit in edits:
            text = edit(text)
        after[path.relative_to(repo.path).as_posix()] = text
    return after


# --- how it is told ----------------------------------------------------------------------------------------------


def run(repo: Repo, *words: str, day: str = "", **environment: str) -> Answer:
    """Run git, or the tool where the first word is ``formulint``, and give all that was said."""
    command = (sys.executable, "-m", *words) if words[0] == "formulint" else ("git", *words)
    dates = {"GIT_AUTHOR_DATE": f"{day}T12:00:00Z", "GIT_COMMITTER_DATE": f"{day}T12:00:00Z", "DAY": day} if day else {}
    ran = subprocess.run(
        command, cwd=repo.path, env={**os.environ, **dates, **environment}, stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False,
    )  # fmt: skip
    return Answer(ran.returncode, ran.stdout.decode())


def commit(repo: Repo, message: str, *paths: str, day: str = IMPORT.day, **environment: str) -> Answer:
    """Commit what is staged (or these paths) through the hook."""
    return run(repo, "commit", "-q", "-m", message, *paths, day=day, **environment)


def founded(folder: Path) -> tuple[Repo, Answer]:
    """A repository with its hooks, and commit 0 through them."""
    repo = build(folder)
    repo.hook("pre-commit", HOOK)
    repo.hook("pre-merge-commit", HOOK)
    repo.stage(files())
    return repo, commit(repo, IMPORT.message)


def copied(repo: Repo, folder: Path) -> Repo:
    """The same repository once more, to be changed freely."""
    shutil.copytree(repo.path, folder)
    return Repo(folder)


def stage(repo: Repo, step: Step) -> None:
    """Apply a step to the files and to the index."""
    repo.stage(edited(repo, step))


def attempt(repo: Repo, step: Step) -> Answer:
    """Apply a step and try to commit it through the hook."""
    stage(repo, step)
    return commit(repo, step.message, day=step.day)
