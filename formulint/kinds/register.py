"""The register of materials: what may be used where, and what looks like what."""

from collections.abc import Iterator
from typing import Literal

from formulint.figure import Figure
from formulint.finding import Fault, Place
from formulint.material import Material
from formulint.rule import Rule
from formulint.subject import FormulaSubject, RegisterSubject, Stock

# Relative difference up to which two figures of look-alikes agree; our own choice, by trial on the 40 demo materials.
ALIKE = {"density": 0.05, "nonvolatile": 0.01, "oil_absorption": 0.15, "pigment": 0.01, "active": 0.05, "water": 0.05, "voc": 0.05}

NEIGHBORS = 100  # materials of one kind, by code, that a material is compared with: the list may be of any length


SAYS = {
    "blocked-unused": "No material is in state blocked that no formula names.",
    "blocked-in-use": "No formula holds a material in state blocked, in an intermediate or as an alternate neither, unless approved_for names the formula.",
    "look-alike": "No two materials have the same functions, form, tags and main components and nearly the same figures.",
    "not-approved-in-production": "No formula in production holds a material in state sample or trial, unless approved_for names the formula.",
}  # fmt: skip
"""What each check asks."""


class Register(Rule, frozen=True, kw_only=True, tag="register", tag_field="kind", rename={"check_for": "check"}):
    """Checks over the list of materials and the states they are in."""

    check_for: Literal["blocked-unused", "blocked-in-use", "look-alike", "not-approved-in-production"]

    @property
    def of_formulas(self) -> bool:
        """True where the states of the materials in a formula are looked at."""
        return self.check_for in ("blocked-in-use", "not-approved-in-production")

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The faults of a formula that uses what it may not."""
        wanted = {"blocked-in-use": ("blocked",), "not-approved-in-production": ("sample", "trial")}.get(self.check_for)
        formula = subject.formula
        if wanted is None or (self.check_for == "not-approved-in-production" and formula.state != "production"):
            return
        if not any(stock.material.state in wanted for stock in subject.stocks.values()):
            return
        for i, stage in enumerate(formula.stage):
            for j, line in enumerate(stage.additions):
                used = (line.material, *line.alternates) if line.material else ()
                for code, leaf in ((one, leaf) for one in used for leaf in subject.leaves_of(one)):
                    stock = subject.stocks.get(leaf)
                    if stock is not None and stock.material.state in wanted and not _approved_for(stock.material, formula.code):
                        inside = "" if leaf == code else f" in {code}"
                        words = f"{stock.material.name} ({leaf}){inside} is in state {stock.material.state}; {formula.code} is in {formula.state}"
                        related = (Place(stock.path, ("state",)),)
                        yield Fault(Place(subject.path, ("stage", i, "additions", j, "material")), words, self.remedy, related=related)

    def says(self) -> tuple[str, ...]:
        """What is looked for."""
        return (SAYS[self.check_for],)

    def check_register(self, subject: RegisterSubject) -> Iterator[Fault]:
        """The faults of the list as a whole."""
        if self.check_for == "blocked-unused":
            for code, stock in subject.stocks.items():
                if stock.material.state == "blocked" and not subject.used_by(code):
                    words = f"{stock.material.name} ({code}) is blocked and no formula uses it"
                    yield Fault(Place(stock.path, ("state",)), words, self.remedy)
        elif self.check_for == "look-alike":
            yield from self._look_alikes(subject)

    def _look_alikes(self, subject: RegisterSubject) -> Iterator[Fault]:
        groups: dict[tuple[object, ...], list[Stock]] = {}
        for stock in subject.stocks.values():
            material = stock.material
            cas = tuple(sorted(one.cas or one.name for one in material.component if one.share.hi.base >= 0.01))
            key = (material.functions, material.form, tuple(sorted(material.tags)), cas)
            if material.tags:
                groups.setdefault(key, []).append(stock)
        for group in groups.values():
            for at, other in enumerate(group):
                earlier = (one for one in group[max(0, at - NEIGHBORS) : at] if _alike(one.material, other.material))
                first = next(earlier, None)
                if first is not None:
                    yield _pair(first, other, self.remedy)


def _approved_for(material: Material, formula: str) -> bool:
    return formula in material.approved_for


def _alike(one: Material, other: Material) -> bool:
    for field, near in ALIKE.items():
        left, right = getattr(one, field), getattr(other, field)
        if (left is None) != (right is None):
            return False
        if isinstance(left, Figure) and isinstance(right, Figure):
            scale = max(abs(left.base), abs(right.base))
            if abs(left.base - right.base) > near * scale:
                return False
    return True


def _pair(one: Stock, other: Stock, remedy: str) -> Fault:
    words = f"{other.material.code} and {one.material.code} look alike: {other.material.name}; {one.material.name}"
    return Fault(Place(other.path, ("name",)), words, remedy, related=(Place(one.path, ("name",)),))
