"""A market's limit: the category of the product in that market, then the property in the basis of that category."""

from collections.abc import Hashable, Iterator
from datetime import date
from functools import lru_cache
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from formulint.errors import Misread
from formulint.evaluate import Evaluation
from formulint.figure import Number
from formulint.finding import Fault, Place
from formulint.formula import Formula, Product
from formulint.kinds.exempt import NotExempt, counted
from formulint.quantity import Quantity
from formulint.rule import Applied, Goal, Rule, Where
from formulint.subject import FormulaSubject, Measure
from formulint.verdict import KEPT, judge_bounds, outcome, read_bound, read_bounds, title_of, units_of
from formulint.wording import days, where_words

BASIS = {"less-water": "voc_less_water", "material": "voc_material", "ready-to-use": "voc_ready_to_use"}
DOUBT = "whether it is a low-solids coating, with a limit of its own, cannot be said"


class Gloss(Struct, frozen=True, forbid_unknown_fields=True):
    """A window of gloss: every bound given must hold; ``below`` is exclusive, ``from`` and ``to`` are inclusive."""

    below_60: str | None = None
    from_60: str | None = None
    to_60: str | None = None
    above_60: str | None = None
    below_85: str | None = None
    from_85: str | None = None

    def holds(self, product: Product) -> bool | None:
        """Whether a product's gloss lies inside; None where it is not given well enough to say."""
        unsure = False
        for name in self.__struct_fields__:
            bound = getattr(self, name)
            if bound is not None:
                side, _, angle = name.partition("_")
                gloss = product.gloss_60 if angle == "60" else product.gloss_85
                found = None if gloss is None else {_inside(side, end, float(bound)) for end in _ends_of(gloss)}
                if found == {False}:
                    return False
                unsure = unsure or found != {True}
        return None if unsure else True


def _ends_of(gloss: Number) -> tuple[float, ...]:
    """The ends of a gloss; of one figure, as nearly always, what was worked out for it already."""
    return (gloss.base,) if gloss.known else (gloss.lo.base, gloss.hi.base)


def _inside(side: str, gloss: float, bound: float) -> bool:
    return {"below": gloss < bound, "from": gloss >= bound, "to": gloss <= bound, "above": gloss > bound}[side]


class Category(Struct, frozen=True, forbid_unknown_fields=True, rename={"from_": "from"}):
    """A row of a market's table: the limit of one category, in force between two days.

    ``gloss`` decides before the class where the product states its gloss; ``solids_max`` makes it the row of coatings
    with no more solids per volume.
    """

    name: str
    max: str
    basis: Literal["less-water", "material", "ready-to-use"]
    from_: date | None = None
    until: date | None = None
    where: Where | None = None
    gloss: tuple[Gloss, ...] = ()
    solids_max: str | None = None
    checked: Literal["verified", "practice", "memory"] = "memory"
    note: str = ""

    def in_force(self, today: date) -> bool:
        """True on the days from ``from`` to ``until``, both included."""
        return (self.from_ is None or self.from_ <= today) and (self.until is None or today <= self.until)

    @property
    def limit(self) -> Quantity:
        """The most that is allowed."""
        return read_bound(self.max, "density")

    def fits(self, formula: Formula, glossy: frozenset[str]) -> bool:
        """True where the product is of this category by its gloss, else by its class; ``glossy`` are classes told by gloss."""
        if self.where is None or self.solids_max is not None:
            return False
        if self.gloss and formula.class_ in glossy:
            found = [window.holds(formula.product) for window in self.gloss]
            if True in found:
                return replace(self.where, class_=()).holds(formula)
            if None not in found:
                return False
        return self.where.holds(formula)


def _when(row: Category) -> str:
    """When a row is in force, and which paints it is for if nobody names it."""
    picked = "" if row.where is None else where_words(row.where)
    gloss = " or ".join(_window(one) for one in row.gloss)
    parts = [
        days(row.from_, row.until), f"taken for {picked}" if picked else "",
        f"and before the class for a gloss {gloss}" if gloss else "", f"taken for solids up to {row.solids_max}" if row.solids_max else "",
    ]  # fmt: skip
    return "".join(f", {part}" for part in parts if part)


def _window(gloss: Gloss) -> str:
    """A window of gloss in words: ``below 15 at 85 degrees``."""
    bounds = ((name.partition("_"), getattr(gloss, name)) for name in gloss.__struct_fields__)
    return " and ".join(f"{'up to' if side == 'to' else side} {bound} at {angle} degrees" for (side, _, angle), bound in bounds if bound is not None)


