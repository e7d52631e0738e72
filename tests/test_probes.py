"""Probes: what is kept of every rule is what the tool says of it, by the judge and by the rule alone."""

from __future__ import annotations

import pytest
from in_memory import shipped
from msgspec.structs import replace
from mutants import shipped_rules
from probes import Probe, disagrees, probes, told
from probing import holds, probes_of, variants

LEVEL = {rule: table["level"] for rule, table in shipped_rules()}
RULES = {entry.id: entry.rule for part in shipped().general() for entry in shipped().rules(part)}


@pytest.mark.parametrize("rule", probes())
def test_a_rule_says_of_its_probes_what_is_kept(rule: str) -> None:
    assert [(str(probe), found) for probe in probes()[rule] if (found := told(probe)) != (probe.says, probe.fields)] == []
    assert [str(probe) for probe in probes()[rule] if disagrees(probe, RULES[rule])] == []


def test_nothing_is_kept_of_rules_that_there_are_not() -> None:
    assert set(probes()) <= set(LEVEL)
    assert {(probe.rule, probe.says) for them in probes().values() for probe in them if probe.says} <= {*LEVEL.items(), *((rule, "open") for rule in LEVEL)}


def test_there_are_enough() -> None:
    made = [probe for them in probes().values() for probe in them]
    assert len(made) > 1500
    assert len([probe for probe in made if probe.says]) > 850 and len([probe for probe in made if not probe.says]) > 500


def test_what_is_kept_is_what_the_packs_ask_for() -> None:
    """A rule that was changed, or is new, has its probes worked out anew: ``python tests/probing.py``."""
    asked = [replace(probe, says="", fields=[]) for rule, table in shipped_rules() if table["level"] != "error" for probe, _ in probes_of(rule, table)]
    kept = {repr(replace(probe, says="", fields=[], what="")) for them in probes().values() for probe in them}
    assert {repr(replace(probe, what="")) for probe in asked} == kept


@pytest.mark.parametrize(("says", "fields"), [("", []), ("note", []), ("warning", ["density"])])
def test_a_probe_that_keeps_something_else_disagrees(says: str, fields: list[str]) -> None:
    probe = next(one for one in probes()["dose/defoamer"] if one.says)
    assert disagrees(replace(probe, says=says, fields=fields), RULES["dose/defoamer"])


def test_a_selector_is_tried_by_each_word_and_beside_each_key() -> None:
    pick = {"functions": ["binder", "wax"], "forms": ["powder"], "except": [{"tags": ["sand"]}]}
    tried = {what: holds(pick, fields) for what, fields in variants(pick)}
    assert tried == {"as picked": True, "by functions wax": True, "without functions": False, "without forms": False, "except 0, as picked": False, "except 0, without tags": True}


def test_an_unknown_key_in_a_probe_is_refused() -> None:
    assert Probe.__struct_config__.forbid_unknown_fields
