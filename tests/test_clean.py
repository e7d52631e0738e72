"""Texts of strangers, made harmless, handed to the real readers of each format."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
import time
import unicodedata
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from html.parser import HTMLParser

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from rich.console import Console
from rich.text import Text

from formulint.clean import (
    BREAK,
    LIMIT,
    clean,
    csv_cell,
    html,
    json_safe,
    log_line,
    markdown,
    mermaid,
    workflow_data,
    workflow_property,
    xml_attribute,
    xml_text,
)

HOSTILE = re.split(
    " ",
    "\x1b[2J \x9b31m \x1b]8;;http://x.example\x07 \r \x00 \x7f \u202e \u2066 \u200b \u200d \ufeff \u2028 \u2029 \xad "
    "\U000e0041 \ufe0f \udce4 \ud83d \u0301 \u0338\u0338\u0338\u0338\u0338\u0338 \u2800 \u3164 \ue000 \uffff "
    "\n::error::x ::add-mask::a ##[set-env] ##vso[task] :: ##[ %0A \\ \\u{ \\u{1b} \\| "
    "| `c` ``` ~~~ <b> <img/onerror=1> <!-- --> &amp; &#64; *a* **b** _c_ ~d~ ==e== ++f++ ||g|| ^h^ $a$ $$b$$ "
    "[x](javascript:1) ![x](y) [^1] [x] [!NOTE] [[x]] {+x+} [-x-] "
    "@team @a/b a@b.example #12 a/b#12 GH-12 !12 &12 $12 %12 ~label [issue:12] :smile: :+1: :100: :8ball: "
    "http://x.example https://x.example www.x.example mailto:a@b.example xmpp:a@b.example/c /close /approve "
    "--- === +++ 1. 1) - + > # ]]> \" ' ;=1+1 ,@x =cmd|' /C x'!A0 \uff1d1 -2 -2+3",
)
WORDS = ["TiO2", "µ", "° é 漢字", "25 %", "8.34 lb/gal", " ", "  ", "\t", "\n", "x", "…"]
ANY = st.text(st.characters(exclude_categories=()), max_size=6)
strangers = st.lists(st.one_of(st.sampled_from(HOSTILE), st.sampled_from(WORDS), ANY), max_size=8).map("".join)
limits = st.integers(min_value=1, max_value=60)
plain = st.text(st.sampled_from("abcxyzABCXYZ0123456789 .,()"), min_size=1, max_size=40).map("a{}a".format)


def each_trick(arguments: int = 1) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Every hostile text, for certain, besides what chance finds."""

    def decorated(test: Callable[..., None]) -> Callable[..., None]:
        for one in filter(None, HOSTILE):
            test = example(*[one] * arguments)(test)
        return test

    return decorated


ONE_LINE: dict[str, Callable[[str], str]] = {
    "clean": clean,
    "log_line": log_line,
    "workflow_data": workflow_data,
    "workflow_property": workflow_property,
    "markdown": markdown,
    "html": html,
    "xml_text": xml_text,
    "xml_attribute": xml_attribute,
    "csv_cell": csv_cell,
}
GROWTH = {
    "markdown": 12,
    "html": 6,
    "xml_text": 5,
    "xml_attribute": 6,
    "csv_cell": 2,
    "workflow_data": 3,
    "workflow_property": 3,
}


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Rutile µ 25 °C café 白色 Ärger", "Rutile µ 25 °C café 白色 Ärger"),
        ("cafe\u0301 Việt שָׁ", "cafe\u0301 Việt שָׁ"),
        ("two\nlines\tand\r", "two\\nlines\\tand\\r"),
        ("\x1b[2J\x9b\x00", "\\u{1b}[2J\\u{9b}\\u{0}"),
        ("a\u202eb\u2066c\u200bd\ufeff", "a\\u{202e}b\\u{2066}c\\u{200b}d\\u{feff}"),
        ("\u2028\u2029\xad\U000e0041\ufe0f", "\\u{2028}\\u{2029}\\u{ad}\\u{e0041}\\u{fe0f}"),
        (b"m\xe4.toml".decode("utf-8", "surrogateescape"), "m\\u{dce4}.toml"),
        ("\u0301e", "\\u{301}e"),
        ("e" + "\u0301" * 6, "e" + "\u0301" * 4 + "\\u{301}\\u{301}"),
        ("°\u0301", "°\u0301"),
        ("\u2800\u3164\u034f", "\\u{2800}\\u{3164}\\u{34f}"),
    ],
)
def test_clean_shows(text: str, shown: str) -> None:
    assert clean(text) == shown


