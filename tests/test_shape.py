"""A table becomes a record, or all that is wrong with it is told: never neither, never less than there is."""

from __future__ import annotations

import copy
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, NamedTuple

import jsonschema  # type: ignore[import-untyped]
import msgspec
import pytest
import tomli
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import Meta, Struct, inspect
from reading_cases import Case, cases, disagreements

from formulint.document import load
from formulint.errors import Misread
from formulint.finding import Fault, KeyPath, Place
from formulint.formula import Formula
from formulint.kinds import KINDS
from formulint.material import Material
from formulint.misfit import MOST, PATTERNS, misfits
from formulint.result import Results
from formulint.settings import Settings
from formulint.shape import dec_hook, read, read_table, schema
from formulint.suggest import closest

ROOT = Path(__file__).parent.parent
RECORDS: tuple[type[Struct], ...] = (Formula, Material, Settings, Results, *KINDS.values())


class Sample(NamedTuple):
    """A table that is read without a fault, and its record."""

    name: str
    raw: dict[str, object]
    record: type[Struct]

    def __repr__(self) -> str:
        return self.name


def samples() -> Iterator[Sample]:
    """The demo repository and the shipped rules."""
    for folder, record in (("formulas", Formula), ("materials", Material)):
        for path in sorted(ROOT.glob(f"example_repo/{folder}/*.toml")):
            yield Sample(path.stem, tomli.loads(path.read_text(encoding="utf-8")), record)
    yield Sample("settings", tomli.loads((ROOT / "example_repo/formulint.toml").read_text(encoding="utf-8")), Settings)
    for path in sorted(ROOT.glob("rules/*/*.toml")):
        for rule in tomli.loads(path.read_text(encoding="utf-8")).get("rule", []):
            yield Sample(rule["id"], rule, KINDS[rule["kind"]])


SAMPLES = list(samples())


def faults(raw: object, record: type) -> tuple[Fault, ...]:
    """What is told of a table."""
    return read_table(raw, record, "f.toml", ())[1]


def walk_finds_nothing(raw: object, record: type) -> bool:
    """True where only the refusal of ``convert`` would be reported."""
    return misfits(raw, record, "f.toml", (), Exception("nothing"))[0].message == "nothing"


def converts(raw: object, record: type) -> bool:
    """True where msgspec makes a record of the table."""
    return read_table(raw, record, "f.toml", ())[0] is not None


# --- what is said, and of which line -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "case",
    [case for record in ("formula", "material", "settings") for case in cases(f"reading/{record}.toml")],
    ids=str,
)
def test_words_and_line_of_every_fault(case: Case) -> None:
    assert disagreements(case) == []


@pytest.mark.parametrize("sample", SAMPLES, ids=repr)
def test_what_the_house_ships_is_read_without_a_fault(sample: Sample) -> None:
    assert faults(sample.raw, sample.record) == ()
    assert walk_finds_nothing(sample.raw, sample.record)


def test_a_table_inside_a_file_has_its_faults_below_its_own_place() -> None:
    rule = {"kind": "closure", "id": "x", "level": "error", "title": "x", "why": "x", "what": "batch", "souce": {}}
    _, (only,) = read_table(rule, KINDS["closure"], "rules/a.toml", ("rule", 3))
    assert only.place == Place("rules/a.toml", ("rule", 3, "souce"))


# --- mistakes ------------------------------------------------------------------------------------------------------


class Site(NamedTuple):
    """A field that is written in a table."""

    keys: KeyPath
    field: inspect.Field
    table: inspect.StructType

    def __repr__(self) -> str:
        return repr(self.keys)


def sites(raw: object, kind: inspect.Type, keys: KeyPath = ()) -> Iterator[Site]:
    """Every field that is written in a table and in the tables inside it."""
    if isinstance(kind, inspect.UnionType):
        for one in kind.types:
            yield from sites(raw, one, keys)
    elif isinstance(kind, inspect.Metadata):
        yield from sites(raw, kind.type, keys)
    elif isinstance(kind, inspect.StructType) and isinstance(raw, dict):
        for field in kind.fields:
            if field.encode_name in raw:
                yield Site((*keys, field.encode_name), field, kind)
                yield from sites(raw[field.encode_name], field.type, (*keys, field.encode_name))
    elif isinstance(kind, inspect.CollectionType) and isinstance(raw, list):
        for number, inner in enumerate(raw):
            yield from sites(inner, kind.item_type, (*keys, number))
    elif isinstance(kind, inspect.DictType) and isinstance(raw, dict):
        for key, inner in raw.items():
            yield from sites(inner, kind.value_type, (*keys, key))


