"""The lines add up to the batch; the shares of a material add up to all of it."""

from collections.abc import Iterator
from typing import Literal

from msgspec.structs import replace

from formulint.content import SHARES, Gap, shares_close
from formulint.errors import Misread
from formulint.finding import Fault, Measured, Place
from formulint.interval import Number, ends
from formulint.quantity import read
from formulint.rule import Goal, Rule
from formulint.subject import FormulaSubject, MaterialSubject
from formulint.verdict import CLOSE, apart, open_fault, shown

BATCH = "closure/batch"
"""The shipped rule by which lines add up to the batch."""

IMPERIAL = 4.54609 / 3.785411784
"""One imperial gallon in US gallons, by definition of both."""

ROUND = {"mass": ("100 lb", "1000 lb", "100 kg", "1000 kg"), "volume": ("100 gal", "100 L", "1000 L")}
"""Batches that sheets of the trade are written for."""

ROUNDLY = 5e-4  # relative: nearer than a sheet comes to a round sum by chance; our own choice

GALLONS = (
    (IMPERIAL, f"The sum is {IMPERIAL:.2f} times the batch, as an imperial gallon is of a US gallon."),
    (1 / IMPERIAL, f"The sum is {1 / IMPERIAL:.2f} times the batch, as a US gallon is of an imperial gallon."),
)

FACTORS = (
    (100, "a hundred times", "a hundredth of"), (10, "ten times", "a tenth of"), (5, "five times", "a fifth of"), (4, "four times", "a quarter of"), (2, "twice", "half of"),
)  # fmt: skip
"""How many times the batch a sheet may be written for, and both ways to say so."""

UNITS = ((3.785411784, "gal", "L"), (2.2046226218, "kg", "lb"))
"""How many times the smaller unit the larger one is, of two in which a batch is written."""

THE_BATCH = "look at batch = "
"""How the advice begins where the batch itself is to be looked at, and no line."""

AS_A_FACTOR = 0.01  # relative: so near to a factor a sum is taken for it; our own choice


class Closure(Rule, frozen=True, kw_only=True, tag="closure", tag_field="kind"):
    """What is added up must come to what is written.

    ``batch``: mass or volume of the lines against the batch, within the settings' tolerance; where every line is a
    share, against 100 % within ``shares_within``. ``shares``: a material's shares against 100 % within the digits
    written.
    """

    what: Literal["batch", "shares"]
    shares_within: str = "0.05 %"

    @property
    def of_formulas(self) -> bool:
        """True where a batch is added up."""
        return self.what == "batch"

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The fault of a formula that does not add up to its batch."""
        if self.what != "batch":
            return
        batch = subject.formula.batch
        place = Place(subject.path, ("batch",))
        shares = subject.resolved.shares_total
        if shares is not None:
            for fault in self._shares(shares, place):
                yield _with_odd(subject, fault)
            return
        total = subject.resolved.totals.get("total_mass" if batch.dimension == "mass" else "total_volume", 0.0)
        if isinstance(total, Gap):
            yield open_fault("Whether the lines add up to the batch", total, place, batch.text)
            return
        found = _closes(total, batch.base, subject.closure)
        if found == "fail":
            low, high = ends(total)
            near, far = (low, high) if low > batch.base else (high, low)
            fault = replace(self._off(subject, near, place), off=Measured(far, batch.base, batch.dimension, batch.lo.unit.symbol))
            yield _with_odd(subject, fault)
        elif found == "open":
            unit = batch.lo.unit.symbol
            amount = shown(total, unit, 2)
            words = f"the lines add up to {amount}, the batch is {batch.text}: {100 * subject.closure:g} % is allowed, so it cannot be said to close"
            yield Fault(place, words, "write figures instead of ranges where they are known", "open", amount, batch.text, unit)

    def goal(self, subject: FormulaSubject, fault: Fault) -> Goal | None:
        """The sum of the lines at what is written, not just within the tolerance."""
        if self.what != "batch":
            return None
        if subject.resolved.shares_total is not None:
            within = read(self.shares_within, ("mass share",)).base
            return Goal(lambda one: one.resolved.shares_total or 0.0, 1 - within, 1 + within, ("%", 2), 1.0)
        batch = subject.formula.batch
        name, whole, within = f"total_{batch.dimension}", batch.base, subject.closure
        look = (batch.lo.unit.symbol, 2)
        return Goal(lambda one: one.resolved.totals.get(name, 0.0), whole * (1 - within), whole * (1 + within), look, whole)

    def _shares(self, total: Number, place: Place) -> Iterator[Fault]:
        found = _closes(total, 1.0, read(self.shares_within, ("mass share",)).base)
        if not found:
            return
        far = max(ends(total), key=lambda end: abs(end - 1.0))
        low, high = (f"{100 * end:.6g}" for end in ends(total))
        amount = f"{low} %" if low == high else f"{low} to {high} %"
        words = f"the shares add up to {amount}, not to 100 %"
        remedy = "a line is missing, doubled or mistyped"
        if found == "open":
            words = f"the shares add up to {amount}; 100 % is asked, so they cannot be said to close"
            remedy = "write figures instead of ranges where they are known"
        yield Fault(place, words, remedy, found, amount, "100 %", "%", off=Measured(far, 1.0, "mass share", "%"))

    def _off(self, subject: FormulaSubject, total: float, place: Place) -> Fault:
        batch = subject.formula.batch
        unit = batch.lo.unit.symbol
        amount, _ = apart(total, batch.lo, unit, 2)
        off, allowed = 100 * (total / batch.base - 1), 100 * subject.closure
        digits = next((more for more in range(2, 9) if round(abs(off), more) != round(allowed, more)), 9)
        side = "too much" if off > 0 else "too little"
        words = f"the lines add up to {amount}, the batch is {batch.text}: {abs(off):.{digits}f} % {side}"
        remedy = "look for a line in another unit, doubled or missing; else correct the batch or the water"
        remedy = _by_a_factor(total, batch.base, batch.text) or " Else ".join((*self._misread_batch(subject, total), remedy))
        return Fault(place, words, remedy, measured=amount, limit=batch.text, unit=unit)

    def _misread_batch(self, subject: FormulaSubject, total: float) -> Iterator[str]:
        """What else the batch may have been meant for: another gallon, or a round mass or volume that the lines come to."""
        batch = subject.formula.batch
        for ratio, words in GALLONS if batch.dimension == "volume" else ():
            if abs(total / batch.base / ratio - 1) <= subject.closure:
                yield f"{words} Which gallon is this sheet for?"
        other = subject.resolved.totals.get("total_volume" if batch.dimension == "mass" else "total_mass")
        if not isinstance(other, float):
            return
        for text in ROUND["volume" if batch.dimension == "mass" else "mass"]:
            if abs(other / read(text, ("mass", "volume")).base - 1) <= ROUNDLY:
                yield f"The lines come to {text}: if this is a sheet per {text}, write that as the batch."

    def check_material(self, subject: MaterialSubject) -> Iterator[Fault]:
        """The fault of a material whose shares do not come to 100 %."""
        material = subject.stock.material
        given = [(field, figure) for field in SHARES if (figure := getattr(material, field)) is not None]
        if self.what != "shares" or not given or shares_close(material):
            return
        low = sum(float(figure.lo.exact) for _, figure in given)
        if len(given) < len(SHARES) and low < 1:
            missing = ", ".join(field for field in SHARES if getattr(material, field) is None)
            words = f"{material.code}: {_listed(given)} come to {100 * low:.6g} %; the rest is not said ({missing})"
            place = Place(subject.stock.path, (given[-1][0],))
            yield Fault(place, words, "say what the rest is; unknown is not zero", "open", f"{100 * low:.6g} %", "100 %", "%")
            return
        words = f"{material.code}: {_listed(given)} come to {100 * low:.6g} %, not to 100 %"
        yield Fault(
            Place(subject.stock.path, (given[0][0],)), words, "correct the shares from the supplier's sheet",
            measured=f"{100 * low:.6g} %", limit="100 %", unit="%",
        )  # fmt: skip

    def says(self) -> tuple[str, ...]:
        """What is added up, and how near it has to come."""
        if self.what == "shares":
            return ("The shares of a material come to 100 %, within the digits in which they are written.",)
        return (
            "Mass or volume of the lines comes to the batch, within the settings' closure.",
            f"Where every line is a share, they come to 100 % within {self.shares_within}.",
        )

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: a tolerance that is no share."""
        try:
            read(self.shares_within, ("mass share",))
        except Misread as error:
            yield Misread(error.message, error.remedy, ("shares_within",))


