"""Parts of a full lint inside one process, in turn: what the rules cost, what finding the places costs.

Prints one line a part: its name, its seconds, and the seconds of what it is held against.
"""

from __future__ import annotations

import gc
import statistics
import sys
import time
import tomllib
from collections.abc import Callable
from datetime import date

import tomli

from formulint import snapshot
from formulint.catalog import Catalog
from formulint.judge import Judge
from formulint.positions import scan
from formulint.rulebook import Shipped
from formulint.scope import everything


def parts(folder: str, today: date) -> dict[str, Callable[[], object]]:
    """What is timed, by name."""
    state = snapshot.work_tree(folder, today)
    shipped = Shipped()
    first = Catalog(state, shipped, today)
    scope = everything(first)
    texts = [raw.decode() for raw in state.read_many([*scope.formulas, *scope.materials]).values()]

    def read() -> Catalog:
        catalog = Catalog(state, shipped, today)
        everything(catalog)
        for name in scope.formulas:
            catalog.formula(name)
        for name in scope.materials:
            catalog.material(name)
        return catalog

    ready = read()
    Judge(ready).findings(scope)

    def rules() -> object:
        # What a run has done once stays done: materials and their columns; formulas are judged anew.
        return [tuple(Judge(ready).formula(ready.formula(name))) for name in scope.formulas]

    return {
        "tomli": lambda: [tomli.loads(text) for text in texts],
        "tomllib": lambda: [tomllib.loads(text) for text in texts],
        "rules and properties": rules,
        "records": read,
        "scan": lambda: [scan(text) for text in texts],
    }


def main(folder: str, today: str, rounds: int) -> int:
    """Time every part in turn and print the medians."""
    gc.disable()
    waiting = parts(folder, date.fromisoformat(today))
    taken: dict[str, list[float]] = {name: [] for name in waiting}
    for turn in range(rounds + 1):
        for name, part in waiting.items():
            start = time.process_time()
            part()
            if turn:
                taken[name].append(time.process_time() - start)
        gc.collect()
    for name, seconds in taken.items():
        sys.stdout.write(f"{name}\t{statistics.median(seconds)}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1], sys.argv[2], int(sys.argv[3])))
