"""Random proposals, with whatever a stranger may write into them, through every output: well-formed, harmless, no traceback."""

from __future__ import annotations

import csv
import json
import re
import xml.etree.ElementTree as Xml
from collections.abc import Callable, Mapping
from io import StringIO

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from in_memory import SETTINGS, files, of_files
from proposals import Works, ask
from strategies import Paint, weighed
from test_clean import Page, cmark
from test_outputs import page, sarif_schema, show
from test_render import COMMAND, STEERS

from formulint import computed, report, tables
from formulint.catalog import Catalog
from formulint.compare import formulas, materials
from formulint.judge import Judge
from formulint.remedies import helped
from formulint.render import FORMATS, json_pages, json_report
from formulint.report import Report
from formulint.scope import Touched, everything
from formulint.side import side

# Pieces that steer a screen, a log, a page, a sheet or a host; put together at random.
PIECES = [
    "\x1b[31m", "\x9b2J", "\x07", "\r\n", "\n", "\t", "\x00", "\x7f", "\u202e", "\u2066", "\u200f", "\ufeff", "\u2028", "e" + "\u0301" * 9, "word " * 90,
    "x" * 700, "::error file=a::b", "##[group]", "::add-mask::", "%0A", "<script>alert(1)</script>", "<img src=x onerror=y>", "</style>", "</svg>", "<!--", "]]>",
    "&amp;", "\"", "'", "\\", "|", "`", "```", "**", "[a](http://x.example)", "![i](//x.example/i)", "https://x.example", "www.x.example", "@team", "#12", "!7",
    "GH" "-1", ":smile:", "$x$", "$\\frac{", "~~", "- [ ] ", "\n/close\n", "=1+1", "+1", "-1", "@SUM(A1)", ";=1", "\t=1", "%%{init", "\"]-->", "{{", "}}", "${{ x }}",
    "12 <b>", "lb", "nan", "1e999", "漆", "עברית", "🎨", "",
]  # fmt: skip
HOSTILE = st.lists(st.sampled_from(PIECES), min_size=1, max_size=4).map("".join) | st.text(st.characters(codec="utf-8"), max_size=12)
SUMMONS = re.compile(r"@\w|#\d|\bGH-\d|[!$]\d|://|www\.\w|:smile:", re.IGNORECASE)
Record = dict[str, object]
Edit = Callable[[dict[str, Record], str], object]


def _formula(**more: str) -> Edit:
    """Fields of the formula, each from the text."""
    return lambda records, text: records["T-1"].update({name: how.replace("TEXT", text) for name, how in more.items()})


def _in_line(key: str) -> Edit:
    return lambda records, text: records["T-1"]["stage"][0]["additions"][0].update({key: text})  # type: ignore[index]


def _in_stage(key: str) -> Edit:
    return lambda records, text: records["T-1"]["stage"][-1].update({key: text})  # type: ignore[index]


def _of_material(code: str, key: str) -> Edit:
    return lambda records, text: records[code].update({key: text})


EDITS: dict[str, Edit] = {
    "name": _formula(name="TEXT"), "note": _formula(note="TEXT"), "batch": _formula(batch="TEXT"), "class": _formula(**{"class": "TEXT"}),
    "unknown field": lambda records, text: records["T-1"].update({text or "x": text}),
    "market": lambda records, text: records["T-1"].update({"markets": ["us-national", text]}),
    "limit": lambda records, text: records["T-1"].update({"limits": {"density": {"min": text}, text or "y": {"max": "1"}}}),
    "a narrow limit": lambda records, text: records["T-1"].update({"limits": {"density": {"max": "0.1 kg/L"}}}),
    "material": _in_line("material"), "amount": _in_line("amount"), "line note": _in_line("note"), "stage name": _in_stage("name"), "kind": _in_stage("kind"),
    "material name": _of_material("B", "name"), "supplier": _of_material("P", "supplier"), "density": _of_material("W", "density"),
    "component": lambda records, text: records["G"].update({"component": [{"name": text, "cas": "57-55-6", "share": "100 %", "volatile": "organic"}]}),
    "a figure taken away": lambda records, text: records["B"].pop("nonvolatile_density", None),
    "a material taken away": lambda records, text: records.pop("D", None),
    "more of it": lambda records, text: records["T-1"]["stage"][0]["additions"][0].update({"amount": "77.7 kg"}),  # type: ignore[index]
    "reason": lambda records, text: records["formulint"].update({"rule_setting": [{"rule": "dose/glycol", "level": "note", "reason": text}]}),
    "folder": lambda records, text: records["formulint"].update({"folders": {"rules": text}}),
}  # fmt: skip


def shelf(records: Mapping[str, Record], extra: Mapping[str, str]) -> Catalog:
    """The repository of these records, with files beside them."""
    rest = {code: record for code, record in records.items() if code not in ("T-1", "formulint")}
    return of_files({**files(rest, {"T-1": records["T-1"]}, records["formulint"]), **extra})


def copied(paint: Paint) -> dict[str, Record]:
    """The records of a paint, to be edited."""
    return json.loads(json.dumps({**paint.materials, "T-1": paint.sheet, "formulint": SETTINGS}))  # type: ignore[no-any-return]


