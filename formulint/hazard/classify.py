"""The hazard classes of a mixture in one scheme: what it surely is, what it is under a condition, what nobody can exclude."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING, Literal

from msgspec import Struct
from msgspec.structs import replace

from formulint.hazard.acute import Toxicity, settings, toxicity
from formulint.hazard.ingredient import ACUTE, Ingredient, known, parsed, understood
from formulint.hazard.relation import Tried, could, trials, until
from formulint.hazard.scheme import Row, Scheme, figures, scheme_of, share
from formulint.hazard.shares import Holding, holding, ph_of
from formulint.subject import FormulaSubject

if TYPE_CHECKING:
    from fractions import Fraction

Kind = Literal["known", "open", "conditional", "statement"]


class Outcome(Struct, frozen=True):
    """A class of the paint. ``why`` says what it depends on, or how it comes about where no component brings it alone."""

    family: str
    result: str
    statement: str
    kind: Kind
    causes: tuple[Ingredient, ...] = ()
    why: str = ""
    text: str = ""
    checked: str = ""
    source: str = ""


class Near(Struct, frozen=True):
    """A class not reached: how much more of a component, in place of what is not classified, makes it [kg/kg]."""

    family: str
    result: str
    statement: str
    name: str
    cas: str
    more: Fraction


class Classification(Struct, frozen=True):
    """A paint in one scheme. ``unknown`` are components of which no record says what hazards they have; not ``known``: nothing could be computed."""

    scheme: Scheme
    outcomes: tuple[Outcome, ...]
    near: tuple[Near, ...]
    unknown: tuple[Ingredient, ...]
    remarks: tuple[str, ...]
    known: bool = True

    def of(self, *kinds: Kind) -> tuple[Outcome, ...]:
        """The outcomes of these kinds, in order."""
        return tuple(one for one in self.outcomes if one.kind in kinds)


def classify(
    name: str,
    ingredients: Sequence[Ingredient],
    unnamed: Sequence[Fraction],
    today: date,
    ph: tuple[float | None, float | None] = (None, None),
    distances: bool = True,
) -> Classification:
    """The classes of a mixture.

    Parameters
    ----------
    name : str
        ``un``, ``eu`` or ``us``.
    ingredients : sequence of Ingredient
        All that is named, each substance once.
    unnamed : sequence of Fraction
        What each material does not name, as shares of the paint.
    today : date
        Rows and withdrawals are taken as in force on this day.
    ph : pair
        Lowest and highest pH that the sheet allows; None where it says nothing.
    distances : bool
        Whether to work out how far the next classes are.
    """
    scheme = scheme_of(name)
    kept, withdrawn = in_force_of(scheme, ingredients, today)
    unclear = tuple(one for one in kept if not known(one))
    dark = [*(one.high for one in unclear), *unnamed]
    families: dict[str, list[Tried]] = {}
    for trial in trials(name, today, kept):
        families.setdefault(trial.row.family, []).append(trial)
    routes = _routes(scheme, kept, unclear, unnamed)
    outcomes = [one for found in routes for one in _by_route(scheme, found)]
    near = [one for found in routes for one in _near_route(scheme, found)] if distances else []
    notes: list[list[Tried]] = []
    for rows in families.values():
        if rows[0].row.apart_from or rows[0].row.only_unclassified:
            notes.append(rows)
            continue
        outcomes += _family(scheme, rows, dark)
        near += _nearest(rows) if distances else ()
    outcomes += _extreme(scheme, ph)
    outcomes = [*outcomes, *_following(scheme, outcomes)]
    for rows in notes:
        outcomes += _statements(rows, outcomes)
        near += _nearest(rows) if distances and rows[0].row.apart_from else ()
    remarks = [*withdrawn, *_remarks(scheme, kept, unclear, unnamed)]
    return Classification(scheme, tuple(_strongest(outcomes)), tuple(near), unclear, tuple(dict.fromkeys(remarks)))


def in_force_of(scheme: Scheme, ingredients: Sequence[Ingredient], today: date) -> tuple[list[Ingredient], list[str]]:
    """The ingredients without classes that no longer hold, and the words for those."""
    kept, words = [], []
    for one in ingredients:
        for rule in figures().withdrawn:
            if scheme.id in rule.schemes and one.cas in rule.cas and rule.from_ <= today and one.classes:
                gone = [held for held in one.classes if any(_same(listed, held) for listed in rule.classes)]
                if gone:
                    one = replace(one, classes=tuple(held for held in one.classes if held not in gone))
                    listed = ", ".join(one.materials)
                    words.append(f"{one.name} ({listed}) still carries {', '.join(gone)}, not counted: {rule.words}")
        kept.append(one)
    return kept, words


def _same(listed: str, held: str) -> bool:
    return parsed(listed)[:2] == parsed(held)[:2]


# --- classes ---------------------------------------------------------------------------------------------------------


def _family(scheme: Scheme, rows: Sequence[Tried], dark: Sequence[Fraction]) -> Iterator[Outcome]:
    """Of one family: the class surely reached, and those above it that are conditional or cannot be excluded."""
    plain = [trial for trial in rows if not trial.row.condition]
    sure = next((at for at, trial in enumerate(rows) if not trial.row.condition and trial.low >= 1), len(rows))
    if sure < len(rows):
        yield _outcome(rows[sure].row, "known", _all_causes(plain, rows[sure]))
    for at, trial in enumerate(rows[:sure]):
        if trial.row.condition and trial.low >= 1:
            yield replace(_outcome(trial.row, "conditional", trial.counted()), why=trial.row.condition)
            sure = at
            break
    for trial in rows[:sure]:
        if trial.row.condition:
            continue
        if trial.high >= 1:
            yield replace(_outcome(trial.row, "open", trial.counted(high=True)), why="at the upper ends of what suppliers give")
            break
        if could(trial, scheme, dark):
            yield replace(_outcome(trial.row, "open", trial.counted(high=True)), why="what is not named, or has no hazards in its record, may bring it")
            break


def _outcome(row: Row, kind: Kind, causes: Sequence[Ingredient]) -> Outcome:
    result, statement = row.result, row.statement
    milder = row.milder
    if milder is not None and causes and all(_only(one, row, milder.all_of) for one in causes):
        result, statement = milder.result, milder.statement
    return Outcome(row.family, result, statement, kind, tuple(causes), text=row.text, checked=row.checked, source=row.source)


def _only(one: Ingredient, row: Row, allowed: Sequence[str]) -> bool:
    """True where what makes the component count in a row is of these classes alone."""
    wanted = {_two(listed) for term in row.of for listed in term.classes}
    held = {_two(name) for name in one.classes or ()} & wanted
    return held <= {_two(name) for name in allowed}


def _two(text: str) -> tuple[str, str]:
    name = parsed(text)
    return name.name, name.category


def _all_causes(rows: Sequence[Tried], first: Tried) -> tuple[Ingredient, ...]:
    """The components that bring a class, those of rows of the same statement too: two sensitisers are both named."""
    found = {one.cas or one.name: one for one in first.counted()}
    if first.row.how == "each":
        for trial in rows:
            if trial.low >= 1 and trial.row.how == "each" and trial.row.statement == first.row.statement:
                found.update({one.cas or one.name: one for one in trial.counted() if (one.cas or one.name) not in found})
    return tuple(found.values())


def _nearest(rows: Sequence[Tried]) -> Iterator[Near]:
    """The class above the one reached that is nearest, if the paint holds anything of it."""
    reached = next((at for at, trial in enumerate(rows) if not trial.row.condition and trial.high >= 1), None)
    above = rows if reached is None else [trial for trial in rows[:reached] if trial.row.statement != rows[reached].row.statement]
    ways = [
        (more.share, at, then.result != trial.row.result, more.one.name, more.one.cas, then)  # of two that are as near, the more severe
        for at, trial in enumerate(above) if not trial.row.condition
        for more in until(trial) for then in (_outcome(trial.row, "known", (*trial.counted(high=True), more.one)),)
    ]  # fmt: skip
    if ways:
        share_, _, _, name, cas, then = min(ways, key=lambda way: way[:5])
        yield Near(then.family, then.result, then.statement, name, cas, share_)


# --- acute toxicity --------------------------------------------------------------------------------------------------


def _routes(scheme: Scheme, ingredients: Sequence[Ingredient], unclear: Sequence[Ingredient], unnamed: Sequence[Fraction]) -> list[Toxicity]:
    found = []
    for route in figures().route:
        dark = [*(one.high for one in unclear if route.id not in one.ate), *unnamed]
        found.append(toxicity(scheme, route, ingredients, dark))
    return found


def _by_route(scheme: Scheme, found: Toxicity) -> Iterator[Outcome]:
    sure, most = found.category(scheme), found.category(scheme, high=True)
    if sure is not None:
        yield _toxic(found, sure, "known", found.counted(), _estimate(found))
    if most is not None and most != sure:
        yield _toxic(found, most, "open", found.counted(high=True), "at the upper ends of what suppliers give")


def _toxic(found: Toxicity, category: int, kind: Kind, causes: Sequence[Ingredient], why: str) -> Outcome:
    route = found.route
    return Outcome(
        f"acute {route.id}", f"{ACUTE} {category} ({route.words[-1]})", route.statements[category - 1], kind, tuple(causes), why,
        checked=route.checked, source=route.source,
    )  # fmt: skip


def _estimate(found: Toxicity) -> str:
    """The estimate of the paint in words, in the unit of the limits."""
    value = found.whole / found.low
    unit = found.route.limits[0].split()[1]
    scale = {"mg/kg": 10**6, "ppm": 10**6, "mg/L": 10**6}[unit]
    return f"ATE {float(value * scale):.4g} {unit}"


def _near_route(scheme: Scheme, found: Toxicity) -> Iterator[Near]:
    reached = found.category(scheme, high=True)
    wanted = min(scheme.acute_categories, len(found.route.limits)) if reached is None else reached - 1
    more = found.until(scheme, wanted) if wanted >= 1 else None
    if more is not None:
        one = _toxic(found, wanted, "known", (), "")
        yield Near(one.family, one.result, one.statement, more.one.name, more.one.cas, more.share)


# --- what follows ----------------------------------------------------------------------------------------------------


def _extreme(scheme: Scheme, ph: tuple[float | None, float | None]) -> Iterator[Outcome]:
    """What the paint is taken for by the pH that its sheet allows."""
    low, high = ph
    for rule in figures().extreme:
        acid, base = float(rule.acid_most), float(rule.base_least)
        sure = (high is not None and high <= acid) or (low is not None and low >= base)
        maybe = (low is not None and low <= acid) or (high is not None and high >= base)
        if scheme.id in rule.schemes and (sure or maybe):
            why = f"by the pH that the sheet allows (at most {rule.acid_most}, or {rule.base_least} and more), {rule.unless}"
            for family, result, statement in rule.classes:
                kind: Kind = "known" if sure else "open"
                yield Outcome(family, result, statement, kind, (), why, checked=rule.checked, source=rule.source)


def _following(scheme: Scheme, outcomes: Iterable[Outcome]) -> Iterator[Outcome]:
    for rule in figures().follows:
        for one in outcomes:
            if scheme.id in rule.schemes and (one.family, one.statement) == (rule.from_family, rule.from_statement) and one.kind in ("known", "open"):
                family, result, statement = rule.then
                yield Outcome(family, result, statement, one.kind, one.causes, f"with {one.result}", checked=rule.checked, source=rule.source)


def _strongest(outcomes: Sequence[Outcome]) -> Iterator[Outcome]:
    """Without those that a stronger one of their family makes needless: rows stand from the most severe down."""
    rank = {(row.family, row.result): at for at, row in reversed(list(enumerate(figures().row)))}

    def place(one: Outcome) -> int:
        return rank.get((one.family, one.result), -1)

    for at, one in enumerate(outcomes):
        others = [other for other in outcomes if other.family == one.family and other is not one and other.kind in ("known", one.kind)]
        beaten = any(place(other) < place(one) or (place(other) == place(one) and outcomes.index(other) < at) for other in others)
        if not beaten or one.family.startswith("acute"):
            yield one


def _statements(rows: Sequence[Tried], outcomes: Sequence[Outcome]) -> Iterator[Outcome]:
    """A statement that is no class: who is to be named, or that a sheet is to be given."""
    fired = [trial for trial in rows if trial.low >= 1]
    if not fired:
        return
    row = fired[0].row
    causes = {one.cas or one.name: one for trial in fired for one in trial.counted()}
    surely = [one for one in outcomes if one.kind == "known"]
    if row.only_unclassified:
        if not surely:
            yield replace(_outcome(row, "conditional", tuple(causes.values())), why=row.condition)
        return
    classes = [one for one in surely if one.family in row.apart_from]
    if not classes:
        names = ", ".join(one.name for one in causes.values())
        yield replace(_outcome(row, "statement", tuple(causes.values())), text=row.text.replace("{names}", names))
        return
    told = {cause.cas or cause.name for one in classes for cause in one.causes}
    others = tuple(one for key, one in causes.items() if key not in told)
    if others:
        why = f"further sensitisers from the elicitation limit on, beside {classes[0].result}"
        yield Outcome("contains", "to be named on the label", "", "statement", others, why, checked=row.checked, source=row.source)


def _remarks(scheme: Scheme, ingredients: Sequence[Ingredient], unclear: Sequence[Ingredient], unnamed: Sequence[Fraction]) -> Iterator[str]:
    """What was assumed and what could not be read, in words."""
    for one in ingredients:
        yield from one.doubts
        strange = [held for held in one.classes or () if not understood(held)]
        if strange:
            yield f"{one.name}: {', '.join(strange)} is no class known here, so what it brings is open"
        if scheme.id != "us":
            for which, kind in (("acute", "Aquatic Acute 1"), ("chronic", "Aquatic Chronic 1")):
                if any(_same(kind, held) for held in one.classes or ()) and getattr(one, f"m_{which}") is None:
                    yield f"{one.name} gives no M-factor for {kind}: 1 was taken"
    dark = sum((one for one in (*(one.high for one in unclear), *unnamed)), share("0 %"))
    if dark >= share(settings().unknown_told_from):
        yield f"{float(100 * dark):.2g} % of the mixture consists of ingredients of unknown acute toxicity"


_LAST: list[tuple[FormulaSubject, Holding, dict[tuple[str, bool], Classification]]] = []
"""The formula asked about last: several rules and three schemes ask one after the other."""


def of_subject(name: str, subject: FormulaSubject, distances: bool = True) -> Classification:
    """The classes of a formula that can be read; with gaps, nothing but the words for them."""
    if not _LAST or _LAST[0][0] is not subject:
        _LAST[:] = [(subject, holding(subject), {})]
    _, held, done = _LAST[0]
    key = name, distances
    if key not in done:
        done[key] = of_holding(name, subject, held, distances)
    return done[key]


def of_holding(name: str, subject: FormulaSubject, held: Holding, distances: bool) -> Classification:
    """The classes of what a formula is taken to hold."""
    if held.gaps:
        return Classification(scheme_of(name), (), (), (), tuple(f"cannot be computed: {gap}" for gap in held.gaps), known=False)
    return classify(name, held.ingredients, [one.high for one in held.unnamed], subject.today, ph_of(subject.formula), distances)
