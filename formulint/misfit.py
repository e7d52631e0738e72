"""Every way in which a table of a file does not fit the record it should be.

``msgspec.convert`` stops at the first fault; this walks the whole table along the same declaration and goes on. It runs
only where ``convert`` has refused, and must refuse exactly what ``convert`` refuses.
"""

from __future__ import annotations

import re
from datetime import date, datetime
from functools import lru_cache

from msgspec import inspect

from formulint.errors import Misread
from formulint.figure import describe
from formulint.finding import Fault, KeyPath, Place
from formulint.positions import DEPTH
from formulint.readable import reads_itself
from formulint.suggest import closest

MOST = 100
"""Faults listed for one record: enough to work on, and an end for a file of rubbish."""

PATTERNS = {
    "^[A-Za-z0-9]+(-[A-Za-z0-9]+)*$": "only letters, digits and single hyphens between them",
    "^[a-z0-9]+(-[a-z0-9]+)*$": "only small letters, digits and single hyphens between them",
    "^[A-Z]{3}$": "exactly three capital letters",
    **{f"^{kind}1:[0-9a-f]{{64}}$": f"{kind}1: and 64 digits and letters a to f, as formulint results prints them" for kind in "cdm"},
    "^([0-9A-Fa-f]{40}|[0-9A-Fa-f]{64})$": "40 or 64 digits and letters a to f, as gpg --fingerprint prints them, without blanks",
}
"""What the patterns of the declarations mean, in words."""


def misfits(raw: object, record: type, path: str, keys: KeyPath, refusal: Exception) -> tuple[Fault, ...]:
    """All faults of a table; never empty.

    Parameters
    ----------
    raw : object
        The table as the parser gave it.
    record : type
        The Struct that it should be.
    path, keys : str, tuple
        File and key path of the table.
    refusal : Exception
        What ``convert`` said; reported where the walk finds nothing.
    """
    walk = _Walk(path, keys, record)
    walk.value(raw, _declaration(record), keys)
    return tuple(walk.found) or (_as_convert_says(refusal, path, keys),)


@lru_cache(maxsize=64)
def _declaration(record: type) -> inspect.Type:
    return inspect.type_info(record)


