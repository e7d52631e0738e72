"""The list of old findings of a house that began with a repository in disorder: what stood on a day, and may stand."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Annotated, Literal

from msgspec import Meta, Struct, convert

from formulint.material import Code

STANDING_FILE = "standing.toml"
"""Its name, in the root."""
NEVER = ("record/", "unsafe/", "concession/", "standing/", "proposal/", "change/", "approval/", "release/")
"""Rules whose findings are never on the list: what cannot be read, what hurts somebody, what is about the change itself or about what was signed."""
HEAD = """\
# What was found on {day} and may stand until it is mended: only what is new stops. Written by: formulint standing
# Nobody adds a line by hand. What is mended is taken out by the same command. up_to is how far off the value was.
"""
Kept = Literal["fail", "open", "review"]


class Old(Struct, frozen=True, forbid_unknown_fields=True):
    """Findings that stood: so many of one rule about one record, of one kind, about one thing in it.

    ``up_to`` is how far off a measured value was; what is worse counts.
    """

    rule: str
    about: str
    kind: Kept
    count: Annotated[int, Meta(ge=1)] = 1
    formula: Code | None = None
    material: Code | None = None
    up_to: str | None = None

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What the same finding has on every day: rule, record, kind, and what it speaks of."""
        return self.rule, self.formula or self.material or "", self.kind, self.about

    def order(self) -> tuple[str, str, str, str]:
        """By what the list is sorted: record, rule, what it is about, kind."""
        return self.formula or self.material or "", self.rule, self.about, self.kind


class Standing(Struct, frozen=True, forbid_unknown_fields=True):
    """The list, with the day on which it was begun."""

    format: Literal[1]
    day: date
    finding: tuple[Old, ...] = ()


def written(day: date, findings: Iterable[Old]) -> str:
    """The text of the list, sorted, so that two branches that take lines out can be merged."""
    parts = [HEAD.format(day=day), f"format = 1\nday = {day}\n"]
    parts += [_table(one) for one in sorted(findings, key=Old.order)]
    return "\n".join(parts)


def thinned(text: str, kept: Iterable[Old]) -> str:
    """The text of a list without what is no longer on it, and with counts and values as they are now.

    All else stays as people wrote it: remarks in a finding and behind its values, their order, their ends of lines. A remark
    above a finding counts as the end of the one before, and goes with that.
    """
    import tomlkit  # where a list is thinned, and nowhere else

    rest = {one.key: one for one in kept}
    document = tomlkit.parse(text)
    tables = document.get("finding", [])
    gone = []
    for at, table in enumerate(tables):
        one = rest.pop(convert(table.unwrap(), Old).key, None)
        if one is None:
            gone.append(at)
            continue
        for name, value in (("up_to", one.up_to), ("count", one.count if one.count > 1 else None)):
            if value is None:
                table.pop(name, None)
            elif table.get(name) != value:
                table[name] = value
    for at in reversed(gone):
        del tables[at]
    if not tables:
        document.pop("finding", None)
    return tomlkit.dumps(document)


def _table(one: Old) -> str:
    record = ("formula", one.formula) if one.formula else ("material", one.material)
    fields = [("rule", one.rule), record, ("about", one.about), ("kind", one.kind)]
    fields += [("up_to", one.up_to)] if one.up_to else []
    lines = ["[[finding]]", *(f"{key} = {in_toml(value or '')}" for key, value in fields)]
    return "\n".join([*lines, *([f"count = {one.count}"] if one.count > 1 else [])]) + "\n"


def in_toml(value: str) -> str:
    """A text as it stands in TOML, by the escapes of the standard; what is no letter is escaped too."""
    plain = value.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(one if one.isprintable() else f"\\U{ord(one):08x}" for one in plain) + '"'
