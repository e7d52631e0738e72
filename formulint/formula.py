"""A formula, as its file says it: stages of additions and steps; the Struct is the one declaration of the format."""

from operator import attrgetter
from typing import Annotated, Literal

from msgspec import Meta, Struct

from formulint.figure import (
    Amount,
    Coverage,
    Duration,
    Length,
    MassOrVolume,
    Number,
    Speed,
    Temperature,
    Volume,
    VolumeShare,
)
from formulint.finding import KeyPath
from formulint.material import Code
from formulint.vocabulary import Basis, DoseAs, FormulaState, ProductClass, StageKind, StepKind, TestName


class Bounds(Struct, frozen=True, forbid_unknown_fields=True):
    """The ends between which a property must lie, in a unit of that property; read when the property is known."""

    min: Annotated[str, Meta(examples=["53 %"])] | None = None
    max: Annotated[str, Meta(examples=["59 %"])] | None = None
    on: Literal["production"] | None = None


class TemperatureRange(Struct, frozen=True, forbid_unknown_fields=True):
    """Lowest and highest temperature allowed."""

    min: Temperature | None = None
    max: Temperature | None = None


class TestSpec(Struct, frozen=True, forbid_unknown_fields=True):
    """What a test must show, with the method and the condition that make the number mean something.

    ``valid_for`` is how long a result counts; without it, a result does not grow too old.
    """

    method: str
    min: str | None = None
    max: str | None = None
    after: Duration | None = None
    condition: str = ""
    valid_for: Duration | None = None


class Adjust(Struct, frozen=True, forbid_unknown_fields=True):
    """What the plant may add beyond the written amount to reach a target: step by step, never above ``max``."""

    target: TestName
    step: MassOrVolume
    max: MassOrVolume


class Addition(Struct, frozen=True, forbid_unknown_fields=True, rename={"as_": "as"}):
    """One line of the sheet: a material with its amount, the contents of another stage, or a step of work."""

    material: Code | None = None
    amount: Amount | None = None
    on: Basis | None = None
    as_: DoseAs | None = None
    of: str | None = None
    alternates: tuple[Code, ...] = ()
    adjust: Adjust | None = None
    max: MassOrVolume | None = None
    stage: str | None = None
    step: StepKind | None = None
    speed: Speed | None = None
    time: Duration | None = None
    temperature: TemperatureRange | None = None
    until: dict[TestName, Bounds] = {}
    check: TestName | None = None
    note: str = ""


class Process(Struct, frozen=True, forbid_unknown_fields=True):
    """Shorthand for one step that holds for the whole stage."""

    step: StepKind = "disperse"
    speed: Speed | None = None
    time: Duration | None = None
    temperature: TemperatureRange | None = None
    until: dict[TestName, Bounds] = {}
    check: TestName | None = None
    note: str = ""


class Stage(Struct, frozen=True, forbid_unknown_fields=True):
    """Additions in order into one vessel."""

    name: Annotated[str, Meta(min_length=1)]
    kind: StageKind
    additions: Annotated[tuple[Addition, ...], Meta(min_length=1)]
    vessel: str = ""
    process: Process | None = None
    note: str = ""


class Thinning(Struct, frozen=True, forbid_unknown_fields=True):
    """What the label lets the user thin with, and the most of it, by volume on the paint."""

    material: Code
    max: VolumeShare


class Product(Struct, frozen=True, forbid_unknown_fields=True):
    """What law and claims ask about the product."""

    use: tuple[Literal["interior", "exterior"], ...] = ()
    substrate: tuple[str, ...] = ()
    claims: tuple[str, ...] = ()
    gloss_60: Number | None = None
    gloss_85: Number | None = None
    thinning: Thinning | None = None
    packages: tuple[str, ...] = ()
    family: str = ""
    tint_base: Literal["", "white", "tint", "deep", "ultra-deep", "accent"] = ""
    fill: Volume | None = None
    colorant_max: Volume | None = None
    colorants: tuple[Code, ...] = ()
    dry_film: Length | None = None
    coverage: Coverage | None = None


class Formula(Struct, frozen=True, forbid_unknown_fields=True, rename={"class_": "class"}):
    """A formula: what goes in, in which order, for which product."""

    code: Code
    name: str
    revision: Annotated[int, Meta(ge=1)]
    state: FormulaState
    class_: ProductClass
    batch: MassOrVolume
    stage: Annotated[tuple[Stage, ...], Meta(min_length=1)]
    markets: tuple[str, ...] = ()
    category: dict[str, str | tuple[str, ...]] = {}
    product: Product = Product()
    limits: dict[str, Bounds] = {}
    tests: dict[TestName, TestSpec] = {}
    note: str = ""


_ALTERNATES = attrgetter("alternates")


def offers_alternates(formula: Formula) -> bool:
    """True where a line names another material that may stand for its own; few sheets do."""
    return any(any(map(_ALTERNATES, stage.additions)) for stage in formula.stage)


def beside(formula: Formula) -> tuple[tuple[str, KeyPath], ...]:
    """Codes of what a paint is tinted and thinned with; it is not in the can, but its values are asked for."""
    product = formula.product
    if not product.colorants and product.thinning is None:
        return ()
    thinner = () if product.thinning is None else ((product.thinning.material, ("product", "thinning", "material")),)
    return (*((code, ("product", "colorants", at)) for at, code in enumerate(product.colorants)), *thinner)


def codes_in(formula: Formula) -> tuple[str, ...]:
    """Codes that a formula names, alternates included, each once."""
    found: dict[str, None] = {}
    for stage in formula.stage:
        for line in stage.additions:
            if line.material is not None:
                found.update(dict.fromkeys((line.material, *line.alternates)))
    return tuple(found)
