"""Volatile organic compounds by each definition in use, side by side; the limits of law are arguments."""

from __future__ import annotations

from formulint.science.mixing import positive

# A paint of nothing but water can leave a denominator of rounding noise instead of zero: what is left must be more.
ROUNDING = 1e-12


def voc_material(voc_mass_us: float, total_volume: float) -> float:
    """VOC per volume of the paint as it is, water and exempt compounds left in.

    Parameters
    ----------
    voc_mass_us : float
        Listed organic volatiles that are not exempt, [kg]
    total_volume : float
        Sum of the volumes as supplied, [L]

    Returns
    -------
    voc_material : float
        VOC of the material, [kg/L]

    Notes
    -----
    Refused if there is no volume. The basis for low-solids coatings and for emission inventories; water lowers it.

    Examples
    --------
    33.2 lb in 100 gal, in pounds and gallons:

    >>> round(voc_material(33.2, 100.0), 3)
    0.332

    References
    ----------
    .. [1] US paint maker's web FAQ on VOC calculations, method I (verified).
    .. [2] Canada, SOR/2009-264 s. 12(2) (verified).
    """
    return voc_mass_us / positive(total_volume, "there is no volume")


def voc_less_water(voc_mass_us: float, total_volume: float, water_volume: float, exempt_volume: float) -> float:
    """VOC per volume of the paint less water and exempt compounds, the "regulatory" value of North America.

    Parameters
    ----------
    voc_mass_us : float
        Listed organic volatiles that are not exempt, [kg]
    total_volume : float
        Sum of the volumes as supplied, [L]
    water_volume : float
        Volume of all water, that in the raw materials included, [L]
    exempt_volume : float
        Volume of the exempt compounds, [L]

    Returns
    -------
    voc_less_water : float
        VOC less water and exempt compounds, [kg/L]

    Notes
    -----
    Refused if nothing is left after water and exempt volume. Neither water nor exempt compounds dilute it.
    Inorganic volatiles such as ammonia are not in the numerator; their volume stays in the denominator. At most the
    density of the VOC itself. Where water fills most of the paint a small error of the water moves it much.

    Examples
    --------
    33.2 lb in 100 gal of which 62.4 gal are water, in pounds and gallons:

    >>> round(voc_less_water(33.2, 100.0, 62.4, 0.0), 3)
    0.883

    References
    ----------
    .. [1] US paint maker's web FAQ on VOC calculations, method II (verified).
    .. [2] Canada, SOR/2009-264 s. 12(1); 40 CFR 59.104, same arithmetic (verified); 40 CFR 59.406(a) (memory).
    """
    return voc_mass_us / _less_water(total_volume, water_volume, exempt_volume)


def _less_water(total_volume: float, water_volume: float, exempt_volume: float) -> float:
    left = total_volume - water_volume - exempt_volume
    positive(left - ROUNDING * total_volume, "nothing is left after water and exempt volume")
    return left


def voc_ready_to_use(voc_mass_eu: float, total_volume: float) -> float:
    """VOC per volume of the product ready to use, as the European directive counts it.

    Parameters
    ----------
    voc_mass_eu : float
        Organic compounds with an initial boiling point of at most 250 degC at 101.3 kPa, [kg]
    total_volume : float
        Volume of the product ready to use, water in, [L]

    Returns
    -------
    voc_ready_to_use : float
        VOC of the ready-to-use product, [kg/L]

    Notes
    -----
    Refused if there is no volume. No compound is exempt and no water is taken off. What reacts into the film while
    drying does not count. No published worked example was found; constructed cases only.

    Examples
    --------
    Constructed: 20 g of two glycol-like volatiles in 0.710236 L of a flat paint, in g/L:

    >>> round(voc_ready_to_use(0.020, 0.710236) * 1000, 2)
    28.16

    References
    ----------
    .. [1] Directive 2004/42/EC, definitions and annex; United Kingdom SI 2005/2773, same text (verified).
    """
    return voc_mass_eu / positive(total_volume, "there is no volume")


def voc_by_difference(
    total_mass: float,
    nonvolatile_mass: float,
    water_mass: float,
    exempt_mass: float,
    total_volume: float,
    water_volume: float,
    exempt_volume: float,
) -> float:
    """What an analysis by difference would report: every volatile that is neither water nor exempt, less water.

    Parameters
    ----------
    total_mass : float
        Mass of all additions, [kg]
    nonvolatile_mass : float
        Mass that stays in the film, [kg]
    water_mass : float
        All water, [kg]
    exempt_mass : float
        Exempt compounds, [kg]
    total_volume : float
        Sum of the volumes as supplied, [L]
    water_volume : float
        Volume of all water, [L]
    exempt_volume : float
        Volume of the exempt compounds, [L]

    Returns
    -------
    voc_by_difference : float
        VOC by difference, less water and exempt compounds, [kg/L]

    Notes
    -----
    Refused if nothing is left after water and exempt volume. Equal to `voc_less_water` where every volatile is
    listed; above it by ammonia and other inorganic volatiles, which a difference counts as VOC. A difference of
    large numbers: below about 50 g/L laboratories use a direct method (practice).

    Examples
    --------
    100 lb at 8.52 lb/gal, 20.8 % solids, 53 % water at 8.33 lb/gal, in pounds and gallons; the source prints 4.87:

    >>> round(voc_by_difference(100.0, 20.8, 53.0, 0.0, 100.0 / 8.52, 53.0 / 8.33, 0.0), 2)
    4.87

    References
    ----------
    .. [1] Paints and Coatings Resource Center, expert Q&A, March 2004 (verified).
    .. [2] US EPA Method 24, 40 CFR 60 appendix A-7: parts seen in a reproduction, the difference itself from memory.
    """
    volatile_mass = total_mass - nonvolatile_mass - water_mass - exempt_mass
    return volatile_mass / _less_water(total_volume, water_volume, exempt_volume)


