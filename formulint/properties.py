"""The properties of a paint, each declared once: every table, limit, delta and document reads this list.

The names of a law's arguments are its needs: totals over the lines, figures of the formula and its equipment, properties
by id or by the name of their law. What a property is, how far it is valid and a worked example stand in its law's
docstring; ``reference.py`` reads them there.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from formulint.interval import Number
from formulint.science import balance, cost, demand, film, machine, mixing, pigment, porosity, voc

How = Literal["verified", "practice", "memory"]
State = Literal["", "tinted", "thinned"]


class Property(Struct, frozen=True):
    """A property: what it is, in which unit people see it, and the law that gives it in base units.

    ``unit`` and ``digits`` are printed where the settings say metric and in JSON; ``unit_us`` and ``digits_us`` where
    they say us. ``$`` in a unit stands for the repository's currency. ``source`` says by which convention, ``checked`` how
    well that is known. ``estimate`` marks what is never a proof. ``state`` tells the same property of the paint as tinted
    or thinned to the most its label allows; ``of`` is then the property. ``instead`` gives a need another property.
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
    checked: How = "practice"
    estimate: str = ""
    state: State = ""
    of: str = ""
    instead: dict[str, str] = {}

    @property
    def needs(self) -> tuple[str, ...]:
        """Names of what the law asks for."""
        code = self.law.__code__
        return tuple(self.instead.get(name, name) for name in code.co_varnames[: code.co_argcount])


SUM = "sum of the lines"
D5201 = "ASTM D5201 scope: from the formula"
ISO_4618 = "ISO 4618: volume of pigments, extenders and other non-film-forming solids over all nonvolatile volume (definition read second-hand)"
BENCH = "bench habit, common practice, no source: pigments and extenders over themselves plus binder solids"
OIL = "oil absorption with linseed oil 0.935 kg/L, additive (Asbeck and Van Loo 1949 as cited by a coatings page, verified second-hand)"
LESS_WATER = "40 CFR 59 subpart D and the state and district rules: less water and exempt compounds (the same arithmetic was read in 40 CFR 59.104, subpart B)"
WITH_WATER = "mass of VOC per volume of the paint with its water and exempt compounds; the basis of low-solids coatings (definition verified on a district's page)"
READY = "Directive 2004/42/EC article 2: boiling point up to 250 degC at 101.3 kPa, per litre ready for use (verified)"
DIFFERENCE = "US EPA Method 24: every volatile but water and exempt compounds, less water (a worked example and parts of the text read; the difference itself from memory)"
LOW_SOLIDS = "0.12 kg/L and less is a low-solids coating in the rules that were read (SOR/2009-264)"
INDEX = "definition of the binder index (Berardi 1963, Patton: memory), the relation derived from it"
PORES = "H. E. Stieg (memory), derived anew"
SPREAD = "coverage sheets and charts of paint makers"
PRACTICE = "common practice, no source"
ROUGH_CPVC = "rests on the estimated CPVC"
NOT_MIXED = "straight lines within the supplier's range; two latexes do not form a film at the mean of their temperatures"
THEORY = "theory: no losses, a smooth wall"
LATEX = {"cpvc": "cpvc_latex"}
FLAT_BOTTOM = "flat bottom, at rest, without air"

