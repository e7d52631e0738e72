"""What README.md does not say by itself but has made: its tables from the declarations, its screens by running them.

``python tests/readme.py`` writes them anew; ``test_docs.py`` compares.

A table stands between ``<!-- table: NAME -->`` and ``<!-- end -->``. The blocks run in the order of the page, each where
the one before it ended: ``console`` is commands with what they say; ``diff`` is edits of the file in its first line; a
``toml`` block below ``<!-- file: NAME -->`` is a new file or, if there is one of that name, that file; below
``<!-- part: NAME -->`` it is a piece of it.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any, NamedTuple, get_args

import tomli

from formulint import vocabulary
from formulint.cli import COMMANDS
from formulint.derivation import declared
from formulint.kinds import KINDS
from formulint.options import Option
from formulint.properties import DOSES, PROPERTIES

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "README.md"

Rows = Iterator[tuple[str, ...]]

# --- tables ------------------------------------------------------------------------------------------------------


def _properties() -> Rows:
    yield ("id", "what", "metric", "US", "by which convention")
    for one in PROPERTIES:
        how = f"{one.source} ({one.estimate})" if one.estimate else one.source
        yield (f"`{one.id}`", one.title, one.unit or "1", one.unit_us or "1", how)
    for dose in DOSES:
        strength = {"active": "active part", "supplied": "as supplied", "nonvolatile": "nonvolatile part"}[dose.as_]
        on = {"pigment": "pigment and extender", "binder": "binder solids", "batch": "the paint", "film": "what stays in the film"}[dose.on]
        yield (f"`{dose.id}`", dose.title, dose.unit, dose.unit, f"{dose.function}, {strength}, on {on}")
    yield ("`substance:CAS`", "any substance by its CAS number", "ppm", "ppm", "sum of the components that suppliers name")


def _kinds() -> Rows:
    yield ("kind", "what it asks", "shipped rules")
    count = Counter(rule["kind"] for _, rule in shipped())
    for name, kind in KINDS.items():
        yield (f"`{name}`", " ".join((kind.__doc__ or "").split()).replace("``", "`"), str(count[name]))


def _packs() -> Rows:
    words = ("error", "warning", "note")
    yield ("pack", "version", "what it is about", "rules", *(f"{word}s" for word in words), "verified", "practice", "memory")
    for file in sorted(ROOT.glob("rules/*/pack.toml")):
        about = tomli.loads(file.read_text(encoding="utf-8"))
        rules = [rule for pack, rule in shipped() if pack == about["id"]]
        level = Counter(rule["level"] for rule in rules)
        checked = Counter(figure["checked"] for rule in rules for figure in rule.get("category", [rule["source"]]))
        figures = (checked["verified"], checked["practice"] + checked["house"], checked["memory"])
        yield (f"`{about['id']}`", about["version"], about["title"], *map(str, (len(rules), *(level[word] for word in words), *figures)))


def _markets() -> Rows:
    yield ("market", "rule", "scheme", "rows", "verified", "from memory")
    for market in tomli.loads((ROOT / "rules/vocabulary.toml").read_text(encoding="utf-8"))["market"]:
        rows = tomli.loads((ROOT / f"rules/voc/{market['id']}.toml").read_text(encoding="utf-8"))["rule"][0]["category"]
        checked = Counter(row["checked"] for row in rows)
        yield (f"`{market['id']}`", market["title"], market["scheme"], str(len(rows)), str(checked["verified"]), str(checked["memory"]))


def _units() -> Rows:
    yield ("measured", "units (the first is the base unit)")
    found: dict[str, list[str]] = {}
    for unit in declared():
        found.setdefault(unit.dimension, []).append(" or ".join(f"`{spelled}`" for spelled in unit.spellings))
    yield from ((dimension, ", ".join(units)) for dimension, units in found.items())


def _words() -> Rows:
    yield ("field", "words")
    for field, name in WORD_LISTS.items():
        yield (field, ", ".join(f"`{word}`" for word in get_args(getattr(vocabulary, name))))


def _options() -> Rows:
    yield ("option", "for", "what")
    found: dict[tuple[str, str], list[str]] = {}
    for command in COMMANDS:
        options: tuple[Option, ...] = import_module(f"formulint.commands.{command}").OPTIONS
        for one in options:
            name = one.value if one.positional else f"{one.name} {one.value}".strip()
            name += " ..." if one.several else ""
            words = one.help + (f"; one of {', '.join(one.choices)}" if one.choices else "")
            found.setdefault((name, words), []).append(f"`{command}`")
    yield ("`-C DIR`", "all", "look in this folder instead of the current one")
    yield ("`--version`", "-", "the version of the tool")
    yield from ((f"`{name}`".replace("|", "\\|"), ", ".join(commands), words) for (name, words), commands in found.items())


WORD_LISTS = {
    "`state` of a formula": "FormulaState",
    "`class` of a formula": "ProductClass",
    "`kind` of a stage": "StageKind",
    "`step`": "StepKind",
    "`state` of a material": "MaterialState",
    "`functions`": "Function",
    "`form`": "Form",
    "`ionic`": "Ionic",
    "`disclosure`": "Disclosure",
    "`volatile` of a component": "Volatile",
    "`on` of a dose": "Basis",
    "`as` of a dose": "DoseAs",
    "tests": "TestName",
}
"""The closed lists of ``vocabulary.py`` that a file is written with, by the field they are for."""

TABLES: dict[str, Callable[[], Rows]] = {
    "properties": _properties,
    "kinds": _kinds,
    "packs": _packs,
    "markets": _markets,
    "units": _units,
    "words": _words,
    "options": _options,
}


def shipped() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every shipped rule with its pack, as its TOML says it."""
    for file in sorted(ROOT.glob("rules/*/*.toml")):
        for rule in tomli.loads(file.read_text(encoding="utf-8")).get("rule", []):
            yield file.parent.name, rule


