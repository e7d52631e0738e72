"""Where something is used, as a report that says loudly what is in production, and as data for machines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import inf

from formulint.catalog import Catalog
from formulint.content import Gap, Value
from formulint.interval import ends
from formulint.report import CAUTION, Cell, Report, Section, Table, Tone, counted, heading, title_line
from formulint.verdict import MANY_PPM, shown
from formulint.whereused import Use, WhereUsed

TONES: dict[str, Tone] = {"production": "bad", "pilot": "warn", "bench": "plain", "withdrawn": "muted"}
SEVERAL = 6  # materials that are named in one line
NOT_KNOWN = "not known"


def report(catalog: Catalog, found: WhereUsed) -> Report:
    """The report: a table of all lines, those of production formulas first and in capitals."""
    rows = tuple(_row(one) for one in found.uses)
    columns = ("formula", "state", "stage", "line", "through", ">as written", ">of the batch", "alternates")
    section = Section(_heading(catalog, found), (), (Table(columns, rows),) if rows else (), tuple(_remarks(found)))
    return Report(title_line(catalog), (), (section,), (_closing(found), CAUTION))


def _heading(catalog: Catalog, found: WhereUsed) -> str:
    if found.sort in ("substance", "function"):
        word = f"CAS {found.asked}" if found.sort == "substance" else found.asked
        return f"{word}: in {counted(len(found.codes), 'material')}{_few(list(found.codes))}"
    return heading(catalog, found.asked)


def _few(codes: Sequence[str]) -> str:
    more = f" and {len(codes) - SEVERAL} more" if len(codes) > SEVERAL else ""
    return f": {', '.join(codes[:SEVERAL])}{more}" if codes else ""


def _row(one: Use) -> tuple[Cell, ...]:
    state = one.formula.state
    held = ", ".join(one.held)
    way = " > ".join((*one.through, held)) if one.through else ""
    if one.instead:
        amount, share = f"instead of {one.instead}", "alternate"
    else:
        amount, share = one.amount, _share(one.share)
    return (
        Cell(f"{one.formula.code} {one.formula.name}"), Cell(state.upper() if state == "production" else state, TONES[state]), Cell(one.stage),
        Cell(one.code), Cell(way, "muted"), Cell(amount), Cell(share), Cell(", ".join(one.alternates)),
    )  # fmt: skip


def _share(share: Value) -> str:
    """A share of the batch in %, in ppm below a tenth of a percent: preservatives are told apart there."""
    if isinstance(share, Gap):
        return NOT_KNOWN
    unit, digits = ("%", 2) if max(end for end in ends(share) if end < inf) >= MANY_PPM else ("ppm", 0)
    return shown(share, unit, digits)


def _remarks(found: WhereUsed) -> Iterator[str]:
    for name in found.unread:
        yield f"{name} cannot be read or is made from itself, so it was not looked into: formulint lint says why"
    if found.sort == "substance" and not found.codes:
        yield "no material says that it holds it; what a supplier has not disclosed is not known here"
    elif found.sort == "substance":
        yield "only what the materials say they hold; what a supplier has not disclosed is not known here"


def _closing(found: WhereUsed) -> str:
    """How many formulas, those in production first."""
    states: dict[str, list[str]] = {}
    for code, uses in found.formulas().items():
        states.setdefault(uses[0].formula.state, []).append(code)
    if not states:
        return f"no formula holds {found.asked}"
    words = [f"IN PRODUCTION: {', '.join(states['production'])}" if "production" in states else "in no production formula"]
    words += [f"{state}: {', '.join(codes)}" for state, codes in states.items() if state != "production"]
    return "; ".join(words)


def data(catalog: Catalog, found: WhereUsed) -> dict[str, object]:
    """The same for machines; shares in %."""
    return {
        "format": "formulint/whereused/1",
        "state": catalog.snapshot.label,
        "date": str(catalog.today),
        "asked": found.asked,
        "sort": found.sort,
        "codes": list(found.codes),
        "uses": [_use(catalog, one) for one in found.uses],
        "unread": list(found.unread),
    }


def _use(catalog: Catalog, one: Use) -> dict[str, object]:
    low, high = (None, None) if isinstance(one.share, Gap) else ends(one.share)
    mark = catalog.locate(one.place)
    return {
        "formula": one.formula.code,
        "state": one.formula.state,
        "revision": one.formula.revision,
        "class": one.formula.class_,
        "stage": one.stage,
        "material": one.code,
        "holds": list(one.held),
        "through": list(one.through),
        "amount": one.amount,
        "share_min": None if low is None else float(f"{100 * low:.12g}"),
        "share_max": None if high is None or high == inf else float(f"{100 * high:.12g}"),
        "alternates": list(one.alternates),
        "instead_of": one.instead or None,
        "path": mark.path,
        "line": mark.line,
    }
