"""A value over commits as a picture: a line in steps between its limits, drawn by matplotlib as SVG that takes its colours from the page.

matplotlib is optional (the extra ``pictures``) and is imported when a page with such a picture is written, never before.
"""

from __future__ import annotations

import io
import os
import re
from typing import TYPE_CHECKING

from formulint.chart import Chart, text_lines
from formulint.clean import html

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NEEDED = "the picture needs matplotlib: install formulint[pictures]; until then the same in characters:"
STRANGER = "the picture is left out, because a matplotlibrc in this folder would be read as settings; the same in characters:"
ROLES = {"#000001": "--ink", "#000002": "--soft", "#000003": "--line", "#000004": "--stop", "#000005": "--band"}
"""The colour that stands for one of the page while matplotlib draws, and its name there."""

INK, SOFT, LINE, STOP, BAND = ROLES
WIDE, HIGH = 640, 240  # points
MARKED = 80  # up to as many steps are marked one by one; those that break a limit always are
SALT = "formulint"  # ids of the picture come from what it shows, the same to the byte each time


def shown(chart: Chart) -> list[str]:
    """The picture as lines of a page; without matplotlib a sentence that says so, and the chart in characters."""
    why = STRANGER if os.path.lexists("matplotlibrc") else ""
    try:
        drawn = "" if why else _drawn(chart)
    except ImportError:
        drawn, why = "", NEEDED
    if drawn:
        return [_inline(drawn, chart)]
    return [f'<p class="said">{html(why)}</p>', "<pre>", *(html(line) for line in text_lines(chart, 76)), "</pre>"]


def _drawn(chart: Chart) -> str:
    """What matplotlib makes of it."""
    import logging

    logging.getLogger("matplotlib").setLevel(logging.CRITICAL)  # of fonts and folders that it lacks
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": SALT, "text.parse_math": False, "font.size": 11})
        figure = Figure(figsize=(WIDE / 72, HIGH / 72))
        FigureCanvasSVG(figure)
        axes = figure.add_axes((0.1, 0.14, 0.87, 0.76))
        _plot(axes, chart)
        figure.patch.set_visible(False)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata=dict.fromkeys(("Date", "Creator", "Format", "Type")))
        return out.getvalue()


def _plot(axes: Axes, chart: Chart) -> None:
    """The value, what was allowed at each step, and what broke it."""
    steps = range(len(chart.points))
    low, high = chart.span
    edge = (high - low) * 0.06
    for side in (0, 1):
        bounds = [pair[side] for pair in chart.bounds]
        axes.plot(steps, [float("nan") if one is None else one for one in bounds], drawstyle="steps-post", color=STOP, linewidth=1, linestyle=(0, (6, 4)))
    middles = [float("nan") if pair is None else (pair[0] + pair[1]) / 2 for pair in chart.points]
    lows, highs = ([float("nan") if pair is None else pair[side] for pair in chart.points] for side in (0, 1))
    axes.fill_between(steps, lows, highs, step="post", color=BAND)
    axes.plot(steps, middles, drawstyle="steps-post", color=INK, linewidth=1.2)
    known = [at for at in steps if chart.points[at] is not None]
    if len(known) <= MARKED:
        axes.plot(known, [middles[at] for at in known], color=INK, marker="o", markersize=4, linestyle="none")
    broken = [at for at in known if chart.outside[at]]
    axes.plot(broken, [middles[at] for at in broken], color=STOP, marker="X", markersize=7, linestyle="none")
    for at in (at for at in steps if chart.points[at] is None):
        axes.text(at, low, "?", color=STOP, ha="center")
    axes.set_ylim(low - edge, high + edge)
    axes.set_title(chart.title, loc="left", fontsize=11, color=INK)
    axes.set_title("dashed: the limit; crosses: outside it", loc="right", fontsize=10, color=SOFT)
    axes.set_xticks([0, len(chart.points) - 1], list(chart.ticks))
    axes.get_xticklabels()[0].set_horizontalalignment("left")
    axes.get_xticklabels()[1].set_horizontalalignment("right")
    axes.ticklabel_format(axis="y", useOffset=False)
    axes.tick_params(colors=SOFT)
    axes.patch.set_visible(False)
    for spine in axes.spines.values():
        spine.set_color(LINE)


def _inline(drawn: str, chart: Chart) -> str:
    """The drawing as an element of a page: no head, no metadata, no address, and what it shows in words."""
    inner = drawn[drawn.index("<svg") :]
    inner = re.sub(r"<metadata>.*?</metadata>\s*", "", inner[inner.index(">") + 1 :], flags=re.DOTALL)
    inner = inner.replace("xlink:href", "href")
    for code, name in ROLES.items():
        inner = inner.replace(code, f"var({name})")
    known = [pair for pair in chart.points if pair is not None]
    said = f"{chart.title}, from {chart.ticks[0]} to {chart.ticks[1]}: {len(chart.points)} commits, {sum(chart.outside)} outside a limit, last {known[-1][0]:.{chart.digits}f}"
    head = f'<svg viewBox="0 0 {WIDE} {HIGH}" width="{WIDE}" style="max-width:100%;height:auto" role="img" aria-label="{html(said)}">'
    return head + "".join(line.strip() + "\n" for line in inner.splitlines())