_AS_IT_IS: tuple[Property, ...] = (
    Property("mass", "m", "Mass", "mass", "kg", 2, "lb", 1, balance.mass_of_batch, SUM),
    Property("volume", "V", "Volume, additive", "volume", "L", 2, "gal", 2, balance.volume_of_batch, SUM, "verified"),
    Property("density", "d", "Density", "density", "kg/L", 3, "lb/gal", 2, mixing.density, SUM, "verified"),
    Property("nonvolatile_mass", "NV wt", "Nonvolatile, mass", "mass share", "%", 1, "%", 1,
             mixing.nonvolatile_mass_share, D5201, "verified"),
    Property("nonvolatile_volume", "NV vol", "Nonvolatile, volume", "volume share", "%", 1, "%", 1,
             mixing.nonvolatile_volume_share, D5201, "verified"),
    Property("solids_content", "NV/V", "Solids per volume", "density", "g/L", 0, "lb/gal", 2, voc.solids_content,
             LOW_SOLIDS, "verified"),
    Property("volume_balance", "sum V/V", "Volume balance", "number", "", 3, "", 3, balance.volume_balance, D5201, "verified"),
    Property("pvc", "PVC", "PVC (ISO 4618)", "volume share", "%", 1, "%", 1, pigment.pvc, ISO_4618, "memory"),
    Property("pvc_binder", "PVC p+b", "PVC, pigment+binder", "volume share", "%", 1, "%", 1, pigment.pvc_binder, BENCH),
    Property("oil_demand", "OA", "Oil demand of pigment", "oil absorption", "g/100 g", 1, "g/100 g", 1,
             pigment.oil_absorption_of_mixture, "mean by mass, as in a printed worked example", "verified",
             estimate="mixtures of coarse and fine pigment take less oil than the mean; opaque polymer left out"),
    Property("cpvc", "CPVC", "CPVC", "volume share", "%", 1, "%", 1, pigment.cpvc, OIL, "verified",
             estimate="estimate from oil absorption, opaque polymer left out; latex binds less well than oil, so the paint goes critical at a lower PVC; never a limit by itself"),
    Property("reduced_pvc", "PVC/CPVC", "PVC/CPVC", "number", "", 2, "", 2, pigment.reduced_pvc,
             "pvc_binder over cpvc, common practice", estimate=ROUGH_CPVC),
    Property("voids", "voids", "Air in the dry film", "volume share", "%", 1, "%", 1, porosity.voids, PORES, "memory",
             estimate=ROUGH_CPVC),
    Property("binder_index", "e", "Binder index", "number", "", 2, "", 2, porosity.binder_index, INDEX, "memory"),
    Property("cpvc_latex", "LCPVC", "CPVC, latex", "volume share", "%", 1, "%", 1, porosity.cpvc_latex, INDEX, "memory",
             estimate="as good as CPVC and the binder index"),
    Property("reduced_pvc_latex", "PVC/LCPVC", "PVC/CPVC, latex", "number", "", 2, "", 2, pigment.reduced_pvc, INDEX, "memory",
             estimate="as good as CPVC and the binder index", instead=LATEX),
    Property("voids_latex", "voids L", "Air in the dry film, latex", "volume share", "%", 1, "%", 1, porosity.voids, PORES,
             "memory", estimate="as good as CPVC and the binder index", instead=LATEX),
    Property("pigment_binder", "P/B", "Pigment/binder", "number", "", 2, "", 2, pigment.pigment_binder, PRACTICE),
    Property("dispersant_demand", "disp. demand", "Dispersant demand", "mass share", "%", 2, "%", 2, demand.dispersant_demand,
             "demands of the suppliers, added up", estimate="a ladder of doses decides"),
    Property("dispersant_supply", "disp./demand", "Dispersant/demand", "number", "", 2, "", 2, demand.dispersant_supply,
             "demands of the suppliers, added up", estimate="a ladder of doses decides"),
    Property("dispersant_on_area", "disp./area", "Dispersant on surface", "mass by area", "mg/m2", 2, "mg/m2", 2,
             demand.dispersant_on_area, PRACTICE, estimate="a ladder of doses decides"),
    Property("minimum_film_temperature", "MFT", "Minimum film temperature", "temperature", "degC", 1, "degF", 1,
             demand.minimum_film_temperature, "figures of the suppliers of latex and coalescent", estimate=NOT_MIXED),
    Property("water", "water", "Water", "mass share", "%", 1, "%", 1, mixing.water_share, SUM),
    Property("voc_material", "VOC material", "VOC of material", "density", "g/L", 1, "g/L", 1,
             voc.voc_material, WITH_WATER, "verified"),
    Property("voc_less_water", "VOC less water", "VOC less water", "density", "g/L", 1, "g/L", 1,
             voc.voc_less_water, LESS_WATER, "verified"),
    Property("voc_by_difference", "VOC by diff.", "VOC by difference", "density", "g/L", 1, "g/L", 1,
             voc.voc_by_difference, DIFFERENCE, "memory"),
    Property("voc_ready_to_use", "VOC ready to use", "VOC ready to use", "density", "g/L", 1, "g/L", 1,
             voc.voc_ready_to_use, READY, "verified"),
    Property("spreading_rate", "SR", "Spreading rate", "spreading rate", "m2/L", 1, "ft2/gal", 0, film.spreading_rate, SPREAD,
             "verified", estimate=THEORY),
    Property("wet_film", "WFT", "Wet film", "length", "um", 0, "mil", 1, film.wet_film, SPREAD, "verified", estimate=THEORY),
    Property("mass_on_area", "m/A", "Mass on area", "mass by area", "g/m2", 0, "g/m2", 0, film.mass_on_area, SPREAD, "verified",
             estimate=THEORY),
    Property("wet_film_at_coverage", "WFT cov.", "Wet film at coverage", "length", "um", 0, "mil", 1, film.wet_film_at_coverage,
             SPREAD, "verified", estimate=THEORY),
    Property("dry_film_at_coverage", "DFT cov.", "Dry film at coverage", "length", "um", 0, "mil", 2, film.dry_film_at_coverage,
             SPREAD, "verified", estimate=THEORY),
    Property("cost_mass", "cost/mass", "Cost, mass", "price by mass", "$/kg", 3, "$/lb", 3, cost.cost_mass, SUM),
    Property("cost_volume", "cost/volume", "Cost, volume", "price by volume", "$/L", 3, "$/gal", 2, cost.cost_volume, SUM),
    Property("cost_dry_volume", "cost/dry vol.", "Cost, dry volume", "price by volume", "$/L", 2, "$/gal", 2,
             cost.cost_dry_volume, SUM),
    Property("cost_area", "cost/area", "Cost, area", "price by area", "$/m2", 3, "$/ft2", 4, cost.cost_area,
             "cost by volume over the spreading rate, as an estimating column does", "verified", estimate=THEORY),
    Property("tip_speed", "v", "Tip speed", "velocity", "m/s", 1, "ft/min", 0, machine.tip_speed,
             "circumference times turns; a booklet's table", "verified"),
    Property("disc_to_tank", "D/T", "Disc/tank", "number", "", 2, "", 2, machine.disc_to_tank, "equipment handbook", "verified"),
    Property("disc_coverage", "h/D", "Height/disc", "number", "", 2, "", 2, machine.disc_coverage, PRACTICE, estimate=FLAT_BOTTOM),
)  # fmt: skip


