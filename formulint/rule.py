"""What every rule has: an id, a level, a reason, a source, and the formulas and materials it is about."""

from collections.abc import Callable, Hashable, Iterator, Sequence
from datetime import date
from functools import cache
from typing import Annotated, Literal, Self

from msgspec import Meta, Struct

from formulint.content import Value
from formulint.errors import Misread
from formulint.finding import Fault, Source
from formulint.formula import Formula
from formulint.material import Material
from formulint.subject import FormulaSubject, MaterialSubject, RegisterSubject
from formulint.vocabulary import Form, FormulaState, Function, MaterialState, ProductClass, StageKind


class Where(Struct, frozen=True, forbid_unknown_fields=True, rename={"class_": "class"}):
    """Selects formulas: every key given must hold, by equality or membership; ``tint_base`` true means "is one"."""

    class_: tuple[ProductClass, ...] = ()
    use: tuple[Literal["interior", "exterior"], ...] = ()
    state: tuple[FormulaState, ...] = ()
    markets: tuple[str, ...] = ()
    substrate: tuple[str, ...] = ()
    claims: tuple[str, ...] = ()
    codes: tuple[str, ...] = ()
    tint_base: bool | None = None

    @staticmethod
    def sort_of(formula: Formula) -> tuple[object, ...]:
        """All of a formula that selectors look at, but for its code: those alike in it are picked alike."""
        product = formula.product
        return formula.class_, product.use, formula.state, formula.markets, product.substrate, product.claims, bool(product.tint_base)

    def holds(self, formula: Formula) -> bool:
        """True if every key given holds for the formula."""
        product = formula.product
        return (
            (not self.class_ or formula.class_ in self.class_)
            and (not self.use or any(use in self.use for use in product.use))
            and (not self.state or formula.state in self.state)
            and (not self.markets or any(market in self.markets for market in formula.markets))
            and (not self.substrate or any(item in self.substrate for item in product.substrate))
            and (not self.claims or any(claim in self.claims for claim in product.claims))
            and (not self.codes or formula.code in self.codes)
            and (self.tint_base is None or self.tint_base == bool(product.tint_base))
        )


class Pick(Struct, frozen=True, cache_hash=True, forbid_unknown_fields=True, rename={"but": "except"}):
    """Selects materials: every key given must hold, by membership; nothing that ``except`` selects."""

    functions: tuple[Function, ...] = ()
    forms: tuple[Form, ...] = ()
    tags: tuple[str, ...] = ()
    codes: tuple[str, ...] = ()
    cas: tuple[str, ...] = ()
    states: tuple[MaterialState, ...] = ()
    stages: tuple[StageKind, ...] = ()
    but: tuple["Pick", ...] = ()

    @property
    def marks(self) -> tuple[str, ...]:
        """Words of which a material must have one to be picked; empty where it may have any."""
        return self.functions or self.tags or self.codes or self.cas or self.forms

    @property
    def staged(self) -> bool:
        """True where the kind of the stage counts in which a material is charged."""
        return bool(self.stages) or (bool(self.but) and _but_staged(self.but))

    def holds(self, material: Material, stage: str = "") -> bool:
        """True if every key given holds for the material (charged in a stage of that kind)."""
        return (
            (not self.functions or not set(self.functions).isdisjoint(material.functions))
            and (not self.forms or material.form in self.forms)
            and (not self.tags or not set(self.tags).isdisjoint(material.tags))
            and (not self.codes or material.code in self.codes)
            and (not self.cas or any(component.cas in self.cas for component in material.component))
            and (not self.states or material.state in self.states)
            and (not self.stages or stage in self.stages)
            and not any(one.holds(material, stage) for one in self.but)
        )


@cache
def _but_staged(picks: tuple[Pick, ...]) -> bool:
    return any(one.staged for one in picks)


_PICKS: dict[Pick, Pick] = {}


def the_one(pick: Pick) -> Pick:
    """The one selector that stands for all that say the same: found in tables by its identity, without a look inside."""
    return _PICKS.setdefault(pick, pick)


