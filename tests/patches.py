"""The patches of ``example_repo/story``: their changes made from the edits of ``story.py``, their words kept.

``python tests/patches.py`` writes them anew, after the files of the example changed; ``test_demo.py`` compares.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import tomli
from repos import Repo, build
from story import EXAMPLE, STEPS, Step, amount, edited, raised, replace

STORY = EXAMPLE / "story"
SCREENPLAY = tomli.loads((STORY / "story.toml").read_text(encoding="utf-8"))

IN_KILOGRAMS = (
    raised,
    amount("RM-1302", "177 kg", "190.3 kg", "RM-1307"),
    replace('"RM-1001", amount = "48.3 kg"', '"RM-1001", amount = "35.0 kg"'),
)
"""Step 14 where the sheet is in kilograms already: the same solids, and water to make room."""

THINNER = (amount("RM-1603", "12.0 lb", "11.0 lb"), replace('amount = "149.9 lb"', 'amount = "150.9 lb"'))
"""Steps 17 and 18: less low-shear thickener, and water in its room."""

CLOSURE = 'closure       = "0.5 %"          # a batch of 100 gal is right from 99.5 to 100.5\n'
STATED = 'approvals     = "stated"         # nobody has a key yet: names are taken as written\n'

EDITS: dict[str, Step] = {
    **STEPS,
    "14": STEPS["14"]._replace(edits={**STEPS["14"].edits, "T-210": IN_KILOGRAMS}),
    "15-approvals-stated": Step("", "", {"formulint": (replace(CLOSURE, CLOSURE + STATED),)}),
    "17": Step("", "", {"T-140": THINNER}),
    "18": Step("", "", {"T-140": (raised, *THINNER)}),
    "glycol-back": Step("", "", {"T-120": (raised, amount("RM-1010", "6.0 lb", "5.0 lb"))}),
}


WHOLE = ("commits/00-import.patch", "release/16-t140-record-3.patch", "release/19-t140-record-4.patch")
"""Patches without a change: what the example or a release wrote is recorded."""


class Patch(NamedTuple):
    """A patch: its name below the folder of the story, its file as it is, and as its edits make it."""

    name: str
    written: str
    made: str

    @property
    def number(self) -> str:
        """Which step it is."""
        return re.sub(r"-t\d.*", "", Path(self.name).stem).lstrip("0")


def words(text: str) -> str:
    """Everything in a patch but its change."""
    return re.split(r"^---\n", text, maxsplit=1, flags=re.MULTILINE)[0]


def change(repo: Repo, number: str) -> str:
    """Stage a step, and what git says changed by it."""
    repo.stage(edited(repo, EDITS[number]))
    return repo.git("diff", "--cached", "--full-index", "HEAD") + "\n"


def patches(folder: Path) -> Iterator[Patch]:
    """Every patch in the order of the story, each on what the ones before it left."""
    repo = build(folder)
    repo.commit("import", {path.relative_to(EXAMPLE).as_posix(): path.read_bytes() for path in EXAMPLE.rglob("*.toml") if STORY not in path.parents})
    for step in SCREENPLAY["step"]:
        name = step.get("commit") or step.get("attempt")
        if "branch" in step:
            repo.git("switch", "-q", *([step["branch"]] if repo.git("branch", "--list", step["branch"]) else ["-c", step["branch"], "main"]))
        elif "merge" in step:
            repo.git("merge", "-q", "--ff-only", step["merge"])
        elif "take" in step:
            repo.git("merge", "-q", "--no-edit", step["take"])
        elif name and name not in WHOLE:
            written = (STORY / name).read_text(encoding="utf-8")
            patch = Patch(name, written, "")
            yield patch._replace(made=f"{words(written)}---\n{change(repo, patch.number)}")
            repo.git(*(("reset", "-q", "--hard") if "attempt" in step else ("commit", "-q", "-m", name)))


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        for one in list(patches(Path(place))):
            (STORY / one.name).write_text(one.made, encoding="utf-8")
