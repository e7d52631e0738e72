"""What one kilogram of a raw material brings into the paint: volume, solids, pigment, binder, water, VOC, cost.

A figure that the material's file does not give is a ``Gap`` that says which figure is missing and where it should
stand. Conventions: pigments and clays as listed below; shares that are absent are zero only where the shares that are
given already close to 100 % within their written digits.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf

from msgspec import Struct

from formulint.figure import Figure
from formulint.finding import Place
from formulint.interval import Interval, Number, ends, total
from formulint.material import Component, Material
from formulint.science.mixing import nonvolatile_density_by_balance
from formulint.science.porosity import not_below_zero

SOLID_PIGMENTS = frozenset({"white-pigment", "colored-pigment", "extender", "flatting-agent", "swelling-clay", "non-swelling-clay"})
WATER = "7732-18-5"  # CAS number
OPAQUE_POLYMER = "opaque-polymer"
TOTALS = (
    "total_mass", "total_volume", "nonvolatile_mass", "nonvolatile_volume", "water_mass", "cost", "pigment_mass",
    "pigment_volume_all", "pigment_volume_binder_convention", "pigment_volume_oil", "oil_mass", "binder_mass",
    "binder_volume", "voc_mass_us", "voc_mass_eu", "exempt_mass", "exempt_volume",
)  # fmt: skip
"""Names of the columns of ``Content``, each of which is added up over the lines of a formula."""
SHARES = ("nonvolatile", "water", "voc", "exempt", "other_volatile")
CLOSES = 1e-12  # shares that add to 1 but for the rounding of floats
EU_BOILING_POINT = 250.0 + 273.15  # K; Directive 2004/42/EC, article 2: initial boiling point at 101.3 kPa (verified)


class Missing(Struct, frozen=True):
    """A figure that is needed and not there: in words, and the place where it should stand."""

    what: str
    place: Place
    material: str
    field: str


class Gap(Struct, frozen=True):
    """A value that cannot be computed, because these figures are missing."""

    missing: tuple[Missing, ...]


class Bounded(Gap, frozen=True):
    """A value that is not known for want of figures, but can only lie between two ends."""

    between: Interval


class Absent(Gap, frozen=True):
    """A value that nobody asks for: the formula does not state what it would rest on, and need not."""


Value = Number | Gap


class Surroundings(Struct, frozen=True):
    """What a material's figures are read against: currency, density of water [kg/L], substances exempt per scheme (CAS)."""

    currency: str
    water_density: float
    exempt_us: frozenset[str] = frozenset()


class Content(Struct, frozen=True):
    """Per kilogram of the material as supplied.

    ``columns`` maps the name of a total (volume [L/kg], masses [kg/kg], cost [money/kg], ...) to its value; ``substances``
    maps a CAS number to its share [kg/kg]; ``undisclosed`` is the share the supplier has not named [kg/kg].
    """

    columns: dict[str, Value]
    substances: dict[str, Number]
    undisclosed: float


def number(figure: Figure) -> Number:
    """The figure in base units, as a float or, for a range, as an interval."""
    return figure.base if figure.known else figure.span


