"""The properties of a paint, each declared once: every table, limit, delta and document reads this list.

The names of a law's arguments are its needs: totals over the lines, or properties that stand above it.
"""

from __future__ import annotations

from collections.abc import Callable

from msgspec import Struct

from formulint.interval import Number
from formulint.science import cost, mixing, pigment, voc


class Property(Struct, frozen=True):
    """A property: what it is, in which unit people see it, and the law that gives it in base units.

    ``unit`` and ``digits`` are printed where the settings say metric and in JSON; ``unit_us`` and ``digits_us`` where
    they say us. ``$`` in a unit stands for the repository's currency. ``estimate`` marks what is never a proof.
    """

    id: str
    symbol: str
    title: str
    dimension: str
    unit: str
    digits: int
    unit_us: str
    digits_us: int
    law: Callable[..., Number]
    source: str
    estimate: str = ""

    @property
    def needs(self) -> tuple[str, ...]:
        """Names of the totals or properties that the law asks for."""
        code = self.law.__code__
        return code.co_varnames[: code.co_argcount]


def _mass(total_mass: Number) -> Number:
    return total_mass


def _volume(total_volume: Number) -> Number:
    return total_volume


SUM = "sum of the lines"
ISO_4618 = "ISO 4618: volume of pigments, extenders and other non-film-forming solids over all nonvolatile volume (definition read second-hand)"
BENCH = "bench habit, common practice, no source: pigments and extenders over themselves plus binder solids"
OIL = "oil absorption with linseed oil 0.935 kg/L, additive (Asbeck and Van Loo 1949 as cited by a coatings page, verified second-hand)"
LESS_WATER = "40 CFR 59 subpart D and the state and district rules: less water and exempt compounds (the same arithmetic was read in 40 CFR 59.104, subpart B)"
WITH_WATER = "mass of VOC per volume of the paint with its water and exempt compounds; the basis of low-solids coatings (definition verified on a district's page)"
READY = "Directive 2004/42/EC article 2: boiling point up to 250 degC at 101.3 kPa, per litre ready for use (verified)"

PROPERTIES: tuple[Property, ...] = (
    Property("mass", "m", "Mass", "mass", "kg", 2, "lb", 1, _mass, SUM),
    Property("volume", "V", "Volume, additive", "volume", "L", 2, "gal", 2, _volume, SUM),
    Property("density", "d", "Density", "density", "kg/L", 3, "lb/gal", 2, mixing.density, SUM),
    Property("nonvolatile_mass", "NV wt", "Nonvolatile, mass", "mass share", "%", 1, "%", 1,
             mixing.nonvolatile_mass_share, "ASTM D5201 scope: from the formula"),
    Property("nonvolatile_volume", "NV vol", "Nonvolatile, volume", "volume share", "%", 1, "%", 1,
             mixing.nonvolatile_volume_share, "ASTM D5201 scope: from the formula"),
    Property("pvc", "PVC", "PVC (ISO 4618)", "volume share", "%", 1, "%", 1, pigment.pvc, ISO_4618),
    Property("pvc_binder", "PVC p+b", "PVC, pigment+binder", "volume share", "%", 1, "%", 1,
             pigment.pvc_binder, BENCH),
    Property("cpvc", "CPVC", "CPVC", "volume share", "%", 1, "%", 1, pigment.cpvc, OIL,
             estimate="estimate from oil absorption, opaque polymer left out; latex binds less well than oil, so the paint goes critical at a lower PVC; never a limit by itself"),
    Property("reduced_pvc", "PVC/CPVC", "PVC/CPVC", "number", "", 2, "", 2, pigment.reduced_pvc,
             "pvc_binder over cpvc, common practice", estimate="rests on the estimated CPVC"),
    Property("pigment_binder", "P/B", "Pigment/binder", "number", "", 2, "", 2, pigment.pigment_binder,
             "common practice, no source"),
    Property("water", "water", "Water", "mass share", "%", 1, "%", 1, mixing.water_share, SUM),
    Property("voc_material", "VOC material", "VOC of material", "density", "g/L", 1, "g/L", 1,
             voc.voc_material, WITH_WATER),
    Property("voc_less_water", "VOC less water", "VOC less water", "density", "g/L", 1, "g/L", 1,
             voc.voc_less_water, LESS_WATER),
    Property("voc_ready_to_use", "VOC ready to use", "VOC ready to use", "density", "g/L", 1, "g/L", 1,
             voc.voc_ready_to_use, READY),
    Property("cost_mass", "cost/mass", "Cost, mass", "price by mass", "$/kg", 3, "$/lb", 3,
             cost.cost_mass, SUM),
    Property("cost_volume", "cost/volume", "Cost, volume", "price by volume", "$/L", 3, "$/gal", 2,
             cost.cost_volume, SUM),
)  # fmt: skip