@pytest.mark.parametrize(
    ("text", "limit", "shown"),
    [
        ("abcdef", 6, "abcdef"),
        ("abcdefg", 6, "abcde…"),
        ("abc\x1bdefg", 8, "abc…"),
        ("ab\x1bde", 9, "ab\\u{1b}…"),
        ("ab\x1bd", 9, "ab\\u{1b}d"),
        ("abc", 0, "…"),
    ],
)
def test_clean_cuts_between_characters(text: str, limit: int, shown: str) -> None:
    assert clean(text, limit) == shown


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("::error::x", "\\u{3a}:error\\u{3a}:x"),
        ("a ##[group]x", "a \\u{23}#[group]x"),
        ("##vso[task.x]", "\\u{23}#vso[task.x]"),
        ("## ratio 1:2, [a]", "## ratio 1:2, [a]"),
    ],
)
def test_log_line_shows(text: str, shown: str) -> None:
    assert log_line(text) == shown


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("  =1", "  '=1"),
        ("-5.2", "-5.2"),
        ("+3", "+3"),
        ("-5+x", "'-5+x"),
        ("@a", "'@a"),
        ("\uff1d1", "'\uff1d1"),
        ("a;=1", "a;'=1"),
        ("TiO2-rutile + 3", "TiO2-rutile + 3"),
    ],
)
def test_csv_cell_shows(text: str, cell: str) -> None:
    assert csv_cell(text) == cell


@pytest.mark.parametrize(
    ("text", "source"),
    [
        ("8.34 lb/gal at 25 °C, 48 % (w/w)", "8.34 lb/gal at 25 °C, 48 % (w/w)"),
        ("paint/a.toml:12:3", "paint/a.toml&#58;12&#58;3"),
        ("@team", "&#64;&#8203;team"),
        ("R&D", "R&#38;D"),
        ("/close", "&#47;close"),
        ("2. stage", "2&#46; stage"),
    ],
)
def test_markdown_source(text: str, source: str) -> None:
    assert markdown(text) == source


def test_every_character_shows_or_is_spelled() -> None:
    """The character database of Python decides what hides; every other character stays (marks stand on a letter)."""
    hiding = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
    survivors = [code for code in range(sys.maxunicode + 1) if clean("a" + chr(code)) == "a" + chr(code)]
    assert [hex(code) for code in survivors if unicodedata.category(chr(code)) in hiding] == []
    gone = set(range(sys.maxunicode + 1)) - set(survivors)
    spelled = {code for code in gone if unicodedata.category(chr(code)) not in hiding | {"Cn"}}
    ignorable = {0x34F, 0x115F, 0x1160, 0x17B4, 0x17B5, 0x180B, 0x180C, 0x180D, 0x180F, 0x2800, 0x3164, 0xFFA0, 0xFFFC}
    assert spelled == ignorable | set(range(0xFE00, 0xFE10)) | set(range(0xE0100, 0xE01F0))


@given(strangers, limits)
@example("\\u{" * 9, 8)
def test_clean_twice_changes_nothing(text: str, limit: int) -> None:
    once = clean(text, limit)
    assert len(once) <= limit
    assert clean(once, limit) == once


@given(strangers, limits)
def test_log_line_twice_changes_nothing(text: str, limit: int) -> None:
    once = log_line(text, limit)
    assert len(once) <= limit
    assert log_line(once, limit) == once


@given(strangers)
@each_trick()
def test_csv_cell_twice_changes_nothing(text: str) -> None:
    once = csv_cell(text)
    assert csv_cell(once) == once or len(once) > LIMIT


