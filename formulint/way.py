"""The way from one state of a formula to another: what it comes to when each change has gone part of the way.

Lines stand in no order here: what they add up to does not depend on it. Amounts dosed on a basis and q.s. are resolved
anew at each point.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from formulint.amounts import Resolved, Supply, resolve
from formulint.catalog import Catalog
from formulint.circumstances import Circumstances
from formulint.content import Content, Gap, Value
from formulint.errors import UserError
from formulint.evaluate import Evaluation, doses, substances
from formulint.finding import Place
from formulint.formula import Stage
from formulint.intermediate import as_supply
from formulint.material import Material
from formulint.overlay import (
    Difference,
    Sheet,
    Strand,
    fills_alike,
    goes_with_batch,
    lay,
    numbered,
    readable,
    scaled,
    strands_of,
)
from formulint.properties import BY_ID
from formulint.slope import Moving

SETTINGS = Place("formulint.toml", ("water_density",))
Degrees = Sequence[Moving]  # how far each change has gone, from 0 to 1


class Between(Struct, frozen=True):
    """An amount or a batch between two figures; stands for either where they are resolved."""

    base: Moving
    dimension: str
    text: str = ""
    to_fill: bool = False
    known: bool = True


class Way:
    """All that differs between two states of one formula.

    Raises
    ------
    UserError
        Where a sheet or a record behind it cannot be read or resolved: then there is no way between them.
    """

    def __init__(self, before: Catalog, after: Catalog, code: str) -> None:
        self.before = before
        self.after = after
        self.changes: list[Difference] = []
        self._materials: dict[str, int | None] = {}
        self._sheets: dict[str, Sheet] = {}
        self._sheet = self._lay(code, whole=False)
        self._settle(self._sheet)
        water = (before.water_density, after.water_density)
        self._water = water[0], water[1], None if water[0] == water[1] else self._add(Difference("density of the water inside materials", SETTINGS))

    def _add(self, difference: Difference) -> int:
        self.changes.append(difference)
        return len(self.changes) - 1

    # --- what differs ------------------------------------------------------------------------------------------

    def _lay(self, code: str, whole: bool) -> Sheet:
        """Both sheets of a code; ``whole``: all that differs in them is one change, as of an intermediate."""
        old = readable(self.before, code) or readable(self.after, code)
        new = readable(self.after, code) or old
        if old is None or new is None or old.record is None or new.record is None:
            raise UserError(f"{code} cannot be read")
        alike = fills_alike(old.record, new.record)
        lines = [catalog.subject(file).resolved for catalog, file in ((self.before, old), (self.after, new))]
        if any(resolved.faults for resolved in lines):
            raise UserError(f"the lines of {code} do not add up")
        first = strands_of(old, lines[0].lines, alike, after=False)
        last = strands_of(new, lines[1].lines, alike, after=True)
        sheet = Sheet(new.record, new.name, [], (old.record.batch.base, new.record.batch.base))
        one = self._add(Difference(f"sheet of {code}", Place(new.name, ("stage",)))) if whole and old.record.stage != new.record.stage else None
        if alike and sheet.batch[0] != sheet.batch[1]:
            self._batch(sheet, first, last, old.record.batch.text, one if whole else -1)
        both, pairs = lay(first, last)
        named = {strand.code: self._named(strand.code) for strand in (*first, *last)}
        for strands, difference in numbered(both, pairs, named):
            number = one if whole else self._add(difference)
            for strand in strands:
                strand.change = number
        sheet.strands = [*both, *(strand for pair in pairs for strand in pair if strand is not None)]
        return sheet

    def _batch(self, sheet: Sheet, first: list[Strand], last: list[Strand], was: str, change: int | None) -> None:
        factor = sheet.batch[1] / sheet.batch[0]
        sheet.scales = goes_with_batch(first, last, factor)
        if sheet.scales:
            scaled(last, 1 / factor)
        words = f"batch {was} -> {sheet.formula.batch.text}" + (", all lines with it" if sheet.scales else "")
        sheet.change = self._add(Difference(words, Place(sheet.path, ("batch",)))) if change == -1 or change is None else change

    def _named(self, code: str) -> str:
        for catalog in (self.after, self.before):
            stock = catalog.stock(code)
            if stock is not None:
                return f"{stock.material.name.partition(',')[0]} ({code})"
        return code

    def _settle(self, sheet: Sheet) -> None:
        """Compare the materials behind a sheet, and lay over each other the sheets of its intermediates."""
        for code in dict.fromkeys(strand.code for strand in sheet.strands):
            if code in self._materials or code in self._sheets:
                continue
            if self.before.stock(code) is None and self.after.stock(code) is None:
                self._sheets[code] = self._lay(code, whole=True)
                self._settle(self._sheets[code])
            else:
                self._materials[code] = self._compare(code)

    def _compare(self, code: str) -> int | None:
        old, new = self.before.stock(code), self.after.stock(code)
        if old is None or new is None or (old.supply == new.supply and old.content == new.content):
            return None
        fields = [name for name in Material.__struct_fields__ if getattr(old.material, name) != getattr(new.material, name)]
        listed = ", ".join(field.replace("_", " ") for field in fields) or "what counts as VOC in it"
        return self._add(Difference(f"{self._named(code)}: {listed}", Place(new.path, tuple(fields[:1]))))

    # --- anywhere on the way -----------------------------------------------------------------------------------

    def at(self, degrees: Degrees, names: Collection[str]) -> dict[str, Value]:
        """The values of these names where each change has gone as far as told; with slopes for degrees, their derivatives too."""
        known: dict[str, Supply | None] = {}

        def supply(code: str) -> Supply | None:
            if code not in known:
                known[code] = None
                known[code] = as_supply(code, self._resolved(self._sheets[code], degrees, supply)) if code in self._sheets else self._supply(code, degrees)
            return known[code]

        resolved = self._resolved(self._sheet, degrees, supply)
        first, last, change = self._water
        water = first if change is None else first + (last - first) * degrees[change]
        # What is ground in which tank depends on the order of lines, and there is none here.
        around = Circumstances(self._sheet.formula, self._sheet.path, supply, lambda code: self._extra(code, degrees), lambda code: None, self.after.around)
        evaluation = Evaluation(resolved, self._sheet.path, water, around)  # type: ignore[arg-type]
        if not BY_ID.keys() >= set(names):  # doses and substances too
            supplies = {code: one for code in resolved.leaves if (one := supply(code)) is not None}
            contents = {code: self._content(code, degrees) for code in resolved.leaves}
            evaluation = evaluation.besides({**doses(resolved, supplies), **substances(resolved, contents)})
        return {name: evaluation.value(name) for name in names}

    def _resolved(self, sheet: Sheet, degrees: Degrees, supply: Callable[[str], Supply | None]) -> Resolved:
        first, last = sheet.batch
        scale: Moving = 1.0
        batch: Moving = last
        if sheet.change is not None:
            batch = first + (last - first) * degrees[sheet.change]
            scale = batch / first if sheet.scales else 1.0
        additions = []
        for strand in sheet.strands:
            amount: Moving = strand.before
            if strand.change is not None:
                amount = strand.before + (strand.after - strand.before) * degrees[strand.change]
            if strand.dimension in ("mass", "volume") and not strand.fills:
                amount = amount * scale
            between = Between(amount, strand.dimension, to_fill=strand.fills)
            additions.append(replace(strand.addition, amount=between, max=None))
        stage = Stage(name="all", kind="letdown", additions=tuple(additions))
        whole = Between(batch, sheet.formula.batch.dimension)
        return resolve(replace(sheet.formula, batch=whole, stage=(stage,)), sheet.path, supply)

    def _supply(self, code: str, degrees: Degrees) -> Supply | None:
        old, new, change = self.before.stock(code), self.after.stock(code), self._materials[code]
        if old is None or new is None or change is None:
            stock = new or old
            return None if stock is None else stock.supply
        mixed = _between(old.supply.columns, new.supply.columns, degrees[change])
        components = _between(old.supply.components, new.supply.components, degrees[change])
        active = _mixed(old.supply.active, new.supply.active, degrees[change])
        return replace(new.supply, columns=mixed, components=components, active=active, plain=None)

    def _extra(self, code: str, degrees: Degrees) -> dict[str, Value]:
        change = self._materials[code]
        if change is None:
            return (self.after if self.after.stock(code) is not None else self.before).extra(code)
        return _between(self.before.extra(code), self.after.extra(code), degrees[change])

    def _content(self, code: str, degrees: Degrees) -> Content:
        old, new, change = self.before.stock(code), self.after.stock(code), self._materials[code]
        stock = new or old
        assert stock is not None  # only what has a record is behind a sheet that could be resolved
        if old is None or new is None or change is None:
            return stock.content
        hidden = _mixed(old.content.undisclosed, new.content.undisclosed, degrees[change])
        return Content({}, _between(old.content.substances, new.content.substances, degrees[change]), hidden)  # type: ignore[arg-type]


def _between(old: Mapping[str, Value], new: Mapping[str, Value], degree: Moving) -> dict[str, Value]:
    names = dict.fromkeys((*old, *new))
    return {name: _mixed(old.get(name, 0.0), new.get(name, 0.0), degree) for name in names}


def _mixed(old: Value, new: Value, degree: Moving) -> Value:
    """Part of the way between two values; where either is no single number there is nothing in between."""
    if old == new:
        return new
    if isinstance(old, float) and isinstance(new, float):
        return old + (new - old) * degree  # type: ignore[return-value]
    return Gap(())


