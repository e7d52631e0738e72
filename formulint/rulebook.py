"""The rules in force: shipped packs, as far as they are in use, and the house's own."""

from collections.abc import Collection, Hashable, Iterable, Iterator, Set
from datetime import date
from typing import Any, Literal, TypeVar

import msgspec
from msgspec import Struct

from formulint.document import Document, load
from formulint.errors import Misread, UserError
from formulint.finding import Fault, KeyPath, Place
from formulint.formula import Formula
from formulint.kinds import KINDS, AnyRule
from formulint.kinds.market import Market
from formulint.packing import Compiled, folder, part, read_compiled, toml_names
from formulint.rule import Pick, Rule, Where, the_one
from formulint.shape import dec_hook, read_table
from formulint.subject import Asked, Selector
from formulint.suggest import closest

APART = ("voc/", "hazard/figures-", "tests/")  # loaded market by market, and when a hazard or what a change asks for is computed; all other parts are always in force
HOUSE = "house"
MOST_RULES = 500  # of the house; each is asked about every formula
T = TypeVar("T")


class Entry(Struct, frozen=True):
    """A rule with its full id and the file and key path where it stands."""

    id: str
    rule: Rule
    place: Place


class Exempt(Struct, frozen=True):
    """A compound that a scheme does not count as VOC, from a day on."""

    cas: str
    name: str
    scheme: Literal["us", "eu"]
    from_: date | None = msgspec.field(default=None, name="from")
    checked: str = "memory"
    note: str = ""


class _Exemptions(Struct, frozen=True):
    exempt: tuple[Exempt, ...]


class Tag(Struct, frozen=True):
    """A word of the closed list of tags."""

    id: str
    title: str = ""


class MarketName(Struct, frozen=True):
    """A market by its id and full name."""

    id: str
    title: str = ""
    scheme: str = ""


class Vocabulary(Struct, frozen=True):
    """Closed lists that live beside the rules: tags and markets."""

    tag: tuple[Tag, ...] = ()
    market: tuple[MarketName, ...] = ()


class TestName(Struct, frozen=True):
    """A test by its id, with the methods that measure it."""

    id: str
    methods: tuple[str, ...] = ()


class TestWords(Struct, frozen=True):
    """The closed list of tests."""

    test: tuple[TestName, ...] = ()


