"""Whatever a file holds, the answer comes in time: hostile and careless inputs, each a repository of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path

import pytest
from synthetic import SETTINGS, TODAY, files, write

from formulint import judge
from formulint.catalog import Catalog
from formulint.errors import UserError
from formulint.judge import Judge
from formulint.rulebook import Shipped
from formulint.scope import everything
from formulint.snapshot import work_tree

LONGEST = 20
"""Seconds that any of these may take; the slowest takes a few where nothing else runs."""
SHORTEST = 3_000_000
"""Characters of the longest report: nobody reads more, and no log keeps it."""

HEAD = """\
code = "{code}"
name = "hostile"
revision = 1
state = "bench"
class = "{kind}"
markets = [{markets}]
batch = "100 gal"
"""
RULE = """\
[[rule]]
id = "r-{number}"
kind = "{kind}"
level = "warning"
title = "t"
why = "w"
{body}
source = {{ document = "d", checked = "house" }}
"""
MATERIALS = [f"M-{number:04d}" for number in range(40)]

Made = dict[str, str]


@cache
def clean() -> Made:
    """A small clean repository, to which each case adds its files."""
    return files(2, 40)


def line(code: str, amount: str = "1.0 lb", more: str = "") -> str:
    """One addition."""
    return f'  {{ material = "{code}", amount = "{amount}"{more} }},\n'


def quoted(words: Iterator[str] | list[str]) -> str:
    """The inside of a list of texts."""
    return ", ".join(f'"{word}"' for word in words)


def sheet(
    lines: list[str], code: str = "H-1", kind: str = "flat", markets: str = '"us-national"', more: str = ""
) -> str:
    """A formula of one stage."""
    head = HEAD.format(code=code, kind=kind, markets=markets if kind == "flat" else "")
    return f'{head}\n[[stage]]\nname = "Grind"\nkind = "grind"\nadditions = [\n{"".join(lines)}]\n{more}'


def hostile(*lines: str, markets: str = '"us-national"', more: str = "") -> Made:
    """The one formula of a case."""
    return {"formulas/H-1.toml": sheet(list(lines), markets=markets, more=more)}


def text(raw: str) -> Made:
    """A formula that is nothing of the kind."""
    return {"formulas/H-1.toml": raw}


def stages(number: int, more: str) -> Made:
    """A formula of many stages; ``more`` is a second addition, with the number of the stage and of the one before."""
    made = HEAD.format(code="H-1", kind="flat", markets='"us-national"')
    for at in range(number):
        lines = line(MATERIALS[at % 40]) + (more.format(at, at - 1) if at else "")
        made += f'[[stage]]\nname = "S{at}"\nkind = "grind"\nadditions = [{lines}]\n'
    return text(made)


def rules(number: int, kind: str, body: str) -> Made:
    """Rules of the house, in four files; ``{0}`` in the body is the number of the rule."""
    made = [RULE.format(number=at, kind=kind, body=body.format(f"{at:04d}")) for at in range(number)]
    return {f"rules/r{part}.toml": "".join(made[part::4]) for part in range(4)}


def blend(code: str, *inside: str) -> Made:
    """An intermediate."""
    return {f"formulas/{code}.toml": sheet([line(one) for one in inside], code=code, kind="intermediate")}


def chain(depth: int, width: int) -> Made:
    """Intermediates inside each other, each made of ``width`` of the next ones."""
    made = hostile(line("I-0-0"))
    for at in range(depth):
        inside = [f"I-{at + 1}-{number}" for number in range(width)] if at + 1 < depth else ["M-0000", "M-0001"]
        for number in range(width):
            made |= blend(f"I-{at}-{number}", *inside)
    return made


def alike(number: int) -> Made:
    """Materials that differ in nothing but their code."""
    one = clean()["materials/M-0007.toml"]
    return {f"materials/N-{at}.toml": one.replace("M-0007", f"N-{at}") for at in range(number)}


def components(number: int) -> Made:
    """A material of many components."""
    head = clean()["materials/M-0001.toml"].replace("M-0001", "N-1").partition("[[component]]")[0]
    each = '[[component]]\nname = "c{0}"\ncas = "{0}-00-1"\nshare = "0.001 %"\nvolatile = "organic"\n'
    return {"materials/N-1.toml": head + "".join(each.format(at) for at in range(number)), **hostile(line("N-1"))}


LINES = [line(code) for code in MATERIALS]
EXCEPT = "{{ except = [" * 60 + '{{ functions = ["binder"] }}' + "] }}" * 60
OTHERS = [f', alternates = ["{MATERIALS[(at + 7) % 39 + 1]}"]' for at in range(1000)]
CASES: dict[str, Made] = {
    "a note of a megabyte": hostile(line("M-0000")) | text(sheet([line("M-0000")]).replace("hostile", "x" * 1_000_000)),
    "more than a megabyte": text("# " + "x" * 1_100_000),
    "brackets that never close": text("a = " + "[" * 1_000_000),
    "lists in lists": text("a = " + "[" * 20_000 + "]" * 20_000),
    "tables in tables": text("a = " + "{a=" * 20_000 + "1" + "}" * 20_000),
    "a key of many parts": text(".".join("a" * 300_000) + " = 1\n"),
    "unknown keys": text("".join(f'nam{at} = "x"\n' for at in range(20_000)) + sheet([line("M-0000")])),
    "zero bytes": text("\0" * 900_000),
    "quotes": text('a = "' + '\\"' * 500_000),
    "braces in a text": text('a = "' + "{" * 900_000 + '"\n'),
    "blanks after a comma": text("a = [1," + " " * 900_000 + "\n]\n"),
    "long numbers": hostile(line("M-0000", "9" * 400_000 + " lb"), line("M-0001", "1e999999999 lb"), line("M-0002", "0." + "1" * 300_000 + " lb")),
    "a long whole number": text(sheet([line("M-0000")]).replace("revision = 1", "revision = " + "9" * 900_000)),
    "large and small exponents": hostile(line("M-0000", "1e99 lb"), line("M-0001", "1e-99 lb")),
    "5,000 additions": hostile(*(LINES * 125)),
    "20,000 additions": hostile(*(LINES * 500)),
    "as many additions as are judged": hostile(*(LINES * 12)),
    "doses on everything": hostile(*(line(code, "0.01 %", ', on = "pigment"') for code in MATERIALS * 12)),
    "1,000 alternates of a line": hostile(*LINES, line("M-0000", "1 lb", f", alternates = [{quoted(MATERIALS[1:] * 26)}]")),
    "an alternate on each of 1,000 lines": hostile(*(line(MATERIALS[at % 40], "1 lb", other) for at, other in enumerate(OTHERS))),
    "as many alternates as are judged": hostile(*(line(MATERIALS[at % 40], "1 lb", other) for at, other in enumerate(OTHERS[:100]))),
    "stages that are poured on": stages(1_500, '{{ stage = "S{1}" }}'),
    "stages in one vessel": stages(8_000, ""),
    "stages that are not there": stages(6_000, '{{ stage = "T{0}" }}'),
    "steps": hostile(*(['  { step = "mix" },\n'] * 20_000)),
    "intermediates 50 deep": chain(50, 1),
    "intermediates that fan out": chain(30, 2),
    "intermediates that fan out, 15 deep": chain(15, 3),
    "intermediates in a ring of pairs": chain(30, 2) | blend("I-29-0", "I-0-0", "I-0-1") | blend("I-29-1", "I-0-0", "I-0-1"),
    "intermediates of all others": {name: made for at in range(40) for name, made in blend(f"I-{at}", *(f"I-{to}" for to in range(40) if to != at)).items()},
    "10,000 limits of the house": rules(10_000, "limit", 'property = "density"\nmin = "1 kg/L"'),
    "10,000 orders of the house": rules(10_000, "order", 'first = {{ functions = ["dispersant"], codes = ["M-{0}"] }}\nthen = {{ functions = ["binder"] }}'),
    "10,000 doses that fail": rules(10_000, "dose", 'of = {{ functions = ["binder"] }}\nmax = "0.{0}1 %"'),
    "a rule of many tags": rules(1, "dose", f"of = {{{{ tags = [{quoted([f't{at}' for at in range(80_000)])}] }}}}\nmax = \"1 %\""),
    "exceptions in exceptions": rules(1, "dose", f'of = {EXCEPT}\nmax = "1 %"'),
    "rules, lines and alternates together": hostile(*(line(MATERIALS[at % 40], "1 lb", other) for at, other in enumerate(OTHERS[:50])), *LINES)
    | rules(300, "order", 'first = {{ functions = ["dispersant"] }}\nthen = {{ functions = ["binder"] }}'),
    "unknown materials in one formula": hostile(*(line(f"M-{at:04d}x") for at in range(400))),
    "unknown materials in many formulas": {f"formulas/H-{at}.toml": sheet([line(f"M-{at:04d}x")], code=f"H-{at}") for at in range(1_500)},
    "materials that look alike": alike(1_000),
    "a material of many components": components(3_000),
    "limits of nothing": hostile(line("M-0000"), more="[limits]\n" + "".join(f'dens{at} = {{ min = "1 kg/L" }}\n' for at in range(20_000))),
    "limits of substances": hostile(*LINES, more="[limits]\n" + "".join(f'"substance:{at}-00-1" = {{ max = "1 %" }}\n' for at in range(5_000))),
    "unknown markets": hostile(line("M-0000"), markets=quoted([f"us-nation{at}" for at in range(50_000)])),
    "one market many times": hostile(line("M-0000"), markets=quoted(["us-national"] * 50_000)),
    "levels of rules that are not there": {"formulint.toml": SETTINGS + "".join(f'[[rule_setting]]\nrule = "dose/d{at}"\nlevel = "note"\nreason = "r"\n' for at in range(10_000))},
    "confirmations of nothing": {"formulint.toml": SETTINGS.replace("[packs]", f"confirmed = [{quoted([f'voc/us-nation{at}' for at in range(30_000)])}]\n[packs]")},
}  # fmt: skip


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """The command, ended where it takes too long."""
    call = [sys.executable, "-m", "formulint", "-C", str(folder), *words]
    return subprocess.run(call, capture_output=True, encoding="utf-8", timeout=LONGEST, check=False)


@pytest.mark.parametrize("name", CASES)
def test_ends_in_time(name: str, tmp_path: Path) -> None:
    folder = write(tmp_path, clean() | CASES[name])
    ran = run(folder, "lint", "--today", TODAY)
    assert (ran.returncode in (0, 1), ran.stderr, len(ran.stdout) < SHORTEST) == (True, "", True), ran.stderr[-300:]


WORDS = {
    "5,000 additions": "H-1 has 5000 lines; a sheet of more than 500 is not judged",
    "1,000 alternates of a line": "H-1 names 1014 alternates",
    "10,000 limits of the house": "the house has 10000 rules of its own; only the first 500 are judged",
    "intermediates 50 deep": "more than 20 deep",
    "unknown markets": "more faults of this sort follow",
}
"""What is said where a limit is met; it stops a commit each time."""


@pytest.mark.parametrize("name", WORDS)
def test_limit_is_told_and_stops(name: str, tmp_path: Path) -> None:
    ran = run(write(tmp_path, clean() | CASES[name]), "lint", "--today", TODAY)
    assert (ran.returncode, WORDS[name] in " ".join(ran.stdout.split())) == (1, True), ran.stdout[:2000]


@pytest.mark.parametrize(
    "name",
    [
        "5,000 additions",
        "intermediates that fan out",
        "a material of many components",
        "as many alternates as are judged",
    ],
)
def test_properties_end_in_time(name: str, tmp_path: Path) -> None:
    ran = run(write(tmp_path, clean() | CASES[name]), "properties", "H-1", "--today", TODAY)
    assert (ran.returncode in (0, 1), ran.stderr) == (True, "")


def test_all_limits_together_have_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    catalog = Catalog(work_tree(str(write(tmp_path, clean())), date.fromisoformat(TODAY)), Shipped())
    assert Judge(catalog).findings(everything(catalog)) == ()
    monkeypatch.setattr(judge, "MOST_ASKED", 2_000)
    with pytest.raises(UserError, match="multiply to more than is judged"):
        Judge(catalog).findings(everything(catalog))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
def test_full_disk_is_no_answer(tmp_path: Path) -> None:
    call = [sys.executable, "-m", "formulint", "-C", str(write(tmp_path, clean())), "lint", "--today", TODAY]
    with open("/dev/full", "w") as full:
        ran = subprocess.run(call, stdout=full, stderr=subprocess.PIPE, encoding="utf-8", check=False)
    assert (ran.returncode, ran.stderr.count("\n"), "the machine refused" in ran.stderr) == (2, 1, True), ran.stderr


@pytest.mark.skipif(os.name == "nt", reason="a shell of POSIX closes the output")
@pytest.mark.parametrize(("extra", "status"), [({}, 0), (CASES["5,000 additions"], 1)])
def test_closed_output_leaves_the_exit_status(extra: Made, status: int, tmp_path: Path) -> None:
    folder = write(tmp_path, clean() | extra)
    call = f'"{sys.executable}" -m formulint -C "{folder}" lint --today {TODAY} >&- 2>&-'
    assert subprocess.run(call, shell=True, check=False).returncode == status
