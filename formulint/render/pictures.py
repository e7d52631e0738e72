"""The pictures of a report, drawn: narrow enough for a telephone, told apart by form and pattern, never by colour alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from unicodedata import east_asian_width

from formulint.clean import clean
from formulint.picture import Arrows, Bar, Levels, Picture, Span, Stacks, Track, Tracks
from formulint.render.vector import COLOUR, Sheet, canvas, inline

_Along = Callable[[float], float]

WIDE = 340.0  # units; a page shows one as a CSS pixel on a telephone, and a little more elsewhere
SIZE, SMALL = 11.5, 10.5  # of letters
LETTER = 0.6  # of the size of letters: how wide one is at most, on average (practice)
EDGE = 8.0
FAILS = "fails"  # the word that people see for it
MOST_GROUPS, MOST_ITEMS = 14, 60  # of one picture; the numbers below it have all
HATCHES = ("", "///", "||", "xx", "\\\\\\", "--")
FILLS = ("a", "b", "c", "d", "e", "f")


def draw(picture: Picture, name: str) -> str:
    """A picture as SVG for the body of a page; its ids begin with ``name``. Empty for a picture that shows nothing."""
    made: list[str] = []
    if isinstance(picture, Tracks) and picture.tracks:
        _tracks(picture, made)
    elif isinstance(picture, Levels) and picture.levels:
        _levels(picture, made)
    elif isinstance(picture, Stacks) and picture.groups:
        _stacks(picture, made)
    elif isinstance(picture, Arrows) and picture.items:
        _arrows(picture, made)
    return inline(made[0], name, picture.title, picture.said) if made else ""


# --- words and marks ---------------------------------------------------------------------------------------------


def _write(sheet: Sheet, x: float, y: float, text: str, room: float = WIDE, *, right: bool = False, size: float = SIZE, role: str = "ink", bold: bool = False) -> float:
    """Write a text with its line at ``y``, cut where it has no room; how wide it is, at most."""
    shown = cut(clean(text), room, size)
    sheet.text(x, y, shown, fontsize=size, color=COLOUR[role], ha="right" if right else "left", va="baseline", fontweight="bold" if bold else "normal")
    return width_of(shown, size)


def width_of(text: str, size: float) -> float:
    """How much room a text takes at most."""
    return sum(2.0 if east_asian_width(letter) in "WF" else 1.0 for letter in text) * LETTER * size


def cut(text: str, room: float, size: float) -> str:
    """A text that fits, with an ellipsis where it was cut."""
    if width_of(text, size) <= room:
        return text
    while text and width_of(text, size) + LETTER * size > room:
        text = text[:-1]
    return text.rstrip() + "…"


def _box(sheet: Sheet, left: float, top: float, width: float, height: float, fill: str, edge: str = "", hatch: str = "") -> None:
    from matplotlib.patches import Rectangle

    line = {"edgecolor": COLOUR[edge], "linewidth": 0.8} if edge else {"linewidth": 0}
    sheet.add_patch(Rectangle((left, top), width, height, facecolor=COLOUR[fill], hatch=hatch or None, clip_on=False, **line))


def _line(sheet: Sheet, points: Sequence[tuple[float, float]], role: str = "ink", wide: float = 1.0, dashed: bool = False) -> None:
    sheet.plot([x for x, _ in points], [y for _, y in points], color=COLOUR[role], linewidth=wide, linestyle=(0, (3, 2)) if dashed else "-", solid_capstyle="butt", clip_on=False)


def _mark(sheet: Sheet, x: float, y: float, form: str, role: str = "ink", filled: bool = True, size: float = 8) -> None:
    sheet.plot([x], [y], marker=form, markersize=size, color=COLOUR[role], markerfacecolor=COLOUR[role if filled else "paper"], markeredgewidth=1.4, linestyle="none", clip_on=False)


# --- values against their limits ---------------------------------------------------------------------------------

ROW = 52.0


def _tracks(picture: Tracks, made: list[str]) -> None:
    forms = [("D", "now")]
    forms = [("o", "before"), *forms] if any(one.before is not None for one in picture.tracks) else forms
    forms += [("X", "now, fails")] if any(one.verdict == FAILS for one in picture.tracks) else []
    with canvas(WIDE, ROW * len(picture.tracks) + 22, made) as sheet:
        for at, one in enumerate(picture.tracks):
            _track(sheet, ROW * at, one)
        top = ROW * len(picture.tracks) + 14
        x = EDGE
        for form, words in forms:
            _mark(sheet, x, top - 4, form, "stop" if form == "X" else "ink", form != "o", 7)
            x += 10 + _write(sheet, x + 10, top, words, size=SMALL, role="soft") + 14
        _box(sheet, x, top - 9, 22, 9, "band", "soft")
        _write(sheet, x + 28, top, "allowed", size=SMALL, role="soft")


def _track(sheet: Sheet, top: float, one: Track) -> None:
    fails = one.verdict == FAILS
    words = f"{one.words.replace(' -> ', ' → ')} {one.verdict}".strip()
    taken = width_of(words, SIZE)
    role = "stop" if fails else "wait" if one.verdict in ("open", "to review") else "ink"
    _write(sheet, WIDE, top + 12, words, WIDE - 80, right=True, role=role, bold=fails)
    _write(sheet, 0, top + 12, one.label, max(80.0, WIDE - taken - 10))
    low, high = _scale(one)

    def x(value: float) -> float:
        return EDGE + (WIDE - 2 * EDGE) * min(1.0, max(0.0, (value - low) / (high - low)))

    y = top + 26
    left, right = x(low if one.least is None else one.least), x(high if one.most is None else one.most)
    _line(sheet, [(EDGE, y), (WIDE - EDGE, y)], "line", 1.4)
    _box(sheet, left, y - 5, max(right - left, 1.5), 10, "band", "soft")
    for bound, place, on_right in ((one.least, left, one.most is not None), (one.most, right, False)):
        if bound is not None:
            text = f"{'' if one.least is not None and one.most is not None else 'at most ' if bound is one.most else 'at least '}{bound:.5g}"
            half = width_of(text, SMALL) / 2
            shift = min(max(place, half), WIDE - half) - half
            if on_right and right - left < 2 * half:  # two numbers side by side, not one upon the other
                shift = max(0.0, left - 2 * half)
            _write(sheet, shift, top + 42, text, size=SMALL, role="soft")
    if one.before is not None and one.after is not None and one.before != one.after:
        _line(sheet, [(x(_middle(one.before)), y), (x(_middle(one.after)), y)], "ink", 1.0)
    if one.before is not None:
        _point(sheet, one.before, x, y, "o", "ink", False)
    if one.after is not None:
        _point(sheet, one.after, x, y, "X" if fails else "D", "stop" if fails else "ink", True)


def _point(sheet: Sheet, one: Span, x: _Along, y: float, form: str, role: str, filled: bool) -> None:
    if one.high > one.low:
        _line(sheet, [(x(one.low), y), (x(one.high), y)], role, 3.0)
    _mark(sheet, x(_middle(one)), y, form, role, filled)


def _middle(one: Span) -> float:
    return (one.low + one.high) / 2


def _scale(one: Track) -> tuple[float, float]:
    """The ends of a scale on which the bounds can be seen; a value far off lies at its end, and its number is beside it."""
    if one.least is not None and one.most is not None:
        wide = one.most - one.least or abs(one.most) * 0.1 or 1.0
        return one.least - 0.45 * wide, one.most + 0.45 * wide
    bound = one.most if one.most is not None else one.least or 0.0
    if bound > 0:
        return 0.0, 1.5 * bound
    return bound - 1.0, bound + 1.0


# --- PVC against the critical PVC --------------------------------------------------------------------------------


def _levels(picture: Levels, made: list[str]) -> None:
    row = 40.0
    most = max(100.0, *(max(one.value, one.critical) for one in picture.levels))
    room = WIDE - 2 * EDGE
    bottom = row * len(picture.levels)
    with canvas(WIDE, bottom + 40, made) as sheet:
        for at, one in enumerate(picture.levels):
            top = row * at
            _write(sheet, WIDE, top + 12, one.text, WIDE - 70, right=True)
            _write(sheet, 0, top + 12, one.label, 70)
            tick = EDGE + room * one.critical / most
            _box(sheet, EDGE, top + 20, room, 12, "paper", "line")
            _box(sheet, EDGE, top + 20, room * one.value / most, 12, "b", "ink", HATCHES[1])
            _line(sheet, [(tick, top + 16), (tick, top + 36)], "ink", 2.2)
            _mark(sheet, tick, top + 15, "v", "ink", True, 6)
        for share in range(0, 101, 25):
            place = EDGE + room * share / most
            _line(sheet, [(place, bottom), (place, bottom + 4)], "soft", 0.8)
            _write(sheet, min(max(0.0, place - 11), WIDE - 34), bottom + 15, f"{share} %", size=SMALL, role="soft")
        _mark(sheet, EDGE, bottom + 29, "v", "ink", True, 6)
        _write(sheet, EDGE + 9, bottom + 33, "critical: beyond it the film holds air (estimate)", size=SMALL, role="soft")


# --- what each stage is made of ----------------------------------------------------------------------------------


def _stacks(picture: Stacks, made: list[str]) -> None:
    groups = picture.groups[:MOST_GROUPS]
    bars = sum(len(one) for _, one in groups)
    keys = (len(picture.parts) + 1) // 2
    height = 20.0 * len(groups) + 19.0 * bars + 16.0 * keys + 12
    most = max((sum(bar.amounts) for _, one in groups for bar in one), default=0.0) or 1.0
    with canvas(WIDE, height, made) as sheet:
        top = 0.0
        for name, inner in groups:
            _write(sheet, 0, top + 13, name, bold=True)
            top += 20
            for bar in inner:
                _bar(sheet, top, bar, most)
                top += 19
        for at in range(len(picture.parts)):
            left, line = (at % 2) * WIDE / 2, top + 8 + 16 * (at // 2)
            _box(sheet, left, line, 16, 10, FILLS[at], "ink", HATCHES[at])
            _write(sheet, left + 22, line + 9, picture.parts[at], WIDE / 2 - 24, size=SMALL)


def _bar(sheet: Sheet, top: float, bar: Bar, most: float) -> None:
    left, room = 62.0, WIDE - 62.0 - 74.0
    _write(sheet, 0, top + 10, bar.label, left - 4, size=SMALL, role="soft")
    for at, amount in enumerate(bar.amounts):
        if amount > 0:
            wide = room * amount / most
            _box(sheet, left, top, wide, 13, FILLS[at], "ink", HATCHES[at])
            left += wide
    _write(sheet, WIDE, top + 10, bar.text, 74, right=True, size=SMALL)


# --- who comes before whom ---------------------------------------------------------------------------------------


def _arrows(picture: Arrows, made: list[str]) -> None:
    row = 22.0
    items = picture.items[:MOST_ITEMS]
    spread = [one for one in picture.arrows if max(one.first, one.then) < len(items)]
    wrong = any(one.wrong for one in spread)
    begin, end = (62.0 if wrong else 2.0), WIDE - 84
    with canvas(WIDE, row * len(items) + 22, made) as sheet:
        for at, text in enumerate(items):
            _box(sheet, begin, row * at + 2, end - begin, row - 5, "band", "soft")
            _write(sheet, begin + 5, row * at + 14.5, text, end - begin - 8, size=SMALL)
        for one in spread:
            _arc(sheet, row, one.first, one.then, begin if one.wrong else end, one.wrong)
        top = row * len(items) + 15
        _line(sheet, [(EDGE, top - 4), (EDGE + 20, top - 4)], "ink", 1.0)
        x = EDGE + 26 + _write(sheet, EDGE + 26, top, "must be in before, and is", size=SMALL, role="soft")
        if wrong:
            _line(sheet, [(x + 8, top - 4), (x + 28, top - 4)], "stop", 2.4, dashed=True)
            _write(sheet, x + 34, top, "and is not", size=SMALL, role="stop")


def _arc(sheet: Sheet, row: float, first: int, then: int, x: float, wrong: bool) -> None:
    """An arrow from one item to another, on the right where it is kept, on the left where it is not."""
    from matplotlib.patches import FancyArrowPatch
    from matplotlib.path import Path

    start, end = row * first + row / 2, row * then + row / 2
    shift = 3.0 if then > first else -3.0
    out = min(58.0 if wrong else 80.0, 12 + 5.0 * abs(then - first)) * 1.33 * (-1 if wrong else 1)
    path = Path([(x, start + shift), (x + out, start + shift), (x + out, end - shift), (x, end - shift)], [Path.MOVETO, Path.CURVE4, Path.CURVE4, Path.CURVE4])
    role = "stop" if wrong else "ink"
    line = (0, (3, 2)) if wrong else "-"
    sheet.add_patch(FancyArrowPatch(path=path, arrowstyle="-|>", mutation_scale=9, color=COLOUR[role], linewidth=2.0 if wrong else 0.9, linestyle=line))