def literal(kind: inspect.Type) -> bool:
    """True for a word of a closed list."""
    return any(isinstance(one, inspect.LiteralType) for one in getattr(kind, "types", (kind,)))


def mistakes(site: Site) -> list[str]:
    """The mistakes that can be made at a field."""
    possible = ["type", *(["word"] if literal(site.field.type) else []), *(["missing"] if site.field.required else [])]
    return [*possible, "spelling"] if site.table.forbid_unknown_fields else possible


def holder(raw: dict[str, object], keys: KeyPath) -> dict[str, object]:
    """The table that holds the key at the end of a path."""
    table: object = raw
    for key in keys[:-1]:
        assert isinstance(table, dict | list)
        table = table[key]  # type: ignore[index]
    assert isinstance(table, dict)
    return table


def make(raw: dict[str, object], site: Site, mistake: str) -> None:
    """Make a mistake in a table."""
    table, name = holder(raw, site.keys), site.field.encode_name
    value = table.pop(name)
    if mistake == "spelling":
        table[f"{name}x"] = value
    elif mistake != "missing":
        table[name] = "no such word" if mistake == "word" else 3.5


@st.composite
def mistaken(draw: st.DrawFn) -> tuple[dict[str, object], type[Struct], list[tuple[Site, str]]]:
    """A table in which independent mistakes were made, its record, and the mistakes."""
    sample = draw(st.sampled_from(SAMPLES))
    raw = copy.deepcopy(sample.raw)
    chosen: list[Site] = []
    for site in draw(st.permutations(list(sites(raw, inspect.type_info(sample.record))))):
        apart = all(
            site.keys[: len(one.keys)] != one.keys and one.keys[: len(site.keys)] != site.keys for one in chosen
        )
        if apart and len(chosen) < 4:
            chosen.append(site)
    made = [(site, draw(st.sampled_from(mistakes(site)))) for site in chosen[: draw(st.integers(1, 4))]]
    for site, mistake in made:
        make(raw, site, mistake)
    return raw, sample.record, made


@settings(deadline=None)
@given(mistaken())
def test_as_many_faults_are_told_as_mistakes_were_made(
    case: tuple[dict[str, object], type[Struct], list[tuple[Site, str]]],
) -> None:
    raw, record, made = case
    assert len(faults(raw, record)) >= len(made)
    assert not walk_finds_nothing(raw, record)


@settings(deadline=None)
@given(st.sampled_from(SAMPLES), st.data())
def test_a_misspelt_field_is_told_once_with_the_field_that_was_meant(sample: Sample, data: st.DataObject) -> None:
    raw = copy.deepcopy(sample.raw)
    spelt = [site for site in sites(raw, inspect.type_info(sample.record)) if site.table.forbid_unknown_fields]
    site = data.draw(st.sampled_from(spelt))
    make(raw, site, "spelling")
    (only,) = faults(raw, sample.record)
    assert only.place.keys == (*site.keys[:-1], f"{site.field.encode_name}x")
    assert only.remedy == f'did you mean "{site.field.encode_name}"?'


VALUE = st.recursive(
    st.sampled_from(["", "RM-1", "1 kg", "25 %", "grind", True, 0, 1, 10**400, 1.5, float("nan")])
    | st.sampled_from([date(2026, 1, 5), datetime(2026, 1, 5)]),
    lambda inner: (
        st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from(["min", "name", "ph"]), inner, max_size=2)
    ),
    max_leaves=4,
)


@settings(deadline=None)
@given(st.sampled_from(SAMPLES), st.data())
def test_the_walk_refuses_exactly_what_convert_refuses(sample: Sample, data: st.DataObject) -> None:
    raw = copy.deepcopy(sample.raw)
    site = data.draw(st.sampled_from(list(sites(raw, inspect.type_info(sample.record)))))
    name = data.draw(st.sampled_from([site.field.encode_name, "note", "extra"]))
    holder(raw, site.keys)[name] = data.draw(VALUE)
    assert walk_finds_nothing(raw, sample.record) == converts(raw, sample.record)


@settings(deadline=None)
@given(VALUE, st.sampled_from(RECORDS))
def test_any_value_at_all_is_a_record_or_a_fault(raw: object, record: type[Struct]) -> None:
    found, told = read_table(raw, record, "f.toml", ("rule", 0))
    assert (found is None) == bool(told)


