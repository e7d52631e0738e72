"""Words for a figure that cannot be read: what is wrong with it and what to write instead.

Imported only when there is something to explain. A text that is offered after "write" was read before it is offered.
"""

from __future__ import annotations

import re

from formulint.errors import Misread
from formulint.suggest import closest
from formulint.unit_words import KINDS, REFUSED, SPELLINGS
from formulint.units import DIMENSIONS, FIGURE, LONGEST, Unit, find, unit_names

_NUMBER = r"[+-]?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?"
_RATE = re.compile(r"(?:deg ?)?[FCK]/.+")
_SEPARATORS = {",": "a comma", "'": "an apostrophe", "_": "an underscore", " ": "a blank", ".": "more than one point"}
_SIGNS = {"$": "USD", "\u20ac": "EUR", "\u00a3": "GBP", "\u00a5": "JPY"}
_FILLS = re.compile(
    r"(q\.? ?s\.?(?: ?p\.?)?|quantum satis|balance|bal\.?|remainder|rest|make up|fill(?: up)?|(?=to |ad ))(?: ?(?:to|ad|up to)? ?(.*[0-9].*))?", re.IGNORECASE
)
_SHOWN = 40  # characters of a faulty text that a message repeats


def misread(text: str, dimensions: tuple[str, ...]) -> Misread:
    """What is wrong with a text that ``quantity.read`` refuses, and what to write instead."""
    for explain in (_no_figure, _two_ends, _price, _characters, _more_than_a_figure, _separators, _digits):
        found = explain(text, dimensions)
        if found is not None:
            return found
    return _unit(text, dimensions)


def quoted(text: str) -> str:
    """The text in quotation marks, cut, with everything that does not print spelled out."""
    cut = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."
    mark = "'" if '"' in cut else '"'
    return mark + "".join(one if one.isprintable() else f"<U+{ord(one):04X}>" for one in cut) + mark


def expected(dimensions: tuple[str, ...]) -> str:
    """What the field admits, in words: ``a mass or a volume``."""
    *before, last = (KINDS[dimension][0] for dimension in dimensions)
    return f"{', '.join(before)} or {last}" if before else last


def examples(dimensions: tuple[str, ...]) -> tuple[str, ...]:
    """Figures that the field admits: two where it admits one kind, else one of each."""
    if len(dimensions) == 1:
        return KINDS[dimensions[0]][1]
    return tuple(KINDS[dimension][1][0] for dimension in dimensions)


def _either(texts: tuple[str, ...]) -> str:
    return " or ".join(f'"{text}"' for text in texts)


def _like(dimensions: tuple[str, ...]) -> str:
    return f"write {expected(dimensions)}, such as {_either(examples(dimensions))}"


def _write(candidates: list[str], dimensions: tuple[str, ...]) -> str:
    """The first two candidates that the field admits; an example where it admits none."""
    readable = tuple(dict.fromkeys(one for text in candidates if (one := _readable(text, dimensions))))
    if not readable:  # the unit is spelled otherwise as well: "226,8 Kg"
        parts = [match for text in candidates if (match := re.fullmatch(rf"({_NUMBER}) ?([^0-9]+)", text))]
        mended = [f"{match[1]} {unit}" for match in parts for unit in _fitting(match[2], dimensions)]
        readable = tuple(dict.fromkeys(one for text in mended if (one := _readable(text, dimensions))))
    return f"write {_either(readable[:2])}" if readable else _like(dimensions)


def _readable(text: str, dimensions: tuple[str, ...]) -> str:
    """The text as a figure is written, with its one blank; empty where the field does not admit it."""
    match = FIGURE.fullmatch(text) if len(text) <= LONGEST else None
    if match is None or find(match[2] or "", dimensions) is None:
        return ""
    return f"{match[1]} {match[2]}" if match[2] else match[1]


