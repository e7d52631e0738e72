"""``python -m formulint``."""

from formulint.cli import run

run()
