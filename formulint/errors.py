"""The one exception for what a user can mend outside the data, and the one for a value that cannot be read."""

from __future__ import annotations


class UserError(Exception):
    """The question cannot be answered: no repository, no such revision, a damaged object. Exit status 2.

    Parameters
    ----------
    message : str
        What is wrong, in one sentence that names the thing.
    remedy : str
        What the user can do about it; empty where nothing general helps.
    """

    def __init__(self, message: str, remedy: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy


class Misread(ValueError):
    """A value of a file cannot be understood; it becomes a finding with file, line and column.

    Parameters
    ----------
    message : str
        What is wrong with the value, quoting it.
    remedy : str
        What to write instead; empty where nothing general helps.
    at : tuple of str or int
        Key path below the value, where the fault is inside a table or an array.
    """

    def __init__(self, message: str, remedy: str = "", at: tuple[str | int, ...] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy
        self.at = at
