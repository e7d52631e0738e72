"""The kinds of rule there are: a name in a rule's TOML, the Struct that reads and checks it."""

from __future__ import annotations

from formulint.kinds.boiling import Boiling
from formulint.kinds.closure import Closure
from formulint.kinds.compatibility import Compatibility
from formulint.kinds.completeness import Completeness
from formulint.kinds.dose import Dose
from formulint.kinds.entry import Entry
from formulint.kinds.evidence import Evidence
from formulint.kinds.exposure import Exposure
from formulint.kinds.hazard import Hazard
from formulint.kinds.limit import Limit
from formulint.kinds.market import Market
from formulint.kinds.mill import Mill
from formulint.kinds.order import Order
from formulint.kinds.plausibility import Plausibility
from formulint.kinds.presence import Presence
from formulint.kinds.register import Register
from formulint.kinds.sheet import Sheet
from formulint.kinds.step import Step
from formulint.kinds.warmth import Warmth

AnyRule = Boiling | Closure | Compatibility | Completeness | Dose | Entry | Evidence | Exposure | Hazard | Limit | Market | Mill | Order | Plausibility | Presence | Register | Sheet | Step | Warmth

KINDS: dict[str, type[AnyRule]] = {
    "boiling": Boiling,
    "closure": Closure,
    "compatibility": Compatibility,
    "completeness": Completeness,
    "dose": Dose,
    "entry": Entry,
    "evidence": Evidence,
    "exposure": Exposure,
    "hazard": Hazard,
    "limit": Limit,
    "market": Market,
    "mill": Mill,
    "order": Order,
    "plausibility": Plausibility,
    "presence": Presence,
    "register": Register,
    "sheet": Sheet,
    "step": Step,
    "warmth": Warmth,
}