class Shipped:
    """The packs that come with the tool; a part is decoded when it is asked for.

    One is shared by the catalogs of a run; so is ``parsed``, what they have read from git by name, object id and type
    of record: a file that two states share is read once. ``worked_out`` is what was worked out from such a file, by what
    it was read against; ``asked`` which rules ask about its material, by all that is asked.
    """

    def __init__(self) -> None:
        self.parsed: dict[tuple[str, str, type], object] = {}
        self.asked: dict[frozenset[Selector], Asked] = {}
        self.worked_out: dict[object, dict[int, tuple[object, object]]] = {}
        self.root = folder()
        self.compiled: Compiled | None = read_compiled(self.root)
        self._rules: dict[str, tuple[Entry, ...]] = {}
        self._exempt: tuple[Exempt, ...] | None = None
        self._general: tuple[str, ...] | None = None
        self._vocabulary: Vocabulary | None = None

    def versions(self) -> dict[str, str]:
        """Version by pack."""
        return self._whole().versions

    def _whole(self) -> Compiled:
        if self.compiled is None:
            from formulint.packing import pack_all

            self.compiled = msgspec.json.decode(pack_all(self.root), type=Compiled)
        return self.compiled

    def part(self, name: str) -> bytes:
        """One part as JSON: from the compiled file if that is fresh, else from its TOML.

        Raises
        ------
        UserError
            Where the part does not exist.
        """
        return part(self.root, self._whole(), name)

    def rules(self, name: str) -> tuple[Entry, ...]:
        """The rules of one part."""
        if name not in self._rules:
            pack = name.split("/")[0]
            file = self.part_as(name, _File)
            path = f"rules/{name}.toml"
            self._rules[name] = tuple(
                Entry(f"{pack}/{rule.id}", rule, Place(path, ("rule", at))) for at, rule in enumerate(file.rule)
            )
        return self._rules[name]

    def part_as(self, name: str, shape: type[T]) -> T:
        """One part as a type.

        Raises
        ------
        UserError
            Where the part cannot be read so.
        """
        try:
            return msgspec.json.decode(self.part(name), type=shape, dec_hook=dec_hook)
        except (msgspec.ValidationError, msgspec.DecodeError) as error:
            raise UserError(f"the shipped rules of {name} cannot be read: {error}", "install formulint again") from None

    def exempt(self, scheme: str, today: date) -> frozenset[str]:
        """CAS numbers of the compounds exempt in a scheme on a day."""
        return frozenset(one.cas for one in self._exemptions() if one.scheme == scheme and (one.from_ is None or one.from_ <= today))

    def exempt_from(self, scheme: str) -> frozenset[date]:
        """The days from which more compounds are exempt in a scheme."""
        return frozenset(one.from_ for one in self._exemptions() if one.scheme == scheme and one.from_ is not None)

    def _exemptions(self) -> tuple[Exempt, ...]:
        if self._exempt is None:
            self._exempt = self.part_as("voc/exempt", _Exemptions).exempt
        return self._exempt

    def vocabulary(self) -> Vocabulary:
        """Tags and markets."""
        if self._vocabulary is None:
            self._vocabulary = self.part_as("vocabulary", Vocabulary)
        return self._vocabulary

    def general(self) -> tuple[str, ...]:
        """Parts that are in force whatever the market."""
        if self._general is None:
            names = toml_names(self.root)
            self._general = tuple(
                name for name in names if "/" in name and not name.startswith(APART) and not name.endswith("/pack")
            )
        return self._general

    def has_market(self, market: str) -> bool:
        """True where there is a table for the market."""
        return f"voc/{market}" in self._whole().parts and market not in ("exempt", "pack")


class _File(Struct, frozen=True):
    rule: tuple[AnyRule, ...] = ()
    not_expressed: tuple[dict[str, Any], ...] = ()


class Check(Struct, frozen=True):
    """A rule about formulas; ``by_code`` says that only the code of a formula tells whether the rule concerns it."""

    entry: Entry
    by_code: bool


class Look(Struct, frozen=True):
    """Rules that are looked at as one: where ``rule`` plainly holds, all do. ``rest`` is what a formula must hold besides
    the selector by which it is found; each check stands with its number in the order in which rules are listed.
    """

    rule: Rule
    rest: tuple[Pick, ...]
    checks: tuple[tuple[int, Check], ...]


class Checks(Struct, frozen=True):
    """The checks of a sort of formula: all in order, those that put bounds on properties, and how they are looked at: by one selector of which it must hold something, or always."""

    all: tuple[Check, ...]
    bounding: tuple[Check, ...]
    by_pick: dict[Pick, tuple[Look, ...]]
    always: tuple[Look, ...]

    def for_held(self, held: Set[Selector]) -> list[Look]:
        """The looks at what a formula holds, in no order."""
        found = list(self.always)
        for pick in self.by_pick.keys() & held:
            for look in self.by_pick[pick]:
                rest = look.rest
                if not rest or (rest[0] in held and (len(rest) == 1 or held >= set(rest))):
                    found.append(look)
        return found


MOST_SORTS = 500  # of formulas, whose rules are kept: a plant has a few dozen


