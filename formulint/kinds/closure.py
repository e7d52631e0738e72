"""The lines add up to the batch; the shares of a material add up to all of it."""

from collections.abc import Iterator
from typing import Literal

from formulint.content import SHARES, Gap, shares_close
from formulint.finding import Fault, Place
from formulint.interval import ends
from formulint.quantity import in_unit, read
from formulint.rule import Rule
from formulint.subject import FormulaSubject, MaterialSubject
from formulint.verdict import open_fault


class Closure(Rule, frozen=True, kw_only=True, tag="closure", tag_field="kind"):
    """What is added up must come to what is written.

    ``batch``: mass or volume of the lines against the batch, within the settings' tolerance; where every line is a
    share, against 100 % within ``shares_within``. ``shares``: a material's shares against 100 % within the digits
    written.
    """

    what: Literal["batch", "shares"]
    shares_within: str = "0.05 %"

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The fault of a formula that does not add up to its batch."""
        if self.what != "batch":
            return
        batch = subject.formula.batch
        place = Place(subject.path, ("batch",))
        if subject.resolved.shares_total is not None:
            low, high = ends(subject.resolved.shares_total)
            within = read(self.shares_within, ("mass share",)).base
            if low > 1 + within or high < 1 - within:
                amount = f"{low * 100:.6g} %"
                words = f"the shares add up to {amount}, not to 100 %"
                yield Fault(place, words, "a line is missing, doubled or mistyped", measured=amount, limit="100 %", unit="%")
            return
        total = subject.resolved.totals.get("total_mass" if batch.dimension == "mass" else "total_volume", 0.0)
        if isinstance(total, Gap):
            yield open_fault("Whether the lines add up to the batch", total, place, batch.text)
            return
        low, high = ends(total)
        if low > batch.base * (1 + subject.closure) or high < batch.base * (1 - subject.closure):
            yield self._off(subject, low if low > batch.base else high, place)

    def _off(self, subject: FormulaSubject, total: float, place: Place) -> Fault:
        batch = subject.formula.batch
        unit = batch.lo.unit.symbol
        amount = f"{in_unit(total, unit):.2f} {unit}"
        off = 100 * (total / batch.base - 1)
        side = "too much" if off > 0 else "too little"
        words = f"the lines add up to {amount}, the batch is {batch.text}: {abs(off):.2f} % {side}"
        remedy = "look for a line in another unit, doubled or missing; else correct the batch or the water"
        return Fault(place, words, remedy, measured=amount, limit=batch.text, unit=unit)

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


def _listed(given: list[tuple[str, object]]) -> str:
    return " + ".join(f"{field} {getattr(figure, 'text', '')}" for field, figure in given)