def _no_figure(text: str, dimensions: tuple[str, ...]) -> Misread | None:
    if len(text) > LONGEST:
        words = f"{quoted(text)} has {len(text)} characters; a figure has at most {LONGEST}"
        return Misread(words, _like(dimensions))
    bare = text.strip()
    if not bare:
        return Misread("there is no figure between the quotation marks", f"{_like(dimensions)}, or leave the key out")
    fills = _FILLS.fullmatch(bare)
    if fills is not None:
        return _to_fill(text, fills[2] or "", dimensions)
    if any(one.isnumeric() for one in bare):
        return None
    if find(bare, DIMENSIONS) is not None:
        return Misread(f"{quoted(text)} is a unit without its number", _like(dimensions))
    return Misread(
        f"there is no number in {quoted(text)}", f"{_like(dimensions)}; where it is not known, leave the key out"
    )


def _to_fill(text: str, whole: str, dimensions: tuple[str, ...]) -> Misread:
    """Water to fill up, in one of the ways in which sheets say it; ``whole`` is to what, where they say so."""
    if not {"mass", "mass share"} <= set(dimensions):
        return Misread(f"{quoted(text)} cannot stand here", 'only the amount of an addition can be "q.s."')
    batch = _readable(whole, ("mass", "volume"))
    how = f'; to how much is said once, above: batch = "{batch}"' if batch else ": it fills up to the batch"
    return Misread(f"{quoted(text)} is not how filling up is written here", f'write amount = "q.s."{how}')


def _two_ends(text: str, dimensions: tuple[str, ...]) -> Misread | None:
    """``< 5 %``, ``5-10 %``, ``5 +/- 1 %``, ``about 5 %``."""
    lead = re.fullmatch(
        r"([<\u2264]=?|up to|max\.?|[>\u2265]=?|min\.?|[~?]|ca\.?|about|approx\.?) ?(.*)", text, re.IGNORECASE
    )
    if lead is not None:
        return _one_end(text, lead[1].lower(), _readable(lead[2], dimensions), dimensions)
    span = re.fullmatch(rf"({_NUMBER}) ?(.*?) ?(?:-|\u2013|to|\.\.+) ?({_NUMBER}) ?(.*)", text)
    if span is not None:
        low = _readable(f"{span[1]} {span[2] or span[4]}".strip(), dimensions)
        high = _readable(f"{span[3]} {span[4]}".strip(), dimensions)
        if low and high:
            return Misread(
                f"{quoted(text)} holds two figures", f'a range is written {{ min = "{low}", max = "{high}" }}'
            )
    around = re.fullmatch(rf"({_NUMBER}) ?(.*?) ?(?:\u00b1|\+/-|\+-) ?{_NUMBER} ?(.*)", text)
    if around is not None:
        figure = _write([f"{around[1]} {around[2] or around[3]}".strip()], dimensions)
        return Misread(f"{quoted(text)} holds a figure and its tolerance", f"{figure}, or a range with min and max")
    return None


def _one_end(text: str, lead: str, figure: str, dimensions: tuple[str, ...]) -> Misread:
    words = f"{quoted(text)} does not begin with the number"
    if not figure:
        return Misread(words, _like(dimensions))
    if lead[0] in "<\u2264u" or lead.startswith("max"):
        least = f"0 {figure.partition(' ')[2]}".strip()
        return Misread(words, f'where only the ends are known, write a range: {{ min = "{least}", max = "{figure}" }}')
    if lead[0] in ">\u2265" or lead.startswith("min"):
        return Misread(words, f'where only the ends are known, write a range: {{ min = "{figure}", max = "..." }}')
    return Misread(words, f'write "{figure}", or a range with min and max')


def _price(text: str, dimensions: tuple[str, ...]) -> Misread | None:
    sign = next((one for one in text if one in _SIGNS), "")
    figure = re.fullmatch(r"[^0-9/]{0,4}?([0-9.]+)[^0-9/]{0,4}(/.*)?", text)
    if sign:
        candidates = [f"{figure[1]} {_SIGNS[sign]}{figure[2]}"] if figure and figure[2] else []
        words = f'"{sign}" is the sign of more than one currency; a currency is written with its three letters'
        return Misread(words, _write(candidates, dimensions))
    if not figure or not any(dimension.startswith("price") for dimension in dimensions):
        return None
    letters = "".join(one for one in text.partition("/")[0] if one.isalpha())
    number, per = figure[1], figure[2] or ""
    if len(letters) not in (0, 3) or not (letters or per):
        return None
    currency = letters.upper() or "USD"
    if not letters:
        words = f"{quoted(text)} does not say the currency"
    elif not per:
        words = f"{quoted(text)} does not say for how much"
    elif not letters.isupper():
        words = f"a currency is written with three capital letters, not as in {quoted(text)}"
    elif not text[0].isdecimal():
        words = f"{quoted(text)} does not begin with the number"
    else:
        return None
    rights = _rights(f"{currency}{per}") if per else [f"{currency}/{unit}" for unit in ("lb", "gal")]
    return Misread(words, _write([f"{number} {right}" for right in rights], dimensions))


