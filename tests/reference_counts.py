"""How many printed worked examples each property meets: counted from the cases; ``python tests/reference_counts.py`` writes them down.

An example is counted once, however often it is tried: by the law alone, or as a formula by the command.
"""

from __future__ import annotations

from pathlib import Path

from science_cases import CASES, LAWS
from test_published import BOOKS, FIGURES
from test_published import CASES as PAINTS

from formulint.properties import BY_ID, PROPERTIES

FILE = Path(__file__).parent.parent / "rules" / "reference.toml"
HEAD = """\
# Printed worked examples that each property meets, and misprints among them that were found not to agree.
# Counted from tests/cases/science and tests/published by `python tests/reference_counts.py`; a test counts them anew.
# A property that is not listed rests on none: what it says was worked out by hand.
"""
Printed = tuple[str, str]  # where it stands, and the figure


def by_law() -> dict[str, dict[Printed, bool]]:
    """Printed figures that laws of properties were held against, and whether the print is right; by the name of the law."""
    found: dict[str, dict[Printed, bool]] = {}
    for case in CASES.values():
        if case["evidence"] == "published" and "expect" in case:
            figure = str(case["expect"]).split()[0].rstrip("0").rstrip(".")
            found.setdefault(str(case["function"]), {})[str(case.get("url", case["source"])), figure] = bool(case.get("agrees", True))
    return found


def by_property() -> dict[str, dict[Printed, bool]]:
    """The same for figures that the command was held against; by property."""
    found: dict[str, dict[Printed, bool]] = {}
    for code, one in FIGURES.values():
        book, paint = PAINTS[code]
        name = one.measure.partition(".")[0]
        if name in BY_ID and BOOKS[book].evidence == "published":
            figure = one.printed.split()[0].rstrip("0").rstrip(".")
            found.setdefault(name, {})[paint.url, figure] = one.closes
    return found


def counts() -> dict[str, tuple[int, int]]:
    """Examples met and misprints found, by property."""
    laws, paints = by_law(), by_property()
    found = {}
    for one in PROPERTIES:
        assert one.law.__name__ in LAWS
        printed = {**laws.get(one.law.__name__, {}), **paints.get(one.id, {})} if not (one.state or one.instead) else {}
        right = sum(printed.values())
        if printed:
            found[one.id] = (right, len(printed) - right)
    return found


def text() -> str:
    """The data file."""
    tables = [f'[[met]]\nproperty = "{name}"\npublished = {right}\nmisprints = {wrong}\n' for name, (right, wrong) in counts().items()]
    return HEAD + "\n" + "\n".join(tables)


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
