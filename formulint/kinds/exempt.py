"""Compounds that a market counts as VOC although its scheme exempts them, and the values counted so."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from formulint.amounts import times
from formulint.content import Surroundings, Value, add, content, number
from formulint.evaluate import Evaluation
from formulint.subject import FormulaSubject, Stock

COUNTED = ("voc_mass_us", "exempt_mass", "exempt_volume")
"""The sums that change with what is exempt."""


class NotExempt(Struct, frozen=True, forbid_unknown_fields=True, rename={"from_": "from"}):
    """A compound of the scheme's list that this market counts as VOC, or of which that is in doubt.

    ``unless`` are categories in which it is exempt here too.
    """

    cas: str
    name: str
    from_: date | None = None
    until: date | None = None
    unless: tuple[str, ...] = ()
    checked: Literal["verified", "practice", "memory"] = "memory"
    note: str = ""

    def in_force(self, today: date) -> bool:
        """True on the days from ``from`` to ``until``, both included."""
        return (self.from_ is None or self.from_ <= today) and (self.until is None or today <= self.until)


def counted(subject: FormulaSubject, here: Sequence[NotExempt]) -> tuple[Evaluation, str, bool]:
    """The values with these compounds as VOC, words that say so, and whether the status of one that is there is only recalled."""
    exempt = subject.evaluation.around.shares.exempt_us
    asked = frozenset([one.cas for one in here]) & exempt
    codes = [code for code, stock in subject.stocks.items() if not asked.isdisjoint(stock.content.substances) and code in subject.resolved.leaves]
    if not codes:  # as nearly always
        return subject.evaluation, "", False
    held = [(one, code) for one in here if one.cas in exempt for code in codes if one.cas in subject.stocks[code].content.substances]
    cas = frozenset(one.cas for one, _ in held)
    around = replace(subject.evaluation.around.shares, exempt_us=exempt - cas)
    columns = {code: _columns(subject.stocks[code], cas, around) for code in dict.fromkeys(code for _, code in held)}
    leaves = subject.resolved.leaves
    known = {code: columns.get(code) or (subject.stocks[code].content.columns if code in subject.stocks else {}) for code in leaves}
    totals = {name: add([times(kg, known[code].get(name, 0.0)) for code, kg in leaves.items()]) for name in COUNTED}
    resolved = replace(subject.resolved, totals={**subject.resolved.totals, **totals})
    evaluation = Evaluation(resolved, subject.path, subject.evaluation.water_density, subject.evaluation.around)
    words = "; counted as VOC here: " + ", ".join(dict.fromkeys(f"{one.name} in {code}" for one, code in held))
    return evaluation, words, any(one.checked == "memory" for one, _ in held)


def _columns(stock: Stock, cas: frozenset[str], around: Surroundings) -> dict[str, Value]:
    """What a material brings with these compounds as VOC; to a supplier's statement of its VOC they are added."""
    found = content(stock.material, stock.path, around).columns
    if stock.material.voc_us is not None:
        more = [number(one.share) for one in stock.material.component if one.cas in cas and one.volatile == "organic"]
        found["voc_mass_us"] = add([found["voc_mass_us"], *more])
    return found
