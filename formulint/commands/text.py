"""``formulint text``: one record as plain text, as git asks for it when it shows what changed."""

from __future__ import annotations

import os
import sys
from types import SimpleNamespace

from formulint.errors import UserError
from formulint.git import quoted
from formulint.options import Option
from formulint.sheet_text import plain

OPTIONS = (Option("file", "a record", "FILE"),)


def run(options: SimpleNamespace) -> int:
    """Print it; what cannot be read as a record is printed as it is."""
    if options.file is None:
        raise UserError("text asks which file is meant", "name one: formulint text formulas/T-101.toml")
    try:
        with open(os.path.join(options.folder, options.file), "rb") as handle:
            raw = handle.read()
    except OSError as error:
        raise UserError(f"{quoted(options.file)} cannot be read: {(error.strerror or str(error)).lower()}", "name a file") from None
    text = plain(raw)
    sys.stdout.buffer.write(raw if text is None else text.encode("utf-8"))  # git wants the same bytes whatever the locale
    return 0
