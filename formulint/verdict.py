"""A value against its bounds: inside, outside, or not known well enough to say."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from math import inf
from typing import Literal

from msgspec import Struct

from formulint.content import Bounded, Gap, Value
from formulint.errors import Misread
from formulint.finding import Fault, Measured, Place
from formulint.interval import AtLeast, ends
from formulint.properties import BY_ID, DOSE_BY_ID, NO_CAS, SUBSTANCE, dimension_of
from formulint.quantity import Quantity, in_unit, read, show

CLOSE = 1e-9  # relative: nearer than this a value counts as lying on its limit, which is allowed

KEPT = 2000  # bounds that are read once and kept; more than the shipped rules have

FINEST = 18  # decimals that a value may need to be told from its limit

Outcome = Literal["pass", "fail", "open"]


def outcome(value: Value, least: Quantity | None, most: Quantity | None) -> tuple[Outcome, Quantity | None]:
    """How a value stands to its bounds (both included), and the bound that decides.

    Unrounded numbers are compared. Where only a part of an interval lies inside, or the value is not known, nobody can
    say: ``open``. What is not known, but can only lie between two ends, is decided where both lie on one side.
    """
    if isinstance(value, Gap) and not isinstance(value, Bounded):
        return "open", most or least
    low, high = ends(value.between if isinstance(value, Bounded) else value)
    if least is not None:
        edge = _edge(least)
        edge -= abs(edge) * CLOSE
        if low < edge:
            return ("fail" if high < edge else "open"), least
    if most is not None:
        edge = _edge(most)
        edge += abs(edge) * CLOSE
        if high > edge:
            return ("fail" if low > edge else "open"), most
    return "pass", most or least


@lru_cache(maxsize=KEPT)
def _edge(bound: Quantity) -> float:
    return bound.base


def units_of(property_id: str, units: str, currency: str) -> tuple[str, int]:
    """The unit and the digits in which people see a property, a dose or a substance."""
    if property_id in BY_ID:
        one = BY_ID[property_id]
        unit, digits = (one.unit_us, one.digits_us) if units == "us" else (one.unit, one.digits)
        return unit.replace("$", currency), digits
    if property_id in DOSE_BY_ID:
        return DOSE_BY_ID[property_id].unit, DOSE_BY_ID[property_id].digits
    return "ppm", 1


def title_of(property_id: str) -> str:
    """The name people know a property, a dose or a substance by."""
    if property_id in BY_ID:
        return BY_ID[property_id].title
    if property_id in DOSE_BY_ID:
        return DOSE_BY_ID[property_id].title
    return f"CAS {property_id.removeprefix(SUBSTANCE)}"


MANY_PPM = 1e-3  # kg/kg; more than a thousand parts in a million are told in %


def readable(unit: str, digits: int, *values: float) -> tuple[str, int]:
    """Unit and digits in which a sentence tells these numbers: ppm up to a thousand of them, then %."""
    return ("%", digits + 3) if unit == "ppm" and any(MANY_PPM * (1 + CLOSE) < one < inf for one in values) else (unit, digits)


def shown(value: Value, unit: str, digits: int) -> str:
    """A value for people: ``11.94 lb/gal``, ``37.1 to 39.0 %``, ``open``."""
    if isinstance(value, Bounded):
        return f"open, {shown(value.between, unit, digits)}"
    if isinstance(value, Gap):
        return "open"
    if isinstance(value, AtLeast):
        return f"at least {show(value.lo, unit, digits)}"
    low, high = ends(value)
    first = show(low, unit, digits)
    if low == high:
        return first
    last = show(high, unit, digits)
    if first == last:
        return first
    return f"{first.removesuffix(unit).strip()} to {last}"


def limits_text(least: Quantity | None, most: Quantity | None, unit: str, digits: int) -> str:
    """Bounds for people: ``53 to 59 %``, ``at most 50 g/L``."""

    def text(bound: Quantity) -> str:
        return str(bound) if bound.unit.symbol == unit else f"{in_unit(bound.base, unit):.{digits}f} {unit}".strip()

    if least is not None and most is not None:
        return f"{text(least).removesuffix(unit).strip()} to {text(most)}"
    if most is not None:
        return f"at most {text(most)}"
    return f"at least {text(least)}" if least is not None else ""


def bare(value: Value | None, unit: str, digits: int) -> str:
    """A value without its unit."""
    return "" if value is None else shown(value, unit, digits).removesuffix(unit).strip()


def bare_limits(limit: tuple[Quantity | None, Quantity | None], unit: str, digits: int) -> str:
    """Bounds without their unit."""
    return limits_text(*limit, unit, digits).removesuffix(unit).strip()


def verdict_word(verdict: str) -> str:
    """The word people see for a verdict."""
    return {"pass": "holds", "fail": "fails", "open": "open", "review": "to review"}.get(verdict, "")


def apart(value: float, limit: Quantity, unit: str, digits: int) -> tuple[str, str]:
    """Value and limit as text with as many digits as it takes to tell them apart, so that a failing value never looks allowed."""
    edge = in_unit(limit.base, unit)
    number = in_unit(value, unit)
    more = next((more for more in range(digits, FINEST) if round(number, more) != round(edge, more)), FINEST)
    return f"{number:.{more}f} {unit}".strip(), _limit_text(limit, unit, edge, more)


def _limit_text(limit: Quantity, unit: str, edge: float, digits: int) -> str:
    """A limit as written, in another unit in six digits; in as many as its value where six would round it past that."""
    if limit.unit.symbol == unit:
        return str(limit)
    short = f"{edge:.6g}"
    told = short if round(float(short), digits) == round(edge, digits) else f"{edge:.{digits}f}"
    return f"{told} {unit}".strip()


class Sharp(Struct, frozen=True):
    """A value as narrow as it can be told, with the input that most of its width comes from: in words, and where it stands."""

    value: Value
    cause: str = ""
    places: tuple[Place, ...] = ()


Sharpen = Callable[[], Sharp | None]
"""Works out a value more narrowly; None where no range is behind it."""


def judge_bounds(
    name: str, value: Value, bounds: tuple[Quantity | None, Quantity | None], look: tuple[str, int], place: Place, sharpen: Sharpen | None = None
) -> Iterator[Fault]:
    """The fault of a value that is outside its bounds or cannot be judged; nothing where it is inside.

    ``name`` begins the message; ``look`` is the unit and the digits that people see. ``sharpen`` is asked only where the
    value as it stands does not pass: it is an outer bound.
    """
    unit, digits = look
    found, bound = outcome(value, *bounds)
    if found == "pass" or bound is None:
        return
    sharp = None if sharpen is None or isinstance(value, float) else sharpen()
    if sharp is not None:
        value = sharp.value
        found, bound = outcome(value, *bounds)
        if found == "pass" or bound is None:
            return
    if isinstance(value, Gap) and (found == "open" or not isinstance(value, Bounded)):
        yield open_fault(name, value, place, str(bound), look)
        return
    low, high = ends(value.between if isinstance(value, Bounded) else value)
    below = bound is bounds[0] and not (bound is bounds[1] and low >= bound.base * (1 - CLOSE))  # both may be one object
    far = low if below else high
    off = Measured(far, bound.base, bound.unit.dimension, unit)
    unit, digits = readable(unit, digits, bound.base)  # by the limit: ten times a limit of 350 ppm is 3500 ppm
    number, limit = apart(far, bound, unit, digits)
    side = "below" if below else "above"
    least = "at least" if below else "at most"
    if found == "fail":
        near = high if below else low
        number, limit = apart(near, bound, unit, digits)
        message = f"{name} is {number}, {side} the limit of {limit}"
        if isinstance(value, Bounded):
            most_or_least = "at least" if side == "above" else "at most"
            message = f"{name} is {most_or_least} {number}, {side} the limit of {limit}, though it is not known in full: {_listed(value)}"
        yield Fault(place, message, measured=number, limit=limit, unit=unit, off=off)
        return
    words = shown(value, unit, digits)
    words = f"is {words} and may be more" if isinstance(value, AtLeast) else f"lies from {words}"
    message = f"{name} {words}; {least} {limit} is asked, so it cannot be said to hold"
    remedy = ""
    places: tuple[Place, ...] = ()
    if sharp is not None and sharp.cause:
        message = f"{message}. {sharp.cause}"
        remedy, places = "ask the supplier for a narrower range, or for the figure itself", sharp.places
    yield Fault(place, message, remedy, kind="open", measured=shown(value, unit, digits), limit=limit, unit=unit, related=places, off=off)


def _listed(gap: Gap) -> str:
    """What is missing, in the words of each, the fields of one material together."""
    words: dict[str, str] = {}
    for item in gap.missing:
        start = f"{item.material} has no "
        plain = item.what == f"{start}{item.field}"
        if plain and start in words:
            words[start] += f", {item.field}" if item.field not in words[start].removeprefix(start).split(", ") else ""
        else:
            words.setdefault(start if plain else item.what, item.what)
    return "; ".join(words.values())


def open_fault(name: str, gap: Gap, place: Place, limit: str = "", look: tuple[str, int] | None = None) -> Fault:
    """The fault of a value that cannot be computed, with what is missing and where it should stand; and its ends, if it has any."""
    cause = _listed(gap)
    message = f"{name} cannot be computed: {cause or 'the lines do not add up to a batch'}"
    if isinstance(gap, Bounded) and look is not None:
        message += f"; it lies from {shown(gap.between, *look)}"
    places = tuple(item.place for item in gap.missing)
    return Fault(place, message, "fill in what is missing; unknown is not zero", "open", limit=limit or None, missing=places, cause=cause)


@lru_cache(maxsize=KEPT)
def read_bound(text: str, dimension: str) -> Quantity:
    """A bound in a unit of the dimension; kept, because each rule is asked about each formula.

    Raises
    ------
    Misread
    """
    return read(text, (dimension,))


def as_seen(value: float, unit: str) -> float:
    """A value in base units as people see it, in ``unit``; as it is where there is none."""
    return in_unit(value, unit) if unit else value


def read_bounds(property_id: str, least: str | None, most: str | None) -> tuple[Quantity | None, Quantity | None]:
    """Both bounds of a property as quantities.

    Raises
    ------
    Misread
        Where the property does not exist or a bound is not in a unit of it; ``at`` names the key.
    """
    dimension = dimension_of(property_id)
    if dimension is None and property_id.startswith(SUBSTANCE):
        raise Misread(f'"{property_id.removeprefix(SUBSTANCE)}" is no CAS number', NO_CAS)
    if dimension is None:
        raise Misread(f'there is no property "{property_id}"')
    found: list[Quantity | None] = []
    for key, text in (("min", least), ("max", most)):
        try:
            found.append(None if text is None else read_bound(text, dimension))
        except Misread as error:
            raise Misread(error.message, error.remedy, (key,)) from None
    return found[0], found[1]


def refuse_crossed(least: Quantity | None, most: Quantity | None) -> None:
    """Refuse bounds between which nothing lies.

    Raises
    ------
    Misread
    """
    if least is not None and most is not None and least.base >= most.base and least.exact > most.exact:
        raise Misread(f"min {least} is above max {most}", "exchange them", ("min",))


def narrowest(pairs: Iterable[tuple[Quantity | None, Quantity | None]]) -> tuple[Quantity | None, Quantity | None]:
    """The highest of the lower bounds and the lowest of the upper ones."""
    least: Quantity | None = None
    most: Quantity | None = None
    for low, high in pairs:
        if low is not None and (least is None or low.base > least.base):
            least = low
        if high is not None and (most is None or high.base < most.base):
            most = high
    return least, most


def own_remedy(name: str, bounds: tuple[Quantity | None, Quantity | None], pigment_binder: Value | None) -> str:
    """What helps where a sheet is outside a limit of its own; a PVC that is asked for by mass is told as such.

    ``pigment_binder`` is the ratio of pigment to binder by mass [kg/kg]; None where the sheet does not add up, so that it says nothing.
    """
    remedy = "correct the line or the figure that moved it; another limit is a commit of its own, with its own approval"
    if name not in ("pvc", "pvc_binder") or not isinstance(pigment_binder, float):
        return remedy
    share = pigment_binder / (1 + pigment_binder)
    low, high = (None if bound is None else bound.base for bound in bounds)
    if low is None or high is None or not low <= share <= high:
        return remedy
    return f"by mass the pigment is {100 * share:.1f} % of pigment and binder, inside this limit: write the limit by volume, as PVC goes; else {remedy}"
