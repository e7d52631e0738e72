"""Results of tests: whether one is on file that counts, how old it may be, and what it shows."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Literal

from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.formula import Formula
from formulint.quantity import read
from formulint.rule import Rule
from formulint.vocabulary import TestName
from formulint.wording import listed

if TYPE_CHECKING:  # nothing of it is needed where no result is judged
    from formulint.bearing import Bearing, Reading

CAUSES: dict[str, tuple[str, ...]] = {
    "on-file": ("missing",),
    "same-composition": ("composition",),
    "same-figures": ("figures", "making"),
    "same-method": ("method", "condition", "scale"),
    "not-in-future": ("future",),
    "not-too-old": ("age",),
    "within-limits": ("limits",),
}
"""Which causes each check speaks of."""

SAYS = {
    "on-file": "A result is on file for each test that a formula asks for.",
    "same-composition": "A result counts for the paint that was measured: one of the same composition, or the same in other digits.",
    "same-figures": "The figures of the materials, and the making where the result names it, are those of the paint that was measured.",
    "same-method": "A result is by the method, after the time and in the scale that the formula asks for.",
    "not-in-future": "No result is dated after the day it is judged on.",
    "not-too-old": "No result that counts is older than the formula or a rule allows.",
    "within-limits": "What was measured lies within what the formula asks of the test.",
}  # fmt: skip
"""What each check asks."""

EACH = ("future",)  # told of every row, even where another one counts


class Evidence(Rule, frozen=True, kw_only=True, tag="evidence", tag_field="kind", rename={"check_for": "check"}):
    """The results on file for the tests of a formula. ``tests`` narrows it to some; ``max_age`` is how long a result counts,
    ``mean`` judges the mean of a row in place of each repeat."""

    check_for: Literal["on-file", "same-composition", "same-figures", "same-method", "not-in-future", "not-too-old", "within-limits"]
    tests: tuple[TestName, ...] = ()
    max_age: str | None = None
    mean: bool = False

    def speaks_of(self, test: str) -> bool:
        """True for the tests it is about."""
        return not self.tests or test in self.tests

    @property
    def seconds(self) -> float | None:
        """How old a result may be [s]; None where the rule does not say."""
        return None if self.max_age is None else read(self.max_age, ("time",)).base

    def check_results(self, formula: Formula, path: str, bearings: "Sequence[Bearing]") -> Iterator[Fault]:
        """What the rule has to say about the results of one formula."""
        mine = [one for one in bearings if self.speaks_of(one.test)]
        causes = CAUSES[self.check_for]
        if self.check_for == "on-file":
            yield from _missing(formula, path, [one for one in mine if one.cause in causes])
            return
        for one in mine:
            for row in one.results:
                if row.cause in causes and (row.cause in EACH or one.cause in causes):
                    yield _fault(formula, path, one, row)
                    if row.cause not in EACH:
                        break

    def says(self) -> tuple[str, ...]:
        """What is asked, of which tests, and how old a result may be."""
        which = f" It is about {listed([one.replace('_', ' ') for one in self.tests], 'and')}." if self.tests else ""
        age = (f"A result counts for {self.max_age}.",) if self.max_age is not None else ()
        mean = ("The mean of the repeats of a row is judged, not each of them.",) if self.mean else ()
        return (SAYS[self.check_for] + which, *age, *mean)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: an age that is no time."""
        if self.max_age is not None:
            try:
                if read(self.max_age, ("time",)).negative:
                    yield Misread(f'the age "{self.max_age}" is below zero', "write how old it may be, such as 2 a or 90 d", ("max_age",))
            except Misread as error:
                yield Misread(error.message, error.remedy, ("max_age",))


def _missing(formula: Formula, path: str, missing: "Sequence[Bearing]") -> Iterator[Fault]:
    """All tests without any result, told once."""
    if missing:
        names = listed([one.title for one in missing], "and")
        words = f"{formula.code}, revision {formula.revision}: no result is on file for {names}"
        yield Fault(Place(path, ("tests", missing[0].test)), words, kind="open", missing=tuple(Place(path, ("tests", one.test)) for one in missing))


def _fault(formula: Formula, path: str, one: "Bearing", row: "Reading") -> Fault:
    """One row, where it stands, against the line of the formula that asks for the test."""
    from formulint.bearing import asked_words

    words = f"{one.title} of {formula.code}: {row.value} by {row.method}, {row.measured_on}: {row.reason}"
    place = Place(row.file, ("result", row.at, _KEY.get(row.cause, "value")))
    kind = "fail" if row.cause == "future" else row.verdict
    limit = None if row.cause != "limits" else asked_words(one.asked)
    return Fault(place, words, kind=kind, measured=row.value, limit=limit, related=(Place(path, ("tests", one.test)),))


_KEY = {"method": "method", "condition": "after", "future": "measured_on", "age": "measured_on"}
