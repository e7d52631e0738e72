"""The settings of a formula repository (``formulint.toml``): the one declaration of their format."""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from formulint.figure import Density, MassShare
from formulint.vocabulary import TestName


class RuleSetting(Struct, frozen=True, forbid_unknown_fields=True):
    """Another level for a rule, with the reason; ``unsafe`` rules cannot be lowered."""

    rule: str
    level: Literal["error", "warning", "note"]
    reason: Annotated[str, Meta(min_length=1)]


class Folders(Struct, frozen=True, forbid_unknown_fields=True):
    """Where records lie, relative to the root."""

    materials: str = "materials"
    formulas: str = "formulas"
    rules: str = "rules"
    concessions: str = "concessions"
    equipment: str = "equipment"
    results: str = "results"
    releases: str = "releases"

    @property
    def all(self) -> tuple[str, ...]:
        """Every one of them."""
        return self.materials, self.formulas, self.rules, self.concessions, self.equipment, self.results, self.releases


class Approvers(Struct, frozen=True, forbid_unknown_fields=True):
    """Who may approve what, by mail address; ``gpg`` pins for an address the fingerprint of its OpenPGP key, 40 or 64 hex digits."""

    formula: tuple[str, ...] = ()
    material: tuple[str, ...] = ()
    policy: tuple[str, ...] = ()
    gpg: dict[str, Annotated[str, Meta(pattern="^([0-9A-Fa-f]{40}|[0-9A-Fa-f]{64})$")]] = {}


class Repeats(Struct, frozen=True, forbid_unknown_fields=True):
    """How far two results of one test lie apart by repeating alone, found out by the lab: in the unit of the test, or as a share of the value."""

    within: Annotated[str, Meta(examples=["2 KU"])] | None = None
    relative: Annotated[str, Meta(examples=["20 %"])] | None = None
    method: str = ""


class Settings(Struct, frozen=True, forbid_unknown_fields=True):
    """The settings of one root."""

    format: Literal[1]
    currency: Annotated[str, Meta(pattern="^[A-Z]{3}$")] = "USD"
    units: Literal["us", "metric"] = "metric"
    water_density: Density | None = None
    closure: MassShare | None = None
    requires: str = ""
    packs: dict[str, str] = {}
    confirmed: tuple[str, ...] = ()
    rule_setting: tuple[RuleSetting, ...] = ()
    results: Literal["noted", "required"] = "noted"
    approvals: Literal["signed", "stated"] = "signed"
    signers: str = ""
    approvers: Approvers = Approvers()
    folders: Folders = Folders()
    repeatability: dict[TestName, Repeats] = {}