class _Reader:
    """Works out the columns of one material; each method gives one figure or the gap."""

    def __init__(self, material: Material, path: str, around: Surroundings) -> None:
        self.material = material
        self.path = path
        self.around = around
        self.closed = shares_close(material)

    def gap(self, field: str, what: str = "") -> Gap:
        code = self.material.code
        words = what or f"{code} has no {field}"
        return Gap((Missing(words, Place(self.path, (field,)), code, field),))

    def share(self, field: str) -> Value:
        figure = getattr(self.material, field)
        if figure is None:
            return 0.0 if self.closed else self.bounded(field)
        if figure.lo.base < 0 or figure.hi.base > 1 + CLOSES:
            return self.gap(field, f"{self.material.code}: {field} {figure.text} is no share")
        return number(figure)

    def bounded(self, field: str, least: float = 0.0, what: str = "") -> Gap:
        """A share that is not given: at least what is known of it, at most what the others leave."""
        given = [figure for name in SHARES if name != field and (figure := getattr(self.material, name)) is not None]
        left = 1.0 - sum(figure.lo.base for figure in given)
        missing = self.gap(field, what).missing
        return Bounded(missing, Interval(min(least, left), left)) if 0.0 <= left <= 1.0 else Gap(missing)

    def over(self, mass: Value, density: Figure, field: str) -> Value:
        """Volume of a mass; a density that may be zero is none."""
        if density.lo.base > 0:
            return joined(lambda kg: kg / number(density), mass)
        return self.gap(field, f"{self.material.code}: {field} {density.text} is not above zero")

    def volume(self) -> Value:
        density = self.material.density
        return self.gap("density") if density is None else self.over(1.0, density, "density")

    def film_volume(self, nonvolatile: Value) -> Value:
        """Volume of what stays in the film; hollow spheres with their void."""
        if nonvolatile == 0.0:
            return nonvolatile
        material = self.material
        if isinstance(nonvolatile, Gap):
            return self._film_between(nonvolatile)
        if material.film_density is not None:
            return self.over(nonvolatile, material.film_density, "film_density")
        if OPAQUE_POLYMER in material.functions:
            return self.gap("film_density", f"{material.code} has hollow spheres: only its film density says what room they take, void included")
        declared = material.nonvolatile_density
        if declared is not None and not declared.derived:
            return self.over(nonvolatile, declared, "nonvolatile_density")
        if declared is not None:
            return self._by_balance(nonvolatile)
        if nonvolatile == 1.0:
            return self.volume()
        return self.gap("nonvolatile_density")

    def _film_between(self, nonvolatile: Gap) -> Value:
        """Volume of what stays where nobody knows how much: by its density, else no more than the material itself."""
        material = self.material
        declared = material.nonvolatile_density
        if material.film_density is not None:
            return self.over(nonvolatile, material.film_density, "film_density")
        if declared is not None and not declared.derived:
            return self.over(nonvolatile, declared, "nonvolatile_density")
        volume = self.volume()
        if isinstance(volume, Gap) or OPAQUE_POLYMER in material.functions:
            return Gap(nonvolatile.missing)
        return Bounded(nonvolatile.missing, Interval(0.0, ends(volume)[1]))

    def _by_balance(self, nonvolatile: Number) -> Value:
        material = self.material
        water, density, volume = self.share("water"), material.density, self.volume()
        if density is None or isinstance(volume, Gap):
            return volume
        if isinstance(water, Gap):
            return Gap(water.missing)
        other = 1.0 - nonvolatile - water
        low, high = (other.lo, other.hi) if isinstance(other, Interval) else (other, other)
        if low < -1e-6 or high > 1e-6:
            words = f"{material.code}: the density of its nonvolatile part follows from a balance only where water is the one volatile"
            return self.gap("nonvolatile_density", words)
        try:
            film = nonvolatile_density_by_balance(nonvolatile, number(density), self.around.water_density)  # type: ignore[arg-type]
        except ValueError:
            return self.gap("nonvolatile_density", f"{material.code}: density and nonvolatile do not fit together")
        return nonvolatile / film

    def pigment(self, nonvolatile: Value, film: Value) -> tuple[Value, Value]:
        """Mass and volume of pigment: the declared share, else all that stays in the film."""
        share = self.material.pigment
        if share is None:
            return nonvolatile, film
        if self.material.pigment_density is None:
            return number(share), self.gap("pigment_density")
        return number(share), self.over(number(share), self.material.pigment_density, "pigment_density")

    def some_of(self, whole: Value) -> Value:
        """Pigment in a whole, of which nobody says how much it is."""
        if isinstance(whole, Gap) or whole == 0.0:
            return whole
        return Bounded(self.gap("pigment").missing, Interval(0.0, ends(whole)[1]))

    def oil(self, mass: Value) -> Value:
        absorption = self.material.oil_absorption
        if mass == 0.0:
            return mass
        if absorption is None:
            return add([mass, self.gap("oil_absorption")]) if isinstance(mass, Gap) else self.gap("oil_absorption")
        return joined(lambda kg: kg * number(absorption), mass)

    def cost(self) -> Value:
        price = self.material.price
        if price is None:
            return self.gap("price")
        currency = price.lo.unit.symbol[:3]
        if currency != self.around.currency:
            words = f"{self.material.code} is priced in {currency}, the repository counts in {self.around.currency}"
            return self.gap("price", words)
        if price.dimension == "price by mass":
            return number(price)
        volume = self.volume()
        return volume if isinstance(volume, Gap) else number(price) * volume


