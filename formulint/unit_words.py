"""The words of the shop for what is measured and for its units, and what each is called in a file."""

from __future__ import annotations

KINDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "mass": ("a mass", ("250.0 lb", "12.5 kg")),
    "length": ("a length", ("48 in", "25 um")),
    "area": ("an area", ("400 ft2", "10 m2")),
    "volume": ("a volume", ("100 gal", "2.0 L")),
    "density": ("a density", ("8.34 lb/gal", "1.00 kg/L")),
    "mass share": ("a share by mass", ("25 %", "250 ppm")),
    "volume share": ("a share by volume", ("53 % vol",)),
    "oil absorption": ("an oil absorption", ("19 g/100 g",)),
    "price by mass": ("a price by mass", ("0.85 USD/lb", "1.87 EUR/kg")),
    "price by volume": ("a price by volume", ("12.40 USD/gal", "3.28 EUR/L")),
    "price by area": ("a price by area", ("0.12 USD/ft2", "1.10 EUR/m2")),
    "mass by area": ("a mass by area", ("0.5 mg/m2",)),
    "area by mass": ("a specific surface", ("12 m2/g",)),
    "temperature": ("a temperature", ("110 degF", "43 degC")),
    "temperature difference": ("a temperature difference", ("10 degF", "5 K")),
    "time": ("a time", ("20 min", "24 h")),
    "rotation": ("a speed of rotation", ("1150 rpm",)),
    "velocity": ("a tip speed", ("5000 ft/min", "25 m/s")),
    "spreading rate": ("a spreading rate", ("400 ft2/gal", "10 m2/L")),
    "viscosity": ("a viscosity", ("1.2 P", "120 mPa.s")),
    "fineness hegman": ("a fineness in hegman", ("3 hegman",)),
    "consistency": ("a consistency in Krebs units", ("95 KU",)),
    "number": ("a number without a unit", ("8.5",)),
}
"""What each dimension is called, and figures of it as a file has them."""

_WORDS = """
lbs lb. pound pounds # lbm = lb | gm gms gram grams gr. = g | kgs kilo kilos kilogram kilograms kilogramme = kg
l ltr lit liter liters litre litres = L | ml cc ccm milliliter milliliters millilitre = mL | cbm = m3
gals gal. gallon gallons us~gal usgal usg us~gallon us~gallons gal~us gal(us) = gal
quart quarts = qt | pint pints = pt
floz fl fl. fl_oz fl.oz fl.oz. fl~oz. fl.~oz fl.~oz. fluid~ounce fluid~ounces ozfl oz~fl = fl~oz
imp.~gal impgal uk~gal imperial~gal imperial~gallon imperial~gallons = imp~gal
fpm = ft/min | fps = ft/s | mps = m/s
cps cp centipoise = cP | mpas mpa~s mpa*s = mPa.s | pas pa~s pa*s = Pa.s | poise = P
mils thou = mil | micron microns mu mum micrometer micrometers = um | inch inches in. " '' = in | foot feet ft. ' = ft
f deg~f degf deg.f fahrenheit = degF | c deg~c degc deg.c celsius centigrade = degC | kelvin = K | deg = degF~or~degC
sec secs second seconds = s | mins minute minutes = min | hr hrs hour hours = h | days = d | weeks wk = week
months mo mon = month | years yr yrs y = year | r/min rev/min u/min 1/minute /min min-1 upm = rpm | rps r/s hz /s = 1/s
ku krebs krebs~unit krebs~units = KU | h hegmans hg = hegman~or~h | percent pct per~cent = % | ppmw ppm~w/w = ppm
gpl = g/L | sg s.g. = g/cm3 | ppg wpg = lb/gal | m^2 m**2 sqm sq~m = m2 | m^3 m**3 = m3 | cm^3 cm**3 = cm3
ft^2 ft**2 sqft sq~ft sf = ft2 | ft^3 ft**3 cuft cu~ft = ft3 | in^3 in**3 = in3
wt% wt.% wt~% %wt %~wt %~w/w %w/w w/w~% w/w% w% mass% %~mass %~by~weight %~by~mass %~m/m %m/m m% = %
vol% vol.% vol~% %vol %~v/v %v/v v/v~% v/v% v% %~by~volume %~volume %v %vol. %~vol. = %~vol
"""
SPELLINGS: dict[str, tuple[str, ...]] = {
    word.replace("~", " "): tuple(rights.replace("~", " ").split(" or "))
    for line in _WORDS.strip().replace("\n", " | ").split(" | ")
    for words, _, rights in (line.partition(" = "),)
    for word in words.split()
}
"""Words for a unit, in small letters -> its spellings here; the first one that the field admits is offered."""

Refusal = tuple[tuple[str, ...], str, tuple[tuple[int, str], ...], str]
"""Dimensions it matters for, what is wrong, what to offer as (divisor of the number, unit), else the remedy."""

_BY_OIL_VOLUME: Refusal = (
    ("oil absorption", "mass share"), "measures the oil by its volume", (),
    "multiply by the density of the oil in g/mL and write it in g/100 g",
)  # fmt: skip
_OUNCE: Refusal = (("mass", "volume"), "is a weight to some and a volume to others", ((1, "fl oz"), (16, "lb")), "")
_TON: Refusal = (("mass",), "is 2000 lb to some and 1000 kg to others", ((1, "short ton"), (1, "t")), "")
_PARTS: Refusal = (
    ("mass share",), "does not say what the parts are counted on", (),
    'write a share; in an addition with its basis: amount = "2 %", on = "binder"',
)  # fmt: skip
_MOLES: Refusal = (("mass share",), "counts molecules", (), 'write the share by mass, such as "25 %"')
_GRAIN: Refusal = (("mass",), "is a gram to some and a grain to others", ((1, "g"),), "")
_BILLION: Refusal = (("mass share", "volume share"), "is not read alike everywhere", ((1000, "ppm"),), "")
_GAUGE: Refusal = (("fineness hegman",), "is another scale than hegman", (), "write the reading of a Hegman gauge")
REFUSED: dict[str, Refusal] = {
    **dict.fromkeys(("oz", "oz.", "ounce", "ounces"), _OUNCE),
    **dict.fromkeys(("ton", "tons", "tonne", "tonnes", "mt", "metric ton", "metric tons"), _TON),
    **dict.fromkeys(("gr", "grain", "grains"), _GRAIN),
    **dict.fromkeys(("ppb",), _BILLION),
    **dict.fromkeys(("phr", "php", "pph", "part", "parts", "pbw"), _PARTS),
    **dict.fromkeys(("m", "n", "mol", "mol/l", "mmol/l"), _MOLES),
    **dict.fromkeys(("ml/100 g", "ml/100g", "cc/100 g", "cc/100g", "cm3/100 g", "cm3/100g"), _BY_OIL_VOLUME),
    **dict.fromkeys(("ns", "pcu"), _GAUGE),
}
"""Words, in small letters, that mean two things or that a formula file does not use."""
