"""``python -m formulint``.

Python looks for modules in the current folder first when it is started so, and that folder may be a stranger's: it is
taken off the list before anything else is imported. What Python itself has found there by then cannot be undone; the
command ``formulint``, or ``python -P -m formulint``, never looks there.
"""

import sys

if not sys.flags.safe_path:
    del sys.path[0]

from formulint.cli import run

run()
