"""What is said of codes that name nothing, and of files that are not called by their code."""

from __future__ import annotations

import re
from collections.abc import Sequence

from formulint.catalog import Catalog, stem
from formulint.finding import Fault, Place
from formulint.suggest import similar

CODE = re.compile("[A-Za-z0-9]+(-[A-Za-z0-9]+)*")
"""What a code may be: a file called "T-140 copy" has none."""


def misnamed(name: str, code: str, twins: Sequence[str]) -> Fault:
    """A file that is not called by its code; ``twins`` are the files that have the code rightly, so that this one is a copy of theirs."""
    called = stem(name)
    words = f'the file is called {called}, the code in it is "{code}"'
    other = f'write code = "{called}"' if CODE.fullmatch(called) else ""
    if not twins:
        remedy = f"rename the file to {code}.toml" + (f", or {other}" if other else "")
        return Fault(Place(name, ("code",)), words, remedy)
    own = other or "write a code of its own, and rename the file to that"
    return Fault(Place(name, ("code",)), f"{words}, which is that of {twins[0]}", f"if it is a copy to begin another with, {own}; else delete it")


def unknown(catalog: Catalog, code: str, place: Place, guess: bool) -> Fault:
    """A code that no file has, with the one that was probably meant and its name, so that nobody takes an amine for a dispersant."""
    near = _near(catalog, code) if guess else None
    folder = catalog.settings.folders.materials
    remedy = f"add {folder}/{code}.toml to the repository"
    if near is not None:
        remedy = f"did you mean {near}? Else {folder}/{code}.toml is missing: bring it back, or add it"
    state = "lie here" if catalog.snapshot.repository is None else "git knows here"
    return Fault(place, f'there is no material "{code}" among those that {state}', remedy)


def _near(catalog: Catalog, code: str) -> str | None:
    """The code that was probably meant, with its name where its file can be read."""
    found = similar(code, [stem(name) for name in (*catalog.material_files(), *catalog.formula_files())])
    if found is None:
        return None
    file = catalog.find_material(found) or catalog.find_formula(found)
    return f"{found} ({file.record.name})" if file is not None and file.record is not None else found
