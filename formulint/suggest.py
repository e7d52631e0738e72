"""Which word was meant: "did you mean", in bounded time."""

from __future__ import annotations

from collections.abc import Iterable

LONGEST = 40
MOST = 200


def closest(word: str, words: Iterable[str]) -> str | None:
    """The one of ``words`` that ``word`` is most likely a slip of, or None.

    Capitals, blanks, hyphens and underscores do not count, a word may be cut short or be the trade's own. Words longer than 40
    characters are not looked at, nor more than 200 candidates: whatever a file holds, the answer comes at once.
    """
    if not word or len(word) > LONGEST:
        return None
    folded: dict[str, str] = {}
    for candidate in words:
        if len(candidate) <= LONGEST and len(folded) < MOST:
            folded.setdefault(_fold(candidate), candidate)
    meant = _fold(word)
    if meant in folded:
        return folded[meant]
    from formulint.synonyms import SYNONYMS

    for other in SYNONYMS.get(meant, ()):
        if _fold(other) in folded:
            return folded[_fold(other)]
    begun = [candidate for candidate in folded if candidate.startswith(meant)]
    if len(begun) == 1 and len(meant) >= 3:
        return folded[begun[0]]
    from difflib import get_close_matches

    close = get_close_matches(meant, folded, 1, 0.7)
    return folded[close[0]] if close else None


def _fold(word: str) -> str:
    return word.lower().replace("_", "").replace("-", "").replace(" ", "")


LOOKS = str.maketrans("lIoO", "1100")


def similar(code: str, known: list[str]) -> str | None:
    """The code that was probably meant: the same but for l and 1, O and 0, or else the nearest."""
    for other in known:
        if other.translate(LOOKS).casefold() == code.translate(LOOKS).casefold():
            return other
    swapped = {code[:at] + code[at + 1] + code[at] + code[at + 2 :] for at in range(len(code) - 1)}
    for other in known:
        if other in swapped:
            return other
    return closest(code, [other for other in known if abs(len(other) - len(code)) <= 1 and other[:1].casefold() == code[:1].casefold()])