def table(name: str) -> str:
    """A table in Markdown."""
    head, *rows = TABLES[name]()
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


# --- screens -----------------------------------------------------------------------------------------------------

BLOCK = re.compile(r"(?:<!-- (?P<how>file|part): (?P<name>\S+) -->\n)?^```(?P<kind>console|diff|toml)\n(?P<text>.*?)^```$", re.DOTALL | re.MULTILINE)
TABLE = re.compile(r"(<!-- table: (\w+) -->\n)(.*?)(<!-- end -->)", re.DOTALL)
CLOCK = "2026-01-12T12:00:00+00:00"


class Block(NamedTuple):
    """A block as the page has it, and as it is when run."""

    where: str
    written: str
    made: str


class Session:
    """The shell in which the blocks of the page run: fixed clock, names and settings; ``formulint`` is this checkout."""

    def __init__(self, folder: Path) -> None:
        self.folder = self.here = folder / "session"
        self.here.mkdir()
        subprocess.run(("cp", "-R", str(ROOT / "example_repo"), str(self.here)), check=True)
        command = folder / "bin" / "formulint"
        command.parent.mkdir()
        command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m formulint "$@"\n')
        command.chmod(0o755)
        person = {"NAME": "A. Chemist", "EMAIL": "a.chemist@example.org", "DATE": CLOCK}
        who = {f"GIT_{role}_{part}": text for role in ("AUTHOR", "COMMITTER") for part, text in person.items()}
        quiet = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "HOME": str(folder), "TERM": "dumb", "TZ": "UTC", "LANG": "C.UTF-8"}
        self.environment = {"PATH": f"{command.parent}:{os.environ['PATH']}", "PYTHONPATH": str(ROOT), **who, **quiet}

    def say(self, command: str) -> str:
        """What a command prints on both streams; where it leaves us is where the next one starts."""
        note = self.folder.parent / "here"
        script = f"{command}\npwd > '{note}'\n"
        ran = subprocess.run(
            ("sh", "-c", script), cwd=self.here, env=self.environment, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False,
        )  # fmt: skip
        self.here = Path(note.read_text().strip())
        return ran.stdout.decode()

    def console(self, text: str) -> str:
        """The block with what its commands print now."""
        commands = [line for line in text.splitlines() if line.startswith("$ ")]
        return "".join(f"{command}\n{self.say(command[2:])}" for command in commands)

    def edit(self, text: str) -> str:
        """The edits of a ``diff`` block: a file, then lines to go and lines to come, as often as need be."""
        name, rest = text.split("\n", 1)
        path = self.here / name.removeprefix("# ")
        for go, come in re.findall(r"((?:-.*\n)+)((?:\+.*\n)*)", rest):
            old, new = (re.sub("^.", "", lines, flags=re.MULTILINE) for lines in (go, come))
            content = path.read_text(encoding="utf-8")
            if content.count(old) != 1:
                return f"{name} has these lines {content.count(old)} times:\n{go}"
            path.write_text(content.replace(old, new), encoding="utf-8")
        return text

    def file(self, name: str, text: str) -> str:
        """The file as it is; made of this text where there is none."""
        path = self.here / name
        path.parent.mkdir(exist_ok=True)
        if not path.exists():
            path.write_text(text, encoding="utf-8")
        return path.read_text(encoding="utf-8")

    def part(self, name: str, text: str) -> str:
        """The text, where it is a piece of the file."""
        return text if text in (self.here / name).read_text(encoding="utf-8") else f"# {name} has no such piece\n"

    def run(self, found: re.Match[str]) -> str:
        """The text of a block as it should be."""
        text = found["text"]
        if found["kind"] == "toml":
            return {"file": self.file, "part": self.part}[found["how"]](found["name"], text)
        return self.console(text) if found["kind"] == "console" else self.edit(text)


def blocks(page: str, folder: Path) -> list[Block]:
    """The blocks of a page, run in their order."""
    session = Session(folder)
    return [Block(f"line {page[: found.start('text')].count(chr(10))}", found["text"], session.run(found)) for found in BLOCK.finditer(page)]


def renewed(page: str, folder: Path) -> str:
    """The page with its tables and screens made anew."""
    found = blocks(page, folder)
    broken = [block.where for block in found if "Traceback (most recent call last)" in block.made]
    if broken:
        raise SystemExit(f"nothing is written: the tool breaks at {', '.join(broken)} of README.md")
    made = iter(found)
    page = BLOCK.sub(lambda one: one[0][: one.start("text") - one.start()] + next(made).made + "```", page)
    return TABLE.sub(lambda one: f"{one[1]}{table(one[2])}\n{one[4]}", page)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8"), Path(place)), encoding="utf-8")
