"""A concession: leave to let one finding stand until a day, as its file says it; the Struct is the one declaration of the format."""

from datetime import date
from typing import Annotated

from msgspec import Meta, Struct

from formulint.material import Code

Words = Annotated[str, Meta(min_length=1, max_length=500)]


class Concession(Struct, frozen=True, forbid_unknown_fields=True):
    """Leave for one rule, given to one revision of a formula or to one material, to the end of a day.

    ``up_to`` is how far a measured value may be off; ``also_approved_by`` is the second name that unsafe rules and
    orders that must be kept ask for.
    """

    code: Code
    rule: Words
    reason: Words
    approved_by: Words
    expires: date
    formula: Code | None = None
    revision: Annotated[int, Meta(ge=1)] | None = None
    material: Code | None = None
    up_to: Annotated[str, Meta(examples=["52 g/L"])] | None = None
    also_approved_by: Words | None = None

    def over(self, today: date) -> bool:
        """True after its last day."""
        return today > self.expires

    @property
    def subject(self) -> str:
        """What it is given to, in words: ``T-210, revision 2`` or ``RM-1803``."""
        return self.material or f"{self.formula}, revision {self.revision}"