def closes(subject: FormulaSubject) -> bool:
    """True for a sheet of which the lines are known to add up to its batch, or its shares to 100 %, within the closure of the settings."""
    batch, shares = subject.formula.batch, subject.resolved.shares_total
    total = shares if shares is not None else subject.resolved.totals.get(f"total_{batch.dimension}", 0.0)
    return not isinstance(total, Gap) and not _closes(total, 1.0 if shares is not None else batch.base, subject.closure)


def _closes(total: Number, whole: float, within: float) -> Literal["", "fail", "open"]:
    """How a sum stands to what it should come to; what lies on the tolerance is allowed, unlike a rounded float would say."""
    low, high = ends(total)
    least, most = whole * (1 - within) * (1 - CLOSE), whole * (1 + within) * (1 + CLOSE)
    if low > most or high < least:
        return "fail"
    return "open" if low < least or high > most else ""


def _by_a_factor(total: float, whole: float, written: str) -> str:
    """What is to be looked at where the lines come to a round part of the batch, or to a round number of batches; empty where they do not."""
    for factor, times, part in FACTORS:
        digit = factor in (10, 100)
        if abs(total * factor / whole - 1) <= AS_A_FACTOR:
            slip = ": it may have a digit too many" if digit else ""
            return f"the lines come to {part} the batch: {THE_BATCH}\"{written}\" before the lines{slip}; correct the batch, or write every line for it"
        if abs(total / factor / whole - 1) <= AS_A_FACTOR:
            slip = ": it may lack a digit" if digit else ""
            return f"the lines come to {times} the batch: {THE_BATCH}\"{written}\" before the lines{slip}; correct the batch, or write every line for it"
    for ratio, large, small in UNITS:
        for unit, meant, share in ((small, large, total / whole / ratio), (large, small, total / whole * ratio)):
            if written.endswith(f" {unit}") and abs(share - 1) <= AS_A_FACTOR:
                words = f"{ratio:.2f} times the batch, as {large} is of {small}" if unit == small else f"{1 / ratio:.2f} of the batch, as {small} is of {large}"
                return f"the lines come to {words}: {THE_BATCH}\"{written}\" before the lines: it may be in {meant}; correct the batch, or write every line for it"
    return ""


def _with_odd(subject: FormulaSubject, fault: Fault) -> Fault:
    """The fault with the line that stands in another unit than the rest."""
    if fault.kind != "fail":
        return fault
    from formulint.slip import stands_out

    odd = stands_out(subject.formula)
    if odd is None:
        return fault
    return replace(fault, message=f"{fault.message}; {odd.words}", related=(Place(subject.path, (*odd.keys, "amount")),))


def _listed(given: list[tuple[str, object]]) -> str:
    return " + ".join(f"{field} {getattr(figure, 'text', '')}" for field, figure in given)
