"""The command in a process that has imported the plotting library: what a page with pictures is held against."""

import matplotlib.backends.backend_svg
import matplotlib.figure  # noqa: F401

from formulint.cli import run

run()