class Market(Rule, frozen=True, cache_hash=True, kw_only=True, tag="market", tag_field="kind"):
    """A product must stay below the VOC limit of its category in each of its markets."""

    scheme: Literal["us", "eu"]
    category: tuple[Category, ...]
    not_exempt: tuple[NotExempt, ...] = ()
    tinted: bool = False

    def rows(self, subject: FormulaSubject) -> tuple[Category, ...]:
        """The categories that decide: those the formula names, else what its gloss, class and use imply; of each basis the strictest."""
        named = subject.formula.category.get(self.id)
        if named is None:
            found = self._implied(subject)
        else:
            names = (named,) if isinstance(named, str) else named
            listed = [next((row for row in self.category if row.name == name and row.in_force(subject.today)), None) for name in names]
            found = [] if None in listed else [row for row in listed if row is not None]
        return tuple(found) if len(found) < 2 else _strictest(found)

    def _implied(self, subject: FormulaSubject) -> list[Category]:
        """The first row in force that fits, for each use; worked out once for products that are alike in all that rows ask."""
        formula, product = subject.formula, subject.formula.product
        gloss = tuple([None if one is None else one.text for one in (product.gloss_60, product.gloss_85)])
        code = formula.code if _names_codes(self) else ""
        key = (self, subject.today, Where.sort_of(formula), gloss, code)
        known = _IMPLIED.get(key)
        if known is None:
            if len(_IMPLIED) >= KEPT:
                _IMPLIED.clear()
            known = _IMPLIED[key] = self._first_rows(formula, subject.today)
        return known

    def _first_rows(self, formula: Formula, today: date) -> list[Category]:
        glossy: frozenset[str] = frozenset()
        if formula.product.gloss_60 is not None or formula.product.gloss_85 is not None:
            glossy = frozenset(word for row in self.category if row.gloss and row.where is not None for word in row.where.class_)
        uses = formula.product.use
        found = []
        for use in uses if len(uses) > 1 else ("",):
            one = formula if not use else replace(formula, product=replace(formula.product, use=(use,)))
            row = next((row for row in self.category if row.in_force(today) and row.fits(one, glossy)), None)
            if row is None and glossy:  # one angle that contradicts the class and does not tell by itself
                row = next((row for row in self.category if row.in_force(today) and row.fits(one, frozenset())), None)
            if row is not None and row not in found:
                found.append(row)
        return found

    def low_solids(self, subject: FormulaSubject) -> tuple[Category | None, bool]:
        """The row of low-solids coatings that the product may be in, and whether it surely is."""
        if self.id in subject.formula.category:
            return None, True
        for row in _low_rows(self):
            if row.in_force(subject.today) and (row.where is None or row.where.holds(subject.formula)):
                found = outcome(subject.evaluation.value("solids_content"), None, read_bound(row.solids_max or "0 kg/L", "density"))[0]
                return (None if found == "fail" else row), found != "open"
        return None, True

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The fault of a formula sold in this market that is above its limit, or of which nobody can say."""
        if self.id not in subject.formula.markets:
            return
        rows = self.rows(subject)
        low, sure = self.low_solids(subject)
        if low is not None and sure:
            rows = (low,)
        if not rows:
            yield self._no_category(subject)
            return
        for row in rows:
            for fault in self._judged(subject, row):
                doubtful = low is not None and not sure and not any(self._judged(subject, low))
                yield replace(fault, kind="open", message=f"{fault.message}; {DOUBT}") if doubtful else fault

    def _judged(self, subject: FormulaSubject, row: Category) -> Iterator[Fault]:
        """What is wrong by one row: the paint as it is, thinned as far as its label allows, and where the law asks so tinted."""
        evaluation, words, doubtful = self._counted(subject, row)
        formula, product, asked = subject.formula, subject.formula.product, [BASIS[row.basis]]
        if product.thinning is not None:
            asked.append(f"{asked[0]}_thinned")
        if self.tinted and product.colorants:
            asked.append(f"{asked[0]}_tinted")
        bounds = (None, row.limit)
        for name in asked:
            if outcome(evaluation.value(name), *bounds)[0] == "pass":
                continue
            place = Place(subject.path, ("category", self.id) if self.id in formula.category else ("markets",))
            look = units_of(name, subject.units, subject.currency)
            claimed = formula.category.get(self.id, "")
            several = f", the strictest of {len(claimed)} that it claims" if not isinstance(claimed, str) and len(claimed) > 1 else ""
            title = f"{title_of(name)} ({self.id}, {row.name}{several}{words})"
            for fault in judge_bounds(title, evaluation.value(name), bounds, look, place, subject.sharpen(self._measure(row, name))):
                checked = row.checked
                if doubtful and outcome(subject.evaluation.value(name), *bounds)[0] != "fail":
                    checked = "memory"
                yield replace(fault, checked=checked, property=BASIS[row.basis])
                return

    def _counted(self, subject: FormulaSubject, row: Category) -> tuple[Evaluation, str, bool]:
        """The values as this market counts them: with words for what it counts beyond its scheme, and whether that is in doubt."""
        if not self.not_exempt:
            return subject.evaluation, "", False
        here = [one for one in self.not_exempt if one.in_force(subject.today) and row.name not in one.unless]
        return counted(subject, here)

    def goal(self, subject: FormulaSubject, fault: Fault) -> Goal | None:
        """VOC at or below the limit of the category."""
        rows = self._deciding(subject)
        row = next((one for one in rows if BASIS[one.basis] == fault.property), None)
        if row is None:
            return None
        name = BASIS[row.basis]
        look = units_of(name, subject.units, subject.currency)
        return Goal(self._measure(row, name), None, row.limit.base, look)

    def _measure(self, row: Category, property_id: str) -> Measure:
        """A value as this market counts it, of any formula."""
        return lambda one: self._counted(one, row)[0].value(property_id)

    def _deciding(self, subject: FormulaSubject) -> tuple[Category, ...]:
        low, sure = self.low_solids(subject)
        return (low,) if low is not None and sure else self.rows(subject)

    def binds(self, property_id: str) -> bool:
        """VOC in each basis."""
        return property_id in BASIS.values()

    def bounds(self, subject: FormulaSubject) -> Iterator[Applied]:
        """The limit of the category that applies."""
        for row in self._deciding(subject) if self.id in subject.formula.markets else ():
            yield Applied(BASIS[row.basis], None, row.max, f"{self.id}, {row.name}")

    def says(self) -> tuple[str, ...]:
        """The table, row by row, and what is counted here and nowhere else."""
        rows = [f"{row.name}: at most {row.max}, {title_of(BASIS[row.basis])}{_when(row)} ({row.checked})." for row in self.category]
        counted = [f"Counted as VOC: {one.name}, CAS {one.cas} ({one.checked})." for one in self.not_exempt]
        return (f"By the {self.scheme} definition of VOC, for paints sold in {self.id}; the category follows from gloss, class, use and solids, or is named; of several the strictest.", *rows, *counted)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the table itself: no row, or a limit that is no mass per volume."""
        if not self.category:
            yield Misread("a market needs at least one category", at=("category",))
        for at, row in enumerate(self.category):
            try:
                read_bounds(BASIS[row.basis], None, row.max)
            except Misread as error:
                yield Misread(error.message, error.remedy, ("category", at, "max"))
            try:
                read_bound(row.solids_max or "0 kg/L", "density")
            except Misread as error:
                yield Misread(error.message, error.remedy, ("category", at, "solids_max"))
            for number, window in enumerate(row.gloss):
                for name in window.__struct_fields__:
                    try:
                        float(getattr(window, name) or "0")
                    except ValueError:
                        yield Misread(f'"{getattr(window, name)}" is no gloss', 'write the number, such as "25"', ("category", at, "gloss", number, name))

    def _no_category(self, subject: FormulaSubject) -> Fault:
        from difflib import get_close_matches  # only when something is wrong

        formula = subject.formula
        written = formula.category.get(self.id)
        if written is None:
            place = Place(subject.path, ("class",))
            days = [row.from_ for row in self.category if row.from_ is not None and row.where is not None and row.where.holds(formula)]
            if days and min(days) > subject.today:
                words = f"{self.id} has no limit for class {formula.class_} in force on {subject.today}: its first is of {min(days)}"
                return Fault(place, words, "judge as on a later day, or leave this market out", "open")
            use = f", use {' and '.join(formula.product.use)}" if formula.product.use else " without a use"
            words = f"no category of {self.id} follows from class {formula.class_}{use}"
            return Fault(place, words, f"name one under [category] as {self.id} = \"...\"", "open")
        known = [row.name for row in self.category if row.in_force(subject.today)]
        named = next((name for name in ((written,) if isinstance(written, str) else written) if name not in known), "")
        near = get_close_matches(named[:80], known, 1, 0.4)
        hint = f'did you mean "{near[0]}"?' if near else "see the table of that market"
        words = f'{self.id} has no category "{named}" in force on {subject.today}'
        return Fault(Place(subject.path, ("category", self.id)), words, hint, "open")


def _strictest(rows: list[Category]) -> tuple[Category, ...]:
    """Of each basis the row with the lowest limit."""
    found: dict[str, Category] = {}
    for row in rows:
        if row.basis not in found or row.limit.base < found[row.basis].limit.base:
            found[row.basis] = row
    return tuple(found.values())


_LOW: dict[int, tuple[Market, tuple[Category, ...]]] = {}


def _low_rows(market: Market) -> tuple[Category, ...]:
    """The rows of low-solids coatings; looked for once, because every formula of the market is asked."""
    known = _LOW.get(id(market))
    if known is None or known[0] is not market:
        known = _LOW[id(market)] = (market, tuple(row for row in market.category if row.solids_max is not None))
    return known[1]


_IMPLIED: dict[tuple[Hashable, ...], list[Category]] = {}
"""Rows by market, day, sort of product, gloss, and code where rows name codes."""


@lru_cache(maxsize=KEPT)
def _names_codes(market: Market) -> bool:
    """True where the code of a formula may decide on its row."""
    return any(row.where is not None and row.where.codes for row in market.category)
