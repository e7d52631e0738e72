"""How intermediates lie inside each other: how deep, and which of them in a circle. The answer depends on no order of asking."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

DEEPEST = 20  # intermediates inside intermediates; a plant has two or three


def chained(codes: Sequence[str], words: str) -> str:
    """What is wrong with a chain of intermediates that was not followed to its end: a circle, of which the words are, or too long."""
    words = words if codes[-1] in codes[:-1] else f"{codes[0]} holds intermediates inside each other, more than {DEEPEST} deep"
    return f"{words}: {' -> '.join(codes)}"


class Nesting:
    """The graph of intermediates, gone through where it is asked about, each of them and each of their lines once.

    Parameters
    ----------
    parts : callable
        From the code of a formula to the codes of the intermediates that it names.

    Attributes
    ----------
    knots : dict
        The codes that cannot be computed, each with the chain that says why: one that ends where it began is a circle,
        any other is longer than ``DEEPEST``.
    """

    def __init__(self, parts: Callable[[str], Sequence[str]]) -> None:
        self._parts = parts
        self._found: dict[str, Sequence[str]] = {}
        self._depth: dict[str, int] = {}
        self._deepest: dict[str, str] = {}
        self.knots: dict[str, tuple[str, ...]] = {}

    def knot(self, code: str) -> tuple[str, ...]:
        """Why a formula cannot be computed; empty where its intermediates lie in order."""
        if code not in self._depth:
            for group in self._groups(code):
                self._settle(group)
            self._found.clear()  # settled, so not asked for again
        chain = self.knots.get(code, ())
        at = chain.index(code) if code in chain else 0  # of a circle, told from where one stands
        return (*chain[at:-1], *chain[:at], code) if at else chain

    def _groups(self, start: str) -> Iterator[list[str]]:
        """Groups of codes that are inside each other (nearly always one code), parts before what they are in.

        Tarjan, Depth-first search and linear graph algorithms, SIAM J. Comput. 1 (1972) 146: the method, from memory.
        Written without recursion: whoever nests a thousand deep must get an answer too.
        """
        number: dict[str, int] = {}
        low: dict[str, int] = {}
        open_: list[str] = []
        inside: set[str] = set()
        path: list[tuple[str, Iterator[str]]] = []

        def enter(code: str) -> None:
            number[code] = low[code] = len(number)
            open_.append(code)
            inside.add(code)
            path.append((code, iter(self._of(code))))

        enter(start)
        while path:
            code, rest = path[-1]
            part = next((one for one in rest if one not in self._depth), None)
            if part is None:
                path.pop()
                if path:
                    low[path[-1][0]] = min(low[path[-1][0]], low[code])
                if low[code] == number[code]:
                    group = open_[open_.index(code) :] if open_[-1] != code else [code]
                    del open_[-len(group) :]
                    inside.difference_update(group)
                    yield group
            elif part not in number:
                enter(part)
            elif part in inside:
                low[code] = min(low[code], number[part])

    def _of(self, code: str) -> Sequence[str]:
        if code not in self._found:
            self._found[code] = self._parts(code)
        return self._found[code]

    def _settle(self, group: list[str]) -> None:
        """Depth of one code whose parts are known, or the circle of several."""
        code = min(group)
        if len(group) > 1 or code in self._of(code):
            circle = self._circle(code, frozenset(group))
            for one in group:
                self._depth[one] = 0  # it is not gone into
                self.knots[one] = circle
            return
        parts = self._of(code)
        if parts:
            self._deepest[code] = min(parts, key=lambda one: (-self._depth[one], one))
        self._depth[code] = 1 + self._depth[self._deepest[code]] if parts else 0
        if self._depth[code] > DEEPEST:
            chain = [code]
            while len(chain) <= DEEPEST + 1:
                chain.append(self._deepest[chain[-1]])
            self.knots[code] = tuple(chain)

    def _circle(self, code: str, group: frozenset[str]) -> tuple[str, ...]:
        """A shortest way from a code back to itself, among those of its group."""
        came: dict[str, str] = {}
        waiting = [code]
        for at in waiting:
            for part in self._of(at):
                if part == code:
                    way = [at]
                    while way[-1] != code:
                        way.append(came[way[-1]])
                    return (*reversed(way), code)
                if part in group and part not in came:
                    came[part] = at
                    waiting.append(part)
        raise AssertionError("a group is a circle")
