"""The scanner finds the same keys as the parser, and behind each the value that the parser reads there."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import tomli
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from formulint.finding import KeyPath
from formulint.positions import DEPTH, line_column, scan

CONFORMANCE = Path(__file__).parent / "conformance" / "valid"

DOC = '''# head
title = "x" # c
[[stage.line]]
name = 'a = "b"'
amount = "1.50 kg"   # ]
notes = """multi ] = {
[[stage.line]]
"""
[[stage.line]]
amount = "2 kg"
share = { a = 1, "b.c" = [1, [2, 3,],
  # remark
  { z = 1979-05-27 07:32:00Z } ] }
[stage.line.extra]
x. y .z = 3
["limit \\"max\\"".a]
v = -1e-3
'''


def paths(value: object, base: KeyPath = ()) -> Iterator[tuple[KeyPath, object]]:
    """Every key path of parsed data, with its value."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in pairs:
        yield (*base, key), inner
        yield from paths(inner, (*base, key))


def differences(text: str) -> list[object]:
    """Key paths that only one of the two knows, and values that are not what stands in the text."""
    said = dict(paths(tomli.loads(text)))
    spans = scan(text)
    wrong: list[object] = sorted(set(said) ^ set(spans), key=repr)
    for keys, (_, _, start, end) in spans.items():
        if start >= 0 and repr(tomli.loads(f"v = {text[start:end]}")["v"]) != repr(said[keys]):
            wrong.append((keys, text[start:end]))
    return wrong


@pytest.mark.parametrize("path", sorted(CONFORMANCE.glob("**/*.toml")), ids=lambda path: path.stem)
def test_conformance(path: Path) -> None:
    assert differences(path.read_bytes().decode()) == []


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_document_with_every_form(end: str) -> None:
    assert differences(DOC.replace("\n", end)) == []


@pytest.mark.parametrize(
    ("keys", "line", "column"),
    [
        (("title",), 2, 1),
        (("stage",), 3, 3),
        (("stage", "line"), 3, 3),
        (("stage", "line", 1), 9, 3),
        (("stage", "line", 1, "amount"), 10, 1),
        (("stage", "line", 1, "share", "a"), 11, 11),
        (("stage", "line", 1, "extra"), 14, 2),
        (("stage", "line", 1, "extra", "x", "y"), 15, 1),
        (("stage", "line", 1, "extra", "x", "y", "z"), 15, 1),
        (('limit "max"', "a"), 16, 2),
    ],
)
def test_a_key_is_found_where_it_starts(keys: KeyPath, line: int, column: int) -> None:
    assert line_column(DOC, scan(DOC)[keys][0]) == (line, column)


def test_an_entry_of_a_list_has_a_value_and_no_key() -> None:
    start, end, value, behind = scan(DOC)["stage", "line", 1, "share", "b.c", 1]
    assert (start, end, DOC[value:behind]) == (-1, -1, "[2, 3,]")


def test_what_is_deeper_than_any_record_is_skipped() -> None:
    deep = "a = " + "[" * 200 + '"]", {x = 1}, # ]\n' + "]" * 200 + "\nb = 2\n" + "c." * 100 + "d = {e = 1}\n"
    spans = scan(deep)
    assert ("b",) in spans
    assert max(map(len, spans)) == DEPTH


# --- documents that hypothesis makes up ------------------------------------------------------------------------------

TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=8) | st.sampled_from(
    [
        "",
        '"',
        "'",
        "\\",
        "]",
        "}",
        "#",
        "=",
        ",",
        "a\nb",
        "[[x]]",
        '"""',
        "'''",
        "\t",
        "{ a = 1 }",
        "\u2028",
        "\U0001f3a8",
    ]
)
KEY = st.sampled_from(["a", "b", "c-d", "e_f", "1", "true"]) | TEXT
LEAF = TEXT | st.integers() | st.booleans() | st.floats() | st.dates() | st.times() | st.datetimes()
TREE = st.recursive(LEAF, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEY, inner, max_size=4))
TABLE = st.dictionaries(KEY, TREE, max_size=5)


@settings(deadline=None)
@given(TABLE)
def test_documents_as_a_writer_of_toml_lays_them_out(table: dict[str, object]) -> None:
    assert differences(tomlkit.dumps(table)) == []


