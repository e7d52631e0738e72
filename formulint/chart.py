"""A line chart of a value in steps, with its limits; as lines of text for a terminal."""

from __future__ import annotations

from msgspec import Struct

ROWS = 9  # of the text chart between its ends


class Chart(Struct, frozen=True):
    """A value at one step after another, the oldest first, with its limits.

    ``points`` are the two ends of each value, alike where it is one number, None where nothing is known; ``outside`` marks
    those that break a limit. ``ticks`` are the words of the first and the last step, ``limits`` lines that go across;
    ``bounds`` are the lowest and the highest that was allowed at each step.
    """

    title: str
    points: tuple[tuple[float, float] | None, ...]
    outside: tuple[bool, ...]
    limits: tuple[float, ...]
    ticks: tuple[str, str]
    digits: int
    bounds: tuple[tuple[float | None, float | None], ...] = ()

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest number that is shown, never the same."""
        allowed = [bound for pair in self.bounds for bound in pair if bound is not None]
        numbers = [*(end for pair in self.points if pair is not None for end in pair), *self.limits, *allowed]
        low, high = min(numbers), max(numbers)
        return (low, high) if high > low else (low - 0.5, high + 0.5)


def drawable(chart: Chart) -> bool:
    """True where there are two steps to draw, of which one is known."""
    return len(chart.points) > 1 and any(pair is not None for pair in chart.points)


def text_lines(chart: Chart, width: int) -> list[str]:
    """The chart in characters: ``o`` inside, ``X`` outside a limit, ``?`` not known, ``-`` a limit."""
    low, high = chart.span
    labels = [f"{high - (high - low) * at / (ROWS - 1):.{chart.digits}f}" for at in range(ROWS)]
    margin = max(len(label) for label in labels)
    room = max(8, min(width - margin - 6, 3 * len(chart.points)))
    grid = [[" "] * room for _ in range(ROWS)]

    def row(number: float) -> int:
        return round((high - number) / (high - low) * (ROWS - 1))

    for limit in chart.limits:
        grid[row(limit)] = ["-"] * room
    for column, index in _columns(chart, room):
        pair, mark = chart.points[index], "X" if chart.outside[index] else "o"
        for at in range(row(pair[1]), row(pair[0]) + 1) if pair is not None else ():
            grid[at][column] = mark
        if pair is None:
            grid[ROWS - 1][column] = "?"
    lines = [f"{label.rjust(margin)} | {''.join(cells).rstrip()}" for label, cells in zip(labels, grid, strict=True)]
    first, last = chart.ticks
    gap = max(2, room - len(first) - len(last))
    return [chart.title, *lines, " " * (margin + 3) + first + " " * gap + last]


def _columns(chart: Chart, room: int) -> list[tuple[int, int]]:
    """A column for each step; where steps are more than columns, one that breaks a limit is shown before others."""
    last = len(chart.points) - 1
    found: dict[int, int] = {}
    for index in range(last + 1):
        column = round(index * (room - 1) / last)
        if column not in found or (chart.outside[index] and not chart.outside[found[column]]):
            found[column] = index
    return list(found.items())
