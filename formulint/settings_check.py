"""What must hold inside the settings beyond the shape of their table: packs, rules and folders that exist."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from formulint import __version__
from formulint.finding import Fault, Place
from formulint.settings import Settings
from formulint.suggest import closest

Named = tuple[str, Fault]  # id of the rule that is broken, and the fault


def of_settings(settings: Settings, path: str, versions: Mapping[str, str], rules: frozenset[str]) -> Iterator[Named]:
    """All faults of the settings, each with the rule it breaks.

    ``versions`` are the packs that the tool carries, ``rules`` the ids of all rules there are.
    """
    yield from _packs(settings, path, versions)
    yield from _rules(settings, path, rules)
    yield from _folders(settings, path)
    if settings.requires and not _met(settings.requires):
        words = f"the settings ask for formulint {settings.requires}; this is {__version__}"
        remedy = "use the version asked for" if settings.requires.startswith(">=") else 'write requires = ">=0.1" in this form'
        yield "record/tool-version", Fault(Place(path, ("requires",)), words, remedy)


def _packs(settings: Settings, path: str, versions: Mapping[str, str]) -> Iterator[Named]:
    for pack, version in settings.packs.items():
        place = Place(path, ("packs", pack))
        if pack not in versions:
            yield "record/known-pack", Fault(place, f'there is no pack "{pack}"', _hint(pack, versions))
        elif versions[pack] != version:
            words = f"the settings ask for {pack} {version}, this tool carries {versions[pack]}"
            yield "record/known-pack", Fault(place, words, "change the pin with its own review, or use the tool that carries it")


def _rules(settings: Settings, path: str, rules: frozenset[str]) -> Iterator[Named]:
    for at, one in enumerate(settings.rule_setting):
        place = Place(path, ("rule_setting", at, "rule"))
        if one.rule.startswith("unsafe/"):
            yield "record/consistent", Fault(place, f"{one.rule} cannot be given another level", "take the setting out")
        elif one.rule not in rules:
            yield "record/known-rule", Fault(place, f'there is no rule "{one.rule}"', _hint(one.rule, rules))
    for at, rule in enumerate(settings.confirmed):
        if rule not in rules:
            yield "record/known-rule", Fault(Place(path, ("confirmed", at)), f'there is no rule "{rule}"', _hint(rule, rules))


def _folders(settings: Settings, path: str) -> Iterator[Named]:
    for name in settings.folders.__struct_fields__:
        folder = getattr(settings.folders, name)
        parts = folder.split("/")
        if not folder or "\\" in folder or any(part in ("", ".", "..") or part.casefold() == ".git" for part in parts):
            words = f'the folder "{folder}" does not lie plainly below the root'
            yield "record/consistent", Fault(Place(path, ("folders", name)), words, f'write a relative folder such as "{name}"')


def _hint(word: str, known: Iterable[str]) -> str:
    names = sorted(known)
    pack = word.split("/")[0] + "/"
    near = closest(word, [name for name in names if name.startswith(pack)] or names)
    return f"did you mean {near}?" if near else "known: " + ", ".join(names[:12]) + (" ..." if len(names) > 12 else "")


def _met(requires: str) -> bool:
    """True where this version is at least the one asked for; anything but ``>=X.Y`` is not understood, and not met."""
    numbers = requires.removeprefix(">=").strip().split(".")
    if not requires.startswith(">=") or not all(part.isdigit() for part in numbers):
        return False
    own = tuple(int(part) for part in __version__.split("."))
    return own >= tuple(int(part) for part in numbers)