@st.composite
def proposals(draw: st.DrawFn) -> tuple[Catalog, Catalog, str]:
    """Two states of a repository, and a hostile name of a file."""
    before = copied(draw(weighed()))
    for one in draw(st.lists(st.sampled_from(sorted(EDITS)), max_size=1)):
        EDITS[one](before, draw(HOSTILE))
    after = json.loads(json.dumps(before))
    for one in draw(st.lists(st.sampled_from(sorted(EDITS)), min_size=1, max_size=4)):
        EDITS[one](after, draw(HOSTILE))
    odd = draw(HOSTILE).replace("/", "").replace("\0", "")
    return shelf(before, {}), shelf(after, {f"formulas/{odd}.toml": draw(HOSTILE), "materials/M-1.toml": "code = 1\n"}), odd


def reports(before: Catalog, after: Catalog, odd: str) -> dict[str, tuple[Report, str]]:
    """What lint, properties and diff make of it: the report, and the JSON."""
    scope = everything(after)
    found = helped(after, Judge(after).findings(scope), True)
    sides = [one for one in (side(after, "T-1"),) if one is not None]
    changes = formulas(before, after, ["T-1", odd])
    shared = materials(before, after, (*after.material_files(), *before.material_files()), ())
    reach = Touched((), (), {"formulas/T-1.toml": odd}, (), (f"rules/{odd}.toml",))
    return {
        "lint": (report.lint(after, scope, found, True), json_report.lint(after, found, {})),
        "properties": (computed.properties(after, sides, (odd,), True, True, True, pictures=True), json_pages.properties(after, sides, True)),
        "diff": (tables.diff(before, after, changes, shared, reach, pictures=True), json_report.diff(before, after, changes, shared, {"T-1": odd}, (odd,))),
    }


# --- each output, read by an outside reader ----------------------------------------------------------------------


def terminal(said: str) -> None:
    assert not COMMAND.search(said)


def markdown(said: str) -> None:
    assert len(said) < 65_536
    read = Page(cmark(re.sub(r"```mermaid.*?```", "", said, flags=re.DOTALL)))
    assert {tag for tag, _ in read.tags} <= {"h2", "h3", "p", "br", "ul", "li", "strong", "em", "table", "thead", "tbody", "tr", "th", "td"} and not read.others
    assert not SUMMONS.search(read.text)


def html(said: str) -> None:
    read = page(said)
    assert not {"script", "img", "iframe", "link", "object", "form", "b"} & {tag for tag, _ in read.elements}
    assert not any(name.startswith("on") or name == "style" or (name in ("href", "src") and not (value or "").startswith("#")) for _, held in read.elements for name, value in held.items())


def of_json(said: str) -> None:
    assert isinstance(json.loads(said), dict | list)


def sarif(said: str) -> None:
    assert [error.message for error in sarif_schema().iter_errors(json.loads(said))] == []


def junit(said: str) -> None:
    assert Xml.fromstring(said.encode()).find("testsuite/testcase") is not None


def marks(said: str) -> None:
    assert all(line.count("::") == 2 if line.lstrip().startswith("::") else not COMMAND.search(line) for line in said.splitlines())


def sheet(said: str) -> None:
    rows = list(csv.reader(StringIO(said, newline="")))
    assert len({len(row) for row in rows}) == 1
    assert [cell for row in rows for cell in row if re.match(r"\s*[=+@-]", cell) and not re.fullmatch(r"[+-]?[0-9]+(\.[0-9]+)?", cell)] == []


READERS: dict[str, Callable[[str], None]] = {
    "terminal": terminal, "markdown": markdown, "html": html, "json": of_json, "sarif": sarif, "junit": junit, "annotations": marks, "annotations-json": of_json, "csv": sheet,
}  # fmt: skip


def test_every_output_has_a_reader() -> None:
    assert set(READERS) == set(FORMATS)


@settings(max_examples=20, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(proposal=proposals())
def test_whatever_is_proposed_every_output_is_whole_and_does_nothing(proposal: tuple[Catalog, Catalog, str]) -> None:
    for made, data in reports(*proposal).values():
        for name, read in READERS.items():
            said = data if name == "json" else show(name, made)
            assert not STEERS.search(said.replace("\r\n", "\n")), name
            said.encode()
            read(said)


# --- the gate, by real git ---------------------------------------------------------------------------------------

FLAT = "formulas/T-101.toml"
TEXTS = ["\\u001b[2J", "<script>x</script>", "@team ![i](//x.example)", "=1+1|::error::x", "\\u202eabc ##[x]", "x" * 3000]


@pytest.mark.parametrize("text", TEXTS)
def test_the_gate_says_it_whole_in_every_output(works: Works, text: str) -> None:
    def edited(old: str) -> str:
        return old.replace('name     = "', f'name     = "{text} ', 1).replace('"1.5 lb"', f'"1.6 lb", note = "{text}"', 1)

    head = works.propose({FLAT: edited, f"rules/{text.replace('/', '')[:40]}.toml": text}, says=text.encode().decode("unicode_escape"))
    for name, read in READERS.items():
        answer = ask("-C", str(works.repo.path), "gate", "--base", works.base, "--head", head, "--notes", how=name)
        assert (answer.status, answer.err) == (1, "")
        assert not STEERS.search(answer.out.replace("\r\n", "\n"))
        read(answer.out)