def _altered(state: State, words: str, ids: tuple[str, ...]) -> tuple[Property, ...]:
    """The same properties of the paint as tinted or thinned."""
    listed = {one.id: one for one in _AS_IT_IS}
    return tuple(
        replace(one, id=f"{one.id}_{state}", symbol=f"{one.symbol}, {state}", title=f"{one.title}, {state}", source=f"{one.source}; {words}", state=state, of=one.id)
        for one in (listed[name] for name in ids)
    )


OF_TINTED = ("density", "nonvolatile_volume", "pvc", "voc_material", "voc_less_water", "voc_ready_to_use")
OF_THINNED = ("density", "nonvolatile_volume", "voc_material", "voc_less_water", "voc_ready_to_use")
PROPERTIES: tuple[Property, ...] = (
    *_AS_IT_IS,
    *_altered("tinted", "with all the colorant that the can takes, each colorant alone", OF_TINTED),
    *_altered("thinned", "with all the thinner that the label allows", OF_THINNED),
)

BY_ID: dict[str, Property] = {one.id: one for one in PROPERTIES}
BY_LAW: dict[str, str] = {one.law.__name__: one.id for one in reversed(_AS_IT_IS)}
"""Property by the name of its law; of several the first: laws that build on others call them so."""


class Dose(Struct, frozen=True):
    """A family of properties: the dose of what has a function, on a basis, in the strength the trade quotes it in.

    ``if_given``: it is only there where the materials say how strong they are, for few do.
    """

    id: str
    function: str
    on: str
    as_: str
    title: str
    unit: str
    digits: int
    if_given: bool = False


