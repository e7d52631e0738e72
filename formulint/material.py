"""A raw material, as its file says it; the Struct is the one declaration of the format."""

from datetime import date
from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from formulint.figure import (
    BodyDose,
    Density,
    FilmPartDensity,
    GasShare,
    InAir,
    MassShare,
    Number,
    OilAbsorption,
    Price,
    SpecificSurface,
    Temperature,
    TemperatureStep,
)
from formulint.vocabulary import Disclosure, Form, Function, Ionic, MaterialState, Volatile

Code = Annotated[str, Meta(pattern="^[A-Za-z0-9]+(-[A-Za-z0-9]+)*$", max_length=40, examples=["RM-1401"])]


class Estimates(Struct, frozen=True, forbid_unknown_fields=True):
    """Acute toxicity estimates (ATE) of a component by route; of four hours where it is breathed in."""

    oral: BodyDose | None = None
    dermal: BodyDose | None = None
    gas: GasShare | None = None
    vapour: InAir | None = None
    dust_mist: InAir | None = None


class HazardFigures(Struct, frozen=True, forbid_unknown_fields=True):
    """Figures that go with a component's classification: specific limits by class, M-factors, acute toxicity estimates.

    Not ``additive``: it corrodes or irritates in smaller shares than adding up tells, as acids, bases and some surfactants do.
    """

    limits: dict[str, MassShare] = {}
    m_acute: Number | None = None
    m_chronic: Number | None = None
    ate: Estimates = Estimates()
    additive: bool = True


class Component(Struct, frozen=True, forbid_unknown_fields=True):
    """A substance in the material with its share by mass; ``hazards`` absent means unknown, ``[]`` means none."""

    name: str
    share: MassShare
    cas: str = ""
    hazards: tuple[str, ...] | UnsetType = UNSET
    hazard_figures: HazardFigures = HazardFigures()
    volatile: Volatile | None = None
    boiling_point: Temperature | None = None
    density: Density | None = None

    @property
    def called(self) -> tuple[str, ...]:
        """What it may be called, in small letters: name, CAS number, the abbreviation in brackets behind the name."""
        short = self.name.rsplit("(", 1)[-1].rstrip(")") if self.name.endswith(")") else ""
        return tuple(word.casefold() for word in (self.name, self.cas, short) if word)


class DoseWindow(Struct, frozen=True, forbid_unknown_fields=True):
    """The supplier's window for the material as supplied, on the batch; it may narrow a pack's, never widen it."""

    min: MassShare | None = None
    max: MassShare | None = None


class Material(Struct, frozen=True, forbid_unknown_fields=True):
    """A raw material as supplied."""

    code: Code
    name: str
    functions: Annotated[tuple[Function, ...], Meta(min_length=1)]
    form: Form | None = None
    state: MaterialState = "approved"
    approved_for: tuple[str, ...] = ()
    density: Density | None = None
    nonvolatile: MassShare | None = None
    nonvolatile_oven: MassShare | None = None
    nonvolatile_oven_method: str = ""
    water: MassShare | None = None
    voc: MassShare | None = None
    voc_us: MassShare | None = None
    voc_eu: MassShare | None = None
    exempt: MassShare | None = None
    other_volatile: MassShare | None = None
    nonvolatile_density: FilmPartDensity | None = None
    film_density: Density | None = None
    active: MassShare | None = None
    pigment: MassShare | None = None
    pigment_density: Density | None = None
    oil_absorption: OilAbsorption | None = None
    surface_area: SpecificSurface | None = None
    dispersant_demand: MassShare | None = None
    binder_index: Number | None = None
    ph: Number | None = None
    ionic: Ionic | None = None
    minimum_film_temperature: Temperature | None = None
    film_temperature_drop: TemperatureStep | None = None
    price: Price | None = None
    price_date: date | None = None
    sds_date: date | None = None
    disclosure: Disclosure | None = None
    supplier: str = ""
    tags: tuple[str, ...] = ()
    dose: DoseWindow | None = None
    component: tuple[Component, ...] = ()
    source: dict[str, str] = {}
    tolerance: dict[str, str] = {}
    note: str = ""
