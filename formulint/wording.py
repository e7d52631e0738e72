"""Selectors, windows and days of rules in words of the trade."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from formulint.formula import Formula
from formulint.rule import Pick, Where

SORTS = {
    "in-can-preservative": "in-can preservative", "dry-film-preservative": "dry-film preservative", "open-time-additive": "open-time additive",
    "alkali-swellable-thickener": "alkali-swellable thickener", "non-swelling-clay": "non-swelling clay", "flash-rust-inhibitor": "flash-rust inhibitor",
}  # fmt: skip
"""Functions of which a hyphen belongs to the word; in all others it stands for a blank."""
FIELDS = {"ph": "pH", "voc": "VOC", "sds_date": "SDS date"}
"""Fields that are not said as they are spelled."""


def listed(words: Iterable[str], last: str = "or") -> str:
    """``a, b or c``."""
    *most, end = [*words] or [""]
    return f"{', '.join(most)} {last} {end}" if most else end


def function_word(name: str) -> str:
    """A function as it is said: ``white pigment``."""
    return SORTS.get(name, name.replace("-", " "))


def pick_words(pick: Pick) -> str:
    """What a selector of materials picks: ``dispersant as solution (not: anything tagged acid-form)``."""
    parts = [listed(map(function_word, pick.functions)) if pick.functions else "anything" if _asks(pick) else "any material"]
    parts += [f"as {listed(pick.forms)}"] if pick.forms else []
    parts += [f"tagged {listed(pick.tags)}"] if pick.tags else []
    parts += [f"with the code {listed(pick.codes)}"] if pick.codes else []
    parts += [f"that holds CAS {listed(pick.cas)}"] if pick.cas else []
    parts += [f"in state {listed(pick.states)}"] if pick.states else []
    parts += [f"charged in a stage of kind {listed(pick.stages)}"] if pick.stages else []
    words = " ".join(parts)
    return f"{words} (not: {listed(map(pick_words, pick.but))})" if pick.but else words


def _asks(pick: Pick) -> bool:
    return bool(pick.forms or pick.tags or pick.codes or pick.cas or pick.states or pick.stages)


def where_words(where: Where) -> str:
    """Which formulas a selector picks: ``paints of class flat or matt, sold in eu``; empty where it picks all."""
    return ", ".join(words for _, words in _asked(where))


ASKED = {
    "class_": "class {}", "use": "for {} use", "state": "in state {}", "markets": "sold in {}", "substrate": "on {}", "claims": "that claim {}",
    "codes": "with the code {}",
}  # fmt: skip
"""What each list of a selector asks, in words."""


def _asked(where: Where) -> Iterator[tuple[str, str]]:
    """The keys that are given, each in words."""
    for key, words in ASKED.items():
        if given := getattr(where, key):
            yield key, words.format(listed(given))
    if where.tint_base is not None:
        yield "tint_base", "tint bases" if where.tint_base else "no tint bases"


def misses(where: Where, formula: Formula) -> str:
    """The first thing that a selector asks and a formula is not, in words; empty where it picks the formula."""
    for key, words in _asked(where):
        if not Where(**{key: getattr(where, key)}).holds(formula):
            return words
    return ""


def window(least: str | None, most: str | None) -> str:
    """Bounds as they are written: ``from 53 % to 59 %``, ``at most 50 g/L``, ``at least 3 hegman``."""
    if least is not None and most is not None:
        return least if least == most else f"from {least} to {most}"
    return f"at most {most}" if most is not None else f"at least {least}"


def days(first: date | None, last: date | None) -> str:
    """When something is in force; empty where it always is."""
    if first is not None and last is not None:
        return f"from {first} to {last}"
    return f"from {first} on" if first is not None else f"until {last}" if last is not None else ""


def field_words(field: str) -> str:
    """A field as it is said: ``oil absorption``."""
    return FIELDS.get(field, field.replace("_", " ").replace(".", ", "))


def whom(where: Where, unless: Where | None) -> Sequence[str]:
    """The sentences that say which formulas a rule is about; none where it is about all."""
    picked, left = where_words(where), "" if unless is None else where_words(unless)
    only = [f"Only formulas of {picked}." if where.class_ else f"Only formulas {picked}."] if picked else []
    return [*only, *([f"Not: {left}."] if left else [])]