def _characters(text: str, dimensions: tuple[str, ...]) -> Misread | None:
    """Blanks in the wrong place, and characters that only look like those of a figure."""
    import unicodedata

    plain = " ".join(_plain(text).split())
    odd = next((one for one in text if not (one.isascii() and one.isprintable())), "")
    if not odd:
        return None if plain == text else Misread(f"{quoted(text)} has a blank too many", _write([plain], dimensions))
    common = {"\t": "a tab", "\n": "a line break", "\r": "a line break", "\u00a0": "a no-break blank"}
    name = f" ({unicodedata.name(odd, 'nameless').lower()})" if odd.isalpha() else ""
    shown = f'"{odd}"{name}' if odd.isprintable() else f"U+{ord(odd):04X}"
    what = common.get(odd, f"the character {shown}")
    pieces = re.fullmatch(r"([+-]?[0-9]*) ?([0-9]+)/([0-9]+)(?: ?([^0-9].*))?", plain)
    word = re.fullmatch(rf"({_NUMBER}) ?(.+)", plain)
    candidates = [plain] if pieces is None else _decimal(pieces[1], pieces[2], pieces[3], pieces[4] or "")
    if pieces is None and word is not None:
        candidates += [f"{word[1]} {right}" for right in _rights(word[2])]
    return Misread(
        f"{what} stands in {quoted(text)}; a figure has plain characters only", _write(candidates, dimensions)
    )


def _plain(text: str) -> str:
    """The text with the ordinary characters that a person would put for its special ones."""
    import unicodedata

    table = {"\u03bc": "u", "\u00b0": "deg", "\u2044": "/", "\u2215": "/", "\u00b7": ".", "\u22c5": "."}
    table |= dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-") | dict.fromkeys("\u2018\u2019\u2032", "'")
    spaced = "".join(
        f" {one} " if unicodedata.decomposition(one).startswith("<fraction>") or one.isspace() else one
        for one in text.replace("\u00ba", "\u00b0")
        if one.isspace() or unicodedata.category(one)[0] != "C"
    )
    digits = (
        str(unicodedata.decimal(one)) if one.isdecimal() else one for one in unicodedata.normalize("NFKC", spaced)
    )
    return "".join(table.get(one, one) for one in digits)


def _decimal(whole: str, top: str, bottom: str, unit: str) -> list[str]:
    """``2 1/2 lb`` with a decimal point, where at most six places are enough."""
    over, under = int(top), int(bottom)
    if under == 0 or len(whole + top) > 9 or 10**6 * over % under:
        return []
    sign = "-" if whole.startswith("-") else ""
    millionths = abs(int(whole if whole.strip("+-") else 0)) * 10**6 + 10**6 * over // under
    number = f"{millionths // 10**6}.{millionths % 10**6:06d}".rstrip("0").rstrip(".")
    return [f"{sign}{number} {unit.strip()}".strip()]


