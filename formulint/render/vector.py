"""Figures as inline SVG: drawn by matplotlib, then stripped to shapes and words that take their colours from the page.

matplotlib is optional (the extra ``pictures``) and is imported when a page with pictures is written, never before.
"""

from __future__ import annotations

import io
import os
import re
import xml.etree.ElementTree as Xml
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from formulint.clean import html

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure
    from matplotlib.patches import Patch

ROLES = ("ink", "soft", "line", "paper", "band", "stop", "wait", "a", "b", "c", "d", "e", "f")
"""What a colour is for; the page says which colour that is, by day and by night. ``a`` to ``f`` fill the parts of bars."""

SALT = "formulint"
_HEX = {f"#0000{at + 1:02x}": role for at, role in enumerate(ROLES)}
COLOUR = {role: code for code, role in _HEX.items()}
"""The colour that stands for a role while matplotlib draws."""

_SVG = "{http://www.w3.org/2000/svg}"
_LINK = "{http://www.w3.org/1999/xlink}href"
_KEPT = {"svg", "g", "path", "rect", "text", "tspan", "defs", "pattern", "use", "clipPath"}
_STROKES = {"stroke-width", "stroke-linecap", "stroke-linejoin", "stroke-dasharray", "font-size", "font-weight", "text-anchor"}
_PLACES = {"d", "x", "y", "width", "height", "viewBox", "patternUnits", "transform", "clip-path", "id"}
_NUMBER = re.compile(r"-?\d+\.\d+")
_POINTER = re.compile(r"url\(#([\w-]+)\)")
_TURNED_BY_NOTHING = re.compile(r"rotate\(-?0 [\d. -]+\)")


def missing() -> str:
    """Why nothing can be drawn here, in words; empty where all that it takes is installed and works."""
    try:
        with _quietly():
            import matplotlib.backends.backend_svg  # noqa: F401
    except ImportError:
        return "pictures need matplotlib: install formulint[pictures]"
    except (OSError, RuntimeError, ValueError):
        return "pictures are left out: matplotlib does not start here"
    return ""


@contextmanager
def _quietly() -> Iterator[None]:
    """Import what draws without its reading a file of settings in the folder where we were started: that may be a stranger's."""
    import logging
    import warnings

    log = logging.getLogger("matplotlib")
    level = log.level
    log.setLevel(logging.CRITICAL)
    back = os.open(os.curdir, os.O_RDONLY) if os.path.lexists("matplotlibrc") else None
    try:
        if back is not None:
            os.chdir(os.path.dirname(os.path.abspath(__file__)))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # such as of letters that its font lacks: the page's font has them
            yield
    finally:
        if back is not None:
            os.fchdir(back)
            os.close(back)
        log.setLevel(level)


class Sheet:
    """What is drawn on: its units are those of the picture, y downwards.

    Axes would do the same with ticks, labels and grids that no picture here shows; to make them takes longer than to draw.
    """

    def __init__(self, figure: Figure, width: float, height: float) -> None:
        from matplotlib.transforms import Affine2D

        self._figure = figure
        self._place = Affine2D().scale(1 / width, -1 / height).translate(0, 1) + figure.transFigure

    def plot(self, x: Sequence[float], y: Sequence[float], **style: object) -> None:
        """A line through points, or marks on them, in the words of matplotlib's ``Line2D``."""
        from matplotlib.lines import Line2D

        self._add(Line2D(x, y, **style))  # type: ignore[arg-type]

    def text(self, x: float, y: float, words: str, **style: object) -> None:
        """Words, in those of its ``Text``."""
        from matplotlib.text import Text

        self._add(Text(x, y, words, **style))  # type: ignore[arg-type]

    def area(self, points: Sequence[tuple[float, float]], **style: object) -> None:
        """A filled shape, in the words of its ``Polygon``."""
        from matplotlib.patches import Polygon

        self._add(Polygon(points, **style))  # type: ignore[arg-type]

    def add_patch(self, patch: Patch) -> None:
        """A shape of its own making."""
        self._add(patch)

    def _add(self, one: Artist) -> None:
        one.set_transform(self._place)
        self._figure.add_artist(one, clip=False)


