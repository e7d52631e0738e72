"""What a picture of a report shows, as data: every picture has a title, says in words what is seen, and carries its numbers."""

from __future__ import annotations

from msgspec import Struct


class Numbers(Struct, frozen=True):
    """The figures of a picture as a table: columns by name (``>`` in front: numbers), rows of texts."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


class Picture(Struct, frozen=True):
    """What all pictures have: a title, what is seen in words for whoever does not see it, and the numbers."""

    title: str
    said: str
    numbers: Numbers


class Span(Struct, frozen=True):
    """A value between its ends, which are one for a plain number, in the unit that people see; ``text`` as it is printed."""

    low: float
    high: float
    text: str


class Track(Struct, frozen=True):
    """A value before and after against its bounds; None where there is none, or it is open."""

    label: str
    before: Span | None
    after: Span | None
    least: float | None
    most: float | None
    words: str
    verdict: str = ""


class Tracks(Picture, frozen=True):
    """Values against their bounds, one below the other, each on a scale of its own; ``left_out`` more are in the numbers only."""

    tracks: tuple[Track, ...] = ()
    left_out: int = 0


class Bar(Struct, frozen=True):
    """A bar by its label, cut into parts of the amounts of `Stacks.parts`, in their order; ``text`` is its sum in words."""

    label: str
    amounts: tuple[float, ...]
    text: str


class Stacks(Picture, frozen=True):
    """Bars in groups, such as a stage before and after; ``parts`` are what the bars are cut into."""

    parts: tuple[str, ...] = ()
    groups: tuple[tuple[str, tuple[Bar, ...]], ...] = ()


class Level(Struct, frozen=True):
    """A share [%] and the one beyond which another regime begins."""

    label: str
    value: float
    critical: float
    text: str


class Levels(Picture, frozen=True):
    """Shares, each against the one that is critical for it, on one scale."""

    levels: tuple[Level, ...] = ()


class Arrow(Struct, frozen=True):
    """From one item of `Arrows` to another, by number; ``wrong`` is one that is not kept."""

    first: int
    then: int
    wrong: bool = False


class Arrows(Picture, frozen=True):
    """Items in the order in which they are written, with who must come before whom; ``left_out`` arrows are in the numbers only."""

    items: tuple[str, ...] = ()
    arrows: tuple[Arrow, ...] = ()
    left_out: int = 0
