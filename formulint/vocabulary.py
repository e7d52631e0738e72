"""The closed words of the format; DEVELOPERS.md says where each list is used."""

from typing import Literal

FormulaState = Literal["bench", "pilot", "production", "withdrawn"]
MaterialState = Literal["sample", "trial", "approved", "phase-out", "blocked"]
StageKind = Literal["charge", "premix", "grind", "cool", "letdown", "adjust", "tint", "fill"]
StepKind = Literal["charge", "mix", "disperse", "hold", "cool", "filter", "sample"]
ProductClass = Literal[
    "flat", "matt", "eggshell", "satin", "semi-gloss", "gloss", "primer", "masonry", "stain", "clear", "intermediate"
]
Function = Literal[
    "water", "wetting-agent", "surfactant", "dispersant", "sequestrant", "grinding-aid", "defoamer",
    "in-can-preservative", "dry-film-preservative", "white-pigment", "colored-pigment", "extender", "opaque-polymer",
    "flatting-agent", "wax", "binder", "coalescent", "plasticizer", "glycol", "open-time-additive", "neutralizer",
    "buffer", "cellulosic-thickener", "swelling-clay", "non-swelling-clay", "alkali-swellable-thickener",
    "associative-thickener", "flash-rust-inhibitor", "tannin-blocker", "colorant", "crosslinker", "light-stabilizer",
    "solvent", "other",
]  # fmt: skip
Form = Literal["powder", "liquid", "solution", "emulsion", "slurry", "pregel"]
Ionic = Literal["anionic", "nonionic", "cationic", "amphoteric"]
Disclosure = Literal["full", "above-cut-off", "sds"]
Volatile = Literal["no", "water", "organic", "inorganic"]
Basis = Literal["pigment", "binder", "batch"]
DoseAs = Literal["active", "supplied", "nonvolatile"]
TestName = Literal[
    "consistency", "high_shear_viscosity", "fineness", "density", "gloss_20", "gloss_60", "gloss_85", "contrast_ratio",
    "scrub", "ph", "nonvolatile", "heat_age", "freeze_thaw", "in_can_preservation", "mildew", "blocking", "leveling",
    "sag", "open_time", "adhesion", "mud_crack", "touch_up", "tint_strength", "color",
]  # fmt: skip
Check = Literal["pass", "fail", "open", "review"]

TEST_DIMENSIONS: dict[str, tuple[str, ...]] = {
    "consistency": ("consistency",),
    "high_shear_viscosity": ("viscosity",),
    "fineness": ("fineness hegman", "length"),
    "density": ("density",),
    "nonvolatile": ("mass share",),
    "contrast_ratio": ("number", "mass share"),
    "tint_strength": ("number", "mass share"),
    "open_time": ("time",),
    "sag": ("length", "number"),
}
"""What a test measures, where that is not a number without a unit."""


def dimensions_of(test: str) -> tuple[str, ...]:
    """What a test may measure."""
    return TEST_DIMENSIONS.get(test, ("number",))
