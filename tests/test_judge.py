"""What a finding weighs and whom it stops: by the state of the formula, by the settings, and one finding for one cause."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import pytest
from lint_cases import SETTINGS, catalog_of, meaning

from formulint import __version__
from formulint.finding import Finding, Level, Place
from formulint.judge import Judge, Scope
from formulint.report import assumptions
from formulint.rulebook import Entry, Rulebook

DAY = date(2026, 1, 12)
STATES = ("bench", "pilot", "production")
WITHDRAWN = "withdrawn"
FILL = '{ material = "FILLER", amount = "q.s." }'
GLYCOL = '{ material = "GLYCOL", amount = "11 kg" }, ' + FILL  # one kilogram above the ceiling
MUTE = 'code = "MUTE"\nname = "says nothing"\nfunctions = ["other"]\n'
UNREADABLE = 'code = "BAD"\nname = "a slip"\nfunctions = ["waterr"]\n'
LIGHT = 'property = "density"\nmax = "0.5 kg/L"'


def sheet(lines: str = FILL, code: str = "T-1", state: str = "bench", class_: str = "flat", more: str = "") -> str:
    """A formula of 100 kg for one market, or an intermediate for none."""
    head = f'code = "{code}"\nname = "paint"\nrevision = 1\nstate = "{state}"\nclass = "{class_}"\nbatch = "100 kg"\n'
    markets = '["us-national"]' if class_ != "intermediate" else "[]"
    return f'{head}markets = {markets}\n{more}\n[[stage]]\nname = "Mix"\nkind = "letdown"\nadditions = [{lines}]\n'


def rule(kind: str, body: str, id: str = "x", checked: str = "house") -> str:
    """A rule of the house that may stop a commit."""
    head = f'[[rule]]\nid = "{id}"\nkind = "{kind}"\nlevel = "error"\ntitle = "Made up."\nwhy = "Made up."\n'
    return f'{head}source = {{ document = "made up", checked = "{checked}" }}\n{body}\n'


def findings(files: Mapping[str, str], settings: str = "") -> tuple[Finding, ...]:
    """What is said about these files, notes left out."""
    catalog = catalog_of({"formulint.toml": SETTINGS + settings, **files}, DAY)
    formulas, materials = (
        tuple(name for name in files if name.startswith(kind)) for kind in ("formulas/", "materials/")
    )
    return tuple(one for one in Judge(catalog).findings(Scope(formulas, materials)) if one.level is not Level.note)


def said(files: Mapping[str, str], settings: str = "") -> list[tuple[str, str]]:
    """Rule and meaning of each."""
    return [(one.rule, meaning(one)) for one in findings(files, settings)]


def messages(files: Mapping[str, str], settings: str = "") -> list[str]:
    """Message and remedy of each."""
    return [f"{one.fault.message} | {one.fault.remedy}" for one in findings(files, settings)]


def paint(lines: str = FILL, **more: str) -> dict[str, str]:
    """One formula as its file."""
    return {"formulas/T-1.toml": sheet(lines, **more)}


def level_of(id: str, files: Mapping[str, str], settings: str = "") -> tuple[str, str, bool]:
    """Kind, level, and whether it stops a commit."""
    one = next(one for one in findings(files, settings) if one.rule == id)
    return one.fault.kind, one.level.name, one.blocks


# ---------------------------------------------------------------- by the state of the formula


@pytest.mark.parametrize("state", STATES)
def test_what_must_hold_stops_in_every_state(state: str) -> None:
    assert level_of("dose/glycol-ceiling", paint(GLYCOL, state=state)) == ("fail", "error", True)


@pytest.mark.parametrize(("state", "stops"), [("bench", False), ("pilot", True), ("production", True)])
def test_its_own_limit_only_warns_at_the_bench(state: str, stops: bool) -> None:
    level = "error" if stops else "warning"
    files = paint(state=state, more='limits = { density = { max = "0.9 kg/L" } }')
    assert level_of("own-limit/density", files) == ("fail", level, stops)


@pytest.mark.parametrize(("state", "stops"), [("bench", False), ("pilot", True), ("production", True)])
@pytest.mark.parametrize("id", ["voc/us-national", "own-limit/density"])
def test_what_is_open_only_warns_at_the_bench(id: str, state: str, stops: bool) -> None:
    lines = '{ material = "MUTE", amount = "1 kg" }, ' + FILL
    files = {"materials/MUTE.toml": MUTE, **paint(lines, state=state, more='limits = { density = { max = "2 kg/L" } }')}
    assert level_of(id, files) == ("open", "error" if stops else "warning", stops)


@pytest.mark.parametrize("state", STATES)
def test_a_recalled_figure_asks_for_a_review_until_the_house_confirms_it(state: str) -> None:
    files = paint('{ material = "SOLVENT", amount = "60 kg" }, ' + FILL, state=state)
    assert level_of("voc/us-national", files) == ("review", "warning", False)
    assert level_of("voc/us-national", files, 'confirmed = ["voc/us-national"]') == ("fail", "error", True)


@pytest.mark.parametrize(("checked", "kind"), [("memory", "review"), ("house", "fail"), ("verified", "fail")])
def test_a_rule_of_the_house_that_is_recalled_asks_for_a_review_too(checked: str, kind: str) -> None:
    files = {"rules/h.toml": rule("limit", LIGHT, "light", checked), **paint()}
    assert level_of("house/light", files)[0] == kind


def test_judged_by_the_standard_of_production_a_bench_formula_is_stopped() -> None:
    files = {"formulint.toml": SETTINGS, **paint(more='limits = { density = { max = "0.9 kg/L" } }')}
    catalog = catalog_of(files, DAY)
    found = Judge(catalog, frozenset({"T-1"})).findings(Scope(("formulas/T-1.toml",), ()))
    assert [(one.rule, one.blocks) for one in found] == [("own-limit/density", True)]


# ---------------------------------------------------------------- what is withdrawn


def counted(files: Mapping[str, str]) -> set[tuple[str, str, str]]:
    """Rule, kind and level of everything, notes too."""
    catalog = catalog_of({"formulint.toml": SETTINGS, **files}, DAY)
    return {(one.rule, one.fault.kind, one.level.name) for one in Judge(catalog).formula(catalog.formula("formulas/T-1.toml"))}


GIVEN_UP = {
    "above a ceiling": (paint(GLYCOL, state=WITHDRAWN), ("dose/glycol-ceiling", "fail", "note")),
    "a figure that is recalled": (paint('{ material = "SOLVENT", amount = "60 kg" }, ' + FILL, state=WITHDRAWN), ("voc/us-national", "fail", "note")),
    "its own limit": (paint(state=WITHDRAWN, more='limits = { density = { max = "0.9 kg/L" } }'), ("own-limit/density", "fail", "note")),
    "a material that is long gone": (paint('{ material = "GONE", amount = "1 kg" }, ' + FILL, state=WITHDRAWN), ("record/known-material", "fail", "note")),
    "a file that cannot be read": (paint(state=WITHDRAWN, more="hush = true"), ("record/readable", "fail", "error")),
    "another code in it": ({"formulas/T-1.toml": sheet(code="T-2", state=WITHDRAWN)}, ("record/code-is-file-name", "fail", "error")),
}


@pytest.mark.parametrize(("files", "expected"), GIVEN_UP.values(), ids=GIVEN_UP.keys())
def test_what_is_made_no_more_is_counted_and_its_file_is_in_order(files: dict[str, str], expected: tuple[str, str, str]) -> None:
    assert expected in counted(files)


def premix(state: str) -> dict[str, str]:
    """An intermediate of fillers only."""
    return {"formulas/P-1.toml": sheet(code="P-1", state=state, class_="intermediate")}


USES = '{ material = "P-1", amount = "1 kg" }, ' + FILL


@pytest.mark.parametrize("line", [USES, '{ material = "FILLER", amount = "1 kg", alternates = ["P-1"] }, ' + FILL])
@pytest.mark.parametrize(("state", "level"), [("bench", "warning"), ("pilot", "error"), ("production", "error"), (WITHDRAWN, "note")])
def test_nothing_is_made_with_what_is_withdrawn(state: str, level: str, line: str) -> None:
    found = counted({**premix(WITHDRAWN), **paint(line, state=state)})
    assert ("record/not-withdrawn", "fail", level) in found


def test_what_is_in_use_may_be_used() -> None:
    assert [one for state in STATES for one in counted({**premix(state), **paint(USES, state="production")}) if one[0] == "record/not-withdrawn"] == []


def test_a_withdrawn_part_of_a_paint_in_production_is_judged_as_in_production() -> None:
    files = {**paint(GLYCOL, state=WITHDRAWN)}
    catalog = catalog_of({"formulint.toml": SETTINGS, **files}, DAY)
    found = Judge(catalog, frozenset({"T-1"})).formula(catalog.formula("formulas/T-1.toml"))
    assert ("dose/glycol-ceiling", True) in [(one.rule, one.blocks) for one in found]


# ---------------------------------------------------------------- paints, and what is put into them

SOLVENT = '{ material = "SOLVENT", amount = "60 kg" }, ' + FILL
PAINTS = {
    "a limit": ("limit", LIGHT),
    "a dose": ("dose", 'of = { codes = ["SOLVENT"] }\nmax = "1 %"'),
    "a field": ("completeness", 'record = "formula"\nneeds = ["product.use"]'),
}
ALL_SHEETS = {
    "a companion": ("presence", 'of = { codes = ["SOLVENT"] }\nneeds = { codes = ["GLYCOL"] }\nneeds_is = "glycol"'),
    "a pair": ("compatibility", 'one = { codes = ["SOLVENT"] }\none_is = "the solvent"\n'),
}


def speaks(kind: str, body: str, where: str = "", class_: str = "intermediate", sold: bool = False) -> bool:
    """True where a rule of the house has something to say about a sheet with much solvent."""
    text = sheet(SOLVENT, class_=class_).replace("markets = []", 'markets = ["us-national"]' if sold else "markets = []")
    return "house/x" in [one for one, _ in said({"rules/h.toml": rule(kind, f"{body}\n{where}"), "formulas/T-1.toml": text})]


@pytest.mark.parametrize(("kind", "body"), PAINTS.values(), ids=PAINTS.keys())
def test_a_rule_about_paints_speaks_of_an_intermediate_only_where_it_names_it(kind: str, body: str) -> None:
    assert speaks(kind, body, class_="flat")
    assert not speaks(kind, body)
    assert speaks(kind, body, sold=True)
    assert [speaks(kind, body, f"where = {{ {word} }}") for word in ('class = ["intermediate"]', 'codes = ["T-1"]')] == [True, True]
    assert not speaks(kind, body, 'where = { state = ["bench"] }')
    assert not speaks(kind, body, 'where = { class = ["intermediate"] }\nunless = { state = ["bench"] }')


@pytest.mark.parametrize(("kind", "body"), ALL_SHEETS.values(), ids=ALL_SHEETS.keys())
def test_what_goes_in_together_counts_in_an_intermediate_too(kind: str, body: str) -> None:
    assert speaks(kind, body)
    assert not speaks(kind, body, 'unless = { class = ["intermediate"] }')


# ---------------------------------------------------------------- by the settings


def setting(id: str, level: str) -> str:
    """Another level for a rule, with a reason."""
    return f'\n[[rule_setting]]\nrule = "{id}"\nlevel = "{level}"\nreason = "because we say so"\n'


def test_a_level_that_the_house_sets_holds_and_is_reported() -> None:
    lowered = setting("dose/glycol-ceiling", "warning")
    assert level_of("dose/glycol-ceiling", paint(GLYCOL), lowered) == ("fail", "warning", False)
    assert level_of("dose/glycol", paint(GLYCOL), setting("dose/glycol", "error")) == ("fail", "error", True)
    catalog = catalog_of({"formulint.toml": SETTINGS + lowered}, DAY)
    assert assumptions(catalog) == (
        "assumed: the lines may miss the batch by 0.5 %",
        "set by the house: dose/glycol-ceiling is warning (because we say so)",
    )


@pytest.mark.parametrize("id", ["unsafe/nitrite-with-secondary-amine", "record/readable", "own-limit/density"])
def test_some_rules_keep_their_level(id: str) -> None:
    assert messages({}, setting(id, "note")) == [f"{id} cannot be given another level | take the setting out"]


def test_what_is_unsafe_stays_an_error_whatever_the_settings_say() -> None:
    catalog = catalog_of({"formulint.toml": SETTINGS + setting("unsafe/x", "note"), **paint(GLYCOL)}, DAY)
    ceiling = next(one for one in catalog.rulebook.all() if one.id == "dose/glycol-ceiling")
    unsafe = Entry("unsafe/x", ceiling.rule, Place("rules/unsafe.toml"))
    catalog.rulebook = Rulebook(catalog.shipped, (unsafe,), DAY)
    found = Judge(catalog).findings(Scope(("formulas/T-1.toml",), ()))
    assert [one.level for one in found if one.rule == "unsafe/x"] == [Level.error]


WRONG = {
    setting("dose/glycol-celing", "note"): ("record/known-rule", "did you mean dose/glycol-ceiling?"),
    setting("unknown/thing", "note"): ("record/known-rule", "rules are named pack/rule; packs: closure, "),
    setting("dose/xyz", "note"): ("record/known-rule", "known: dose/alkali-swellable-thickener, "),
    setting("dose/bit", "note") * 2: ("record/consistent", "dose/bit is given a level twice"),
    'confirmed = ["voc/us-south-cost"]': ("record/known-rule", "did you mean voc/us-south-coast?"),
    'packs = { voc = "2025.9" }': ("record/known-pack", "ask for voc 2025.9, this tool carries 2026.1"),
    'packs = { vok = "2026.1" }': ("record/known-pack", 'there is no pack "vok"'),
    'requires = ">=99.0"': ("record/tool-version", "the settings ask for formulint >=99.0; this is"),
    'requires = "==0.1"': ("record/tool-version", 'write requires = ">=0.1" in this form'),
    'requires = ">=0.²"': ("record/tool-version", "the settings ask for formulint >=0.²"),
    'closure = { min = "0.1 %", max = "5 %" }': ("record/consistent", "the closure is a range, 0.1 % to 5 %"),
    'closure = "-1 %"': ("record/consistent", "a closure of -1 % cannot be"),
    '[folders]\nmaterials = "../elsewhere"': ("record/consistent", 'the folder "../elsewhere" does not lie plainly'),
    '[folders]\nmaterials = "/etc"': ("record/consistent", "does not lie plainly below the root"),
    '[folders]\nrules = ".GIT/x"': ("record/consistent", "does not lie plainly below the root"),
    '[folders]\nrules = "a\\\\b"': ("record/consistent", "does not lie plainly below the root"),
    '[folders]\nrules = ""': ("record/consistent", "does not lie plainly below the root"),
    '[folders]\nformulas = "materials"': ("record/consistent", "each file would be read as both"),
    '[folders]\nrules = "Formulas/ours"': ("record/consistent", "the folder of rules lies in the folder of formulas"),
}  # fmt: skip


@pytest.mark.parametrize("settings", WRONG)
def test_wrong_settings_are_named_and_stop(settings: str) -> None:
    id, words = WRONG[settings]
    found = findings({}, settings)
    assert [(one.rule, one.blocks) for one in found] == [(id, True)]
    assert words in f"{found[0].fault.message} | {found[0].fault.remedy}"


@pytest.mark.parametrize(("figure", "words"), [('{ min = "0.9 kg/L", max = "1 kg/L" }', "is a range"), ('"0 kg/L"', "cannot be"), ('"-1 kg/L"', "cannot be")])
def test_every_formula_is_judged_by_one_density_of_water(figure: str, words: str) -> None:
    catalog = catalog_of({"formulint.toml": f"format = 1\nwater_density = {figure}\n"}, DAY)
    found = [one for one in Judge(catalog).findings(Scope((), ())) if one.blocks]
    assert [(one.rule, words in one.fault.message) for one in found] == [("record/consistent", True)]


def test_settings_that_fit_say_nothing() -> None:
    fits = (
        f'requires = ">={__version__}"\n'
        + 'packs = { voc = "2026.1" }\nconfirmed = ["voc/us-utah", "order/swelling-clay-before-dispersant"]'
    )
    assert said(paint(), fits) == []


# ---------------------------------------------------------------- rules of the house

BROKEN = {
    "not TOML": "[[rule]\n",
    "another key": "rules = []\n",
    "no list of tables": "rule = 3\n",
    "no kind": rule("limit", LIGHT).replace('kind = "limit"\n', ""),
    "another kind": rule("limits", LIGHT),
    "another level": rule("limit", LIGHT).replace('"error"', '"eror"'),
    "no such property": rule("limit", LIGHT).replace('"density"', '"densty"'),
    "another unit": rule("limit", LIGHT).replace("kg/L", "kg"),
    "never in force": rule("limit", LIGHT) + "from = 2026-02-01\nuntil = 2026-01-01\n",
    "an empty window": rule("limit", LIGHT) + 'min = "0.6 kg/L"\n',
    "no such market": rule("limit", LIGHT) + 'where = { markets = ["us-natoinal"] }\n',
    "a slip of a CAS number": rule("limit", LIGHT).replace('"density"', '"substance:2634-33-6"'),
    "two of one name": rule("limit", LIGHT) * 2,
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_rule_of_the_house_that_is_wrong_stops_whatever_is_judged(case: str) -> None:
    """It never vanishes: a commit that touches another record hears of it too."""
    files = {"rules/deep/h.toml": BROKEN[case]}
    stops = [one for one in findings(files) if one.rule == "record/readable"]
    assert stops and all(one.blocks and one.fault.place.path == "rules/deep/h.toml" for one in stops)


ROW = '{ name = "ours", max = "5 g/L", basis = "material", where = { class = ["flat"] }, checked = "verified" }'
MARKET = f'scheme = "us"\ncategory = [{ROW}]'
INSIDE = {
    rule("market", MARKET.replace("5 g/L", "5 lb"), "us-national"): '"5 lb" is a mass',
    rule("market", MARKET, "us-natoinal"): 'there is no market "us-natoinal"',
    rule("market", 'scheme = "us"\ncategory = []', "us-national"): "a market needs at least one category",
    rule("dose", 'component = "50-00-1"\nmax = "1 %"'): '"50-00-1" is no CAS number',
    rule("dose", 'of = { tags = ["acrylicc"] }\nmax = "1 %"'): 'did you mean "acrylic"?',
    rule("dose", 'of = { except = [{ tags = ["acrylicc"] }] }\nmax = "1 %"'): 'there is no tag "acrylicc"',
    rule("dose", 'min = "2 %"\nmax = "1 %"'): "min 2 % is above max 1 %",
    rule("closure", 'what = "batch"\nshares_within = "x"'): 'there is no number in "x"',
    rule("plausibility", "of = {}\nwindow = { ph = {} }"): "the window of ph needs min, max or both",
    rule("plausibility", 'of = {}\nwindow = { ph = { min = "9", max = "8" } }'): "min 9 is above max 8",
    rule("completeness", 'record = "formula"\nneeds = ["limits.pvc"]'): 'a formula has no field "limits.pvc"',
    rule("completeness", 'record = "material"\nneeds = ["sds_date"]\nmax_age = "-3 a"'): 'the age "-3 a" is below zero',
    rule("order", 'first = {}\nthen = {}\nquantifier = "enough"'): '"enough" needs a share',
    rule("order", 'first = {}\nthen = {}\nquantifier = "every"\nmay_join = true'): 'only "first" may be joined',
}


@pytest.mark.parametrize("text", INSIDE)
def test_what_is_wrong_inside_a_kind_of_rule_is_told_and_nothing_breaks(text: str) -> None:
    assert any(INSIDE[text] in words for words in messages({"rules/h.toml": text, **paint()}))


def test_a_market_table_of_the_house_is_judged_beside_the_shipped_one() -> None:
    files = {
        "rules/h.toml": rule("market", MARKET, "us-national"),
        **paint('{ material = "SOLVENT", amount = "1 kg" }, ' + FILL),
    }
    assert said(files) == [("house/us-national", "error")]


def test_a_concession_or_a_comment_hides_nothing() -> None:
    """What is not understood is never taken for a permission."""
    loud = [("dose/glycol", "warning"), ("dose/glycol-ceiling", "error")]
    noted = GLYCOL.replace('"11 kg"', '"11 kg", note = "conceded, C-001"')
    kept = 'code = "C-001"\nrule = "dose/glycol-ceiling"\nformula = "T-1"\nrevision = 1\nreason = "x"\nexpires = 2027-01-01\n'
    assert said({"concessions/C-001.toml": kept, **paint(noted)}) == [*loud, ("record/readable", "error")]
    assert said(paint(GLYCOL, more='concession = "C-001"'))[0] == ("record/readable", "error")
    assert said(paint(GLYCOL), 'concessions = ["C-001"]') == [("record/readable", "error"), *loud]


# ---------------------------------------------------------------- names


def test_an_unknown_material_is_named_with_the_one_that_was_meant() -> None:
    for slip in ("GLYCOI", "glycol", "GLYC0L", "GLYCOLL"):
        found = messages(paint(GLYCOL.replace("GLYCOL", slip)))
        means = f"did you mean GLYCOL (propylene glycol)? Else materials/{slip}.toml is missing: bring it back, or add it"
        assert found == [f'there is no material "{slip}" among those that lie here | {means}']


def test_an_unknown_material_that_resembles_nothing_asks_for_its_file() -> None:
    assert "add materials/QX-77.toml to the repository" in messages(paint(GLYCOL.replace("GLYCOL", "QX-77")))[0]


def test_every_unknown_material_is_told_also_where_the_sheet_cannot_be_read() -> None:
    found = said(paint('{ material = "NO-1", amount = "1 kg" }, { material = "NO-2", amount = "1 kgg" }'))
    assert sorted(found) == [("record/known-material", "error")] * 2 + [("record/readable", "error")]


def test_a_material_that_cannot_be_read_is_named_with_its_line() -> None:
    files = {"materials/BAD.toml": UNREADABLE, **paint('{ material = "BAD", amount = "1 kg" }, ' + FILL)}
    words = messages(files)[1]
    assert words.startswith('BAD cannot be read (materials/BAD.toml, line 3: functions: "waterr" is not known here')
    assert said(files) == [("record/readable", "error"), ("record/known-material", "error")]


def test_codes_that_differ_in_capitals_only_are_one_code() -> None:
    files = {**paint(), "formulas/t-1.toml": sheet(code="t-1"), "materials/x/T-1.toml": MUTE.replace("MUTE", "T-1")}
    found = [one for one in findings(files) if one.rule == "record/one-file-per-code"]
    assert {one.fault.place.path for one in found} == set(files)
    assert all(one.blocks for one in found)


def test_a_file_is_called_by_its_code() -> None:
    found = messages({"formulas/T-2.toml": sheet()})
    assert found == [
        'the file is called T-2, the code in it is "T-1" | rename the file to T-1.toml, or write code = "T-2"'
    ]


MISNAMED = {
    "a copy": ("T-1 copy", True, "if it is a copy to begin another with, write a code of its own, and rename the file to that; else delete it"),
    "a copy with a code for a name": ("T-2", True, 'if it is a copy to begin another with, write code = "T-2"; else delete it'),
    "no copy, and no code for a name": ("T-1 copy", False, "rename the file to T-1.toml"),
}


@pytest.mark.parametrize(("called", "twin", "remedy"), MISNAMED.values(), ids=MISNAMED)
def test_nobody_is_told_to_write_over_the_file_that_was_copied(called: str, twin: bool, remedy: str) -> None:
    found = messages({f"formulas/{called}.toml": sheet(), **({"formulas/T-1.toml": sheet()} if twin else {})})
    tail = ", which is that of formulas/T-1.toml" if twin else ""
    assert found == [f'the file is called {called}, the code in it is "T-1"{tail} | {remedy}']


def test_a_formula_that_is_its_own_addition_is_told_so() -> None:
    found = messages(paint('{ material = "T-1", amount = "1 kg" }, ' + FILL))
    assert found == ["T-1 is an addition to itself | name what was meant, or delete the line"]


def test_only_an_intermediate_goes_into_another_formula() -> None:
    files = {**paint(), "formulas/T-2.toml": sheet('{ material = "T-1", amount = "1 kg" }, ' + FILL, "T-2")}
    assert messages(files) == [
        'T-1 is a formula of class flat, not an intermediate | a formula that is used as a material has class = "intermediate"'
    ]


# ---------------------------------------------------------------- alternates


def test_each_alternate_is_judged_and_named() -> None:
    lines = '{ material = "WETTER", amount = "0.5 kg", alternates = ["GLYCOL", "DEFOAMER"] }, { material = "LATEX", amount = "20 kg" }, '
    found = messages(paint(lines + FILL))
    assert [words for words in found if "DEFOAMER" in words or "GLYCOL" in words] == []
    heavy = messages(paint(lines.replace("0.5 kg", "0.7 kg") + FILL))
    assert [words.split(" is ")[0] for words in heavy if words.startswith("with ")] == [
        "with DEFOAMER instead of WETTER: Defoamer, as supplied, in the paint"
    ]


def test_what_holds_for_the_material_and_its_alternates_is_told_once() -> None:
    lines = GLYCOL + ', { material = "WETTER", amount = "0.5 kg", alternates = ["SOLVENT"] }'
    assert said(paint(lines)) == [("dose/glycol", "warning"), ("dose/glycol-ceiling", "error")]


def test_an_unknown_alternate_stands_at_its_place() -> None:
    found = findings(paint('{ material = "WATER", amount = "1 kg", alternates = ["FILLER", "NOPE"] }, ' + FILL))
    assert [one.fault.place.keys[-2:] for one in found] == [("alternates", 1)]


# ---------------------------------------------------------------- one cause, one finding

BLEND = '{ material = "B-1", amount = "10 kg" }, ' + FILL


def blend(lines: str, code: str = "B-1") -> dict[str, str]:
    """An intermediate as its file."""
    return {f"formulas/{code}.toml": sheet(lines, code, class_="intermediate")}


def test_of_an_intermediate_that_is_not_known_only_that_is_told() -> None:
    files = {**blend('{ material = "NOPE", amount = "1 kg" }, ' + FILL), **paint(BLEND, state="production")}
    assert said(files) == [("record/known-material", "error")] * 2
    assert messages(files)[1].startswith(
        'B-1 cannot be computed (formulas/B-1.toml, line 12: there is no material "NOPE"'
    )


def test_however_deep_it_lies() -> None:
    deep = {**blend('{ material = "NOPE", amount = "1 kg" }, ' + FILL, "B-2"), **blend(BLEND.replace("B-1", "B-2"))}
    assert said({**deep, **paint(BLEND)}) == [("record/known-material", "error")] * 3


def test_a_circle_is_told_once_of_each_member_and_of_who_uses_it() -> None:
    round_ = {**blend(BLEND.replace("B-1", "B-2")), **blend(BLEND, "B-2")}
    assert said({**round_, **paint(BLEND)}) == [
        *[("record/no-circle", "error")] * 2,
        ("record/known-material", "error"),
    ]
    assert "B-1 is made from itself: B-1 -> B-2 -> B-1" in messages({**round_, **paint(BLEND)})[2]


def test_a_line_that_cannot_be_weighed_is_told_and_not_what_follows_from_it() -> None:
    dosed = '{ material = "DISPERSANT", amount = "1 %", on = "pigment", as = "active" }, { material = "FILLER", amount = "99 kg" }'
    assert said(paint(dosed, state="production")) == [("record/amounts", "error")]


def test_a_sheet_that_was_not_meant_so_is_not_computed() -> None:
    assert said(paint(GLYCOL + ", " + FILL)) == [("record/consistent", "error")]


def test_several_rules_that_are_open_for_one_reason_are_one_finding() -> None:
    lines = '{ material = "NEW", amount = "1 kg" }, { material = "CHALK", amount = "40 kg" }, ' + FILL
    new = 'code = "NEW"\nname = "no active"\nfunctions = ["dispersant"]\ndensity = "1 kg/L"\nnonvolatile = "100 %"\n'
    found = [
        one for one in said({"materials/NEW.toml": new, **paint(lines, state="pilot")}) if one[0].startswith("dose/")
    ]
    assert found == [("dose/dispersant-ceiling", "open")]


def test_what_a_material_does_not_say_is_listed_together() -> None:
    files = {"materials/MUTE.toml": MUTE, **paint('{ material = "MUTE", amount = "1 kg" }, ' + FILL)}
    assert any(
        words.endswith("MUTE has no voc, density, water, exempt | fill in what is missing; unknown is not zero")
        for words in messages(files)
    )


# ---------------------------------------------------------------- every record for itself


def test_a_cas_number_with_a_slip_would_hide_from_every_rule() -> None:
    slip = MUTE + '[[component]]\nname = "BIT"\ncas = "2634-33-6"\nshare = "20 %"\n'
    found = [words for words in messages({"materials/MUTE.toml": slip}) if "CAS" in words]
    assert found == [
        '"2634-33-6" is no CAS number, so no rule can know BIT by it'
        " | compare it with the supplier's sheet: the last digit is a check of the others; leave cas out where there is none"
    ]


def test_a_dose_of_a_whole_repository_names_each_record_once() -> None:
    files = {**paint(GLYCOL), "formulas/T-2.toml": sheet(GLYCOL, "T-2")}
    assert [one.formula for one in findings(files)] == ["T-1", "T-1", "T-2", "T-2"]
