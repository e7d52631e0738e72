"""What a proposal may not achieve by what its files say: each attack is a commit, and the gate must say no, and why.

A row that weakens a policy brings along what the weakened policy would let pass: that must be found all the same.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

import pytest
from proposals import BENCH, Edit, Edits, Module, Works, both, works_files, works_in
from repos import Link
from story import STEPS, amount, below, replace

from formulint import gate
from formulint.change import FORMULA, Change
from formulint.evidence import EVIDENCE, RELAXING
from formulint.material import Material
from formulint.rule import Pick


class Attack(NamedTuple):
    """A proposal, and what must be among the reasons for which it is refused."""

    name: str
    edits: Edits
    words: tuple[str, ...]


SETTINGS, HOUSE, CI = "formulint.toml", "rules/house.toml", ".github/workflows/formulas.yml"
FLAT, PREMIXED, PREMIX, SEMI, MATT = (f"formulas/{code}.toml" for code in ("T-101", "T-102", "PX-1", "T-140", "T-301"))
THICKENER, DISPERSANT, GLYCOL, LATEX = (f"materials/{code}.toml" for code in ("RM-1601", "RM-1401", "RM-1010", "RM-1301"))
TEXTS = works_files()

# What the rules of the base find, however the proposal weakens them.
FILLED = amount("RM-1001", "123.9 lb", "133.9 lb")
TOO_FULL: Edits = {FLAT: FILLED}
TOO_MUCH_VOC: Edits = {SEMI: both(*STEPS["9"].edits["T-140"])}
SENSITIZER: Edits = {MATT: both(*STEPS["11"].edits["T-301"])}
FULL, VOC, CMIT = "closure/batch: formulas/T-101.toml", "voc/us-south-coast: formulas/T-140.toml", "house/cmit-mit: formulas/T-301.toml"
SETTINGS_CHANGED, RULES_CHANGED = "proposal/policy: formulint.toml: formulint.toml is changed", "proposal/policy: rules/"


def added(line: str) -> Edit:
    """A line above the first: a field of the record itself."""
    return lambda text: f"{line}\n{text}"


def ended(lines: str) -> Edit:
    """Lines below the last: a table of its own."""
    return lambda text: f"{text}\n{lines}\n"


def swap(before: str, after: str) -> Edit:
    """A pattern for another text, in one place."""

    def edit(text: str) -> str:
        text, count = re.subn(before, after, text, flags=re.MULTILINE | re.DOTALL)
        assert count == 1, f"{before!r} stands {count} times"
        return text

    return edit


def moved(old: str, new: str, *edits: Edit) -> Edits:
    """A file under another name, and edited."""
    return {old: None, new: both(*edits)(TEXTS[old])}


def rule(id_: str, limit: str) -> str:
    """A rule of the house on CMIT/MIT."""
    return TEXTS[HOUSE].split("\n[[rule]]\n")[2].replace('"cmit-mit"', f'"{id_}"').replace("15.0 ppm", limit)


def level(of: str) -> Edit:
    return ended(f'[[rule_setting]]\nrule = "{of}"\nlevel = "note"\nreason = "it is in the way"')


SETTING = [
    Attack("closure tolerance wider", {SETTINGS: replace('"0.5 %"', '"5 %"'), **TOO_FULL}, (SETTINGS_CHANGED, FULL)),
    Attack("level of a rule lowered", {SETTINGS: level("voc/us-south-coast"), **TOO_MUCH_VOC}, (SETTINGS_CHANGED, VOC)),
    Attack("level of a house rule lowered", {SETTINGS: level("house/cmit-mit"), **SENSITIZER}, (SETTINGS_CHANGED, CMIT)),
    Attack("confirmed figures taken back", {SETTINGS: swap(r"^confirmed = .*?\n", ""), **TOO_MUCH_VOC}, (SETTINGS_CHANGED, VOC)),
    Attack("a figure confirmed by itself", {SETTINGS: replace('"voc/eu"]', '"voc/eu", "voc/canada"]')}, (SETTINGS_CHANGED,)),
    Attack("formulas looked for elsewhere", {SETTINGS: ended('[folders]\nformulas = "recipes"'), **TOO_FULL}, (SETTINGS_CHANGED, FULL)),
    Attack("rules looked for elsewhere", {SETTINGS: ended('[folders]\nrules = "none"'), **SENSITIZER}, (SETTINGS_CHANGED, CMIT)),
    Attack("another density of water", {SETTINGS: replace('"8.34 lb/gal"', '"0.70 kg/L"')}, (SETTINGS_CHANGED,)),
    Attack("another currency", {SETTINGS: replace('"USD"', '"EUR"')}, (SETTINGS_CHANGED,)),
    Attack("a pack that is older", {SETTINGS: replace('voc       = "2026.1"', 'voc       = "2019.1"')}, (SETTINGS_CHANGED, "record/known-pack")),
    Attack("a tool that is newer", {SETTINGS: replace('">=0.1"', '">=99.0"')}, (SETTINGS_CHANGED, "record/tool-version")),
    Attack("itself as approver", {SETTINGS: replace('"regulatory@example.org"', '"me@example.org"'), **TOO_FULL}, (SETTINGS_CHANGED, FULL)),
    Attack("approvals that need no proof", {SETTINGS: added('approvals = "stated"')}, (SETTINGS_CHANGED,)),
    Attack("a comment only", {SETTINGS: ended("# no harm meant")}, (SETTINGS_CHANGED,)),
    Attack("settings that cannot be read", {SETTINGS: "format = 1\nformat = 1\n", **TOO_FULL}, (SETTINGS_CHANGED, "record/readable: formulint.toml", FULL)),
    Attack("an unsafe rule lowered", {SETTINGS: level("unsafe/isocyanate")}, (SETTINGS_CHANGED, "cannot be given another level")),
    Attack("a level without a reason", {SETTINGS: ended('[[rule_setting]]\nrule = "voc/eu"\nlevel = "note"')}, ('"reason" is missing',)),
    Attack("a concession", {"concessions/C-001.toml": 'rule = "closure/batch"\nformula = "T-101"\n', **TOO_FULL}, ("policy: concessions/", FULL)),
]

RULES = [
    Attack("house rules deleted", {HOUSE: None, **SENSITIZER}, (RULES_CHANGED, CMIT)),
    Attack("one house rule deleted", {HOUSE: swap(r'\[\[rule\]\]\nid = "cmit-mit".*?(?=\n\[\[)', ""), **SENSITIZER}, (RULES_CHANGED, CMIT)),
    Attack("its level lowered", {HOUSE: swap(r'(id = "cmit-mit"\nkind = "dose"\nlevel = )"error"', r'\1"note"'), **SENSITIZER}, (RULES_CHANGED, CMIT)),
    Attack("its limit raised", {HOUSE: replace('"15.0 ppm"', '"99.0 ppm"'), **SENSITIZER}, (RULES_CHANGED, CMIT)),
    Attack("it ends today", {HOUSE: replace('id = "cmit-mit"', 'id = "cmit-mit"\nuntil = 2026-01-01'), **SENSITIZER}, (RULES_CHANGED, CMIT)),
    Attack("it is about no formula", {HOUSE: replace('id = "cmit-mit"', 'id = "cmit-mit"\nwhere = { codes = ["X"] }'), **SENSITIZER}, (CMIT,)),
    Attack("another with its id", {"rules/a.toml": f"[[rule]]\n{rule('cmit-mit', '99 ppm')}", **SENSITIZER}, (RULES_CHANGED, CMIT, "two rules of the house")),
    Attack("another beside it", {"rules/more/b.toml": f"[[rule]]\n{rule('mine', '99 ppm')}"}, (RULES_CHANGED,)),
    Attack("rules that are no TOML", {HOUSE: ended("[[rule"), **SENSITIZER}, (RULES_CHANGED, CMIT, "record/readable: rules/house.toml")),
    Attack("a key that does not exist", {HOUSE: replace('id = "bit"', 'id = "bit"\nhush = true')}, ('record/readable: rules/house.toml: "hush" is not a field',)),
    Attack("a tag that does not exist", {HOUSE: replace('tags = ["polyacid"]', 'tags = ["polyacrid"]')}, ('there is no tag "polyacrid"',)),
    Attack("rules renamed", moved(HOUSE, "rules/house.toml.off"), (RULES_CHANGED,)),
    Attack("rules in a link", {HOUSE: Link("../README.md"), **SENSITIZER}, (RULES_CHANGED, CMIT, "is a symbolic link")),
    Attack("rules in a submodule", {HOUSE: None, "rules": Module("1" * 40), **SENSITIZER}, (RULES_CHANGED, CMIT, "submodule")),
]

AROUND = [
    Attack("the check itself", {CI: "name: nothing\n"}, ("it decides what is checked",)),
    Attack("the check deleted", {CI: None}, ("it decides what is checked",)),
    Attack("the check renamed", moved(CI, ".github/workflows/off.txt"), ("off.txt is changed", "formulas.yml is changed")),
    Attack("another check", {".gitlab-ci.yml": "x: 1\n"}, (".gitlab-ci.yml is changed",)),
    Attack("a check in a link", {".github/workflows/x.yml": Link("../../README.md")}, ("x.yml is changed",)),
    Attack("checks in a submodule", {".forgejo": Module("1" * 40)}, (".forgejo is changed",)),
    Attack("hooks", {".pre-commit-config.yaml": "repos: []\n"}, (".pre-commit-config.yaml is changed",)),
    Attack("attributes", {".gitattributes": "* merge=union\n"}, (".gitattributes is changed",)),
    Attack("attributes below", {"formulas/.gitattributes": "* filter=x\n"}, ("formulas/.gitattributes is changed",)),
    Attack("attributes of another case", {"docs/.GitAttributes": "* -text\n"}, (".GitAttributes is changed",)),
    Attack("attributes in a link", {"docs/.gitattributes": Link("x")}, ("docs/.gitattributes is changed",)),
    Attack("submodules", {".gitmodules": '[submodule "x"]\n'}, (".gitmodules is changed",)),
    Attack("owners of files", {"docs/CODEOWNERS": "* @me\n"}, ("CODEOWNERS is changed",)),
    Attack("settings of another case", {"Formulint.toml": "format = 1\n"}, ("some machines take it for that",)),
    Attack("a folder of another case", {"Materials/RM-1401.toml": TEXTS[DISPERSANT]}, ("proposal/case: Materials/RM-1401.toml",)),
    Attack("rules of another case", {"RULES/house.toml": ""}, ("proposal/case: RULES/house.toml",)),
    Attack("a formula again, by a name of another case", {"formulas/T-101.TOML": TEXTS[FLAT]}, ("formulas/T-101.TOML and formulas/T-101.toml are one name on some machines",)),
    Attack("a material again, by a name of another case", {"materials/rm-1401.toml.": "x", "materials/RM-1401.Toml": "x"}, ("materials/RM-1401.Toml and ",)),
    Attack("one name in two spellings", {"formulas/\u00e9.txt": "x", "formulas/e\u0301.txt": "y"}, ("are one name on some machines",)),
    Attack("a root inside", {"formulas/sub/formulint.toml": "format = 1\n"}, ("marks a root inside this root",)),
    Attack("a link among the formulas", {"formulas/T-7.toml": Link("T-101.toml")}, ("is a symbolic link",)),
    Attack("a formula becomes a link", {FLAT: Link("T-105.toml")}, ("is a symbolic link", "T-101 is in production and vanishes")),
    Attack("materials in a link", {**dict.fromkeys(n for n in TEXTS if n.startswith("materials/")), "materials": Link("x")}, ("is a symbolic link",)),
    Attack("a submodule among the formulas", {"formulas/more": Module("1" * 40)}, ("submodule",)),
    Attack("a formula by a name in other bytes", {"formulas/T-\udcff.toml": TEXTS[FLAT]}, ("the code in it is",)),
    Attack("a formula by a name over two lines", {"formulas/T\n7.toml": TEXTS[FLAT]}, ("the code in it is",)),
    Attack("a formula becomes a folder", {FLAT: None, f"{FLAT}/x": "x"}, ("T-101 is in production and vanishes",)),
    Attack("a name that acts on a terminal", {"docs/\x1b[2J/.gitattributes": "x"}, (".gitattributes is changed",)),
]

POLICY_CHANGED = "proposal/policy: formulas/T-101.toml: T-101 would be judged by other things: "
FORMULAS = [
    Attack("another class", {FLAT: replace('"flat"', '"matt"')}, (f"{POLICY_CHANGED}class changed",)),
    Attack("a market less", {SEMI: replace('"us-national", "us-south-coast"', '"us-national"'), }, ("T-140 would be judged by other things: markets changed",)),
    Attack("a market less, and more VOC", {SEMI: both(*STEPS["9"].edits["T-140"], replace(', "us-south-coast"', ""))}, ("T-140 would be judged by other things: markets changed",)),
    Attack("no market", {FLAT: replace('["us-national", "us-south-coast"]', "[]")}, ("T-101 names no market", "markets changed")),
    Attack("markets not written", {FLAT: swap(r"^markets .*?\n", "")}, ("T-101 names no market", "markets changed")),
    Attack("another category", {FLAT: ended('[category]\nus-national = "flat-coatings"')}, (f"{POLICY_CHANGED}category changed",)),
    Attack("limits dropped", {FLAT: swap(r"^\[limits\].*?(?=\[tests\])", "")}, (f"{POLICY_CHANGED}limits changed",)),
    Attack("a limit wider", {FLAT: replace('max = "59 %"', 'max = "69 %"')}, (f"{POLICY_CHANGED}limits changed",)),
    Attack("a limit on production only", {FLAT: replace('max = "59 %"', 'max = "59 %", on = "production"')}, ("limits changed",)),
    Attack("a test dropped", {FLAT: swap(r"^scrub .*?\n", "")}, (f"{POLICY_CHANGED}tests changed",)),
    Attack("a test easier", {FLAT: replace('min = "300"', 'min = "30"')}, (f"{POLICY_CHANGED}tests changed",)),
    Attack("another product", {FLAT: replace('["interior"]', '["exterior"]')}, (f"{POLICY_CHANGED}product changed",)),
    Attack("back to the bench", {FLAT: replace('"production"', '"bench"')}, ("T-101 goes back from production to bench",)),
    Attack("back to pilot, and broken", {FLAT: both(replace('"production"', '"pilot"'), FILLED)}, ("from production to pilot", FULL)),
    Attack("withdrawn", {FLAT: replace('"production"', '"withdrawn"')}, ("T-101 is withdrawn from production",)),
    Attack("deleted", {FLAT: None}, ("T-101 is in production and vanishes",)),
    Attack("moved out of the folder", moved(FLAT, "old/T-101.toml"), ("T-101 is in production and vanishes",)),
    Attack("no longer TOML by name", moved(FLAT, "formulas/T-101.TOML"), ("T-101 is in production and vanishes",)),
    Attack("under another code", moved(FLAT, "formulas/T-111.toml", replace('"T-101"', '"T-111"')), ("T-101 is in production and vanishes",)),
    Attack("under its code in another case", moved(FLAT, "formulas/t-101.toml"), ("T-101 is in production and vanishes",)),
    Attack("moved below, with another class", moved(FLAT, "formulas/old/T-101.toml", replace('"flat"', '"matt"')), ("class changed",)),
    Attack("another code inside", {FLAT: replace('"T-101"', '"T-105"')}, ("the file is called T-101",)),
    Attack("a twin below", {"formulas/a/T-101.toml": TEXTS[FLAT]}, ("T-101 is also the code of formulas/T-101.toml",)),
    Attack("a twin of another case", {"formulas/t-101.toml": TEXTS[FLAT].replace("T-101", "t-101")}, ("is also the code of",)),
    Attack("a twin among the materials", {"materials/T-101.toml": TEXTS[GLYCOL].replace("RM-1010", "T-101")}, ("is also the code of",)),
    Attack("not readable", {FLAT: ended("[[")}, ("record/readable: formulas/T-101.toml",)),
    Attack("not text", {FLAT: b"\xff\xfe"}, ("record/readable: formulas/T-101.toml",)),
    Attack("kept outside git", {FLAT: "version https://git-lfs.github.com/spec/v1\noid sha256:0\nsize 1\n"}, ("formulas/T-101.toml",)),
    Attack("too large", {FLAT: ended("#" * (1 << 20))}, ("formulas/T-101.toml",)),
    Attack("its rules deleted on the way to production", {BENCH: both(replace('"bench"', '"production"'), swap(r"^\[limits\].*?(?=\[tests\])", ""))}, ("limits",)),
    Attack("an alternate on trial", {FLAT: replace('{ material = "RM-1301",', '{ material = "RM-1301", alternates = ["RM-1307"],')}, ("trial",)),
    Attack("new, and in no market", {"formulas/T-1.toml": both(replace('"T-101"', '"T-1"'), swap(r"^markets .*?\n", ""))(TEXTS[FLAT])}, ("T-1 names no market",)),
    Attack("new, with a material that is not there", {"formulas/T-1.toml": TEXTS[FLAT].replace("T-101", "T-1").replace("RM-1020", "RM-9")}, ("known-material",)),
]

def evidence(said: str, file: str, *edits: Edit) -> Attack:
    """What a known material says changed, with the old and the new in words."""
    return Attack(said, {file: both(*edits)}, (f"proposal/evidence: {file}: {Path(file).stem}: {said}",))


SHARES = ("voc", "voc_us", "voc_eu", "exempt", "other_volatile", "pigment")
BIT, TRIAL = "materials/RM-1801.toml", "materials/RM-1307.toml"
MATERIALS = [
    evidence("functions changed from dispersant to wetting-agent", DISPERSANT, replace('["dispersant"]', '["wetting-agent"]')),
    evidence("form changed from solution to liquid", DISPERSANT, replace('"solution"', '"liquid"')),
    evidence("tags changed from polyacid to none", DISPERSANT, replace('["polyacid"]', "[]")),
    evidence("ionic changed from anionic to nonionic", DISPERSANT, replace('"anionic"', '"nonionic"')),
    evidence("state changed from trial to approved", TRIAL, replace('"trial"', '"approved"')),
    evidence("approved for changed from none to T-101", DISPERSANT, added('approved_for = ["T-101"]')),
    evidence("dose changed from unknown to at most 9 %", DISPERSANT, ended('[dose]\nmax = "9 %"')),
    evidence("tolerance changed from unknown to density 1 lb/gal", DISPERSANT, ended('[tolerance]\ndensity = "1 lb/gal"')),
    evidence("disclosure changed from full to sds", DISPERSANT, replace('"full"', '"sds"')),
    *(evidence(f"{field.replace('_', ' ')} changed from unknown to 0 %", DISPERSANT, added(f'{field} = "0 %"')) for field in SHARES),
    evidence("supplier changed from supplier K to Elsewhere", DISPERSANT, replace('"supplier K"', '"Elsewhere"')),
    evidence("film density changed from unknown to 1 kg/L", DISPERSANT, added('film_density = "1 kg/L"')),
    evidence("minimum film temperature changed from unknown to 5 degC", DISPERSANT, added('minimum_film_temperature = "5 degC"')),
    evidence("density changed from 9.20 lb/gal to 9.21 lb/gal", DISPERSANT, replace('"9.20 lb/gal"', '"9.21 lb/gal"')),
    evidence("density changed from 9.20 lb/gal to 9.1 lb/gal to 9.3 lb/gal", DISPERSANT, swap(r'^density .*?\n', 'density = { min = "9.1 lb/gal", max = "9.3 lb/gal" }\n')),
    evidence("density changed from 9.20 lb/gal to unknown", DISPERSANT, swap(r"^density .*?\n", "")),
    evidence("nonvolatile changed from ", THICKENER, swap(r'^nonvolatile .*?\n', 'nonvolatile = "99 %"\n')),
    evidence("water changed from 75 % to 74 %", DISPERSANT, replace('"75 %"', '"74 %"')),
    evidence("active changed from 25 % to 26 %", DISPERSANT, swap(r'^active .*?\n', 'active = "26 %"\n')),
    evidence("ph changed from ", DISPERSANT, swap(r'^ph .*?\n', 'ph = "9.9"\n')),
    evidence("oil absorption changed from ", "materials/RM-1101.toml", swap(r'^oil_absorption .*?\n', 'oil_absorption = "9 g/100 g"\n')),
    evidence("nonvolatile density changed from ", LATEX, swap(r'^nonvolatile_density .*?\n', 'nonvolatile_density = "derived"\n')),
    evidence("component 1,2-benzisothiazol-3(2H)-one (BIT) (2634-33-5): hazards changed from ", BIT, swap(r"^hazards  .*?\n", "hazards = []\n")),
    evidence("component sodium polyacrylate (9003-04-7): hazards changed from none to unknown", DISPERSANT, replace("hazards  = []", "")),
    evidence("component propylene glycol (57-55-6): volatile changed from organic to no", GLYCOL, replace('"organic"', '"no"')),
    evidence("component propylene glycol (57-55-6): boiling point changed from ", GLYCOL, swap(r"^boiling_point .*?\n", 'boiling_point = "600 degF"\n')),
    evidence("component 1,2-benzisothiazol-3(2H)-one (BIT) (2634-33-5): share changed from 20 % to 19 %", BIT, replace('share          = "20 %"', 'share          = "19 %"')),
    Attack(
        "another substance", {"materials/RM-1802.toml": replace('"55965-84-9"', '"2634-33-5"')},
        ("(55965-84-9) left out", "(2634-33-5) added, "),
    ),
    Attack("moved below, with other functions", moved(DISPERSANT, "materials/x/RM-1401.toml", replace('["dispersant"]', '["wetting-agent"]')), ("functions changed",)),
    Attack("a twin of another case", {"materials/rm-1401.toml": TEXTS[DISPERSANT].replace("RM-1401", "rm-1401")}, ("is also the code of",)),
    Attack("a twin below", {"materials/a/RM-1401.toml": TEXTS[DISPERSANT]}, ("RM-1401 is also the code of",)),
    Attack("a twin among the formulas", {"formulas/RM-1401.toml": TEXTS[PREMIX].replace("PX-1", "RM-1401")}, ("RM-1401 is also the code of",)),
    Attack("deleted, and used", {DISPERSANT: None}, ('there is no material "RM-1401"',)),
    Attack("moved out, and used", moved(DISPERSANT, "old/RM-1401.toml"), ('there is no material "RM-1401"',)),
    Attack("not readable", {DISPERSANT: ended("[[")}, ("record/readable: materials/RM-1401.toml", "RM-1401 cannot be read")),
    Attack("replaced by a formula", {**moved(DISPERSANT, "x"), "formulas/RM-1401.toml": TEXTS[PREMIX].replace("PX-1", "RM-1401")}, ("becomes a formula",)),
    Attack("blocked, and used", {DISPERSANT: replace('"approved"', '"blocked"')}, ("state changed from approved to blocked", "RM-1401) is in state blocked")),
]

PRESERVED = both(replace('"104.5 lb"', '"106.5 lb"'), below("RM-1601", '{ material = "RM-1802", amount = "2.0 lb" },'))
UNKNOWN = re.sub(r"^(density|nonvolatile_density) .*?\n", "", TEXTS[THICKENER], flags=re.MULTILINE).replace("RM-1601", "RM-1699")
SAMPLE = TEXTS[THICKENER].replace("RM-1601", "RM-1699").replace('"approved"', '"sample"')
OTHER = replace('"RM-1601"', '"RM-1699"')
DEEPER = both(replace('"RM-1601", amount = "4.5 lb"', '"PX-2", amount = "4.5 lb"'))
PX_2 = TEXTS[PREMIX].split("[limits]")[0].replace("PX-1", "PX-2").replace("104.5 lb", "4.5 lb").replace("100.0 lb", "0.0 lb").replace("RM-1601", "RM-1699")

PREMIXES = [
    Attack("with a preservative too much for the paint", {PREMIX: PRESERVED}, ("house/cmit-mit: formulas/T-102.toml",)),
    Attack("a limit of its own broken on the bench", {PREMIX: both(replace('"104.5 lb"', '"114.5 lb"'), amount("RM-1601", "4.5 lb", "14.5 lb"))}, ("own-limit/water",)),
    Attack("a limit of its own dropped", {PREMIX: swap(r"^\[limits\].*", "")}, ("PX-1 would be judged by other things: limits changed",)),
    Attack("another class", {PREMIX: replace('"intermediate"', '"flat"')}, ("not an intermediate",)),
    Attack("deleted", {PREMIX: None}, ('there is no material "PX-1"',)),
    Attack("becomes a raw material", {PREMIX: None, "materials/PX-1.toml": TEXTS[THICKENER].replace("RM-1601", "PX-1")}, ("becomes a raw material",)),
    Attack("not readable", {PREMIX: ended("[[")}, ("PX-1 cannot be read",)),
    Attack("with an unknown figure", {PREMIX: OTHER, "materials/RM-1699.toml": UNKNOWN}, ("RM-1699 has no density", "T-102")),
    Attack("with an unknown figure, two deep", {PREMIX: DEEPER, "formulas/PX-2.toml": PX_2, "materials/RM-1699.toml": UNKNOWN}, ("RM-1699 has no density",)),
    Attack("withdrawn, and used", {PREMIX: replace('"bench"', '"withdrawn"')}, ("record/not-withdrawn: formulas/T-102.toml: PX-1 is withdrawn, and T-102 is made with it",)),
    Attack("made from itself", {PREMIX: replace('"RM-1601"', '"PX-1"')}, ("made from itself",)),
]

PILOT, MORE_VOC, NO_PVC = replace('"production"', '"pilot"'), both(*STEPS["9"].edits["T-140"]), swap(r'^pvc_binder = .*?\n', "")
MORE_FILLER = both(amount("RM-1201", "175.0 lb", "215.0 lb"), amount("RM-1301", "280.0 lb", "240.0 lb"))
NO_COAST, TO_PRIMER = replace(', "us-south-coast"', ""), replace('"semi-gloss"', '"primer"')
COAST = ended('[category]\nus-south-coast = "Rust preventative coatings"')
VOC_BY, PVC_BY = "voc/us-south-coast: formulas/T-140.toml: by the {} of the base: VOC", "own-limit/pvc-binder: formulas/T-101.toml: by the {} of the base: PVC"
HEUR, NEW = replace('"RM-1603"', '"RM-1699"'), TEXTS["materials/RM-1603.toml"].replace("RM-1603", "RM-1699")

# What the base asks of a formula, however the proposal rewrites that in the same breath.
BY_BASE = [
    Attack("a market left out", {SEMI: both(MORE_VOC, NO_COAST)}, (VOC_BY.format("markets"),)),
    Attack("a laxer class", {SEMI: both(MORE_VOC, TO_PRIMER)}, (VOC_BY.format("class"),)),
    Attack("a laxer category", {SEMI: both(MORE_VOC, COAST)}, (VOC_BY.format("category"),)),
    Attack("several at once", {SEMI: both(MORE_VOC, NO_COAST, TO_PRIMER)}, (VOC_BY.format("class and markets"),)),
    Attack("a limit widened", {FLAT: both(MORE_FILLER, replace('max = "59 %"', 'max = "69 %"'))}, (PVC_BY.format("limits"),)),
    Attack("a limit dropped", {FLAT: both(MORE_FILLER, NO_PVC)}, (PVC_BY.format("limits"),)),
    Attack("back to the bench, where limits only warn", {FLAT: both(MORE_FILLER, replace('"production"', '"bench"'))}, (PVC_BY.format("state"),)),
    Attack("to pilot, and a limit dropped", {FLAT: both(MORE_FILLER, NO_PVC, PILOT)}, (PVC_BY.format("state and limits"),)),
    Attack("into production, and a limit dropped", {BENCH: both(MORE_FILLER, NO_PVC, replace('"bench"', '"production"'))}, ("by the state and limits of the base: PVC",)),
    Attack("moved below, and a limit dropped", moved(FLAT, "formulas/old/T-101.toml", MORE_FILLER, NO_PVC), ("formulas/old/T-101.toml: by the limits of the base: PVC",)),
    Attack("in an alternate only", {SEMI: both(replace('{ material = "RM-1021",', '{ material = "RM-1021", alternates = ["RM-1020"],'), NO_COAST)},
           ("by the markets of the base: with RM-1020 instead of RM-1021: VOC",)),
    Attack("a premix whose limit is dropped", {PREMIX: both(replace('"104.5 lb"', '"114.5 lb"'), amount("RM-1601", "4.5 lb", "14.5 lb"), swap(r"^\[limits\].*", ""))},
           ("own-limit/water: formulas/PX-1.toml: by the limits of the base: Water",)),
    Attack("a limit of its own that it breaks", {FLAT: replace('max = "59 %"', 'max = "53.5 %"')}, ("own-limit/pvc-binder: formulas/T-101.toml: PVC",)),
    Attack("a market of its own that it fails", {FLAT: both(replace('["us-national"', '["us-new-york", "us-california-2019", "us-national"'), amount("RM-1020", "8.0 lb", "58.0 lb"))},
           ("voc/us-new-york: formulas/T-101.toml: VOC",)),
]  # fmt: skip

# A material that nobody approved but whoever brings it.
NEWCOMERS = [
    Attack("in production", {FLAT: HEUR, "materials/RM-1699.toml": NEW}, ("is a new material, approved by this proposal itself, and T-101 holds it",)),
    Attack("its state not written", {FLAT: HEUR, "materials/RM-1699.toml": swap(r"^state .*?\n", "")(NEW)}, ("approved by this proposal itself, and T-101 holds it",)),
    Attack("in phase-out", {FLAT: HEUR, "materials/RM-1699.toml": replace('"approved"', '"phase-out"')(NEW)}, ("approved by this proposal itself",)),
    Attack("inside a premix", {PREMIX: OTHER, "materials/RM-1699.toml": TEXTS[THICKENER].replace("RM-1601", "RM-1699")}, ("approved by this proposal itself, and PX-1 holds it",)),
    Attack("as an alternate", {FLAT: replace('"RM-1603",', '"RM-1603", alternates = ["RM-1699"],'), "materials/RM-1699.toml": NEW}, ("and T-101 holds it",)),
    Attack("kept for the next proposal", {"materials/x/RM-1699.toml": NEW}, ("RM-1699 (HEUR, low-shear builder, 20 % nonvolatile) is a new material, approved by this",)),
    Attack("on trial, in a pilot", {BENCH: both(HEUR, replace('"bench"', '"pilot"')), "materials/RM-1699.toml": replace('"approved"', '"trial"')(NEW)},
           ("is a new material, in state trial, and T-900 holds it",)),
]  # fmt: skip

ALL = {f"{group}: {one.name}": one for group, rows in (
    ("settings", SETTING), ("rules", RULES), ("around", AROUND), ("formula", FORMULAS), ("material", MATERIALS), ("premix", PREMIXES),
    ("by base", BY_BASE), ("new", NEWCOMERS),
) for one in rows}  # fmt: skip


# Ways round the search for what uses what.
BELOW = [
    pytest.param(
        {PREMIX: OTHER, "materials/RM-1699.toml": SAMPLE}, TEXTS[PREMIXED], "RM-1699",
        id="a sample inside a premix of a paint in production",
    ),
    pytest.param(
        {PREMIX: PRESERVED}, TEXTS[PREMIXED].replace('"PX-1"', '"""PX\\\n-1"""'), "house/cmit-mit: formulas/T-102.toml",
        id="a code over two lines",
    ),
    pytest.param({PREMIX: PRESERVED}, TEXTS[PREMIXED].replace('"PX-1"', '"PX\\u002d1"'), "house/cmit-mit: formulas/T-102.toml", id="a code with an escape"),
]  # fmt: skip


@pytest.mark.parametrize("attack", ALL.values(), ids=ALL.keys())
def test_it_is_refused_with_the_reason(works: Works, attack: Attack) -> None:
    answer = works.gate(works.propose(attack.edits))
    assert answer.status == 1, answer
    assert [words for words in attack.words if words not in answer.said] == [], answer.said
    assert "\x1b" not in answer.out


@pytest.mark.parametrize("attack", [*SETTING, *RULES], ids=lambda one: one.name)
def test_no_policy_of_the_proposal_acts(works: Works, attack: Attack) -> None:
    answer = gate.ask(str(works.repo.path), works.base, works.propose(attack.edits), None)
    assert answer.after.settings == answer.before.settings
    assert answer.after.rulebook.house == answer.before.rulebook.house
    assert (answer.after.water_density, answer.after.closure) == (answer.before.water_density, answer.before.closure)


@pytest.mark.parametrize(("edits", "premixed", "words"), BELOW)
def test_what_a_premix_holds_counts_however_it_is_named(tmp_path: Path, edits: Edits, premixed: str, words: str) -> None:
    works = works_in(tmp_path / "works", {**TEXTS, PREMIXED: premixed})
    answer = works.gate(works.propose(edits))
    assert answer.status == 1
    assert words in answer.said


def test_every_way_to_pick_a_material_is_evidence() -> None:
    field_of = {"forms": "form", "states": "state", "cas": "component", "functions": "functions", "tags": "tags"}
    ways = set(Pick.__struct_fields__) - {"codes", "stages", "but"}  # the code itself; where it is charged; others
    assert ways == field_of.keys()
    assert {field_of[way] for way in ways} <= set(RELAXING) <= set(EVIDENCE) <= set(Material.__struct_fields__)


def test_every_policy_of_a_formula_has_its_attack() -> None:
    policy = {field for field, change in FORMULA.items() if change is Change.policy} - {"state"}
    assert [field for field in policy if not any(f"{field} changed" in words for one in FORMULAS for words in one.words)] == []


APART: dict[str, Edits] = {
    "a limit widened": {FLAT: replace('max = "59 %"', 'max = "69 %"')},
    "a market left out": {SEMI: NO_COAST},
    "withdrawn, whatever it holds": {SEMI: both(MORE_VOC, NO_COAST, replace('"production"', '"withdrawn"'))},
    "the bench": {BENCH: both(MORE_FILLER, NO_PVC)},
    "a material on trial, on the bench": {BENCH: HEUR, "materials/RM-1699.toml": replace('"approved"', '"trial"')(NEW)},
}


@pytest.mark.parametrize("edits", APART.values(), ids=APART.keys())
def test_what_holds_by_the_base_or_is_free_is_not_held_against_it(works: Works, edits: Edits) -> None:
    said = works.gate(works.propose(edits)).said
    assert " of the base: " not in said
    assert "proposal/new-material" not in said


def test_what_fails_by_both_is_told_once(works: Works) -> None:
    answer = works.gate(works.propose({SEMI: both(MORE_VOC, replace('"us-south-coast"', '"us-south-coast", "us-new-york"'))}))
    assert answer.said.count("voc/us-south-coast: formulas/T-140.toml") == 1
