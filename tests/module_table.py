"""The module table of DEVELOPERS.md is the law; the modules of a package are tried by it.

>>> table = rows(Path("DEVELOPERS.md").read_text())
>>> list(faults(Path("formulint"), table))
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

LINES = 400
"""Most lines of a module."""

BODY = 50
"""Most lines of a function, its docstring included."""

FORBIDDEN = {"utils", "util", "helpers", "helper", "common", "core", "base", "misc", "manager", "tools", "lib"}
"""Names of modules that say nothing about what is inside."""

BESIDE = "."
"""Stands for the module that a relative import means."""

_FILE = re.compile(r"`([\w/]+\.py)`")


class Row(NamedTuple):
    """A line of the table: the module, what it is for, the modules above that it leans on most."""

    module: str
    duty: str
    uses: tuple[str, ...]


def rows(markdown: str) -> list[Row]:
    """The rows of the table: four columns, of which the second names a module."""
    found = []
    for line in markdown.splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if line.startswith("|") and len(cells) == 4 and (name := _FILE.fullmatch(cells[1])):
            found.append(Row(name[1], cells[2], tuple(re.findall(r"[\w/]+", cells[3]))))
    return found


def faults(package: Path, table: Sequence[Row]) -> Iterator[str]:
    """Everything in which package and table disagree, and every module that breaks a rule of the house by itself."""
    rank = {row.module: at for at, row in enumerate(table)}
    here = {path.relative_to(package).as_posix(): path for path in sorted(package.rglob("*.py"))}
    yield from (f"{name}: not in the table" for name in here if name not in rank)
    yield from (f"{row.module}: in the table twice" for at, row in enumerate(table) if rank[row.module] != at)
    yield from (f"{row.module}: in the table, not in the package" for row in table if row.module not in here)
    for name, path in here.items():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        yield from _by_itself(name, path.read_text(encoding="utf-8"), tree)
        imported = dict(imports(tree, package.name, frozenset(here)))
        for target, line in imported.items():
            if target == BESIDE:
                yield f"{name}:{line}: imports from beside itself; write the package's name"
            elif rank.get(target, -1) >= rank.get(name, len(rank)):
                yield f"{name}:{line}: imports {target}, which stands below it"
        for use in next((row.uses for row in table if row.module == name), ()):
            if not {f"{use}.py", f"{use}/__init__.py"} & imported.keys():
                yield f"{name}: the table says it uses {use}, and it does not import it"


def _by_itself(name: str, text: str, tree: ast.Module) -> Iterator[str]:
    if name.removesuffix(".py").rpartition("/")[2] in FORBIDDEN:
        yield f"{name}: a name that says nothing"
    if text.count("\n") > LINES:
        yield f"{name}: over {LINES} lines"
    if text.strip() and not ast.get_docstring(tree):
        yield f"{name}: has no docstring"
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or 0) - node.body[0].lineno + 1
            if length > BODY:
                yield f"{name}:{node.lineno}: {node.name} is {length} lines long, over {BODY}"


def imports(tree: ast.Module, package: str, modules: frozenset[str]) -> Iterator[tuple[str, int]]:
    """The modules of the package that a module imports anywhere: at its head, inside functions, for types only."""
    for node in ast.walk(tree):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [one.name for one in node.names]
        elif isinstance(node, ast.ImportFrom):
            stem = ".".join(part for part in ("." * node.level, node.module) if part)
            names = [f"{stem}.{one.name}" for one in node.names]
        for name in names:
            target = _module(name, package, modules)
            if target:
                yield target, getattr(node, "lineno", 0)


def _module(name: str, package: str, modules: frozenset[str]) -> str | None:
    """File of the module that an imported name is, or is defined in."""
    first, *rest = name.split(".")
    if not first:
        return BESIDE
    while first == package:
        path = "/".join(rest)
        for file in (f"{path}.py", f"{path}/__init__.py".lstrip("/")):
            if file in modules:
                return file
        if not rest:
            return None
        rest.pop()
    return None
