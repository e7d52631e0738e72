"""What must hold inside the settings beyond the shape of their table: packs, rules and folders that exist."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import permutations

from formulint import __version__
from formulint.catalog import SETTINGS_FILE, Catalog
from formulint.errors import UserError
from formulint.finding import Fault, Mark, Place
from formulint.settings import Settings
from formulint.suggest import closest

FIXED = ("unsafe/", "record/", "own-limit/")  # what is unsafe, cannot be read, or is asked by the sheet itself
Named = tuple[str, Fault]  # id of the rule that is broken, and the fault


def of_settings(settings: Settings, path: str, versions: Mapping[str, str], rules: frozenset[str]) -> Iterator[Named]:
    """All faults of the settings, each with the rule it breaks.

    ``versions`` are the packs that the tool carries, ``rules`` the ids of all rules there are.
    """
    yield from _packs(settings, path, versions)
    yield from _rules(settings, path, rules)
    yield from _folders(settings, path)
    yield from _figures(settings, path)
    yield from _scatter(settings, path)
    if settings.requires and not _met(settings.requires):
        words = f"the settings ask for formulint {settings.requires}; this is {__version__}"
        remedy = "use the version asked for" if settings.requires.startswith(">=") else 'write requires = ">=0.1" in this form'
        yield "record/tool-version", Fault(Place(path, ("requires",)), words, remedy)


def _packs(settings: Settings, path: str, versions: Mapping[str, str]) -> Iterator[Named]:
    for pack, version in settings.packs.items():
        place = Place(path, ("packs", pack))
        if pack not in versions:
            yield "record/known-pack", Fault(place, f'there is no pack "{pack}"', hint(pack, versions))
        elif versions[pack] != version:
            words = f"the settings ask for {pack} {version}, this tool carries {versions[pack]}"
            yield "record/known-pack", Fault(place, words, "change the pin with its own review, or use the tool that carries it")


def _rules(settings: Settings, path: str, rules: frozenset[str]) -> Iterator[Named]:
    seen: dict[str, Place] = {}
    for at, one in enumerate(settings.rule_setting):
        place = Place(path, ("rule_setting", at, "rule"))
        if one.rule in seen:
            words = f"{one.rule} is given a level twice"
            yield "record/consistent", Fault(place, words, "keep one of the two", related=(seen[one.rule],))
        seen.setdefault(one.rule, place)
        if one.rule.startswith(FIXED):
            yield "record/consistent", Fault(place, f"{one.rule} cannot be given another level", "take the setting out")
        elif one.rule not in rules:
            yield "record/known-rule", Fault(place, f'there is no rule "{one.rule}"', hint(one.rule, rules))
    for at, rule in enumerate(settings.confirmed):
        if rule not in rules:
            yield "record/known-rule", Fault(Place(path, ("confirmed", at)), f'there is no rule "{rule}"', hint(rule, rules))


def _folders(settings: Settings, path: str) -> Iterator[Named]:
    for name in settings.folders.__struct_fields__:
        folder = getattr(settings.folders, name)
        parts = folder.split("/")
        if not folder or "\\" in folder or any(part in ("", ".", "..") or part.casefold() == ".git" for part in parts):
            words = f'the folder "{folder}" does not lie plainly below the root'
            yield "record/consistent", Fault(Place(path, ("folders", name)), words, f'write a relative folder such as "{name}"')
    for name, other in permutations(settings.folders.__struct_fields__, 2):
        inner, outer = (getattr(settings.folders, one).casefold().strip("/") + "/" for one in (name, other))
        if inner.startswith(outer) and (inner != outer or name < other):
            words = f"the folder of {name} lies in the folder of {other}: each file would be read as both"
            yield "record/consistent", Fault(Place(path, ("folders", name)), words, "give each kind of record a folder of its own")


def _figures(settings: Settings, path: str) -> Iterator[Named]:
    """Figures by which every formula is judged: one number each, because no verdict may hang on which end is taken."""
    for name in ("water_density", "closure"):
        figure = getattr(settings, name)
        words = name.replace("_", " ")
        if figure is None:
            continue
        if not figure.known:
            fault = Fault(Place(path, (name,)), f"the {words} is a range, {figure.text}: every formula is judged by one figure", "write one of the two ends")
            yield "record/consistent", fault
        elif figure.lo.negative or (name == "water_density" and figure.base == 0.0):
            yield "record/consistent", Fault(Place(path, (name,)), f"a {words} of {figure.text} cannot be", f'write it as "{figure.example}"')


def _scatter(settings: Settings, path: str) -> Iterator[Named]:
    """Figures of the lab for how far results scatter."""
    if settings.repeatability:
        from formulint.repeatability import misread  # few houses give any

        for test, own in settings.repeatability.items():
            wrong = misread(test, own)
            if wrong is not None:
                yield "record/consistent", Fault(Place(path, ("repeatability", test)), wrong.message, wrong.remedy)


def hint(word: str, known: Iterable[str]) -> str:
    """What helps where a rule or a pack is named that is not there: the one that was probably meant, or those there are."""
    names = sorted(known)
    start, _, rest = word.rpartition("/")
    bare = [name for name in names if word and not start and name.rpartition("/")[2] == word]
    if bare:  # the rule without its pack
        return f"did you mean {' or '.join(bare)}?"
    same = [name for name in names if start and name.startswith(start + "/")] or names
    near = closest(word, names) if same is names else closest(rest, [name.removeprefix(start + "/") for name in same])
    if near:
        return f"did you mean {near if same is names else f'{start}/{near}'}?"
    if same is names and "/" in word:
        return "rules are named pack/rule; packs: " + ", ".join(dict.fromkeys(name.split("/")[0] for name in names))
    return "known: " + ", ".join(same[:12]) + (" ..." if len(same) > 12 else "")


def _met(requires: str) -> bool:
    """True where this version is at least the one asked for; anything but ``>=X.Y`` is not understood, and not met."""
    numbers = requires.removeprefix(">=").strip().split(".")
    if not requires.startswith(">=") or not all(part.isdecimal() and part.isascii() and len(part) < 6 for part in numbers):
        return False
    own = tuple(int(part) for part in __version__.split(".") if part.isdecimal())
    return own >= tuple(int(part) for part in numbers)


def require_settings(catalog: Catalog) -> None:
    """Refuse to go on where the settings cannot be read: without them nothing can be judged rightly.

    Raises
    ------
    UserError
    """
    file = catalog.settings_file
    if file.record is None:
        fault = file.faults[0] if file.faults else None
        words = fault.message if fault is not None else "it is not there"
        mark = catalog.locate(fault.place) if fault is not None else Mark(SETTINGS_FILE)
        raise UserError(f"{SETTINGS_FILE}, line {mark.line}: {words}", fault.remedy if fault is not None else "")
