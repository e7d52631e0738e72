"""Three fingerprints of a formula: what is in it (c1), how it is made (m1), what its materials are said to be (d1).

Each is SHA-256 over canonical JSON behind a version prefix. Amounts are exact reduced fractions of base units per base
unit of the batch, so that a change of unit is no change, and a change of the last digit is one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache, lru_cache
from importlib import import_module
from typing import TYPE_CHECKING, Protocol

from msgspec import UnsetType
from msgspec.json import Encoder
from msgspec.structs import replace

from formulint.figure import Amount, Figure, MassOrVolume
from formulint.formula import Addition, Bounds, Formula, Process, TemperatureRange
from formulint.material import Component, Material

if TYPE_CHECKING:
    from fractions import Fraction

APART = 1e-9  # relative: more than floats lose on the way to a share
KEPT = 5000  # amounts by their batch
_PLAIN = Encoder(order="sorted")
DATA_FIELDS = (
    "functions", "form", "density", "nonvolatile", "water", "voc", "voc_us", "voc_eu", "exempt", "other_volatile",
    "nonvolatile_density", "film_density", "active", "pigment", "pigment_density", "oil_absorption", "surface_area",
    "dispersant_demand", "binder_index", "ionic", "minimum_film_temperature", "film_temperature_drop", "ph", "disclosure", "supplier", "tags",
)  # fmt: skip


class Hash(Protocol):
    """What a hash gives."""

    def hexdigest(self) -> str: ...


def composition(formula: Formula, blend: Callable[[str], str | None]) -> str:
    """``c1:`` digest: per material the sum of its amounts, divided by the batch; ``blend`` gives an intermediate's own digest."""
    sums: dict[tuple[str, str], Fraction] = {}
    others: set[tuple[str, ...]] = set()
    for stage in formula.stage:
        for addition in stage.additions:
            if addition.material is None or addition.amount is None:
                continue
            code = blend(addition.material) or addition.material
            kind = amount_kind(addition)
            if addition.amount.to_fill:
                others.add((code, kind, formula.batch.dimension))
            else:
                share = addition.amount.exact if "share" in kind else _of_batch(addition.amount, formula.batch)
                sums[code, kind] = sums[code, kind] + share if (code, kind) in sums else share
            if addition.alternates:
                others.add((code, "or", *sorted(blend(other) or other for other in addition.alternates)))
    entries = [[code, kind, str(value)] for (code, kind), value in sorted(sums.items())]
    return _seal("c1", [formula.batch.dimension, entries, sorted(list(other) for other in others)])


def plainly_apart(one: Formula, other: Formula) -> bool:
    """True where two formulas of raw materials hold plainly other shares, so that their fingerprints differ; False where only these tell.

    No share is taken from what fills up: how much that is, its fingerprint does not say either.
    """
    if one.batch.dimension != other.batch.dimension:
        return True
    shares, others = _shares(one), _shares(other)
    return shares.keys() != others.keys() or any(abs(share - others[key]) > APART * max(abs(share), abs(others[key])) for key, share in shares.items())


def _shares(formula: Formula) -> dict[tuple[str, str], float]:
    found: dict[tuple[str, str], float] = {}
    batch = formula.batch.base or 1.0
    for stage in formula.stage:
        for line in stage.additions:
            if line.material is None or line.amount is None:
                continue
            key = line.material, amount_kind(line)
            share = 0.0 if line.amount.to_fill else line.amount.base / (1.0 if "share" in key[1] else batch)
            found[key] = found.get(key, 0.0) + share
    return found


def amount_kind(addition: Addition) -> str:
    """What an amount is of: ``mass``, ``volume``, ``mass share``, ``q.s.``, or a dose with its basis and strength."""
    assert addition.amount is not None
    if addition.amount.to_fill:
        return "q.s."
    parts = [addition.amount.dimension]
    if addition.on not in (None, "batch"):
        parts.append(f"on {addition.on}")
    if addition.as_ not in (None, "supplied") or addition.of is not None:
        parts.append(f"as {addition.as_ or 'active'}")
    if addition.of is not None:
        parts.append(f"of {addition.of}")
    return " ".join(parts)


def making(formula: Formula, composition_digest: str, blend: Callable[[str], str | None]) -> str:
    """``m1:`` digest: composition, and every addition and step in order with stage kinds and vessels."""
    batch = formula.batch
    order = {stage.name: number for number, stage in enumerate(formula.stage)}
    stages = [
        [
            stage.kind,
            stage.vessel,
            _process(stage.process),
            [_entry(addition, batch, order, blend) for addition in stage.additions],
        ]
        for stage in formula.stage
    ]
    return _seal("m1", [composition_digest, stages])


def _entry(addition: Addition, batch: MassOrVolume, order: Mapping[str, int], blend: Callable[[str], str | None]) -> list[object]:
    if addition.stage is not None:
        return ["stage", order.get(addition.stage, -1)]
    if addition.material is None or addition.amount is None:
        return ["step", addition.step, *_conditions(addition)]
    kind = amount_kind(addition)
    amount: object = "q.s."
    if not addition.amount.to_fill:
        amount = str(addition.amount.exact if "share" in kind else _of_batch(addition.amount, batch))
    adjust = addition.adjust
    more = None if adjust is None else [adjust.target, _figure(adjust.step), _figure(adjust.max)]
    return ["add", blend(addition.material) or addition.material, kind, amount, more, _figure(addition.max)]


