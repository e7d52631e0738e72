"""A line chart of a value in steps: as lines of text for a terminal, and as a picture (SVG) for a page."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from formulint.clean import html

ROWS = 9  # of the text chart between its ends
WIDE, HIGH, EDGE = 640, 200, 60  # of the picture, in its own units


class Chart(Struct, frozen=True):
    """A value at one step after another, the oldest first, with its limits.

    ``points`` are the two ends of each value, alike where it is one number, None where nothing is known; ``outside`` marks
    those that break a limit. ``ticks`` are the words of the first and the last step, ``limits`` lines that go across.
    """

    title: str
    points: tuple[tuple[float, float] | None, ...]
    outside: tuple[bool, ...]
    limits: tuple[float, ...]
    ticks: tuple[str, str]
    digits: int

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest number that is shown, never the same."""
        numbers = [end for pair in self.points if pair is not None for end in pair] + list(self.limits)
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


def picture(chart: Chart) -> list[str]:
    """The chart as an SVG element that asks for nothing else; its colours are those of the page."""
    low, high = chart.span
    last = len(chart.points) - 1

    def x(index: int) -> float:
        return round(EDGE + index * (WIDE - 2 * EDGE) / last, 1)

    def y(number: float) -> float:
        return round(20 + (high - number) / (high - low) * (HIGH - 50), 1)

    lines = [f'<svg viewBox="0 0 {WIDE} {HIGH}" role="img" width="{WIDE}" style="max-width:100%">', f"<title>{html(chart.title)}</title>"]
    for limit in chart.limits:
        lines.append(f'<path d="M{EDGE} {y(limit)}H{WIDE - EDGE}" stroke="var(--stop)" stroke-dasharray="6 4" fill="none"/>')
    for number in (low, high):
        lines.append(f'<text x="{EDGE - 6}" y="{y(number) + 4}" text-anchor="end" font-size="12" fill="var(--soft)">{number:.{chart.digits}f}</text>')
    for anchor, at, words in (("start", EDGE, chart.ticks[0]), ("end", WIDE - EDGE, chart.ticks[1])):
        lines.append(f'<text x="{at}" y="{HIGH - 6}" text-anchor="{anchor}" font-size="12" fill="var(--soft)">{html(words)}</text>')
    lines += [f'<path d="{run}" stroke="var(--ink)" fill="none"/>' for run in _runs([None if pair is None else (x(at), y(sum(pair) / 2)) for at, pair in enumerate(chart.points)])]
    for at, pair in enumerate(chart.points):
        colour = "var(--stop)" if chart.outside[at] else "var(--ink)"
        if pair is None:
            lines.append(f'<text x="{x(at)}" y="{HIGH - 30}" text-anchor="middle" font-size="12" fill="var(--wait)">?</text>')
            continue
        if pair[0] != pair[1]:
            lines.append(f'<path d="M{x(at)} {y(pair[0])}V{y(pair[1])}" stroke="{colour}" fill="none"/>')
        lines.append(f'<circle cx="{x(at)}" cy="{y(sum(pair) / 2)}" r="3" fill="{colour}"/>')
    return [*lines, "</svg>"]


def _runs(places: Sequence[tuple[float, float] | None]) -> list[str]:
    """The line in steps, broken where nothing is known: a value holds until the next commit."""
    runs: list[str] = []
    path = ""
    for place in [*places, None]:
        if place is not None:
            path += f"H{place[0]}V{place[1]}" if path else f"M{place[0]} {place[1]}"
            continue
        runs += [path] if "H" in path else []
        path = ""
    return runs
