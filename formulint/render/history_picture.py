"""A value over commits as a picture: a line in steps between its limits as they were, with crosses where one was broken."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import groupby

from formulint.chart import Chart, text_lines
from formulint.clean import html
from formulint.render.vector import COLOUR, Sheet, canvas, inline, missing

WIDE, HIGH = 480.0, 210.0
LEFT, RIGHT, TOP, FLOOR = 52.0, 472.0, 26.0, 182.0  # of the room in which the line runs
TICKS = 5  # numbers beside it
MARKED = 60  # up to as many steps are marked one by one; those that break a limit always are
SIZE = 11.0  # of letters
LEGEND = "dashed: the limit; crosses: outside it"
Pair = tuple[float, float]


def shown(chart: Chart, name: str) -> list[str]:
    """The picture as lines of a page, with ids that begin with ``name``; where nothing can be drawn why, and the chart in characters."""
    why = missing()
    if why:
        return [f'<p class="said">{html(why)}; the same in characters:</p>', "<pre>", *(html(line) for line in text_lines(chart, 76)), "</pre>"]
    made: list[str] = []
    with canvas(WIDE, HIGH, made) as sheet:
        _draw(sheet, chart)
    return ["<figure>", f"<figcaption>{html(chart.title)}</figcaption>", inline(made[0], name, chart.title, _said(chart)), "</figure>"]


def _said(chart: Chart) -> str:
    """What is seen, in words."""
    known = [pair for pair in chart.points if pair is not None]
    ends = f"{known[-1][0]:.{chart.digits}f}" if known[-1][0] == known[-1][1] else f"{known[-1][0]:.{chart.digits}f} to {known[-1][1]:.{chart.digits}f}"
    return f"From {chart.ticks[0]} to {chart.ticks[1]}: {len(chart.points)} commits, {sum(chart.outside)} outside a limit, last {ends}."


def _draw(sheet: Sheet, chart: Chart) -> None:
    low, high = chart.span
    last = len(chart.points)

    def x(step: float) -> float:
        return LEFT + (RIGHT - LEFT) * step / last

    def y(number: float) -> float:
        return FLOOR - (FLOOR - TOP) * (number - low) / (high - low)

    _frame(sheet, chart, y)
    for side in (0, 1):
        for run in _runs([pair[side] for pair in chart.bounds], x, y):
            sheet.plot(*zip(*run, strict=True), color=COLOUR["stop"], linewidth=1.0, linestyle=(0, (5, 4)), clip_on=False)
    for step, pair in enumerate(chart.points):
        if pair is not None and pair[0] != pair[1]:
            sheet.area([(x(step), y(pair[0])), (x(step + 1), y(pair[0])), (x(step + 1), y(pair[1])), (x(step), y(pair[1]))], facecolor=COLOUR["line"], linewidth=0)
    middles = [None if pair is None else (pair[0] + pair[1]) / 2 for pair in chart.points]
    for run in _runs(middles, x, y):
        sheet.plot(*zip(*run, strict=True), color=COLOUR["ink"], linewidth=1.3, clip_on=False)
    for step, middle in enumerate(middles):
        if middle is None:
            sheet.text(x(step), FLOOR - 4, "?", fontsize=SIZE, color=COLOUR["wait"], ha="left")
        elif chart.outside[step]:
            sheet.plot([x(step)], [y(middle)], marker="X", markersize=8, color=COLOUR["stop"], linestyle="none", clip_on=False)
        elif last <= MARKED:
            sheet.plot([x(step)], [y(middle)], marker="o", markersize=4, color=COLOUR["ink"], linestyle="none", clip_on=False)


def _frame(sheet: Sheet, chart: Chart, y: Callable[[float], float]) -> None:
    """Lines and numbers that the value is read by, the first and the last day, what the signs are."""
    low, high = chart.span
    for at in range(TICKS):
        number = low + (high - low) * at / (TICKS - 1)
        sheet.plot([LEFT, RIGHT], [y(number)] * 2, color=COLOUR["line"], linewidth=0.6, clip_on=False)
        sheet.text(LEFT - 6, y(number) + 4, f"{number:.{chart.digits}f}", fontsize=SIZE, color=COLOUR["soft"], ha="right")
    for place, words, side in ((LEFT, chart.ticks[0], "left"), (RIGHT, chart.ticks[1], "right")):
        sheet.text(place, FLOOR + 18, words, fontsize=SIZE, color=COLOUR["soft"], ha=side)
    sheet.text(RIGHT, TOP - 12, LEGEND, fontsize=SIZE - 1, color=COLOUR["soft"], ha="right")


def _runs(numbers: Sequence[float | None], x: Callable[[float], float], y: Callable[[float], float]) -> Iterator[list[Pair]]:
    """The line in steps, broken where there is no number: a number holds until the next step."""
    for known, group in groupby(enumerate(numbers), lambda pair: pair[1] is not None):
        run: list[Pair] = []
        for step, number in group:
            if number is not None:
                run += [(x(step), y(number)), (x(step + 1), y(number))]
        if known:
            yield run
