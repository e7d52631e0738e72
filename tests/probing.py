"""``python tests/probing.py``: works out the probes of every shipped rule that stops nothing, and writes ``cases/probes``.

What a rule ought to say follows here from its table, by a few lines that share nothing with the tool; where the tool
says otherwise, nothing is written.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent.parent))

from msgspec.structs import replace
from mutants import LEVELS, Table, shipped_rules
from probes import FOLDER, Fields, Probe, told
from repository import value

Variant = tuple[str, Fields]
Sought = tuple[Probe, bool | None]
"""A probe, and whether its rule has to speak; None where only the tool can tell."""

NEUTRAL: Fields = {"functions": ["other"], "tags": [], "form": "liquid"}
STRENGTH = {"supplied": Decimal(1), "active": Decimal("0.5"), "nonvolatile": Decimal("0.4")}
BASES = {"batch": Decimal(100), "pigment": Decimal(40), "binder": Decimal(20)}  # kg, of the lines below
PIGMENT, BINDER = ["CHALK 40 kg"], ["LATEX 40 kg"]
CAS_SHARE = Decimal("0.8")
FILL = ["FILLER q.s."]
MISSED = {"class": "clear", "state": "bench", "markets": "us-utah", "use": "interior"}
"""Words that a rule about formulas of some sort does not name."""
FAR = {"density": "9 kg/L", "nonvolatile_density": "9 kg/L", "film_density": "9 kg/L", "pigment_density": "9 kg/L", "oil_absorption": "500 g/100 g", "ph": "14"}
GIVEN: Fields = {
    "density": "1 kg/L", "nonvolatile": "40 %", "nonvolatile_density": "1.2 kg/L", "film_density": "0.6 kg/L", "water": "60 %",
    "oil_absorption": "20 g/100 g", "pigment": "40 %", "pigment_density": "4 kg/L", "form": "slurry", "active": "50 %",
    "component": [{"name": "stuff", "share": "40 %"}], "minimum_film_temperature": "5 degC", "price": "1 EUR/kg", "price_date": date(2026, 12, 1),
    "sds_date": date(2026, 12, 1), "disclosure": "full",
}  # fmt: skip


# ---------------------------------------------------------------- selectors


def holds(pick: Table, fields: Fields) -> bool:
    """Whether a selector picks a material, read off both tables."""
    listed = {"functions": "functions", "tags": "tags"}
    for key, field in listed.items():
        if key in pick and not set(pick[key]) & set(_list(fields.get(field, []))):
            return False
    for key, field in (("forms", "form"), ("ionic", "ionic")):
        if key in pick and fields.get(field) not in pick[key]:
            return False
    if "cas" in pick and not set(pick["cas"]) & {one["cas"] for one in _list(fields.get("component", [])) if isinstance(one, dict) and "cas" in one}:
        return False
    if "any" in pick and not any(holds(one, fields) for one in pick["any"]):
        return False
    return not any(holds(one, fields) for one in pick.get("except", []))


def variants(pick: Table) -> Iterator[Variant]:
    """Materials that a selector picks by each of its words, and such as miss it by one key."""
    base = _first(pick)
    yield "as picked", base
    for key in ("functions", "tags", "forms", "cas", "ionic"):
        for word in pick.get(key, [])[1:]:
            yield f"by {key} {word}", {**base, **_one(key, word)}
        if key in pick:
            yield f"without {key}", {**base, **_none(key)}
    for at, branch in enumerate(pick.get("any", [])):
        for what, fields in variants(branch):
            yield f"any {at}, {what}", {**_first({key: raw for key, raw in pick.items() if key != "any"}), **fields}
    for at, branch in enumerate(pick.get("except", [])):
        for what, fields in variants(branch):
            yield f"except {at}, {what}", _both(base, fields)


def _first(pick: Table) -> Fields:
    """A material with the first word of each key."""
    found: Fields = dict(_first(pick["any"][0])) if pick.get("any") else {}
    for key in ("functions", "tags", "forms", "cas", "ionic"):
        if key in pick:
            found |= _one(key, pick[key][0])
    return found


def _one(key: str, word: str) -> Fields:
    if key == "cas":
        return {"component": [{"name": "stuff", "cas": word, "share": f"{100 * CAS_SHARE:f} %"}]}
    return {{"forms": "form"}.get(key, key): word if key in ("forms", "ionic") else [word]}


def _none(key: str) -> Fields:
    return {"functions": ["other"]} if key == "functions" else {"tags": []} if key == "tags" else {"form": "pregel"} if key == "forms" else {"component" if key == "cas" else key: ""}


def _both(one: Fields, other: Fields) -> Fields:
    """One material that is both."""
    lists: Fields = {key: [*dict.fromkeys(map(str, (*_list(one[key]), *_list(other[key]))))] for key in ("functions", "tags") if key in one and key in other}
    return {**one, **other, **lists}


def _list(raw: object) -> list[Any]:
    return raw if isinstance(raw, list) else []


# ---------------------------------------------------------------- formulas


def heads(table: Table) -> Iterator[tuple[str, Fields, bool]]:
    """Heads of formulas by each word of ``where`` and ``unless``, with whether the rule is about them."""
    where, unless = table.get("where", {}), table.get("unless", {})
    base = _head(where)
    yield "", base, True
    for key, words in where.items():
        for word in words[1:] if isinstance(words, list) else ():
            yield f"where {key} {word}", {**base, **_headed(base, key, word)}, True
        missed = "intermediate" if key == "class" and "clear" in words else MISSED.get(key, "")
        yield f"where not {key}", {**base, **_headed(base, key, missed)}, False
    for key, words in unless.items():
        if key != "class":  # an intermediate is not asked by most kinds anyway
            yield f"unless {key}", {**base, **_headed(base, key, words)}, False
        else:
            yield "unless class", {**base, "class": "intermediate", "markets": []}, False


def _head(where: Table) -> Fields:
    head: Fields = {}
    for key, words in where.items():
        head = {**head, **_headed(head, key, words[0] if isinstance(words, list) else words)}
    return head


def _headed(head: Fields, key: str, word: object) -> Fields:
    if key in ("class", "state"):
        return {key: word}
    if key == "markets":
        return {key: [word]}
    product = head.get("product", {})
    assert isinstance(product, dict)
    found: object = ("deep" if word else "") if key == "tint_base" else [word] if word else []
    return {"product": {**product, key: found}}


# ---------------------------------------------------------------- kinds


def probes_of(rule: str, table: Table) -> Iterator[Sought]:
    """The probes of a rule."""
    kind = {"plausibility": _plausibility, "completeness": _completeness, "dose": _dose, "order": _order,
            "compatibility": _compatibility, "entry": _entry, "presence": _presence, "step": _step, "warmth": _warmth}.get(table["kind"])  # fmt: skip
    if kind is not None and table.get("window") != "supplier":
        for probe, speaks in kind(table):
            yield replace(probe, rule=rule), speaks


def half_a_digit(bound: str) -> tuple[str, str, str]:
    """A bound, and what lies half of its last digit below and above it."""
    number, _, unit = bound.partition(" ")
    step = Decimal(1).scaleb(int(Decimal(number).as_tuple().exponent)) / 2
    below, above = (f"{Decimal(number) + side:f} {unit}".strip() for side in (-step, step))
    return bound, below, above


def _plausibility(table: Table) -> Iterator[Sought]:
    base, window = _first(table["of"]), table["window"]
    for end in ("min", "max"):
        bounds: Fields = {field: one[end] for field, one in window.items() if end in one}
        yield Probe("", f"at every {end}", material={**base, **bounds}), False
        for field, bound in bounds.items():
            outside = half_a_digit(str(bound))[1 if end == "min" else 2]
            if not outside.startswith("-") and not (outside.endswith("%") and Decimal(outside.split()[0]) > 100):
                yield Probe("", f"{field}, half a digit outside {end} {bound}", material={**base, field: outside}), True
    field = next((one for one in window if one in FAR), "")
    for what, fields in variants(table["of"]) if field else ():
        yield Probe("", f"{what}, {field} far outside", material={**fields, field: FAR[field]}), holds(table["of"], {**NEUTRAL, **fields})


def _completeness(table: Table) -> Iterator[Sought]:
    of = table.get("of", {})
    form: Fields = {} if "form" in table["needs"] else {"form": _first(of).get("form", "slurry")}
    needs: Fields = {field: GIVEN[field] for field in table["needs"]}
    yield Probe("", "all given", material={**GIVEN, **_first(of), **needs}), False
    for field in needs:
        yield Probe("", f"no {field}", material={**GIVEN, **form, **_first(of), field: ""}), True
    for what, fields in variants(of):
        yield Probe("", f"{what}, nothing given", material={**form, **fields, **dict.fromkeys(needs, "")}), holds(of, {**NEUTRAL, **form, **fields})
    if of:
        yield Probe("", "neither picked nor given", material=dict.fromkeys(needs, "")), holds(of, NEUTRAL)


def _dose(table: Table) -> Iterator[Sought]:
    of, on = table.get("of", {}), table.get("on", "batch")
    holder = {"PROBE": {**_first(of), **(_one("cas", table["component"]) if "component" in table else {})}}
    strength = CAS_SHARE if "component" in table else STRENGTH[table.get("as", "supplied")]
    others = PIGMENT if on == "pigment" else BINDER if on == "binder" else []

    def sheet(dose: str, materials: dict[str, Fields], head: Fields, what: str) -> Probe:
        number, unit = dose.split()
        kg = Decimal(number) * (Decimal("0.000001") if unit == "ppm" else Decimal("0.01")) * BASES[on] / strength
        return Probe("", what, head=head, lines=[*others, f"PROBE {kg.normalize():f} kg", *FILL], materials=materials)

    base, far = _head(table.get("where", {})), ""
    for end, side in (("min", 1), ("max", 2)):
        if end in table:
            outside = half_a_digit(table[end])[side]
            yield sheet(table[end], holder, base, f"at {end} {table[end]}"), False
            yield sheet(outside, holder, base, f"half a digit outside {end} {table[end]}"), True
            far = outside
    for what, head, about in heads(table):
        if what:
            yield sheet(far, holder, head, f"{what}, half a digit outside"), about
    for what, fields in variants(of) if "component" not in table else ():
        yield sheet(far, {"PROBE": fields}, base, f"{what}, half a digit outside"), holds(of, {**NEUTRAL, **fields})


def _order(table: Table) -> Iterator[Sought]:
    first, then, quantifier = table["first"], table["then"], table.get("quantifier", "first")
    pair = {"ONE": _first(first), "OTHER": _first(then)}

    def sheet(what: str, *lines: str, materials: dict[str, Fields] = pair) -> Probe:
        return Probe("", what, lines=[*([] if what.startswith("alone") else ["FILLER 10 kg"]), *lines, *FILL], materials=materials)

    yield sheet("alone in the vessel, and out of order", "OTHER 1 kg", "ONE 1 kg"), not table.get("may_join", False)
    yield sheet("in order", "ONE 1 kg", "OTHER 1 kg"), False
    yield sheet("out of order", "OTHER 1 kg", "ONE 1 kg"), True
    yield sheet("a tenth before, the rest after", "ONE 1 kg", "OTHER 1 kg", "ONE 9 kg"), quantifier != "first"
    yield sheet("nine tenths before, the rest after", "ONE 9 kg", "OTHER 1 kg", "ONE 1 kg"), quantifier == "every"
    if quantifier == "enough":
        share = Decimal(table["share"].split()[0])
        for part, words in ((share, "the share"), (share - Decimal("0.5"), "half a digit less than the share")):
            yield sheet(f"{words} before", f"ONE {part / 10:f} kg", "OTHER 1 kg", f"ONE {10 - part / 10:f} kg"), part < share
    for side, pick, other in (("ONE", first, then), ("OTHER", then, first)):
        for what, fields in variants(pick):
            beside = _first(other)
            known = holds(pick, {**NEUTRAL, **fields}) and not holds(other, {**NEUTRAL, **fields}) and not holds(pick, {**NEUTRAL, **beside})
            materials = {side: fields, "OTHER" if side == "ONE" else "ONE": beside}
            yield sheet(f"{side}: {what}, out of order", "OTHER 1 kg", "ONE 1 kg", materials=materials), known if not holds(other, {**NEUTRAL, **fields}) else None


def _compatibility(table: Table) -> Iterator[Sought]:
    one, other = table["one"], table.get("other")
    head = _head(table.get("where", {}))
    inside = {"min": half_a_digit(table["ph"]["min"])[2]} if "min" in table.get("ph", {}) else {"max": half_a_digit(table["ph"]["max"])[1]} if "ph" in table else {}

    def sheet(what: str, ones: Fields, others: Fields | None, more: Fields = head, kg: str = "5", ph: Table = inside, wet: Sequence[str] = ()) -> Probe:
        asked: Fields = {"tests": {"ph": {"method": "ASTM E70", **ph}}} if ph else {}
        lines: list[str | Fields] = [f"ONE {kg} kg", *(["OTHER 5 kg"] if others is not None else []), *wet, *FILL]
        return Probe("", what, head={**more, **asked}, lines=lines, materials={"ONE": ones, **({"OTHER": others} if others is not None else {})})

    beside = _first(other) if other is not None else None
    for what, fields in variants(one):
        yield sheet(f"one: {what}", fields, beside), holds(one, {**NEUTRAL, **fields})
    for what, fields in variants(other or {}) if other else ():
        yield sheet(f"other: {what}", _first(one), fields), holds(other or {}, {**NEUTRAL, **fields})
    if beside is not None:
        yield sheet("one alone", _first(one), None), None
    for what, more, about in heads(table):
        if what:
            yield sheet(what, _first(one), beside, more), about
    if "least" in table:
        number, unit = table["least"].split()
        step = Decimal(1).scaleb(int(Decimal(number).as_tuple().exponent)) / 2
        share = Decimal("0.0001") if unit == "ppm" else Decimal(1)
        strength = CAS_SHARE if "component" in _first(one) else Decimal(1)
        for amount, words in ((Decimal(number), "at"), (Decimal(number) - step, "half a digit below")):
            yield sheet(f"{words} least {table['least']}", _first(one), beside, kg=f"{(amount * share / strength).normalize():f}"), words == "at"
        if strength is CAS_SHARE:  # the film is a fifth of such a paint
            kg = f"{(amount * share / strength).normalize():f}"
            yield sheet(f"half a digit below least {table['least']}, in much water", _first(one), beside, kg=kg, wet=["WATER 80 kg"]), table.get("on") == "film"
    for end, bound in table.get("ph", {}).items():
        # The sheet asks for a window of its own, from the bound on or up to it: that touches; half a digit short of it does not.
        far = half_a_digit(bound)[1 if end == "min" else 2]
        own = "max" if end == "min" else "min"
        yield sheet(f"pH asked for: {own} {bound}", _first(one), beside, ph={own: bound, end: bound}), True
        yield sheet(f"pH asked for: half a digit short of {bound}", _first(one), beside, ph={"min": far, "max": far}), False
    if "ph" in table:
        yield sheet("no pH asked for", _first(one), beside, ph={}), None


def _entry(table: Table) -> Iterator[Sought]:
    """Substances without any class, which none that is listed is; about one, other paints."""

    def sheet(what: str, cas: str, more: Fields, **said: object) -> Probe:
        component = [{"name": "stuff", "cas": cas, "share": "10 %", **said}]
        return Probe("", what, head=more, lines=["ONE 1 kg", *FILL], materials={"ONE": {"component": component}})

    head = _head(table["where"])
    for cas in table["by"]:
        yield sheet(f"by: {cas}", cas, head, hazards=[]), True
    yield sheet("a substance that is not listed", "57-55-6", head, hazards=[]), False
    yield sheet("a record without hazards", table["by"][0], head), False
    for what, more, about in heads(table):
        if what:
            yield sheet(what, table["by"][0], more, hazards=[]), about


def _presence(table: Table) -> Iterator[Sought]:
    of, needs, good = table["of"], table["needs"], table.get("except", {})
    asking: Fields = {}
    if "figure" in table:
        end = "above" if "above" in table else "below"
        bound, below, above = half_a_digit(table[end])
        asking = {table["figure"]: above if end == "above" else below}

    def sheet(what: str, head: Fields, **materials: Fields) -> Probe:
        return Probe("", what, head=head, lines=[*(f"{code} 5 kg" for code in materials), *FILL], materials=materials)

    def lacks(*materials: Fields) -> bool:
        full = [{**NEUTRAL, **one} for one in materials]
        return any(holds(of, one) for one in full) and not any(holds(needs, one) or (good and holds(good, one)) for one in full)

    base, first = _head(table.get("where", {})), {**_first(of), **asking}
    for what, fields in variants(of):
        yield sheet(f"of: {what}", base, PROBE={**fields, **asking}), lacks(fields)
    for name, pick in (("needs", needs), ("except", good)):
        for what, fields in variants(pick) if pick else ():
            yield sheet(f"{name}: {what}", base, PROBE=first, BESIDE=fields), lacks(first, fields)
    for what, head, about in heads(table):
        if what:
            yield sheet(what, head, PROBE=first), about
    if "figure" in table:
        yield sheet(f"{table['figure']} at {bound}", base, PROBE={**_first(of), table["figure"]: bound}), False


def _step(table: Table) -> Iterator[Sought]:
    if table["figure"] != "fineness" or "stages" not in table:
        return
    end = table.get("min")
    targets: list[tuple[str, str | None, bool]] = [("no word", None, table.get("said", False))] if end is None else []
    targets += [(f"at {end}", end, False), (f"half a digit below {end}", half_a_digit(end)[1], True)] if end else [("said", "4 hegman", False)]
    for what, target, speaks in targets:
        step: Fields = {"step": table["steps"][0], **({"until": {"fineness": {"min": target}}} if target else {})}
        for words, head, about in heads(table):
            yield Probe("", ", ".join(filter(None, (what, words))), head=head, lines=["WATER 40 kg", step, *FILL]), speaks and about


# ---------------------------------------------------------------- writing


def _warmth(table: Table) -> Iterator[Sought]:
    of = table["of"]

    def sheet(what: str, fields: Fields, warm: str) -> Probe:
        work: Fields = {"step": "disperse", "temperature": {"max": warm}}
        return Probe("", what, lines=["CHALK 40 kg", work, "letdown", "ONE 5 kg", *FILL], materials={"ONE": fields})

    _, short, over = half_a_digit(table["max"])
    for what, fields in variants(of):
        yield sheet(f"of: {what}", fields, over), holds(of, {**NEUTRAL, **fields})
    yield sheet(f"at {table['max']}", _first(of), table["max"]), False
    yield sheet(f"at {short}", _first(of), short), False


def made() -> Iterator[tuple[str, list[Probe]]]:
    """The probes of each pack, with what the rules say of them."""
    packs: dict[str, list[Probe]] = {}
    for rule, table in shipped_rules():
        if table["level"] in LEVELS[:2]:
            seen = set[str]()
            for probe, speaks in probes_of(rule, table):
                same = repr(replace(probe, what=""))
                if same in seen:
                    continue
                seen.add(same)
                says, fields = told(probe)
                wrong = speaks is not None and speaks != bool(says)
                if wrong:
                    raise SystemExit(f"{probe}: the table asks it to {'speak' if speaks else 'be silent'}, it says {says!r}\n{probe.files}")
                packs.setdefault(rule.partition("/")[0], []).append(replace(probe, says=says, fields=fields))
    yield from packs.items()


def shown(probe: Probe) -> str:
    """A probe as a table of its file."""
    raw = {key: inner for key in Probe.__struct_fields__ if (inner := getattr(probe, key)) not in ("", [], {})}
    return "\n".join(["[[probe]]", *(f"{key} = {value(inner)}" for key, inner in raw.items()), ""])


def main() -> None:
    """Write the probes of every pack."""
    FOLDER.mkdir(exist_ok=True)
    for pack, them in made():
        head = f"# Probes of the pack {pack}: how they are read, tests/probes.py; made by `python tests/probing.py`, and looked at in a review.\n\n"
        (FOLDER / f"{pack}.toml").write_text(head + "\n".join(map(shown, them)), encoding="utf-8")
        print(pack, len(them))


if __name__ == "__main__":
    main()