class _Walk:
    """Collects the faults of one table."""

    def __init__(self, path: str, base: KeyPath, record: type) -> None:
        self.path = path
        self.base = base
        self.record = record
        self.found: list[Fault] = []
        self.astray: set[str] = set()

    def fault(self, keys: KeyPath, message: str, remedy: str = "") -> None:
        """Note a fault, up to the number that is listed."""
        if len(self.found) < MOST:
            self.found.append(Fault(Place(self.path, keys), _clip(message, 300), _clip(remedy, 1000)))
        elif len(self.found) == MOST:
            self.found.append(Fault(Place(self.path, self.base), "more faults follow; they show when these are mended"))

    def full(self) -> bool:
        """True when no more faults are listed, so that none need be looked for."""
        return len(self.found) > MOST

    def wrong(self, keys: KeyPath, what: str, remedy: str = "") -> None:
        """Note a fault of a value, with the name of its field in front."""
        self.fault(keys, f"{self.field(keys)}: {what}", remedy)

    def field(self, keys: KeyPath) -> str:
        """The field that a person would name: the nearest key that is a word."""
        words = (key for key in reversed(keys[len(self.base) :]) if isinstance(key, str))
        return _clip(next(words, _noun(self.record)), 40)

    def value(self, raw: object, kind: inspect.Type, keys: KeyPath, hint: str = "") -> None:
        """Judge a value by its declared type; ``hint`` is an example that the declaration gives."""
        if self.full():
            return
        if len(keys) > DEPTH:
            self.wrong(keys, "tables stand inside tables, deeper than in any record", "write it flatter")
        elif isinstance(kind, inspect.Metadata):
            self.value(raw, kind.type, keys, _hint(kind))
        elif isinstance(kind, inspect.UnionType):
            self.union(raw, kind, keys)
        elif isinstance(kind, inspect.StructType):
            self.struct(raw, kind, keys)
        elif isinstance(kind, inspect.CustomType):
            self.readable(raw, kind.cls, keys)
        elif isinstance(kind, inspect.DictType):
            self.mapping(raw, kind, keys)
        elif isinstance(kind, inspect.CollectionType):
            self.listed(raw, kind, keys)
        else:
            self.scalar(raw, kind, keys, hint)

    def union(self, raw: object, kind: inspect.UnionType, keys: KeyPath) -> None:
        """Judge by each of several types; the complaint with the fewest faults is the one meant."""
        trials = []
        for one in kind.types:
            if not isinstance(one, inspect.NoneType):
                trial = _Walk(self.path, self.base, self.record)
                trial.value(raw, one, keys)
                trials.append(trial)
        best = min(trials, key=lambda trial: len(trial.found))
        for fault in best.found:
            self.fault(fault.place.keys, fault.message, fault.remedy)
        self.astray |= best.astray

    def struct(self, raw: object, kind: inspect.StructType, keys: KeyPath) -> None:
        """Judge a table by the fields of a Struct."""
        if not isinstance(raw, dict):
            self.wrong(keys, f"expected a table, got {_got(raw)}", self.brackets(raw, keys))
            if isinstance(raw, list) and len(raw) == 1 and isinstance(raw[0], dict):
                self.struct(raw[0], kind, (*keys, 0))
            return
        fields = {field.encode_name: field for field in kind.fields}
        absent = [name for name in fields if name not in raw]
        for key, inner in raw.items():
            if self.full():
                return
            if key in fields:
                self.value(inner, fields[key].type, (*keys, key))
            elif key == kind.tag_field:
                self.choice(inner, (kind.tag,), (*keys, key))
            elif kind.forbid_unknown_fields:
                meant = self.unknown(key, kind.cls, absent, keys)
                if meant is not None:
                    absent.remove(meant)
                    self.value(inner, fields[meant].type, (*keys, key))
        for name in absent:
            if fields[name].required and not (keys == self.base and name in self.astray):
                self.lacks(name, _example(fields[name].type), kind.cls, keys)

    def unknown(self, key: str, cls: type, absent: list[str], keys: KeyPath) -> str | None:
        """Note a key that is no field; the absent field that was meant, where one is close enough."""
        meant = closest(key, absent)
        message = f'"{_clip(key, 40)}" is not a field of {_this(cls)}'
        if meant is not None:
            self.fault((*keys, key), message, f'did you mean "{meant}"?')
        elif not self.stray(key, message, keys):
            self.fault((*keys, key), message, "what can stand here: " + ", ".join(absent) if absent else "delete it")
        return meant

    def stray(self, key: str, message: str, keys: KeyPath) -> bool:
        """Note a field of the record itself that has slipped into a table inside it; False if it is none."""
        if keys == self.base or all(key != field.encode_name for field in _fields(self.record)):
            return False
        self.astray.add(key)
        remedy = f'"{key}" belongs to {_this(self.record)} itself: write it above the first line in square brackets'
        self.fault((*keys, key), message, remedy)
        return True

    def lacks(self, name: str, example: str, cls: type, keys: KeyPath) -> None:
        """Note a field that must be there and is not."""
        self.fault(keys, f'"{name}" is missing in {_this(cls)}', f"add {name} = {example}")

    def brackets(self, raw: object, keys: KeyPath) -> str:
        """What to write where a table is wanted."""
        name = self.field(keys)
        if isinstance(raw, list) and len(raw) == 1 and isinstance(raw[0], dict):
            return f"write [{name}], in single square brackets"
        return f"write {name} = {{ ... }}" if keys and isinstance(keys[-1], str) else "write { ... }"

    def readable(self, raw: object, cls: type, keys: KeyPath) -> None:
        """Judge a value by the type that reads it."""
        try:
            if reads_itself(cls):
                cls.read(raw)
        except Misread as error:
            self.wrong((*keys, *error.at), error.message, error.remedy)
        except ValueError:
            self.wrong(keys, f"cannot be read: {_got(raw)}")

    def mapping(self, raw: object, kind: inspect.DictType, keys: KeyPath) -> None:
        """Judge a table whose keys are not fields but, say, names of tests."""
        if not isinstance(raw, dict):
            self.wrong(keys, f"expected a table, got {_got(raw)}", self.brackets(raw, keys))
            return
        self.length(raw, kind.min_length, kind.max_length, keys)
        for key, inner in raw.items():
            if self.full():
                return
            if isinstance(kind.key_type, inspect.LiteralType):
                if not self.word(key, [str(word) for word in kind.key_type.values], keys):
                    continue
            else:
                self.value(key, kind.key_type, (*keys, key))
            self.value(inner, kind.value_type, (*keys, key))

    def word(self, key: str, words: list[str], keys: KeyPath) -> bool:
        """Judge a key that is a word of a closed list; False if it has come from elsewhere, with its value."""
        astray = key not in words and closest(key, words) is None
        if astray and self.stray(key, f'"{_clip(key, 40)}" is not known in {self.field(keys)}', keys):
            return False
        self.choice(key, tuple(words), (*keys, key), self.field(keys))
        return True

    def listed(self, raw: object, kind: inspect.CollectionType, keys: KeyPath) -> None:
        """Judge a list and each of its entries."""
        if not isinstance(raw, list):
            name = self.field(keys)
            remedy = f"write {name} = [{_quoted(raw)}]"
            if isinstance(raw, dict):
                remedy = f"write [[{name}]], in double square brackets"
            self.wrong(keys, f"expected a list, got {_got(raw)}", remedy)
            self.value(raw, kind.item_type, keys)
            return
        self.length(raw, kind.min_length, kind.max_length, keys)
        for number, inner in enumerate(raw):
            self.value(inner, kind.item_type, (*keys, number))

    def length(self, raw: list[object] | dict[str, object], least: int | None, most: int | None, keys: KeyPath) -> None:
        """Judge the number of entries."""
        if least is not None and len(raw) < least:
            what = f"only {len(raw)} listed" if raw else "nothing is listed"
            self.wrong(keys, what, f"at least {least} is needed")
        if most is not None and len(raw) > most:
            self.wrong(keys, f"{len(raw)} are listed", f"at most {most} can be")

    def scalar(self, raw: object, kind: inspect.Type, keys: KeyPath, hint: str) -> None:
        """Judge a single value."""
        if isinstance(kind, inspect.LiteralType):
            self.choice(raw, kind.values, keys)
        elif isinstance(kind, inspect.StrType):
            self.text(raw, kind, keys, hint)
        elif isinstance(kind, inspect.IntType):
            self.integer(raw, kind, keys)
        elif isinstance(kind, inspect.BoolType):
            if not isinstance(raw, bool):
                self.wrong(keys, f"expected true or false, got {_got(raw)}", "write true or false, without quotes")
        elif isinstance(kind, inspect.DateType) and (not isinstance(raw, date) or isinstance(raw, datetime)):
            remedy = f"write year-month-day without quotation marks: {self.field(keys)} = 2026-01-05"
            self.wrong(keys, f"expected a date, got {_got(raw)}", remedy)

    def choice(self, raw: object, words: tuple[str | int | None, ...], keys: KeyPath, where: str = "") -> None:
        """Judge a word of a closed list."""
        if any(type(word) is type(raw) and word == raw for word in words):
            return
        listed = ", ".join(str(word) for word in words)
        near = closest(raw, [word for word in words if isinstance(word, str)]) if isinstance(raw, str) else None
        remedy = f'did you mean "{near}"? ' if near is not None else ""
        if near is None or len(words) <= 12:
            remedy += f"one of: {listed}" if len(words) > 1 else f"write {_written(words[0])}"
        written = _quoted(raw) if isinstance(raw, str) else _got(raw)
        self.fault(keys, f"{where or self.field(keys)}: {written} is not known here", remedy.strip())

    def text(self, raw: object, kind: inspect.StrType, keys: KeyPath, hint: str) -> None:
        """Judge a text."""
        example = f", such as {hint}" if hint else ""
        if not isinstance(raw, str):
            written = example or f": {self.field(keys)} = {_quoted(raw)}"
            self.wrong(keys, f"expected text, got {_got(raw)}", f"put it in quotation marks{written}")
            return
        if kind.min_length is not None and len(raw) < kind.min_length:
            self.wrong(keys, "the text is empty" if not raw else f'"{raw}" is too short', f"write what it is{example}")
        if kind.max_length is not None and len(raw) > kind.max_length:
            self.wrong(keys, f"the text has {len(raw)} characters", f"at most {kind.max_length} can be")
        if kind.pattern is not None and re.search(kind.pattern, raw) is None:
            rule = PATTERNS.get(kind.pattern, f"it must match {kind.pattern}")
            self.wrong(keys, f'"{_clip(raw, 60)}" cannot be used', rule + example)

    def integer(self, raw: object, kind: inspect.IntType, keys: KeyPath) -> None:
        """Judge a whole number."""
        if not isinstance(raw, int) or isinstance(raw, bool):
            digits = raw if isinstance(raw, str) and raw.isdecimal() else "1"
            remedy = f"write it without quotation marks: {self.field(keys)} = {_clip(digits, 20)}"
            self.wrong(keys, f"expected a whole number, got {_got(raw)}", remedy)
        elif kind.ge is not None and raw < kind.ge:
            self.wrong(keys, f"{_got(raw)} is too small", f"{kind.ge} is the smallest")
        elif kind.le is not None and raw > kind.le:
            self.wrong(keys, f"{_got(raw)} is too large", f"{kind.le} is the largest")