BY_ID: dict[str, Property] = {one.id: one for one in PROPERTIES}


class Dose(Struct, frozen=True):
    """A family of properties: the dose of what has a function, on a basis, in the strength the trade quotes it in."""

    id: str
    function: str
    on: str
    as_: str
    title: str
    unit: str
    digits: int


DOSES: tuple[Dose, ...] = (
    Dose("dispersant_on_pigment", "dispersant", "pigment", "active", "Dispersant on pigment", "%", 2),
    Dose("sequestrant_on_pigment", "sequestrant", "pigment", "supplied", "Sequestrant on pigment", "%", 2),
    Dose("wetting_agent_on_batch", "wetting-agent", "batch", "supplied", "Wetting agent", "%", 2),
    Dose("defoamer_on_batch", "defoamer", "batch", "supplied", "Defoamer", "%", 2),
    Dose("coalescent_on_binder", "coalescent", "binder", "supplied", "Coalescent on binder", "%", 1),
    Dose("glycol_on_batch", "glycol", "batch", "supplied", "Glycol", "%", 2),
    Dose("opaque_polymer_on_batch", "opaque-polymer", "batch", "supplied", "Opaque polymer", "%", 1),
    Dose("cellulosic_thickener_on_batch", "cellulosic-thickener", "batch", "supplied", "Cellulosic thickener", "%", 2),
    Dose("associative_thickener_on_batch", "associative-thickener", "batch", "nonvolatile", "Assoc. thickener, NV", "%", 2),
    Dose("in_can_preservative_on_batch", "in-can-preservative", "batch", "supplied", "In-can preservative", "%", 3),
    Dose("dry_film_preservative_on_batch", "dry-film-preservative", "batch", "supplied", "Dry-film preservative", "%", 3),
)  # fmt: skip

DOSE_BY_ID: dict[str, Dose] = {one.id: one for one in DOSES}
SUBSTANCE = "substance:"


NO_CAS = "compare it with the supplier's sheet: the last digit is a check of the others"
"""What helps where a CAS number has a slip."""


def is_cas(text: str) -> bool:
    """True for a CAS number without a slip: its last digit is the weighted sum of the others, modulo ten."""
    parts = text.split("-")
    if [len(part) for part in parts[1:]] != [2, 1] or not 2 <= len(parts[0]) <= 7:
        return False
    digits = "".join(parts)
    if not (digits.isascii() and digits.isdigit()):
        return False
    return sum(weight * int(digit) for weight, digit in enumerate(reversed(digits[:-1]), 1)) % 10 == int(digits[-1])


def dimension_of(property_id: str) -> str | None:
    """Dimension of a property, a dose or ``substance:CAS``; None where there is no such property."""
    if property_id in BY_ID:
        return BY_ID[property_id].dimension
    if property_id in DOSE_BY_ID or (property_id.startswith(SUBSTANCE) and is_cas(property_id.removeprefix(SUBSTANCE))):
        return "mass share"
    return None