def _conditions(item: Addition | Process) -> list[object]:
    until = {name: _bounds(bounds) for name, bounds in item.until.items()}
    return [_figure(item.speed), _figure(item.time), _temperature(item.temperature), until, item.check]


def _process(process: Process | None) -> object:
    return None if process is None else [process.step, *_conditions(process)]


def _temperature(limits: TemperatureRange | None) -> object:
    return None if limits is None else [_figure(limits.min), _figure(limits.max)]


def _bounds(bounds: Bounds) -> list[str | None]:
    return [bounds.min, bounds.max]


def in_digits_of(old: Formula, new: Formula) -> Formula | None:
    """The new sheet with the amounts of the old one, so that digests tell whether anything else differs.

    None where an amount differs by more than half a last digit of the coarser side.
    """
    amounts, others = ([line.amount for stage in one.stage for line in stage.additions if line.amount is not None] for one in (old, new))
    if len(amounts) != len(others) or not all(map(agree, amounts, others)):
        return None
    rest = iter(amounts)
    stages = []
    for stage in new.stage:
        lines = tuple(line if line.amount is None else replace(line, amount=next(rest)) for line in stage.additions)
        stages.append(replace(stage, additions=lines))
    return replace(new, stage=tuple(stages))


def agree(one: Amount, other: Amount) -> bool:
    """True where two amounts are the same within half a last digit of the coarser one, or both are q.s."""
    if one.to_fill or other.to_fill or one.dimension != other.dimension:
        return one.to_fill and other.to_fill
    return abs(one.exact - other.exact) <= max(one.lo.half_digit, other.lo.half_digit)


def data(materials: Mapping[str, Material]) -> str:
    """``d1:`` digest: of every raw material used, the fields that bear on the paint; not price, dates, notes, names."""
    return _sealed("d1", b"[%s]" % b",".join([b"[%s,%s]" % (_text(code), _once(materials[code])) for code in sorted(materials)]))


# A shelf of materials is behind every formula: what bears on the paint is written once for each record.
_DONE: dict[int, tuple[Material, bytes]] = {}


def _once(material: Material) -> bytes:
    known = _DONE.get(id(material))
    if known is None or known[0] is not material:
        known = _DONE[id(material)] = (material, _text(_material(material)))
    return known[1]


def _material(material: Material) -> dict[str, object]:
    fields = {name: _plain(getattr(material, name)) for name in DATA_FIELDS}
    components = [_component(one) for one in material.component]
    return {name: value for name, value in fields.items() if value not in (None, [], "")} | {"component": components}


def _component(one: Component) -> list[object]:
    hazards = None if isinstance(one.hazards, UnsetType) else sorted(one.hazards)
    figures = one.hazard_figures
    limits = {name: _figure(limit) for name, limit in figures.limits.items()}
    estimates = {route: _figure(found) for route in figures.ate.__struct_fields__ if (found := getattr(figures.ate, route)) is not None}
    more: list[object] = [limits, _figure(figures.m_acute), _figure(figures.m_chronic), estimates]
    if not figures.additive:
        more.append("not additive")
    name = one.cas or one.name
    return [name, _figure(one.share), hazards, more, one.volatile, _figure(one.boiling_point), _figure(one.density)]


def _plain(value: object) -> object:
    if isinstance(value, Figure):
        return _figure(value)
    return sorted(value) if isinstance(value, tuple) else value


def _figure(figure: Figure | None) -> object:
    if figure is None:
        return None
    if isinstance(figure, Amount) and figure.to_fill:
        return "q.s."
    if getattr(figure, "derived", False):
        return "derived"
    ends = [str(figure.lo.exact)] if figure.known else [str(figure.lo.exact), str(figure.hi.exact)]
    return [figure.dimension, *ends]


@lru_cache(maxsize=KEPT)
def _of_batch(amount: Amount, batch: MassOrVolume) -> Fraction:
    """An amount by the batch; both states of a sheet, and both fingerprints, ask for most of them again."""
    from fractions import Fraction

    return amount.exact / (batch.exact or Fraction(1))  # a batch of nothing is a fault of its own; its lines still tell two sheets apart


def _text(content: object) -> bytes:
    """Canonical JSON: ASCII, keys sorted, no space."""
    text = _PLAIN.encode(content)
    if text.isascii() and b"\\" not in text and b"\x7f" not in text:
        return text
    import json  # hardly ever needed, and a commit would wait for it

    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True).encode()  # where the two do not write the same


def _seal(prefix: str, content: object) -> str:
    return _sealed(prefix, _text(content))


def _sealed(prefix: str, text: bytes) -> str:
    return f"{prefix}:{_sha256()(text).hexdigest()}"


@cache
def _sha256() -> Callable[[bytes], Hash]:
    """SHA-256 as the interpreter brings it: ``hashlib`` loads a library of ciphers first, for which a commit would wait."""
    for name in ("_sha2", "_sha256", "hashlib"):  # from Python 3.12, before it, and where an interpreter is built without
        try:
            algorithm: Callable[[bytes], Hash] = import_module(name).sha256
        except ImportError:
            continue
        return algorithm
    raise ImportError("no SHA-256 in this Python")