class Layout:
    """Writes tables in the many ways that TOML allows, as a hand might that follows no habit."""

    def __init__(self, data: st.DataObject) -> None:
        self.data = data

    def one_of(self, *choices: str) -> str:
        """One of several ways to write the same."""
        return self.data.draw(st.sampled_from(choices))

    def gap(self) -> str:
        """Blanks on one line."""
        return self.one_of("", " ", "\t ")

    def line(self) -> str:
        """Blanks, line ends and remarks."""
        return self.one_of("", " ", "\n", "\r\n", ' # ] } = "\n', "\n\n\t# '''\n")

    def key(self, name: str) -> str:
        """A key, bare or quoted."""
        basic = tomlkit.item(name).as_string() if name else '""'
        plain = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
        literal = [f"'{name}'"] if not set(name) & set("'\n") and name.isprintable() else []
        return self.one_of(*([name] if plain else []), *literal, basic)

    def text(self, value: str) -> str:
        """A text in one of the four sorts of quotation marks."""
        basic = tomlkit.item(value).as_string()
        long = basic[1:-1].replace("\\n", self.one_of("\n", "\\n", "\\n\\\n   "))
        literal = [f"'{value}'", f"'''\n{value}'''"] if value.isprintable() and "'" not in value else []
        return self.one_of(basic, f'"""\n{long}"""', f'"""\\\n  {long}"""' if long[:1].strip() else basic, *literal)

    def value(self, value: object) -> str:
        """Any value, in line."""
        if isinstance(value, dict):
            pairs = f"{self.line()},{self.line()}".join(self.pair(key, inner) for key, inner in value.items())
            return "{" + self.line() + pairs + self.line() + (self.one_of("", ",") if value else "") + self.line() + "}"
        if isinstance(value, list):
            items = f"{self.line()},{self.line()}".join(map(self.value, value))
            return "[" + self.line() + items + self.line() + (self.one_of("", ",") if value else "") + self.line() + "]"
        return self.text(value) if isinstance(value, str) else tomlkit.item(value).as_string()

    def pair(self, key: str, value: object) -> str:
        """``key = value``, with a dotted key where the value is a table of one."""
        name = self.key(key)
        while isinstance(value, dict) and len(value) == 1 and self.data.draw(st.booleans()):
            ((inner, value),) = value.items()
            name += f"{self.gap()}.{self.gap()}{self.key(inner)}"
        return f"{name}{self.gap()}={self.gap()}{self.value(value)}"

    def table(self, table: dict[str, object], above: str = "") -> str:
        """Plain values first, then tables and lists of tables with headers of their own."""
        headed = {key for key, value in table.items() if self.wants_header(value)}
        text = "".join(f"{self.pair(key, table[key])}{self.gap()}\n" for key in table if key not in headed)
        for key in (key for key in table if key in headed):
            value, name = table[key], f"{above}{self.gap()}{self.key(key)}"
            opening, closing = ("[", "]") if isinstance(value, dict) else ("[[", "]]")
            for inner in [value] if isinstance(value, dict) else value if isinstance(value, list) else []:
                text += f"{self.line()}\n{opening}{self.gap()}{name}{self.gap()}{closing}{self.line()}\n"
                text += self.table(inner, f"{name}{self.gap()}.")
        return text

    def wants_header(self, value: object) -> bool:
        """True where a value can have a header, and gets one."""
        tables = [value] if isinstance(value, dict) else value
        plain = isinstance(tables, list) and tables and all(isinstance(one, dict) for one in tables)
        return bool(plain) and self.data.draw(st.booleans())


@settings(deadline=None)
@given(TABLE, st.data())
def test_documents_in_every_layout(table: dict[str, object], data: st.DataObject) -> None:
    text = Layout(data).table(table)
    assert {keys for keys, _ in paths(tomli.loads(text))} == {keys for keys, _ in paths(table)}
    assert differences(text) == []


@settings(deadline=None)
@given(st.text(max_size=60) | st.text("[]{}=.,#'\"\\ \nab1", max_size=60))
def test_what_is_not_toml_ends_in_value_error_or_in_an_answer(text: str) -> None:
    try:
        assert isinstance(scan(text), dict)
    except ValueError:
        with pytest.raises(tomli.TOMLDecodeError):
            tomli.loads(text)
