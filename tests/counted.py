"""Counts the processes of git that a command starts, through a program called git that comes first on PATH.

>>> with counting(tmp_path) as (environment, calls):
...     run_something_in({**os.environ, **environment})
...     calls()  # one line a process: its arguments
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

SCRIPT = '#!/bin/sh\necho "$@" >> "{log}"\nexec "{git}" "$@"\n'


@contextmanager
def counting(folder: Path) -> Iterator[tuple[dict[str, str], Callable[[], list[str]]]]:
    """The PATH to run under, and what was called under it."""
    real = shutil.which("git")
    assert real is not None, "there is no git to count"
    folder.mkdir(parents=True, exist_ok=True)
    log, stand_in = folder / "log", folder / "git"
    log.write_text("")
    stand_in.write_text(SCRIPT.format(log=log, git=real))
    stand_in.chmod(0o755)

    def calls() -> list[str]:
        return log.read_text().splitlines()

    yield {"PATH": f"{folder}{os.pathsep}{os.environ['PATH']}"}, calls