def _more_than_a_figure(text: str, dimensions: tuple[str, ...]) -> Misread | None:
    """Fractions, remarks, calculations, two figures in a row."""
    fraction = re.fullmatch(r"([+-]?[0-9]*) ?\b([0-9]+)/([0-9]+)(?: ?([^0-9].*))?", text)
    if fraction is not None:
        candidates = _decimal(fraction[1], fraction[2], fraction[3], fraction[4] or "")
        words = f"{quoted(text)} has a fraction; the number is written with a decimal point"
        return Misread(words, _write(candidates, dimensions))
    remark = re.fullmatch(rf"({_NUMBER} ?[^#;(]*?) ?[#;(].*", text)
    if remark is not None and _readable(remark[1], dimensions):
        words = f"{quoted(text)} has more than a figure in it"
        return Misread(
            words, f"{_write([remark[1]], dimensions)}; a remark belongs into a note or behind a # after the line"
        )
    rest = re.sub(f"^{_NUMBER} ?", "", text).replace(" per ", "/")
    if re.match(r"\*|\^|x ?[0-9]|[+/(-] ?[0-9]", rest) or re.search(r" [*+-] ?[0-9]", rest):
        words = f"{quoted(text)} is a calculation; one number and one unit belong here"
        return Misread(words, _like(dimensions))
    if re.search(r"[a-zA-Z%.],? [0-9]", rest) and re.match(_NUMBER, text):
        return Misread(
            f"{quoted(text)} holds more than one figure; one number and one unit belong here", _like(dimensions)
        )
    return None


def _separators(text: str, dimensions: tuple[str, ...]) -> Misread | None:
    """Separators of thousands and decimal commas."""
    found = re.match(r"[+-]?[0-9]+(?:[.,'_ ][0-9]+)+", text)
    marks = set(re.sub("[0-9+-]", "", found[0])) if found else set()
    if found is None or (marks == {"."} and found[0].count(".") == 1):
        return None
    number, rest = found[0], text[found.end() :].strip()
    at = max(number.rfind("."), number.rfind(","))
    whole, after = re.sub(r"[.,'_ ]", "", number[: max(at, 0)]), number[at + 1 :]
    grouped = re.fullmatch(r"[+-]?[0-9]{1,3}(?:[.,'_ ][0-9]{3})+", number) is not None and whole.strip("+-0") != ""
    candidates = [re.sub(r"[.,'_ ]", "", number)] if grouped or (at < 0 and len(marks) == 1) else []
    if at >= 0 and number.count(number[at]) == 1 and re.fullmatch(r"[0-9]+", after):
        together = [f"{whole}.{after}"]
        candidates = together if len(marks) > 1 else candidates + together
    what = next(name for mark, name in _SEPARATORS.items() if mark in marks)
    return Misread(
        f"{what} stands in the number of {quoted(text)}",
        _write([f"{one} {rest}".strip() for one in candidates], dimensions),
    )


def _digits(text: str, dimensions: tuple[str, ...]) -> Misread | None:
    bare = re.fullmatch(r"([+-]?)(\.[0-9]+|[0-9]+\.)(?![0-9])(.*)", text)
    if bare is not None:
        number = f"0{bare[2]}" if bare[2].startswith(".") else bare[2][:-1]
        words = f"the point in {quoted(text)} has no digit on one side"
        return Misread(words, _write([f"{bare[1]}{number}{bare[3]}"], dimensions))
    found = re.match(_NUMBER, text)
    if found is None and dimensions == ("number",) and re.match("ph ?[0-9]", text, re.IGNORECASE):
        return Misread("pH has no unit", f'write ph = "{text[2:].strip()}"')
    if found is None:
        behind = re.fullmatch(rf"([A-Za-z%/0-9]+) ?({_NUMBER})", text)
        candidates = [f"{behind[2]} {behind[1]}"] if behind else []
        return Misread(f"{quoted(text)} does not begin with the number", _write(candidates, dimensions))
    head, _, exponent = found[0].lower().partition("e")
    if len(exponent.lstrip("+-")) > 2:
        return Misread(f"the power of ten in {quoted(text)} has more than two digits", _like(dimensions))
    if any(len(run) > 12 for run in head.lstrip("+-").split(".")):
        words = f"the number in {quoted(text)} has more than 12 digits before or after the point"
        return Misread(words, _like(dimensions))
    return None


