"""Runs commands in turn and keeps what each took: wall time, and processor time with that of its children."""

from __future__ import annotations

import os
import statistics
import subprocess
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple


class Call(NamedTuple):
    """A command, the folder it runs in, and the exit status that it must end with."""

    words: tuple[str, ...]
    folder: Path
    status: int = 0


class Taken(NamedTuple):
    """Seconds of one run."""

    wall: float
    cpu: float


def timed(call: Call, environment: Mapping[str, str]) -> Taken:
    """Run a command with its output thrown away."""
    start = time.perf_counter()
    process = subprocess.Popen(call.words, cwd=call.folder, env=environment, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    wall = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != call.status:
        raise RuntimeError(f"{' '.join(call.words)} ended with {process.returncode}, not {call.status}")
    return Taken(wall, usage.ru_utime + usage.ru_stime)


def in_turn(calls: Mapping[str, Call], environment: Mapping[str, str], rounds: int) -> dict[str, list[Taken]]:
    """Every call once a round, in an order that shifts from round to round; one round before that does not count."""
    names = list(calls)
    found: dict[str, list[Taken]] = {name: [] for name in names}
    for turn in range(rounds + 1):
        shift = turn % len(names)
        for name in (*names[shift:], *names[:shift]):
            taken = timed(calls[name], environment)
            if turn:
                found[name].append(taken)
    return found


def median(taken: Sequence[Taken]) -> Taken:
    """Median wall time and median processor time."""
    return Taken(statistics.median(one.wall for one in taken), statistics.median(one.cpu for one in taken))