DOSES: tuple[Dose, ...] = (
    Dose("dispersant_on_pigment", "dispersant", "pigment", "active", "Dispersant on pigment", "%", 2),
    Dose("dispersant_supplied_on_pigment", "dispersant", "pigment", "supplied", "Dispersant as supplied", "%", 2),
    Dose("sequestrant_on_pigment", "sequestrant", "pigment", "supplied", "Sequestrant on pigment", "%", 2),
    Dose("wetting_agent_on_pigment", "wetting-agent", "pigment", "active", "Wetting agent on pigment", "%", 2, if_given=True),
    Dose("wetting_agent_on_batch", "wetting-agent", "batch", "supplied", "Wetting agent", "%", 2),
    Dose("defoamer_on_batch", "defoamer", "batch", "supplied", "Defoamer", "%", 2),
    Dose("coalescent_on_binder", "coalescent", "binder", "supplied", "Coalescent on binder", "%", 1),
    Dose("plasticizer_on_binder", "plasticizer", "binder", "supplied", "Plasticizer on binder", "%", 1),
    Dose("crosslinker_on_binder", "crosslinker", "binder", "active", "Crosslinker on binder", "%", 2, if_given=True),
    Dose("light_stabilizer_on_binder", "light-stabilizer", "binder", "active", "Light stabilizer on binder", "%", 2, if_given=True),
    Dose("glycol_on_batch", "glycol", "batch", "supplied", "Glycol", "%", 2),
    Dose("open_time_additive_on_batch", "open-time-additive", "batch", "supplied", "Open-time additive", "%", 2),
    Dose("neutralizer_on_batch", "neutralizer", "batch", "supplied", "Neutralizer", "%", 3),
    Dose("opaque_polymer_on_batch", "opaque-polymer", "batch", "supplied", "Opaque polymer", "%", 1),
    Dose("wax_on_batch", "wax", "batch", "nonvolatile", "Wax, NV", "%", 2),
    Dose("cellulosic_thickener_on_batch", "cellulosic-thickener", "batch", "supplied", "Cellulosic thickener", "%", 2),
    Dose("swelling_clay_on_batch", "swelling-clay", "batch", "supplied", "Swelling clay", "%", 2),
    Dose("alkali_swellable_thickener_on_batch", "alkali-swellable-thickener", "batch", "nonvolatile", "Alkali-sw. thickener, NV", "%", 2),
    Dose("associative_thickener_on_batch", "associative-thickener", "batch", "nonvolatile", "Assoc. thickener, NV", "%", 2),
    Dose("flash_rust_inhibitor_on_batch", "flash-rust-inhibitor", "batch", "active", "Flash-rust inhibitor", "%", 3, if_given=True),
    Dose("in_can_preservative_on_batch", "in-can-preservative", "batch", "supplied", "In-can preservative", "%", 3),
    Dose("in_can_preservative_active_on_batch", "in-can-preservative", "batch", "active", "In-can preservative, active", "ppm", 0, if_given=True),
    Dose("dry_film_preservative_on_batch", "dry-film-preservative", "batch", "supplied", "Dry-film preservative", "%", 3),
    Dose("dry_film_preservative_active_on_batch", "dry-film-preservative", "batch", "active", "Dry-film preservative, active", "ppm", 0, if_given=True),
    Dose("dry_film_preservative_on_film", "dry-film-preservative", "film", "active", "Dry-film preservative on film", "ppm", 0, if_given=True),
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