def less_water_from_weight_percent(
    density: float,
    nonvolatile: float,
    water: float,
    exempt: float,
    water_density: float,
    exempt_density: float,
) -> float:
    """VOC less water and exempt compounds from shares by mass, as an analysis states them.

    Parameters
    ----------
    density : float
        Density of the paint, [kg/L]
    nonvolatile : float
        Nonvolatile share, [kg/kg]
    water : float
        Water, [kg/kg]
    exempt : float
        Exempt compounds, [kg/kg]
    water_density : float
        Density of water, [kg/L]
    exempt_density : float
        Density of the exempt compounds; of no account where there are none, [kg/L]

    Returns
    -------
    less_water_from_weight_percent : float
        VOC less water and exempt compounds, [kg/L]

    Notes
    -----
    Refused if nothing is left after water and exempt volume. D (1 - N - W - X)/(1 - W D/Dw - X D/Dx), shares
    instead of per cent; agrees with `voc_less_water` where volumes add and every volatile is listed. The density
    taken for water matters: 8.30 to 8.345 lb/gal, all in print, move the example from 4.90 to 4.86.

    Examples
    --------
    In pounds and gallons; the source prints 4.87:

    >>> round(less_water_from_weight_percent(8.52, 0.208, 0.53, 0.0, 8.33, 8.33), 2)
    4.87

    References
    ----------
    .. [1] Paints and Coatings Resource Center, expert Q&A, March 2004 (verified).
    """
    bulk = 1 / positive(density, "the density is not above zero")
    water_bulk = water / positive(water_density, "the density of water is not above zero")
    exempt_bulk = exempt / positive(exempt_density, "the density of the exempt compounds is not above zero")
    return (1 - nonvolatile - water - exempt) / _less_water(bulk, water_bulk, exempt_bulk)


def voc_per_solids_volume(voc_less_water: float, voc_density: float) -> float:
    """VOC per volume of solids, for rules that state it so.

    Parameters
    ----------
    voc_less_water : float
        VOC less water and exempt compounds, [kg/L]
    voc_density : float
        Density of the volatile organic compounds, [kg/L]

    Returns
    -------
    voc_per_solids_volume : float
        VOC per volume of solids, [kg/L]

    Notes
    -----
    Refused if the VOC alone fill what is left after water. C/(1 - C/D). The only basis that is proportional to
    emissions at equal film thickness.

    Examples
    --------
    3.0 lb/gal at 7.36 lb/gal; the source rounds each step and prints 5.07:

    >>> round(voc_per_solids_volume(3.0, 7.36), 2)
    5.06

    References
    ----------
    .. [1] Florida Admin. Code 62-296.500, table 296.500-1, example conversion (verified).
    """
    voc_volume = voc_less_water / positive(voc_density, "the density of the VOC is not above zero")
    return voc_less_water / positive(1 - voc_volume, "no solids are left beside the VOC")


def solids_content(nonvolatile_mass: float, total_volume: float) -> float:
    """Mass of solids per volume of paint, by which low-solids coatings are told.

    Parameters
    ----------
    nonvolatile_mass : float
        Mass that stays in the film, [kg]
    total_volume : float
        Sum of the volumes as supplied, [L]

    Returns
    -------
    solids_content : float
        Solids per volume, [kg/L]

    Notes
    -----
    Refused if there is no volume.

    Examples
    --------
    Constructed: a stain with 90 g of solids in 0.982086 L, in g/L:

    >>> round(solids_content(0.090, 0.982086) * 1000, 1)
    91.6

    References
    ----------
    .. [1] Definition (practice).
    """
    return nonvolatile_mass / positive(total_volume, "there is no volume")


def low_solids(solids_content: float, limit: float) -> bool:
    """Whether a coating counts as low-solids, so that its VOC is judged per volume of material.

    Parameters
    ----------
    solids_content : float
        Solids per volume, [kg/L]
    limit : float
        The most that still counts as low; 0.12 in the rules that were read, [kg/L]

    Returns
    -------
    low_solids : bool
        True at the limit and below, [truth]

    Notes
    -----
    The limit belongs to it: "0.12 kg solids per litre or less" (United States, Canada). One district says "less
    than one pound per gallon", 119.8 g/L: that limit has to be given where it applies. An interval has to be asked
    at both ends.

    Examples
    --------
    >>> low_solids(0.0916, 0.12), low_solids(0.7885, 0.12)
    (True, False)

    References
    ----------
    .. [1] Canada, SOR/2009-264, and South Coast Rule 1113, page on calculations (verified); 40 CFR 59.401 (memory).
    """
    return solids_content <= limit