class Rulebook:
    """The rules for one snapshot on one day: shipped parts in use, then the house's own."""

    def __init__(self, shipped: Shipped, house: tuple[Entry, ...], today: date) -> None:
        self.shipped = shipped
        self.house = house
        self.today = today
        self._in_force: dict[tuple[str, ...], tuple[Entry, ...]] = {}
        self._selectors: frozenset[Pick] | None = None
        self._by_id: dict[str, Entry] | None = None
        self._checks: dict[tuple[object, ...], Checks] = {}

    def all(self) -> tuple[Entry, ...]:
        """General and house rules, in force or not."""
        return (*(entry for name in self.shipped.general() for entry in self.shipped.rules(name)), *self.house)

    def listed(self) -> tuple[Entry, ...]:
        """The same with the tables of all markets, by pack; those of the house last."""
        markets = (f"voc/{one.id}" for one in self.shipped.vocabulary().market if self.shipped.has_market(one.id))
        shipped = (entry for name in (*self.shipped.general(), *markets) for entry in self.shipped.rules(name))
        return (*sorted(shipped, key=lambda entry: entry.id.partition("/")[0]), *self.house)

    def by_id(self) -> dict[str, Entry]:
        """The same by id."""
        if self._by_id is None:
            self._by_id = {entry.id: entry for entry in self.all()}
        return self._by_id

    def in_force(self, markets: Iterable[str] = ()) -> tuple[Entry, ...]:
        """General and house rules, and those of the markets, that are in force on the day."""
        key = tuple(market for market in dict.fromkeys(markets) if self.shipped.has_market(market))
        if key not in self._in_force:
            names = [*self.shipped.general(), *(f"voc/{market}" for market in key)]
            found = [entry for name in names for entry in self.shipped.rules(name)]
            self._in_force[key] = tuple(entry for entry in (*found, *self.house) if entry.rule.in_force(self.today))
        return self._in_force[key]

    def selectors(self) -> frozenset[Pick]:
        """All selectors by which rules in force ask about formulas."""
        if self._selectors is None:
            self._selectors = frozenset(the_one(one) for entry in self.in_force() for one in entry.rule.asks)
        return self._selectors

    def checks(self, formula: Formula) -> Checks:
        """Of those in force, the ones that concern a formula, or may by its code."""
        sort = Where.sort_of(formula)
        found = self._checks.get(sort)
        if found is None:
            if len(self._checks) >= MOST_SORTS:
                self._checks.clear()
            rules = [
                entry
                for entry in self.in_force(formula.markets)
                if entry.rule.of_formulas and (entry.rule.by_code or entry.rule.concerns(formula))
            ]
            found = self._checks[sort] = _sorted([Check(entry, entry.rule.by_code) for entry in rules])
        return found


def _sorted(checks: list[Check]) -> Checks:
    """Checks by what they are looked at with: kin together, each under the first selector that it is about."""
    kin: dict[Hashable, list[tuple[int, Check]]] = {}
    for at, check in enumerate(checks):
        key = check.entry.rule.kin
        kin.setdefault(at if key is None else (check.entry.rule.__class__, key), []).append((at, check))
    by_pick: dict[Pick, list[Look]] = {}
    always = []
    for alike in kin.values():
        rule: Rule = alike[0][1].entry.rule
        about = [the_one(pick) for pick in rule.about]
        look = Look(rule.narrowed([check.entry.rule for _, check in alike[1:]]), tuple(about[1:]), tuple(alike))
        if about:
            by_pick.setdefault(about[0], []).append(look)
        else:
            always.append(look)
    bounding = tuple(one for one in checks if one.entry.rule.level != "note" and type(one.entry.rule).bounds is not Rule.bounds)
    return Checks(tuple(checks), bounding, {pick: tuple(found) for pick, found in by_pick.items()}, tuple(always))


