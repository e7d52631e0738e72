"""Everything of one snapshot, read when it is asked for: settings, rules, materials, formulas, and what uses what."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import copy
from datetime import date
from typing import TYPE_CHECKING, Generic, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from formulint.amounts import Supply, plain, resolve, row_of
from formulint.circumstances import Circumstances
from formulint.concession import Concession
from formulint.content import Content, Surroundings, Value, content
from formulint.document import Document, load
from formulint.equipment import Equipment
from formulint.evaluate import Evaluation, doses, substances
from formulint.extras import active, called, extras
from formulint.finding import Fault, Mark, Place
from formulint.formula import Formula, offers_alternates
from formulint.intermediate import as_supply
from formulint.material import Material
from formulint.nesting import Nesting
from formulint.rulebook import Entry, Rulebook, Shipped, house_rules
from formulint.settings import Settings
from formulint.shape import read
from formulint.snapshot import Snapshot
from formulint.standing import STANDING_FILE, Standing
from formulint.subject import Choice, FormulaSubject, Measure, Picked, Stock, measure_of, work_of
from formulint.verdict import Sharp
from formulint.vessels import by_code, charges, spans

if TYPE_CHECKING:
    from formulint.uncertain import Input, Uncertain

SETTINGS_FILE = "formulint.toml"
WATER_DENSITY = 0.998  # kg/L at 20 degC; printed as an assumption where the settings do not say it
RECENT = 200  # formulas that are kept resolved: more than one proposal touches
CLOSURE = 0.005  # the lines may miss the batch by this share where the settings do not say it

R = TypeVar("R", bound=Struct)


class File(Struct, Generic[R], frozen=True):
    """A record's file: its name, its text, the record if it could be read, and what is wrong with it."""

    name: str
    document: Document | None
    record: R | None
    faults: tuple[Fault, ...]


def stem(name: str) -> str:
    """The code that a file name promises: ``materials/RM-1001.toml`` -> ``RM-1001``."""
    return name.rsplit("/", 1)[-1].removesuffix(".toml")