def _unit(text: str, dimensions: tuple[str, ...]) -> Misread:
    """The number can be read; what follows it is missing, unknown, or measures something else."""
    found = re.match(_NUMBER, text)
    number = found[0] if found else ""
    word = text[len(number) :].strip()
    if not word and dimensions == ("mass share",):
        return Misread(f"{quoted(text)} has no unit: a share is written in %", _write(_percents(number), dimensions))
    if not word:
        units = [example.partition(" ")[2] for example in examples(dimensions)]
        return Misread(f"{quoted(text)} has no unit", _write([f"{number} {unit}" for unit in units], dimensions))
    if word.lower() == "ph":
        return Misread("pH has no unit", f'write ph = "{number}"')
    if dimensions == ("number",):
        return Misread(f"the figure has no unit, but {quoted(text)} has", f'write the number alone, such as "{number}"')
    known = find(word, DIMENSIONS)
    if known is not None:
        return _other_kind(text, number, known, dimensions)
    if _RATE.fullmatch(word):
        return Misread(f"{quoted(text)} is a rate of heating; no field takes one", _like(dimensions))
    refusal = REFUSED.get(word.lower())
    if refusal is not None and any(field in dimensions for field in refusal[0]):
        offered = [f"{_divided(number, divisor)} {unit}" for divisor, unit in refusal[2]]
        return Misread(f"{quoted(word)} {refusal[1]}", _write(offered, dimensions) if offered else refusal[3])
    return _unknown(text, number, word, dimensions)


def _percents(number: str) -> list[str]:
    """What a share without its unit may mean: 0.48 is 48 % or 0.48 %."""
    from decimal import Decimal

    value = Decimal(number)
    return [f"{(100 * value).normalize():f} %", f"{number} %"] if 0 < value <= 1 else [f"{number} %"]


def _unknown(text: str, number: str, word: str, dimensions: tuple[str, ...]) -> Misread:
    rights = _rights(word)
    fitting = _fitting(word, dimensions)
    if fitting:
        words = f"{quoted(word)} is not a unit here; did you mean {fitting[0]}"
        return Misread(words, _write([f"{number} {one}" for one in fitting], dimensions))
    for right in rights:
        unit = find(right, DIMENSIONS)
        if unit is not None:
            return _other_kind(text, number, unit, dimensions)
    names = list(dict.fromkeys(one for dimension in dimensions for one in unit_names(dimension)))
    some = ", ".join(names[:12]).replace("currency", "USD")
    more = " and others" if len(names) > 12 else ""
    return Misread(f"{quoted(word)} is not a unit here", f"{_like(dimensions)}; the units are {some}{more}")


def _other_kind(text: str, number: str, unit: Unit, dimensions: tuple[str, ...]) -> Misread:
    """The unit is one, but of something else than the field holds."""
    plain_share = unit.symbol in ("%", "ppm")
    found = "a share" if plain_share else KINDS[unit.dimension][0]
    words = f"{quoted(text)} is {found}; {expected(dimensions)} is expected"
    if unit.dimension == "oil absorption" and "mass share" in dimensions and unit.symbol != "g/g":
        return Misread(words, _write([f"{number} %"], dimensions))
    if unit.dimension == "volume share" and not plain_share and dimensions == ("mass share",):
        return Misread(words, "give the share by mass: by volume it is another number")
    return Misread(words, _like(dimensions))


def _divided(number: str, divisor: int) -> str:
    from decimal import Decimal

    return number if divisor == 1 else f"{Decimal(number) / divisor:f}"


def _rights(word: str) -> list[str]:
    """What a word for a unit is written as; also where it is a quotient of two words."""
    top, slash, bottom = re.sub(" ?/ ?| per ", "/", word).partition("/")
    direct = list(SPELLINGS.get(word.lower(), ()) or SPELLINGS.get(word.lower().rstrip("."), ()))
    if direct or not slash:
        return direct
    over = SPELLINGS.get(top.lower(), (top,))
    under = (bottom, *SPELLINGS.get(bottom.lower(), ()))
    return [f"{one}/{other}" for one in over for other in under]


def _fitting(word: str, dimensions: tuple[str, ...]) -> list[str]:
    """What the field admits of what a word for a unit may be written as."""
    return [one for one in _rights(word) if find(one, dimensions) is not None] or _near(word, dimensions)


def _near(word: str, dimensions: tuple[str, ...]) -> list[str]:
    """Spellings that the field admits and that differ little from the word."""
    names = [one for dimension in dimensions for one in unit_names(dimension) if "currency" not in one]
    alike = None if word.count("/") > 1 else closest(word, names)
    return [] if alike is None else [alike]