def house_rules(files: Iterable[tuple[str, bytes]]) -> tuple[tuple[Entry, ...], tuple[Fault, ...], tuple[Document, ...]]:
    """The rules of all files of the house, given by name and bytes; what is wrong with them; the files that are TOML."""
    entries: list[Entry] = []
    seen: dict[str, Place] = {}
    faults: list[Fault] = []
    documents: list[Document] = []
    for name, raw in files:
        document, wrong = load(name, raw)
        faults += [fault for fault in wrong if fault.kind == "fail"]
        if document is None:
            continue
        documents.append(document)
        found, bad = read_house(document)
        faults += bad
        for entry in found:
            if entry.id in seen:
                words = f"two rules of the house are called {entry.id}"
                faults.append(Fault(entry.place, words, "give each its own id", related=(seen[entry.id],)))
            seen.setdefault(entry.id, entry.place)
            entries.append(entry)
    if len(entries) > MOST_RULES:
        words = f"the house has {len(entries)} rules of its own; only the first {MOST_RULES} are judged"
        faults.append(Fault(entries[MOST_RULES].place, words, "one rule can pick many materials and formulas: put like rules together"))
    return tuple(entries[:MOST_RULES]), tuple(faults), tuple(documents)


def read_house(document: Document) -> tuple[tuple[Entry, ...], tuple[Fault, ...]]:
    """The rules of one file of the repository, and what is wrong with it."""
    entries: list[Entry] = []
    faults: list[Fault] = []
    for key in document.data:
        if key != "rule":
            faults.append(Fault(Place(document.path, (key,)), f'unknown key "{key}" in a file of rules', "rules are [[rule]] tables"))
    listed = document.data.get("rule", [])
    for at, raw in enumerate(listed if isinstance(listed, list) else [listed]):
        keys = ("rule", at)
        kind = raw.get("kind") if isinstance(raw, dict) else None
        if not isinstance(raw, dict) or not isinstance(kind, str) or kind not in KINDS:
            words = f'a rule needs a kind; "{kind}" is none' if kind else "a rule needs a kind"
            faults.append(Fault(Place(document.path, keys), words, "one of " + ", ".join(KINDS)))
            continue
        rule, wrong = read_table(raw, KINDS[kind], document.path, keys)
        faults += wrong
        if rule is not None:
            more = [Fault(Place(document.path, (*keys, *error.at)), error.message, error.remedy) for error in _faults_of(rule)]
            faults += more
            if not more:
                entries.append(Entry(f"{HOUSE}/{rule.id}", rule, Place(document.path, keys)))
    return tuple(entries), tuple(faults)


def _faults_of(rule: AnyRule) -> Iterator[Misread]:
    if rule.from_ is not None and rule.until is not None and rule.until < rule.from_:
        yield Misread(f"in force until {rule.until}, before it begins on {rule.from_}: that is never", "exchange the two days", ("until",))
    yield from rule.faults_of_reading()


def unknown_words(house: Iterable[Entry], tags: Collection[str], markets: Collection[str]) -> Iterator[Fault]:
    """Tags and markets that do not exist in rules of the house: with them a rule would never speak, and nobody would know."""
    for entry in house:
        for keys, list_, word in _words(entry.rule, entry.place.keys):
            known = tags if list_ == "tags" else markets
            if word not in known:
                near = closest(word, known)
                hint = f'did you mean "{near}"?' if near else f"take one of the closed list of {list_}"
                yield Fault(Place(entry.place.path, keys), f'there is no {list_[:-1]} "{word}"', hint)
        if isinstance(entry.rule, Market) and entry.rule.id not in markets:
            words = f'the id of a table of limits is its market, and there is no market "{entry.rule.id}"'
            yield Fault(Place(entry.place.path, (*entry.place.keys, "id")), words, "one of " + ", ".join(sorted(markets)))


def _words(value: object, keys: KeyPath) -> Iterator[tuple[KeyPath, str, str]]:
    """Every tag and market that the selectors inside a rule name, with its key path."""
    if isinstance(value, tuple):
        for at, one in enumerate(value):
            yield from _words(one, (*keys, at))
    elif isinstance(value, Struct):
        for name, spelled in zip(value.__struct_fields__, value.__struct_encode_fields__, strict=True):
            inner = getattr(value, name)
            if name in ("tags", "markets") and isinstance(value, Pick | Where):
                yield from (((*keys, spelled, at), name, word) for at, word in enumerate(inner))
            else:
                yield from _words(inner, (*keys, spelled))