def test_a_file_of_rubbish_ends_soon() -> None:
    text = "".join(f"amuont{n} = {{ nothing = 1, of = 2 }}\n" for n in range(20000))
    start = time.process_time()
    rubbish = tomli.loads(text)
    parsed = time.process_time()
    assert len(faults({"code": "T-1", "tests": rubbish, **rubbish}, Formula)) == MOST + 1
    assert time.process_time() - parsed < 20 * (parsed - start)


def test_a_number_that_python_does_not_print_is_told() -> None:
    document, _ = load("f.toml", b'code = "RM-1"\nname = "x"\nfunctions = ["water"]\nph = 0x' + b"F" * 5000)
    assert document is not None
    (only,) = read(document, Material)[1]
    assert only.message == "ph: cannot be read: a number of very many digits"


def test_tables_nested_without_end_are_told() -> None:
    pick: dict[str, object] = {"functions": ["water"], "forms": 1}
    for _ in range(300):
        pick = {"except": [pick]}
    rule = {**next(sample.raw for sample in SAMPLES if sample.record is KINDS["dose"]), "of": pick}
    assert "deeper than in any record" in faults(rule, KINDS["dose"])[0].message


# --- what was meant, and what is loaded for it ---------------------------------------------------------------------

WORDS = ["semi-gloss", "gloss", "flat", "production", "gloss_60", "gloss_85", "x" * 41]


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("Semi Gloss", "semi-gloss"),
        ("glos", "gloss"),
        ("prod", "production"),
        ("gloss60", "gloss_60"),
        ("matt", None),
        ("fl", None),
        ("lab", None),
        ("", None),
        ("x" * 41, None),
    ],
)
def test_the_word_that_was_meant(word: str, meant: str | None) -> None:
    assert closest(word, WORDS) == meant


