"""``python -m tests.benchmarks``: measure and print the table."""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from synthetic import TODAY

from benchmarks.clock import in_turn, median
from benchmarks.rows import BARE, HERE, PASS, ROWS, Row, calls
from benchmarks.stage import Stage, compiled, python, surroundings

INSIDE = (
    ("records read and shaped", "records", "tomllib", None),
    ("rules and properties", "rules and properties", "tomli", None),
    ("places of everything", "scan", "tomllib", 1.0),
)
"""Parts inside one process: what, its name there, the name of what it is held against, the most."""


def line(what: str, against: str, ratio: float, cpu: float, most: float | None, git: str) -> str:
    """One line of the table."""
    verdict = "" if most is None else "met" if ratio <= most else "MISSED"
    demanded = "" if most is None else f"<= {most:g}"
    return f"{what:<30}  {against:<20}  {ratio:>6.2f}  {cpu:>6.2f}  {demanded:<8}  {verdict:<6}  {git:>3}"


def whole(stage: Stage, rows: Sequence[Row], rounds: int) -> None:
    """The rows of whole processes."""
    known = calls(stage)
    wanted = dict.fromkeys(name for row in rows for name in (row.against, row.what))
    taken = {
        name: median(found)
        for name, found in in_turn({name: known[name] for name in wanted}, surroundings(), rounds).items()
    }
    for row in rows:
        one, other = taken[row.what], taken[row.against]
        call = known[row.what]
        git = stage.git_calls(call.words, call.folder)
        print(line(row.what, row.against, one.wall / other.wall, one.cpu / other.cpu, row.most, str(git)))
    for name in (PASS, BARE):
        if name in taken:
            print(f"  {name}: {1000 * taken[name].wall:.1f} ms")


def inside(stage: Stage, rounds: int, only: Sequence[str]) -> None:
    """The rows of parts inside one process."""
    rows = [row for row in INSIDE if not only or any(word in row[0] for word in only)]
    if not rows:
        return
    words = python(str(HERE / "within.py"), str(stage.big), TODAY, str(rounds))
    said = subprocess.run(words, env=surroundings(), capture_output=True, text=True, check=True).stdout
    seconds = {name: float(number) for name, _, number in (row.partition("\t") for row in said.splitlines())}
    for what, name, against, most in rows:
        ratio = seconds[name] / seconds[against]
        print(line(what, f"{against}, in process", ratio, ratio, most, ""))


def main() -> int:
    """Read the command line, build, measure, print."""
    parser = argparse.ArgumentParser(prog="benchmarks", description="How fast formulint is, as ratios.")
    parser.add_argument("--rounds", type=int, default=9, help="rounds that count (default: 9)")
    parser.add_argument(
        "--only", action="append", default=[], metavar="WORD", help="rows whose name holds this; may be repeated"
    )
    parser.add_argument("--keep", help="build in this folder, and leave what is built")
    options = parser.parse_args()
    compiled()
    with tempfile.TemporaryDirectory() as folder:
        stage = Stage(Path(options.keep or folder).resolve())
        print(f"{'what':<30}  {'against':<20}  {'ratio':>6}  {'cpu':>6}  demanded          git")
        rows = [row for row in ROWS if not options.only or any(word in row.what for word in options.only)]
        if rows:
            whole(stage, rows, options.rounds)
        inside(stage, options.rounds, options.only)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