@contextmanager
def canvas(width: float, height: float, made: list[str]) -> Iterator[Sheet]:
    """A sheet of that size; what was drawn on it is put into ``made`` as SVG of matplotlib."""
    with _quietly():
        import matplotlib
        from matplotlib.backends.backend_svg import FigureCanvasSVG
        from matplotlib.figure import Figure

        with matplotlib.rc_context():
            matplotlib.rcdefaults()
            matplotlib.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": SALT, "text.parse_math": False, "hatch.linewidth": 0.7})
            figure = Figure(figsize=(width / 72, height / 72))
            FigureCanvasSVG(figure)
            figure.patch.set_visible(False)
            yield Sheet(figure, width, height)
            out = io.StringIO()
            figure.savefig(out, format="svg", metadata=dict.fromkeys(("Date", "Creator", "Format", "Type")))
            made.append(out.getvalue())


def inline(drawn: str, name: str, title: str, said: str) -> str:
    """An SVG of matplotlib as an element of a page; ``name`` begins its ids, ``said`` is what is seen, in words."""
    root = Xml.fromstring(drawn)
    pointed = set(_POINTER.findall(drawn)) | set(re.findall(r'href="#([\w-]+)"', drawn))
    ids = {old: f"{name}-{at}" for at, old in enumerate(sorted(pointed, key=drawn.index))}
    box = " ".join(f"{float(number):g}" for number in root.get("viewBox", "").split())
    head = f'<svg viewBox="{box}" role="img" aria-labelledby="{name}-t {name}-d">'
    words = f'<title id="{name}-t">{html(title)}</title><desc id="{name}-d">{html(said, 2000)}</desc>'
    inner = "".join(_element(one, ids) for one in root)
    return f"{head}{words}{inner}</svg>"


def _element(one: Xml.Element, ids: Mapping[str, str]) -> str:
    """An element that shows something, and those inside it; groups that say nothing are left out."""
    tag = one.tag.removeprefix(_SVG)
    if tag not in _KEPT:
        return ""
    inner = "".join(_element(child, ids) for child in one)
    if tag == "g" or (tag == "defs" and not inner):
        return inner
    marks = _attributes(one, ids)
    text = html(one.text or "") if tag in ("text", "tspan") else ""
    return f"<{tag}{marks}>{text}{inner}</{tag}>" if text or inner else f"<{tag}{marks}/>"


def _attributes(one: Xml.Element, ids: Mapping[str, str]) -> str:
    """Where it is and how it is painted: a colour becomes a class of the page, all else stays as attributes."""
    found, classes = {}, []
    for key, value in one.attrib.items():
        if key == _LINK:
            found["href"] = f"#{ids[value[1:]]}"
        elif key in _PLACES:
            found[key] = value
    for key, value in [*_style(one), *((key, one.get(key, "")) for key in ("fill", "stroke") if key in one.attrib)]:
        if key in ("fill", "stroke") and value in _HEX:
            classes.append(f"{key[0]}-{_HEX[value]}")
        elif key in ("fill", "stroke") or key in _STROKES:
            found[key] = value.removesuffix("px")
    if _TURNED_BY_NOTHING.fullmatch(found.get("transform", "")):
        del found["transform"]
    if "id" in found and found["id"] not in ids:
        del found["id"]
    elif "id" in found:
        found["id"] = ids[found["id"]]
    marks = [f'{key}="{html(_short(value, ids), 10**6)}"' for key, value in found.items()]
    return "".join(f" {mark}" for mark in ([f'class="{" ".join(classes)}"'] if classes else []) + marks)


def _style(one: Xml.Element) -> list[tuple[str, str]]:
    pairs = (part.split(":", 1) for part in one.get("style", "").split(";") if ":" in part)
    return [(key.strip(), value.strip()) for key, value in pairs]


def _short(value: str, ids: Mapping[str, str]) -> str:
    """Numbers to a tenth, which nobody can see; pointers to the ids of the page."""
    value = _POINTER.sub(lambda found: f"url(#{ids[found[1]]})", " ".join(value.split()))
    return _NUMBER.sub(lambda found: f"{round(float(found[0]), 1):g}", value)