@pytest.mark.parametrize("name", ONE_LINE)
@given(text=strangers)
def test_nothing_hidden_survives(name: str, text: str) -> None:
    written = ONE_LINE[name](text)
    assert not {unicodedata.category(one) for one in written} & {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
    assert written.encode("utf-8").decode("utf-8").splitlines() in ([], [written])


@pytest.mark.parametrize("name", ONE_LINE)
@given(text=strangers, times=st.integers(min_value=1, max_value=200))
def test_length_is_bounded(name: str, text: str, times: int) -> None:
    assert len(ONE_LINE[name](text * times)) <= LIMIT * GROWTH.get(name, 1)


@pytest.mark.parametrize("name", ONE_LINE)
@given(text=plain)
def test_plain_text_stays(name: str, text: str) -> None:
    assert ONE_LINE[name](text) == text.replace(",", "%2C" if name == "workflow_property" else ",")


@pytest.mark.parametrize("name", ONE_LINE)
@pytest.mark.parametrize("unit", ["a", "\u0301", "\x1b", ":", "#", "@", "= ", "\\", "[", "9", "www."])
def test_a_long_text_takes_no_longer(name: str, unit: str) -> None:
    start = time.process_time()
    ONE_LINE[name](unit * 1_000_000)
    assert time.process_time() - start < 0.5


@given(strangers)
@each_trick()
def test_terminal_receives_no_control(text: str) -> None:
    screen = io.StringIO()
    Console(file=screen, force_terminal=True, width=LIMIT * 2, height=9, color_system="truecolor").print(
        Text(clean(text))
    )
    written = screen.getvalue()
    assert written.removesuffix("\n").rstrip(" ") == clean(text).rstrip(" ")
    assert min(written.replace("\n", " ").encode("utf-8")) >= 0x20


@given(strangers, strangers, st.integers(min_value=1, max_value=12))
def test_log_holds_no_command_however_it_is_wrapped(one: str, two: str, width: int) -> None:
    line = log_line(f"{one} {two}")
    for start in range(0, len(line), width):
        assert command(line[start:]) is None


def command(line: str) -> tuple[str, dict[str, str], str] | None:
    """How build machines read a line of a log: name, properties and message of a command, or nothing."""
    if re.search(r"##[\w.-]*\[", line):
        return "older form", {}, line
    found = re.match(r"\s*::(\w[\w-]*)(?: ([^:]*(?::[^:]+)*?))?::(.*)\Z", line, re.DOTALL)
    if not found:
        return ("unreadable", {}, line) if line.lstrip().startswith("::") else None
    pairs = dict(part.partition("=")[::2] for part in (found[2] or "").split(",") if part)
    return found[1], {key: unescaped(value) for key, value in pairs.items()}, unescaped(found[3])


def unescaped(value: str) -> str:
    """A value of a command as build machines decode it."""
    for written, meant in (("%0D", "\r"), ("%0A", "\n"), ("%3A", ":"), ("%2C", ","), ("%25", "%")):
        value = value.replace(written, meant)
    return value


@given(strangers, strangers, strangers)
@each_trick(3)
def test_annotation_is_one_command_with_our_properties(name: str, title: str, message: str) -> None:
    line = f"::error file={workflow_property(name)},line=3,title={workflow_property(title)}::{workflow_data(message)}"
    read = command(line)
    assert read is not None
    assert read[0] == "error"
    assert list(read[1]) == ["file", "line", "title"]
    assert read[1]["file"].replace("\\u{23}", "#") == clean(name).replace("\\u{23}", "#")
    assert read[2] == log_line(message)


class Page(HTMLParser):
    """Tags with attributes, and the text between them, of an HTML text."""

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, list[tuple[str, str | None]]]] = []
        self.text = ""
        self.others: list[str] = []
        self.feed(source)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, attrs))

    def handle_data(self, data: str) -> None:
        self.text += data

    def handle_comment(self, data: str) -> None:
        self.others.append(data)

    def handle_decl(self, decl: str) -> None:
        self.others.append(decl)

    def handle_pi(self, data: str) -> None:
        self.others.append(data)

    def unknown_decl(self, data: str) -> None:
        self.others.append(data)