def shares_close(material: Material) -> bool:
    """True where the shares that are given add to 100 % within the digits written: then those absent are zero.

    Two ranges may move against each other; one alone leaves a rest of which nothing is said, unless it closes at both ends.
    """
    given = [figure for field in SHARES if (figure := getattr(material, field)) is not None]
    if not given:
        return False
    if all(figure.known for figure in given) and abs(sum(figure.base for figure in given) - 1.0) < CLOSES:
        return True
    from fractions import Fraction  # exact, for the few that are near the edge of their digits

    if len(given) == 1 and given[0].known:
        return bool(given[0].exact == 1)
    low = sum((figure.lo.exact for figure in given), Fraction(0))
    high = sum((figure.hi.exact for figure in given), Fraction(0))
    slack = sum((figure.lo.half_digit for figure in given), Fraction(0))
    if sum(not figure.known for figure in given) == 1:
        return 1 - slack <= low and high <= 1 + slack
    return low - slack <= 1 <= high + slack


def content(material: Material, path: str, around: Surroundings) -> Content:
    """Everything one kilogram of the material brings, with a gap for each figure that is missing."""
    reader = _Reader(material, path, around)
    nonvolatile = reader.share("nonvolatile")
    film = reader.film_volume(nonvolatile)
    columns: dict[str, Value] = {
        "total_mass": 1.0,
        "total_volume": reader.volume(),
        "nonvolatile_mass": nonvolatile,
        "nonvolatile_volume": film,
        "water_mass": reader.share("water"),
        "cost": reader.cost(),
    }
    _pigments(reader, columns, nonvolatile, film)
    if "binder" in material.functions:
        columns["binder_mass"], columns["binder_volume"] = nonvolatile, film
    _volatiles(reader, columns)
    substances: dict[str, Number] = {}
    for one in material.component:  # a substance that stands twice is there twice
        if one.cas:
            share = number(one.share)
            substances[one.cas] = substances[one.cas] + share if one.cas in substances else share
    named = sum(one.share.lo.base for one in material.component)
    water = 0.0 if material.water is None or WATER in substances else material.water.lo.base
    undisclosed = 0.0 if material.disclosure == "full" else max(0.0, 1.0 - named - water)
    return Content(columns, substances, undisclosed)


def _pigments(reader: _Reader, columns: dict[str, Value], nonvolatile: Value, film: Value) -> None:
    material = reader.material
    if material.pigment is not None or not SOLID_PIGMENTS.isdisjoint(material.functions):
        mass, volume = reader.pigment(nonvolatile, film)
    elif "colorant" in material.functions:  # it holds pigment, and nobody says how much
        mass, volume = reader.some_of(nonvolatile), reader.some_of(film)
    elif OPAQUE_POLYMER in material.functions:
        columns["pigment_volume_all"] = columns["pigment_volume_binder_convention"] = film
        return
    else:
        return
    columns["pigment_mass"], columns["oil_mass"] = mass, reader.oil(mass)
    columns["pigment_volume_all"] = columns["pigment_volume_binder_convention"] = columns["pigment_volume_oil"] = volume


def _volatiles(reader: _Reader, columns: dict[str, Value]) -> None:
    organic = [(i, one) for i, one in enumerate(reader.material.component) if one.volatile == "organic"]
    material = reader.material
    if organic and (reader.closed or material.voc is not None or _all_named(material)):
        _from_components(reader, columns, organic)
    else:
        exempt = reader.share("exempt")
        columns["voc_mass_us"] = columns["voc_mass_eu"] = voc = reader.share("voc")
        if isinstance(voc, Gap):  # what is named is there at least
            columns["voc_mass_us"] = reader.bounded("voc", sum(one.share.lo.base for _, one in organic if one.cas not in reader.around.exempt_us))
            columns["voc_mass_eu"] = reader.bounded("voc", sum(one.share.lo.base for _, one in organic if _boils_low(one)))
        columns["exempt_mass"] = exempt
        columns["exempt_volume"] = exempt if exempt == 0.0 else _exempt_room(reader, exempt)
    if material.voc_us is not None:
        columns["voc_mass_us"] = number(material.voc_us)
    if material.voc_eu is not None:
        columns["voc_mass_eu"] = number(material.voc_eu)


def _exempt_room(reader: _Reader, exempt: Value) -> Value:
    """Volume of exempt compounds of which nobody says which they are: no more than the material itself."""
    words = f"{reader.material.code} does not say which exempt compound it holds, so its volume is unknown"
    missing = exempt.missing if isinstance(exempt, Gap) else reader.gap("component", words).missing
    volume = reader.volume()
    return Gap(missing) if isinstance(volume, Gap) else Bounded(missing, Interval(0.0, ends(volume)[1]))


def _all_named(material: Material) -> bool:
    """True where the components come to all of the material: then nothing that evaporates is left unsaid."""
    return sum(one.share.lo.base + float(one.share.lo.half_digit) for one in material.component) >= 1