def test_reading_a_good_file_loads_nothing_that_only_a_bad_one_needs() -> None:
    code = (
        "import sys; from formulint.document import load; from formulint.shape import read\n"
        "from formulint.settings import Settings; document, _ = load('f.toml', b'format = 1'); read(document, Settings)\n"
        "names = 'positions', 'syntax', 'dialect', 'misfit', 'suggest', 'editor_schema'\n"
        "print([name for name in (*names, 'difflib') if name in sys.modules or f'formulint.{name}' in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


# --- every type that a declaration may use -------------------------------------------------------------------------


class Shade:
    """A field that reads itself."""

    example = "L 95"

    @classmethod
    def read(cls, raw: object) -> Shade:
        """Anything that starts with L."""
        if isinstance(raw, str) and raw.startswith("L"):
            return cls()
        raise Misread("no shade", "write L 95", ("deep",) if isinstance(raw, dict) else ())

    @classmethod
    def schema(cls) -> dict[str, object]:
        """Text."""
        return {"type": "string", "examples": [cls.example]}


class Toy(Struct, forbid_unknown_fields=True, tag="toy", tag_field="kind"):
    """One field of every type."""

    shade: Shade
    shades: tuple[Shade, ...] = ()
    named: dict[str, Shade] = {}
    either: int | bool | None = None
    pair: tuple[int, str] = (1, "")
    size: int | msgspec.UnsetType = msgspec.UNSET
    share: float = 0.0
    count: Annotated[int, Meta(ge=1, le=9)] = 1
    word: Annotated[str, Meta(min_length=2, max_length=4, pattern="^[a-z]*$")] = "ab"
    some: Annotated[tuple[int, ...], Meta(min_length=1, max_length=2)] = (1,)
    on: bool = True
    day: date | None = None


TOY: dict[str, object] = {"kind": "toy", "shade": "L 95"}


@pytest.mark.parametrize(
    ("change", "keys", "words"),
    [
        ({"shade": "95"}, ("shade",), "shade: no shade | write L 95"),
        ({"shade": {}}, ("shade", "deep"), "deep: no shade"),
        ({"shades": ["L 1", "2"]}, ("shades", 1), "shades: no shade"),
        ({"named": {"a": "L 1", "b": 2}}, ("named", "b"), "b: no shade"),
        ({"named": []}, ("named",), "named: expected a table, got a list | write named = { ... }"),
        ({"either": "x"}, ("either",), "either: expected"),
        ({"pair": [1]}, ("pair",), "Expected array of length 2"),
        ({"size": "5"}, ("size",), "write it without quotation marks: size = 5"),
        ({"share": "5"}, ("share",), "Expected float, got str"),
        ({"count": 0}, ("count",), "too small | 1 is the smallest"),
        ({"count": 10**9999}, ("count",), "a number of very many digits is too large | 9 is the largest"),
        ({"word": "a"}, ("word",), 'word: "a" is too short'),
        ({"word": "abcde"}, ("word",), "word: the text has 5 characters | at most 4 can be"),
        ({"word": "a1"}, ("word",), 'word: "a1" cannot be used'),
        ({"word": 10**9999}, ("word",), "expected text, got a number of very many digits"),
        ({"some": []}, ("some",), "nothing is listed | at least 1 is needed"),
        ({"some": [1, 2, 3]}, ("some",), "3 are listed | at most 2 can be"),
        ({"on": "yes"}, ("on",), "on: expected true or false"),
        ({"day": datetime(2026, 1, 5)}, ("day",), "day: expected a date"),
        ({"kind": "toys"}, ("kind",), 'kind: "toys" is not known here | did you mean "toy"?'),
        ({"x" * 99: 1}, ("x" * 99,), '..." is not a field of this toy'),
    ],
)
def test_a_fault_of_each_type(change: dict[str, object], keys: KeyPath, words: str) -> None:
    (only,) = faults({**TOY, **change}, Toy)
    assert only.place.keys == keys
    assert words in f"{only.message} | {only.remedy}"


@pytest.mark.parametrize("raw", ["x", [], 5, [{}, {}], {}, {"kind": "toy"}], ids=repr)
def test_what_is_no_such_table_is_told(raw: object) -> None:
    assert {fault.place.keys for fault in faults(raw, Toy)} == {()}


def test_a_type_without_a_reader_is_a_mistake_of_the_declaration() -> None:
    with pytest.raises(RuntimeError, match="no reader for Path"):
        dec_hook(Path, "x")


def test_every_pattern_of_a_declaration_is_put_in_words() -> None:
    declared = str([inspect.type_info(record) for record in RECORDS])
    assert set(re.findall(r"pattern='([^']+)'", declared)) == set(PATTERNS)


# --- the schema for editors ------------------------------------------------------------------------------------------

EVERY: tuple[type[Struct], ...] = (*RECORDS, Toy)
VALIDATORS = {record: jsonschema.Draft7Validator(schema(record)) for record in EVERY}


def plain(raw: object) -> object:
    """Data of TOML as JSON has it: dates are texts."""
    return msgspec.to_builtins(raw)


@pytest.mark.parametrize("record", EVERY, ids=lambda record: record.__name__)
def test_a_schema_is_one_of_draft_7(record: type[Struct]) -> None:
    jsonschema.Draft7Validator.check_schema(schema(record))
    assert schema(record)["$schema"] == "http://json-schema.org/draft-07/schema#"


@pytest.mark.parametrize("sample", SAMPLES, ids=repr)
def test_the_schema_accepts_what_the_house_ships(sample: Sample) -> None:
    assert list(VALIDATORS[sample.record].iter_errors(plain(sample.raw))) == []


@settings(deadline=None)
@given(mistaken())
def test_the_schema_refuses_every_mistake_of_form(
    case: tuple[dict[str, object], type[Struct], list[tuple[Site, str]]],
) -> None:
    raw, record, _ = case
    assert not VALIDATORS[record].is_valid(plain(raw))


@settings(deadline=None)
@given(st.sampled_from(SAMPLES), st.data())
def test_the_schema_refuses_nothing_that_is_read(sample: Sample, data: st.DataObject) -> None:
    raw = copy.deepcopy(sample.raw)
    site = data.draw(st.sampled_from(list(sites(raw, inspect.type_info(sample.record)))))
    holder(raw, site.keys)[site.field.encode_name] = data.draw(VALUE)
    assert VALIDATORS[sample.record].is_valid(plain(raw)) or not converts(raw, sample.record)


def test_a_schema_documents_while_typing() -> None:
    declared = schema(Formula)["definitions"]
    assert isinstance(declared, dict)
    assert declared["Addition"]["description"].startswith("One line of the sheet")
    assert declared["Addition"]["properties"]["amount"]["examples"] == ["250.0 lb", "12.5 kg", "q.s."]
    assert declared["Formula"]["required"] == ["code", "name", "revision", "state", "class", "batch", "stage"]
    assert "consistency" in declared["Formula"]["properties"]["tests"]["properties"]