def markdown_it(source: str) -> str:
    """HTML by markdown-it with tables, strikethrough and raw HTML."""
    from markdown_it import MarkdownIt

    return str(MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"]).render(source))


def cmark(source: str) -> str:
    """HTML by the reference program of the GFM specification, raw HTML let through, footnotes on."""
    cmarkgfm = pytest.importorskip("cmarkgfm")
    options = cmarkgfm.cmark.Options
    return str(
        cmarkgfm.github_flavored_markdown_to_html(source, options.CMARK_OPT_UNSAFE | options.CMARK_OPT_FOOTNOTES)
    )


def comrak(source: str) -> str:
    """HTML by a parser with every extension that hosts are known to switch on."""
    module = pytest.importorskip("comrak")
    extensions, render = module.ExtensionOptions(), module.RenderOptions()
    for name in EXTENSIONS:
        setattr(extensions, name, True)
    render.unsafe_ = True
    return str(module.render_markdown(source, extension_options=extensions, render_options=render))


EXTENSIONS = re.findall(
    r"\w+",
    "alerts autolink description_lists footnotes greentext highlight inline_footnotes insert math_code math_dollars "
    "shortcodes spoiler strikethrough subscript subtext superscript table tagfilter tasklist underline "
    "multiline_block_quotes wikilinks_title_after_pipe",
)
RENDERERS = [markdown_it, cmark, comrak]
CELL = "| a | b |\n|---|---|\n| {} | z |"
CONTEXTS = ["{}", "x {} y", "- {}", "### {}", "above\n{}\nbelow", CELL, "**{}**", "x {}\n\n[x]: y"]


@pytest.mark.parametrize("render", RENDERERS)
@pytest.mark.parametrize("context", CONTEXTS)
@given(text=strangers)
@example("a@b.example")
@example("www.x.example http://x.example")
@example("x +")
def test_markdown_shows_just_the_text(render: Callable[[str], str], context: str, text: str) -> None:
    assume(clean(text))
    page, model = Page(render(context.format(markdown(text)))), Page(render(context.format("word")))
    assert page.tags == model.tags
    assert page.others == []
    assert page.text.replace(BREAK, "") == model.text.replace("word", clean(text))


@pytest.mark.parametrize("render", RENDERERS)
@pytest.mark.parametrize("context", CONTEXTS)
def test_markdown_stops_each_trick(render: Callable[[str], str], context: str) -> None:
    model = Page(render(context.format("word")))
    for text in filter(None, HOSTILE):
        page = Page(render(context.format(markdown(text))))
        assert (page.tags, page.others) == (model.tags, []), text
        assert page.text.replace(BREAK, "") == model.text.replace("word", clean(text))


@pytest.mark.parametrize("render", RENDERERS)
@given(strangers)
@each_trick()
def test_rendered_text_summons_nobody(render: Callable[[str], str], text: str) -> None:
    """Hosts search the rendered text for mentions, references, pictograms, labels and addresses."""
    shown = Page(render("x " + markdown(text))).text
    summons = r"@[\w]|#\d|\bGH-\d|[!&$]\d|%[\w\"]|~[\w\"]|:[a-z_+-][\w+-]*:|:(100|1234):|:\d+[a-z_]\w*:|://|www\.\w|\[\w+:|[\[{][+-]"
    assert re.search(summons, shown, re.IGNORECASE) is None


@given(strangers)
@each_trick()
def test_no_quick_action_at_the_start(text: str) -> None:
    assert not markdown(text).lstrip().startswith(("/", "@", "```", "---"))


@given(strangers, limits)
def test_mermaid_label_is_quoted_letters_and_entities(text: str, limit: int) -> None:
    label = mermaid(text, limit)
    assert re.fullmatch(r'"(?:[A-Za-z0-9 ]|#\d+;)+"', label)
    assert re.sub(r"#(\d+);", lambda one: chr(int(one[1])), label[1:-1]) == (clean(text, limit) or " ")


@given(strangers)
@each_trick()
def test_html_shows_just_the_text(text: str) -> None:
    page = Page(f"<p title=\"{html(text)}\" lang='{html(text)}'>{html(text)}</p>")
    assert page.tags == [("p", [("title", clean(text)), ("lang", clean(text))])]
    assert (page.text, page.others) == (clean(text), [])


@given(strangers)
@each_trick()
def test_xml_holds_just_the_text(text: str) -> None:
    root = ElementTree.fromstring(f"<a b=\"{xml_attribute(text)}\" c='{xml_attribute(text)}'>{xml_text(text)}</a>")
    assert (root.tag, root.attrib) == ("a", {"b": clean(text), "c": clean(text)})
    assert (root.text or "", len(root)) == (clean(text), 0)


@pytest.mark.parametrize("written_with", ",;\t")
@pytest.mark.parametrize("read_with", ",;\t")
@given(rows=st.lists(st.lists(strangers, min_size=2, max_size=3), min_size=1, max_size=3))
def test_no_cell_is_a_formula(written_with: str, read_with: str, rows: list[list[str]]) -> None:
    sheet = io.StringIO()
    csv.writer(sheet, delimiter=written_with).writerows([[csv_cell(cell) for cell in row] for row in rows])
    read = list(csv.reader(io.StringIO(sheet.getvalue()), delimiter=read_with))
    cells = [cell.strip() for row in read for cell in row]
    risky = [cell for cell in cells if cell[:1] in tuple("=+-@＝＋－＠")]
    assert [cell for cell in risky if not re.match(r"[+-]?[0-9]+(\.[0-9]+)?([,;\t]|\Z)", cell)] == []
    assert written_with != read_with or read == [[csv_cell(cell) for cell in row] for row in rows]


@given(st.dictionaries(st.text(max_size=3), st.lists(st.text(max_size=20), max_size=3)))
def test_json_keeps_every_value(data: dict[str, list[str]]) -> None:
    written = json_safe(json.dumps(data, ensure_ascii=False, indent=1))
    assert json.loads(written) == data
    assert not {unicodedata.category(one) for one in written if one != "\n"} & {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}


@given(strangers)
@each_trick()
def test_json_spells_lone_surrogates(text: str) -> None:
    written = json_safe(json.dumps([text, 1], ensure_ascii=False)).encode("utf-8")
    spelled = "".join(clean("a" + one)[1:] if "\ud800" <= one <= "\udfff" else one for one in text)
    assert json.loads(written) == [spelled, 1]