def _fields(record: type) -> tuple[inspect.Field, ...]:
    declared = _declaration(record)
    return declared.fields if isinstance(declared, inspect.StructType) else ()


def _hint(kind: inspect.Metadata) -> str:
    examples = (kind.extra_json_schema or {}).get("examples")
    return _written(examples[0]) if examples else ""


def _example(kind: inspect.Type) -> str:
    """A value of the type as it is written in a file."""
    if isinstance(kind, inspect.Metadata):
        return _hint(kind) or _example(kind.type)
    if isinstance(kind, inspect.UnionType):
        return _example(kind.types[0])
    if isinstance(kind, inspect.CustomType):
        return _written(getattr(kind.cls, "example", "..."))
    if isinstance(kind, inspect.LiteralType):
        return _written(kind.values[0])
    if isinstance(kind, inspect.IntType):
        return str(kind.ge or 1)
    if isinstance(kind, inspect.DateType):
        return "2026-01-05"
    if isinstance(kind, inspect.BoolType):
        return "true"
    if isinstance(kind, inspect.CollectionType):
        return f"[{_example(kind.item_type)}]"
    return "{ ... }" if isinstance(kind, inspect.StructType | inspect.DictType) else '"..."'


def _written(raw: object) -> str:
    return _quoted(raw) if isinstance(raw, str) else _clip(str(raw), 40)


