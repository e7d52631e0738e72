"""What a paint holds, substance by substance, with exact shares: the same resolution as everywhere, done in fractions.

Where a figure on the way is a range or missing, the shares are those of the usual resolution, ends of intervals included.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from msgspec import Struct, UnsetType
from msgspec.structs import replace

from formulint.amounts import Resolved, Supply, over, resolve
from formulint.content import WATER, Gap, Value
from formulint.errors import Misread
from formulint.exact import Exact
from formulint.figure import Figure, Number
from formulint.formula import Formula
from formulint.hazard.ingredient import Ingredient
from formulint.intermediate import as_supply
from formulint.interval import ends
from formulint.material import Component, Material
from formulint.quantity import read
from formulint.subject import FormulaSubject, Stock

DIGITS = 13  # of a share that could not be resolved in fractions; more than any sheet has, less than rounding reaches

Span = tuple[Fraction, Fraction]


class Unnamed(Struct, frozen=True):
    """The share of the paint that a material brings and its record does not name [kg/kg]."""

    code: str
    name: str
    high: Fraction


class Holding(Struct, frozen=True):
    """Everything in a paint: what is named, what is not, and what keeps it from being known at all."""

    ingredients: tuple[Ingredient, ...]
    unnamed: tuple[Unnamed, ...]
    gaps: tuple[str, ...] = ()


class _Written(Struct, frozen=True):
    """An amount or a batch in fractions; stands for either where they are resolved."""

    base: Exact
    dimension: str
    text: str
    to_fill: bool = False
    known: bool = True


def ph_of(formula: Formula) -> tuple[float | None, float | None]:
    """Lowest and highest pH that a sheet allows; None where it says nothing, or what cannot be read."""
    asked = formula.tests.get("ph")
    if asked is None:
        return None, None
    try:
        low, high = (None if text is None else read(text, ("number",)).base for text in (asked.min, asked.max))
    except Misread:
        return None, None  # a finding of its own says so
    return low, high


def holding(subject: FormulaSubject) -> Holding:
    """The substances of a formula, each once, summed by CAS number (by name where there is none) over all that brings it."""
    mass = subject.resolved.totals.get("total_mass", 0.0)
    missing = [code for code in subject.resolved.leaves if code not in subject.stocks]
    spans: dict[str, Span] = {}
    gaps = [f"there is no record of {code}" for code in missing]
    found = _exactly(subject) or {code: over(kg, mass) for code, kg in subject.resolved.leaves.items()}
    for code, value in found.items():
        if isinstance(value, Gap):
            gaps += [one.what for one in value.missing] or ["the lines do not add up to a batch"]
        else:
            spans[code] = _span(value)
    if not found:
        gaps.append("no line weighs anything")
    if isinstance(mass, Gap):  # also where a line cannot even be named
        gaps += [one.what for one in mass.missing]
    if gaps:
        return Holding((), (), tuple(dict.fromkeys(gaps)))
    stocks = [(subject.stocks[code], span) for code, span in spans.items()]
    return Holding(tuple(_merged(stocks)), tuple(_unnamed(stocks)))


def _span(value: Value) -> Span:
    if isinstance(value, Exact):
        return value.value, value.value
    low, high = ends(value)  # type: ignore[arg-type]  # gaps are sorted out before
    return _rounded(low), _rounded(high)


def _rounded(value: float) -> Fraction:
    return Fraction(f"{value:.{DIGITS}g}")


def _exactly(subject: FormulaSubject) -> dict[str, Value] | None:
    """Shares of the raw materials in fractions [kg/kg]; None where something on the way is no single figure."""
    if subject.resolved.faults:
        return None
    known: dict[str, Supply | None] = {}  # in fractions
    usual: dict[str, Supply | None] = {}  # as everywhere, to see that its lines add up

    def supply(code: str) -> Supply | None:
        if code not in known:
            known[code] = None  # what uses itself is not gone into again
            stock = subject.stocks.get(code)
            sheet = None if stock is not None else subject.sheet_of(code)
            if stock is not None:
                known[code] = _supply(code, stock)
            elif sheet is not None and not resolve(sheet, "", plain).faults:
                known[code] = as_supply(code, _resolved(sheet))
        return known[code]

    def plain(code: str) -> Supply | None:
        if code not in usual:
            usual[code] = None
            stock = subject.stocks.get(code)
            sheet = None if stock is not None else subject.sheet_of(code)
            if stock is not None or sheet is not None:
                usual[code] = stock.supply if stock is not None else as_supply(code, resolve(sheet, "", plain))  # type: ignore[arg-type]
        return usual[code]

    def _resolved(sheet: Formula) -> Resolved:
        return resolve(_in_fractions(sheet), "", supply)

    if subject.formula.code in subject.blends:
        return None
    resolved = resolve(_in_fractions(subject.formula), "", supply, subject.swap)
    mass = resolved.totals.get("total_mass", 0.0)
    shares = {code: over(kg, mass) for code, kg in resolved.leaves.items()}
    return shares if all(isinstance(one, Exact) for one in shares.values()) else None


def _in_fractions(formula: Formula) -> Formula:
    batch = formula.batch
    stages = []
    for stage in formula.stage:
        lines = []
        for line in stage.additions:
            amount = line.amount
            if amount is not None:
                base = Exact(Fraction(0) if amount.to_fill else amount.exact)
                line = replace(line, max=None, amount=_Written(base, amount.dimension, amount.text, amount.to_fill))
            lines.append(line)
        stages.append(replace(stage, additions=tuple(lines)))
    whole = _Written(Exact(batch.exact), batch.dimension, batch.text)
    return replace(formula, batch=whole, stage=tuple(stages))


def _supply(code: str, stock: Stock) -> Supply:
    """What one kilogram of a raw material brings, in fractions; a gap for what is no single figure."""
    material, columns = stock.material, stock.supply.columns
    nonvolatile = _one(material.nonvolatile, columns["nonvolatile_mass"])
    density = _one(material.density, columns["total_volume"])
    exact: dict[str, Value] = {"nonvolatile_mass": nonvolatile, "total_volume": over(1.0, density), "total_mass": 1.0}
    if "pigment_mass" in columns:
        exact["pigment_mass"] = nonvolatile if material.pigment is None else _one(material.pigment, columns["pigment_mass"])
    if "binder_mass" in columns:
        exact["binder_mass"] = nonvolatile
    components: dict[str, Value] = {}
    for one in material.component:
        for word in one.called:
            components.setdefault(word, _one(one.share, stock.supply.components[word]))
    active = _one(material.active, stock.supply.active)
    return Supply(code, exact, {code: Exact(Fraction(1))}, material.functions, active, components=components)  # type: ignore[dict-item]


def _one(figure: Figure | None, usual: Value) -> Value:
    """A figure as a fraction; zero where it is absent and that means none; else a gap."""
    if figure is None or isinstance(usual, Gap):
        return 0.0 if usual == 0.0 else Gap(())
    return Exact(figure.exact) if figure.known else Gap(())  # type: ignore[return-value]


# --- substances ------------------------------------------------------------------------------------------------------


def _merged(stocks: Iterable[tuple[Stock, Span]]) -> Iterable[Ingredient]:
    found: dict[str, Ingredient] = {}
    for stock, span in stocks:
        for component in stock.material.component:
            one = _ingredient(component, span, stock.material.code)
            key = one.cas or one.name.casefold()
            found[key] = _joined(found[key], one) if key in found else one
    return found.values()


def _ingredient(component: Component, span: Span, code: str) -> Ingredient:
    more = component.hazard_figures
    estimates = ((route, getattr(more.ate, route)) for route in more.ate.__struct_fields__)
    wrong = [name for name, limit in more.limits.items() if limit.lo.exact <= 0]
    return Ingredient(
        name=component.name,
        cas=component.cas,
        low=span[0] * component.share.lo.exact,
        high=span[1] * component.share.hi.exact,
        classes=_classes(component),
        limits={name: limit.lo.exact for name, limit in more.limits.items() if name not in wrong},
        m_acute=_above_zero(more.m_acute),
        m_chronic=_above_zero(more.m_chronic),
        ate={route: figure.lo.exact for route, figure in estimates if figure is not None and figure.lo.exact > 0},
        additive=more.additive,
        volatile=component.volatile or "",
        materials=(code,),
        doubts=tuple(f"{component.name} ({code}): its limit for {name} is not above zero; the general one was taken" for name in wrong),
    )


def _above_zero(figure: Number | None) -> Fraction | None:
    return None if figure is None or figure.hi.exact <= 0 else figure.hi.exact


def _classes(component: Component) -> tuple[str, ...] | None:
    if isinstance(component.hazards, UnsetType):
        return () if component.volatile == "water" or component.cas == WATER else None
    return component.hazards


def _joined(one: Ingredient, other: Ingredient) -> Ingredient:
    """One substance from two records: the shares added, of what the records say the more severe."""
    doubts = (*one.doubts, *other.doubts)
    if one.classes is not None and other.classes is not None and set(one.classes) != set(other.classes):
        doubts = (*doubts, f"{one.name}: {', '.join(one.materials)} and {', '.join(other.materials)} list different hazards; all were taken")
    classes = None if one.classes is None and other.classes is None else tuple(dict.fromkeys((*(one.classes or ()), *(other.classes or ()))))
    return replace(
        one,
        low=one.low + other.low,
        high=one.high + other.high,
        classes=classes,
        limits=_least(one.limits, other.limits),
        m_acute=max((m for m in (one.m_acute, other.m_acute) if m is not None), default=None),
        m_chronic=max((m for m in (one.m_chronic, other.m_chronic) if m is not None), default=None),
        ate=_least(one.ate, other.ate),
        additive=one.additive and other.additive,
        volatile=one.volatile or other.volatile,
        materials=tuple(dict.fromkeys((*one.materials, *other.materials))),
        doubts=doubts,
    )


def _least(one: dict[str, Fraction], other: dict[str, Fraction]) -> dict[str, Fraction]:
    return {key: min(table[key] for table in (one, other) if key in table) for key in dict.fromkeys((*one, *other))}


def _unnamed(stocks: Iterable[tuple[Stock, Span]]) -> Iterable[Unnamed]:
    for stock, span in stocks:
        rest = unnamed_of(stock.material)
        if rest > 0 and span[1] > 0:
            yield Unnamed(stock.material.code, stock.material.name, span[1] * rest)


def is_water_named(material: Material) -> bool:
    """True where water stands among the components."""
    return any(one.volatile == "water" or one.cas == WATER for one in material.component)


def unnamed_of(material: Material) -> Fraction:
    """What a material does not name: all that is neither component nor water.

    Nothing where it is said to name everything and what it names comes to all of it within the digits written: a word does not add up.
    """
    named = [one.share for one in material.component]
    if material.water is not None and not is_water_named(material):
        named.append(material.water)
    rest = 1 - sum((one.lo.exact for one in named), Fraction(0))
    if material.disclosure == "full" and material.component:
        rest = min(rest, 1 - sum((one.hi.exact + one.hi.half_digit for one in named), Fraction(0)))
    return max(rest, Fraction(0))


def whole_of(material: Material) -> tuple[Ingredient, ...]:
    """The components of a material by itself, as if it were the whole paint; one that is listed twice stands there twice."""
    return tuple(_ingredient(one, (Fraction(1), Fraction(1)), material.code) for one in material.component)