def _from_components(reader: _Reader, columns: dict[str, Value], organic: list[tuple[int, Component]]) -> None:
    sums: tuple[list[Value], ...] = ([], [], [], [])
    us, exempt, volume, eu = sums
    for at, one in organic:
        share = number(one.share)
        if one.cas in reader.around.exempt_us:
            exempt.append(share)
            volume.append(share / number(one.density) if one.density is not None and one.density.lo.base > 0 else _component_gap(reader, at, one, "density"))
        else:
            us.append(share)
        eu.append(_eu_part(reader, at, one, share))
    for rest in _unnamed(reader.material, organic):  # counts as it would if no component were named
        eu.append(rest)
        apart = reader.material.exempt
        if apart is None or apart.hi.base <= sum(one.share.hi.base for _, one in organic if one.cas in reader.around.exempt_us) + float(apart.hi.half_digit):
            us.append(rest)
            continue
        words = f"{reader.material.code} names not all of its organic volatiles: whether the rest is exempt cannot be said"
        either = Bounded(reader.gap("component", words).missing, Interval(0.0, ends(rest)[1]))
        us.append(either)
        exempt.append(either)
        volume.append(_exempt_room(reader, either))
    columns |= {"voc_mass_us": add(us), "exempt_mass": add(exempt), "exempt_volume": add(volume), "voc_mass_eu": add(eu)}


def _unnamed(material: Material, organic: list[tuple[int, Component]]) -> list[Number]:
    """What the shares state of organic volatiles beyond those named, if surely more than the digits written leave open."""
    stated = [figure for figure in (material.voc, material.exempt) if figure is not None]
    named = [one.share for _, one in organic]
    over = sum(one.hi.base for one in stated) - sum(one.hi.base for one in named)
    if material.voc is None or over < CLOSES or over <= float(sum(figure.hi.half_digit for figure in (*stated, *named))):
        return []
    rest = total([number(figure) for figure in stated]) - total([number(share) for share in named])
    return [not_below_zero(rest)]  # type: ignore[arg-type]


def _boils_low(one: Component) -> bool:
    """True where a component surely counts in Europe."""
    return one.boiling_point is not None and one.boiling_point.hi.base <= EU_BOILING_POINT


def _eu_part(reader: _Reader, at: int, one: Component, share: Number) -> Value:
    if one.boiling_point is None:
        return Bounded(_component_gap(reader, at, one, "boiling_point").missing, Interval(0.0, ends(share)[1]))
    boiling = number(one.boiling_point)
    if boiling <= EU_BOILING_POINT:
        return share
    if boiling > EU_BOILING_POINT:
        return 0.0
    words = f"{one.name} in {reader.material.code} boils from {one.boiling_point.text}: 250 degC lies between"
    missing = Missing(words, Place(reader.path, ("component", at, "boiling_point")), reader.material.code, "boiling_point")
    return Bounded((missing,), Interval(0.0, ends(share)[1]))


def _component_gap(reader: _Reader, at: int, one: Component, field: str) -> Gap:
    words = f"{one.name} in {reader.material.code} has no {field.replace('_', ' ')}"
    return Gap((Missing(words, Place(reader.path, ("component", at, field)), reader.material.code, field),))


def add(parts: list[Value]) -> Value:
    """Sum of values; with gaps among them, one gap that names all that is missing."""
    result: Number = 0.0
    for part in parts:
        if isinstance(part, Gap):
            return joined(lambda *numbers: total(list(numbers)), *parts)
        result = result + part
    return result


def joined(law: Callable[..., Number], *values: Value) -> Value:
    """What a law makes of values, where some may be gaps: then a gap that names all that is missing.

    It has bounds where all its gaps have. One that nobody asks for makes another that nobody asks for.
    """
    gaps = [one for one in values if isinstance(one, Gap)]
    if not gaps:
        return law(*values)
    missing = tuple(dict.fromkeys(item for gap in gaps for item in gap.missing))
    if any(isinstance(gap, Absent) for gap in gaps):
        return Absent(missing)
    if not all(isinstance(gap, Bounded) for gap in gaps):
        return Gap(missing)
    try:
        found = law(*[one.between if isinstance(one, Bounded) else one for one in values])
    except (ValueError, ZeroDivisionError):
        return Gap(missing)
    low, high = ends(found)
    return Bounded(missing, Interval(low, high)) if -inf < low and high < inf else Gap(missing)