def _quoted(raw: object) -> str:
    return '"..."' if _is_long(raw) else f'"{_clip(str(raw), 40)}"'


def _is_long(raw: object) -> bool:
    """True for what is not written out: a list, a table, a whole number of more than sixty digits."""
    return isinstance(raw, list | dict) or (isinstance(raw, int) and raw.bit_length() > 200)


def _got(raw: object) -> str:
    """What was written instead; Python itself refuses to print numbers of some thousand digits."""
    return "a number of very many digits" if isinstance(raw, int) and _is_long(raw) else describe(raw)


def _noun(record: type) -> str:
    """The name of a Struct as words: ``DoseWindow`` is a ``dose window``."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", record.__name__).lower()


def _this(record: type) -> str:
    noun = _noun(record)
    return f"these {noun}" if noun.endswith("s") else f"this {noun}"


def _clip(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 3] + "..."


def _as_convert_says(refusal: Exception, path: str, base: KeyPath) -> Fault:
    """The refusal of ``convert`` itself; its path ends where it names no key."""
    message, _, where = str(refusal).partition(" - at ")
    keys: list[str | int] = []
    for word, number, hidden in re.findall(r"\.([^.\[`]+)|\[(\d+)\]|(\[\.\.\.\])", where):
        if hidden:
            break
        keys.append(word or int(number))
    return Fault(Place(path, (*base, *keys)), _clip(message.replace("`", ""), 300), "see the description of the format")