class Applied(Struct, frozen=True):
    """A bound that a rule puts on a property of one formula, in a unit of that property."""

    property: str
    min: str | None
    max: str | None
    name: str


class Goal(Struct, frozen=True):
    """What a rule asks of one value of a formula.

    ``measure`` gives the value in base units, ``least`` and ``most`` are its bounds (included), ``aim`` is where it
    should be, if not just inside; ``look`` the unit and the digits that people see.
    """

    measure: Callable[[FormulaSubject], Value]
    least: float | None
    most: float | None
    look: tuple[str, int]
    aim: float | None = None


class Rule(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, rename={"from_": "from"}):
    """The part that all kinds of rule share.

    ``title`` says what must hold, in one sentence; ``why`` what goes wrong in the paint otherwise; ``remedy`` what
    usually helps. ``from`` and ``until`` are the first and the last day on which the rule is in force.
    """

    id: Annotated[str, Meta(pattern="^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
    level: Literal["error", "warning", "note"]
    title: str
    why: str
    remedy: str = ""
    source: Source
    from_: date | None = None
    until: date | None = None
    where: Where = Where()
    unless: Where | None = None

    @property
    def about(self) -> tuple[Pick, ...]:
        """Selectors of which a formula must hold something: where it lacks one, the rule has nothing to say."""
        return ()

    @property
    def asks(self) -> tuple[Pick, ...]:
        """Every selector by which the rule asks about a formula; materials are sorted by them once."""
        return self.about

    def in_force(self, today: date) -> bool:
        """True on the days from ``from`` to ``until``, both included."""
        return (self.from_ is None or self.from_ <= today) and (self.until is None or today <= self.until)

    def about_paints(self) -> bool:
        """True where the rule is about what comes out of the can: of an intermediate it then speaks only if it names it."""
        return False

    def concerns(self, formula: Formula) -> bool:
        """True for the formulas the rule is about; an intermediate that is sold, so names markets, is a paint as well."""
        if self.about_paints() and formula.class_ == "intermediate" and not formula.markets:
            where = self.where
            if "intermediate" not in where.class_ and formula.code not in where.codes:
                return False
        return self.where.holds(formula) and not (self.unless is not None and self.unless.holds(formula))

    @property
    def by_code(self) -> bool:
        """True where it depends on the code of a formula whether the rule concerns it."""
        return bool(self.where.codes or (self.unless is not None and self.unless.codes))

    @property
    def of_formulas(self) -> bool:
        """True where the rule may have something to say about a formula."""
        return type(self).check is not Rule.check

    @property
    def kin(self) -> Hashable | None:
        """What rules have in common that can be looked at as one (see ``narrowed``); None for a rule by itself."""
        return None

    def narrowed(self, kin: Sequence[Self]) -> Self:
        """A rule that holds plainly only where this one and all its kin do; it is looked at, and never told."""
        return self

    def plainly_holds(self, subject: FormulaSubject) -> bool:
        """True where a look shows that the rule has nothing to say; what is not plain is left to ``check``."""
        return False

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """What the rule has to say about one formula."""
        return iter(())

    def bounds(self, subject: FormulaSubject) -> Iterator[Applied]:
        """The bounds that the rule puts on properties of one formula."""
        return iter(())

    def binds(self, property_id: str) -> bool:
        """True where the rule may put a bound on a property of some formula."""
        return False

    def goal(self, subject: FormulaSubject, fault: Fault) -> Goal | None:
        """What one of the rule's faults asks for as a number; None where no number mends it."""
        return None

    def check_material(self, subject: MaterialSubject) -> Iterator[Fault]:
        """What the rule has to say about one material."""
        return iter(())

    def check_register(self, subject: RegisterSubject) -> Iterator[Fault]:
        """What the rule has to say about all materials together."""
        return iter(())

    def says(self) -> tuple[str, ...]:
        """What the rule asks, in sentences with all its figures, so that nobody has to read its table; each kind has its own."""
        return (self.title,)

    def unchecked(self, subject: FormulaSubject) -> str:
        """Why the rule is silent though it may be broken: what it would have to know of the formula; empty where it has looked."""
        return ""

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself, beyond the shape of its table."""
        return iter(())