class Catalog:
    """The records of one snapshot on one day.

    Parameters
    ----------
    snapshot : Snapshot
    shipped : Shipped
        The packs that come with the tool; shared by the catalogs of one run.
    today : date, optional
        The day on which rules are judged; default the snapshot's own.
    policy : Catalog, optional
        Settings, house rules and concessions are taken from this one: what a proposal says of its own does not count.
    """

    def __init__(self, snapshot: Snapshot, shipped: Shipped, today: date | None = None, policy: Catalog | None = None) -> None:
        self.snapshot = snapshot
        self.shipped = shipped
        self.today = today or snapshot.date
        self.policy = policy
        self._texts: dict[str, bytes] = {}
        self._indexed: dict[str, dict[str, list[str]]] = {}
        self._by_top: dict[str, list[str]] | None = None
        self._formulas: dict[str, File[Formula]] = {}
        self._materials: dict[str, File[Material]] = {}
        self._stocks: dict[str, Stock | None] = {}
        self._supplies: dict[str, Supply | None] = {}
        self._rule_documents: dict[str, Document] = {}
        self._concessions: tuple[File[Concession], ...] | None = None
        self._equipment: dict[str, File[Equipment]] = {}
        self._extras: dict[str, dict[str, Value]] = {}
        self.nesting = Nesting(self._parts)
        self._ranges: Uncertain | None = None
        self.ranged: dict[str, tuple[Input, ...]] = {}
        self.effort = 0
        self._recent: dict[str, FormulaSubject] = {}  # a comparison asks for the same ones several times over
        self._choice = Choice(self._behind, lambda: self.rulebook.selectors(), shipped.asked)
        self.settings_file = self._kept(SETTINGS_FILE, Settings)
        self.settings: Settings = policy.settings if policy is not None else self.settings_file.record or Settings(format=1)
        self.formula_names = self.index(self.settings.folders.formulas)
        self.material_names = self.index(self.settings.folders.materials)
        self.house_faults: tuple[Fault, ...] = ()
        self.rulebook: Rulebook = Rulebook(shipped, self._house() if policy is None else policy.rulebook.house, self.today)
        water = self.settings.water_density
        self.water_density = WATER_DENSITY if water is None else water.base
        self.around = Surroundings(self.settings.currency, self.water_density, shipped.exempt("us", self.today))
        self._worked_out: dict[int, tuple[File[Material], Stock]] = shipped.worked_out.setdefault(self.around, {})  # type: ignore[assignment]
        self.closure = CLOSURE if self.settings.closure is None else self.settings.closure.base

    def rewritten(self, name: str, raw: bytes, oid: str = "") -> Catalog:
        """The same state with one formula written otherwise; materials, rules and settings are shared, not read again."""
        other = copy(self)
        entries = self.snapshot.entries
        other.snapshot = replace(self.snapshot, entries={**entries, name: replace(entries[name], oid=oid)})
        other._texts = {**self._texts, name: raw}
        other._formulas = {one: file for one, file in self._formulas.items() if one != name}
        other._supplies = {code: supply for code, supply in self._supplies.items() if self._stocks.get(code) is not None}
        other._recent, other._ranges, other.nesting = {}, None, Nesting(other._parts)
        other._choice = self._choice.beside(other._behind, lambda code: self._stocks.get(code) is not None)
        return other

    def index(self, folder: str) -> dict[str, list[str]]:
        """Names of the TOML files below a folder, by stem without regard to case."""
        start = folder.rstrip("/") + "/"
        if start in self._indexed:
            return self._indexed[start]
        found: dict[str, list[str]] = self._indexed.setdefault(start, {})
        if self._by_top is None:  # all folders at the root in one look through the state
            self._by_top = {}
            for name in self.snapshot.entries:
                if name.endswith(".toml"):
                    self._by_top.setdefault(name.partition("/")[0], []).append(name)
        for name in self._by_top.get(start.partition("/")[0], ()):
            if name.startswith(start):
                found.setdefault(stem(name).casefold(), []).append(name)
        return found

    def _house(self) -> tuple[Entry, ...]:
        names = (name for names in self.index(self.settings.folders.rules).values() for name in names)
        entries, self.house_faults, documents = house_rules((name, self._text(name)) for name in names)
        self._rule_documents.update((document.path, document) for document in documents)
        return entries

    def concessions(self) -> tuple[File[Concession], ...]:
        """The concessions that count here: those of the policy, which may be another state."""
        source = self.policy or self
        if source._concessions is None:
            source._concessions = tuple(source.below(self.settings.folders.concessions, Concession).values())
        return source._concessions

    def standing(self) -> File[Standing] | None:
        """The list of old findings that counts here; None where there is none."""
        source = self.policy or self
        return source._kept(STANDING_FILE, Standing) if STANDING_FILE in source.snapshot.entries else None

    def _kept(self, name: str, record: type[R]) -> File[R]:
        file = self._read(name, record)
        if file.document is not None:
            self._rule_documents[name] = file.document
        return file

    def _text(self, name: str) -> bytes:
        if name not in self._texts:
            self._texts[name] = self.snapshot.read(name)
        return self._texts[name]

    def preload(self, names: Iterable[str]) -> None:
        """Read many files in one go, or have git look them up, before they are asked for one by one."""
        entries, parsed = self.snapshot.entries, self.shipped.parsed
        wanted = [name for name in names if name not in self._texts and not any((name, entries[name].oid, kind) in parsed for kind in (Formula, Material))]
        if wanted:
            self._texts.update(self.snapshot.expect(wanted))

    def _read(self, name: str, record: type[R]) -> File[R]:
        if name not in self.snapshot.entries:
            return File(name, None, None, ())
        oid = self.snapshot.entries[name].oid
        known = self.shipped.parsed.get((name, oid, record)) if oid else None
        if known is None:
            known = self._parse(name, record)
            if oid:
                self.shipped.parsed[name, oid, record] = known
        return known  # type: ignore[return-value]

    def _parse(self, name: str, record: type[R]) -> File[R]:
        document, faults = load(name, self._text(name))
        if document is None:
            return File(name, None, None, faults)
        found, more = read(document, record)
        if found is not None:
            document.data = {}  # the record says it all; of thousands of files, the tables are most of the memory
        return File(name, document, found, faults + more)

    def formula(self, name: str) -> File[Formula]:
        """The formula in a file."""
        if name not in self._formulas:
            self._formulas[name] = self._read(name, Formula)
        return self._formulas[name]

    def material(self, name: str) -> File[Material]:
        """The material in a file."""
        if name not in self._materials:
            self._materials[name] = self._read(name, Material)
        return self._materials[name]

    def equipment(self) -> dict[str, File[Equipment]]:
        """All equipment, by the name of its file; read when the first piece is asked for."""
        self._equipment = self._equipment or self.below(self.settings.folders.equipment, Equipment)
        return self._equipment

    def machine(self, code: str) -> Equipment | None:
        """The equipment of a code; None where there is no record of it that can be read."""
        return next((file.record for name, file in self.equipment().items() if stem(name) == code), None)

    def extra(self, code: str) -> dict[str, Value]:
        """What a kilogram of a raw material brings for properties that are rarely asked for."""
        if code not in self._extras:
            stock = self.stock(code)
            self._extras[code] = {} if stock is None else extras(stock.material, stock.path, stock.content, self.water_density)
        return self._extras[code]

    def formula_files(self) -> list[str]:
        """Names of all formulas, sorted."""
        return sorted(name for names in self.formula_names.values() for name in names)

    def formulas_with(self, text: str) -> list[str]:
        """Names of all formulas that may hold a text: those that do, and those that write characters as escapes."""
        return self._holding(self.formula_files(), text)

    def _holding(self, names: list[str], text: str) -> list[str]:
        self.preload(names)
        raw = text.encode("utf-8", "surrogateescape")
        return [name for name in names if raw in self._text(name) or b"\\" in self._text(name)]

    def below(self, folder: str, record: type[R], naming: str = "") -> dict[str, File[R]]:
        """The records below a folder by the name of their file: all, or those whose text may hold a code."""
        names = self._holding(sorted(name for names in self.index(folder).values() for name in names), naming)
        return {name: self._kept(name, record) for name in names}

    def material_files(self) -> list[str]:
        """Names of all materials, sorted."""
        return sorted(name for names in self.material_names.values() for name in names)

    def find_formula(self, code: str) -> File[Formula] | None:
        """The formula of a code, as its file name promises it; None where there is no such file."""
        names = [name for name in self.formula_names.get(code.casefold(), ()) if stem(name) == code]
        return self.formula(names[0]) if names else None

    def find_material(self, code: str) -> File[Material] | None:
        """The material of a code, as its file name promises it."""
        names = [name for name in self.material_names.get(code.casefold(), ()) if stem(name) == code]
        return self.material(names[0]) if names else None

    def stock(self, code: str) -> Stock | None:
        """A raw material with what it brings; None where it is unknown or unreadable."""
        if code not in self._stocks:
            file = self.find_material(code)
            self._stocks[code] = None if file is None or file.record is None else self._shared(file, file.record)
        return self._stocks[code]

    def _shared(self, file: File[Material], material: Material) -> Stock:
        """What a file brings: worked out once for all states that hold it and read it against the same."""
        known = self._worked_out.get(id(file))
        if known is None:
            known = self._worked_out[id(file)] = (file, self.made(material, file.name))  # with the file, so that its id stays its own
        return known[1]

    def made(self, material: Material, path: str) -> Stock:
        """A raw material with what it brings."""
        brought = content(material, path, self.around)
        code = stem(path)
        supply = Supply(
            code, brought.columns, {code: 1.0}, tuple(material.functions), active(material, path),
            plain(brought.columns), row_of(brought.columns), components=called(material),
        )  # fmt: skip
        return Stock(material, path, brought, supply)

    def supply(self, code: str) -> Supply | None:
        """What one kilogram of a code brings: a raw material, or an intermediate through its own lines."""
        if code in self._supplies:
            return self._supplies[code]
        stock = self.stock(code)
        found = self._supplies[code] = stock.supply if stock is not None else self._blend(code)
        return found

    def _blend(self, code: str) -> Supply | None:
        file = self.find_formula(code)
        if file is None or file.record is None or self.nesting.knot(code):
            return None
        return as_supply(code, resolve(file.record, file.name, self.supply))

    def _parts(self, code: str) -> tuple[str, ...]:
        """The intermediates that a formula names, alternates included."""
        file = self.find_formula(code)
        found: dict[str, None] = {}
        for stage in () if file is None or file.record is None else file.record.stage:
            for line in stage.additions:
                if line.material is not None:
                    found.update(dict.fromkeys((line.material, *line.alternates)))
        return tuple(one for one in found if one.casefold() in self.formula_names and self.stock(one) is None and self.find_formula(one))

    def leaves(self, code: str) -> tuple[str, ...]:
        """Raw materials behind a code."""
        supply = self.supply(code)
        return () if supply is None else tuple(supply.leaves)

    def sheet(self, code: str) -> Formula | None:
        """The formula of a code, if it can be read."""
        file = self.find_formula(code)
        return None if file is None else file.record

    def _behind(self, code: str) -> list[Stock]:
        return [stock for leaf in self.leaves(code) if (stock := self.stock(leaf)) is not None]

    def subject(self, file: File[Formula], swap: Mapping[tuple[int, int], str] | None = None) -> FormulaSubject:
        """A readable formula with its values, ready to be judged.

        Raises
        ------
        ValueError
            Where the file holds no readable formula.
        """
        formula = file.record
        if formula is None:
            raise ValueError(f"{file.name} holds no readable formula")
        if swap is None and (known := self._recent.get(file.name)) is not None and known.formula is formula:
            return known
        resolved = resolve(formula, file.name, self.supply, swap)
        codes = set(resolved.leaves)
        written = {line.code for line in resolved.lines}
        for stage in formula.stage if offers_alternates(formula) else ():
            for line in stage.additions:
                if line.alternates:
                    written.update(line.alternates)
        for code in written - codes:
            codes.update(self.leaves(code))
        stocks = {code: stock for code in sorted(codes) if (stock := self.stock(code)) is not None}
        blends = {code: self.leaves(code) for code in written if code not in stocks}
        if blends:
            self.nesting.knot(stem(file.name))
        charged = by_code(charges(formula, swap or {}))
        subject = FormulaSubject(
            formula=formula, path=file.name,
            evaluation=Evaluation(resolved, file.name, self.water_density, Circumstances(formula, file.name, self.supply, self.extra, self.machine, self.around)),
            stocks=stocks, blends=blends, charges=charged, spans=spans(charged),
            picked=Picked(self._choice, (*resolved.leaves, *(code for code in blends if code not in resolved.leaves))),
            today=self.today, units=self.settings.units, currency=self.settings.currency, closure=self.closure,
            work=work_of(formula), swap=swap or {}, told=self.told, sheet_of=self.sheet,
        )  # fmt: skip
        if swap is None:
            if len(self._recent) >= RECENT:
                del self._recent[next(iter(self._recent))]
            self._recent[file.name] = subject
        return subject

    def forget(self, name: str) -> None:
        """Let go of a formula that is done with: of thousands, to keep one costs more than to read one anew."""
        self._formulas.pop(name, None)
        self._recent.pop(name, None)

    def full(self, subject: FormulaSubject) -> Evaluation:
        """The values of a subject with all doses and substances: for tables and deltas, not for the way to "all is well"."""
        contents: dict[str, Content] = {code: stock.content for code, stock in subject.stocks.items()}
        supplies = {code: stock.supply for code, stock in subject.stocks.items()}
        resolved = subject.resolved
        plain = subject.evaluation.besides({**doses(resolved, supplies), **substances(resolved, contents)})
        unsure = [name for name, value in plain.values.items() if not isinstance(value, float)]
        if unsure and (ranges := self.ranges(subject)).inputs:
            return plain.narrower({name: ranges.sharp(measure_of(name)) for name in unsure})
        return plain

    def ranges(self, subject: FormulaSubject) -> Uncertain:
        """What is known of a formula whose materials have figures given as ranges."""
        if self._ranges is None or self._ranges.subject is not subject:
            from formulint.uncertain import Uncertain  # where all figures are known, nobody asks

            self._ranges = Uncertain(subject, self)
        return self._ranges

    def told(self, subject: FormulaSubject, measure: Measure) -> Sharp | None:
        """A value as narrow as it can be told, with what makes it wide; None where no material has a range."""
        return ranges.told(measure) if (ranges := self.ranges(subject)).inputs else None

    def locate(self, place: Place) -> Mark:
        """Line and column of a place."""
        if place.line:
            return Mark(place.path, place.line, place.column)
        file = self._formulas.get(place.path) or self._materials.get(place.path)
        if file is not None and file.document is not None:
            return file.document.mark(place.keys)
        if place.path in self._rule_documents:
            return self._rule_documents[place.path].mark(place.keys)
        if self.policy is not None and place.path in self.policy._rule_documents:
            return self.policy.locate(place)
        return Mark(place.path)

    def locate_offset(self, name: str, at: int) -> Mark:
        """Line and column of a character of a formula's text."""
        document = self.formula(name).document
        return Mark(name) if document is None else Mark(name, *document.line_column(at))
