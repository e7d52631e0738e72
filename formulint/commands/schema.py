"""``formulint schema``: the format of a record as JSON Schema, for editors that complete and check while typing."""

from __future__ import annotations

from types import SimpleNamespace

from formulint.commands.states import put
from formulint.concession import Concession
from formulint.equipment import Equipment
from formulint.errors import UserError
from formulint.formula import Formula
from formulint.kinds import KINDS
from formulint.material import Material
from formulint.options import Option
from formulint.result import Results
from formulint.settings import Settings
from formulint.shape import schema

RECORDS = {
    "formula": Formula, "material": Material, "equipment": Equipment, "results": Results, "settings": Settings, "concession": Concession,
    **{f"rule-{kind}": KINDS[kind] for kind in KINDS},
}  # fmt: skip

OPTIONS = (
    Option("record", "formula, material, equipment, results, settings, concession, or rule- and a kind such as rule-dose", "RECORD"),
    Option("--output", "write it to this file instead of the screen", "FILE"),
)


def run(options: SimpleNamespace) -> int:
    """Print the schema of one record."""
    import json

    if options.record not in RECORDS:
        raise UserError(f'there is no record "{options.record or ""}"', "one of: " + ", ".join(RECORDS))
    put(options, json.dumps(schema(RECORDS[options.record]), indent=1, ensure_ascii=False) + "\n")
    return 0
