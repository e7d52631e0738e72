"""What a paint does on the wall and on the gauge: film thickness, area covered, fineness scales."""

from __future__ import annotations

from formulint.science.mixing import positive

LITRES_PER_CUBIC_METRE = 1000
HEGMAN_STEP = 12.7  # um a unit: the gauge is 4 mil deep over 8 units (verified, conversion table of an encyclopaedia)
HEGMAN_TOP = 8  # the number that stands for 0 um (verified, same table)


def wet_film(dry_film: float, nonvolatile_volume_share: float) -> float:
    """Wet film that dries to a given thickness.

    Parameters
    ----------
    dry_film : float
        Dry film thickness, [m]
    nonvolatile_volume_share : float
        Nonvolatile share by volume, of the paint as applied, [L/L]

    Returns
    -------
    wet_film : float
        Wet film thickness, [m]

    Notes
    -----
    Refused if nothing stays in the film. Not for films above the critical PVC, which are thicker than this by their
    pores.

    Examples
    --------
    45 um dry at 56 % by volume, in micrometres:

    >>> round(wet_film(45.0, 0.56), 2)
    80.36

    References
    ----------
    .. [1] Painting-inspector training, maths exercise 3.2 with answers (verified).
    """
    return dry_film / positive(nonvolatile_volume_share, "nothing stays in the film")


def dry_film(wet_film: float, nonvolatile_volume_share: float) -> float:
    """Dry film that a wet film leaves.

    Parameters
    ----------
    wet_film : float
        Wet film thickness, [m]
    nonvolatile_volume_share : float
        Nonvolatile share by volume, of the paint as applied, [L/L]

    Returns
    -------
    dry_film : float
        Dry film thickness, [m]

    Notes
    -----
    Above the critical PVC the film is thicker, by the factor PVC/CPVC (derived), because of its pores.

    Examples
    --------
    130 um wet at 83 % by volume, in micrometres:

    >>> round(dry_film(130.0, 0.83), 1)
    107.9

    References
    ----------
    .. [1] Painting-inspector training, maths exercise 3.2 with answers (verified).
    """
    return wet_film * nonvolatile_volume_share


def film_thickness(volume: float, area: float) -> float:
    """Thickness of a volume spread evenly over an area.

    Parameters
    ----------
    volume : float
        Volume, wet or dry, [L]
    area : float
        Area, [m2]

    Returns
    -------
    film_thickness : float
        Thickness of the film, wet or dry as the volume, [m]

    Notes
    -----
    Refused if there is no area. Nothing lost, nothing soaked up.

    Examples
    --------
    20 L on 108 m2 at 45 % by volume are 83.33 um dry:

    >>> round(dry_film(film_thickness(20.0, 108.0), 0.45) * 1e6, 2)
    83.33

    References
    ----------
    .. [1] Painting-inspector training, maths exercise 3.2 with answers (verified).
    """
    return volume / LITRES_PER_CUBIC_METRE / positive(area, "there is no area")


def spreading_rate(nonvolatile_volume_share: float, dry_film: float) -> float:
    """Area that a litre of paint covers at a dry film thickness, in theory.

    Parameters
    ----------
    nonvolatile_volume_share : float
        Nonvolatile share by volume, [L/L]
    dry_film : float
        Dry film thickness, [m]

    Returns
    -------
    spreading_rate : float
        Theoretical spreading rate, [m2/L]

    Notes
    -----
    Refused if there is no film. No loss, no absorption, a smooth wall. US charts use 1604 ft2 mil/gal for the exact
    1604.17 (231 in3 in a gallon).

    Examples
    --------
    A film of 40 um at 32.9753 in 61.753 volumes (the source's own, slipped total); it prints 13.35 m2/L:

    >>> round(spreading_rate(32.9753 / 61.753, 40e-6), 2)
    13.35

    References
    ----------
    .. [1] Coatings forum, thread 67405 (verified).
    .. [2] Coverage sheets and charts in ft2/gal (verified).
    """
    return nonvolatile_volume_share / positive(dry_film * LITRES_PER_CUBIC_METRE, "there is no film")


def wet_film_at_coverage(coverage: float) -> float:
    """Wet film of a paint that is spread as far as its label says.

    Parameters
    ----------
    coverage : float
        Area that a litre is spread on, [m2/L]

    Returns
    -------
    wet_film_at_coverage : float
        Wet film thickness, [m]

    Notes
    -----
    Refused if the coverage is not above zero. Nothing lost, nothing soaked up.

    Examples
    --------
    400 ft2/gal, in inches; the source prints 0.004:

    >>> round(wet_film_at_coverage(400 * 0.09290304 / 3.785411784) / 0.0254, 4)
    0.004

    References
    ----------
    .. [1] Unit-conversion forum, answer on the film of a gallon on 400 ft2 (verified).
    """
    return 1 / positive(coverage * LITRES_PER_CUBIC_METRE, "the coverage is not above zero")


def dry_film_at_coverage(nonvolatile_volume_share: float, coverage: float) -> float:
    """Dry film of a paint that is spread as far as its label says.

    Parameters
    ----------
    nonvolatile_volume_share : float
        Nonvolatile share by volume, of the paint as applied, [L/L]
    coverage : float
        Area that a litre is spread on, [m2/L]

    Returns
    -------
    dry_film_at_coverage : float
        Dry film thickness, [m]

    Notes
    -----
    Refused if the coverage is not above zero. Above the critical PVC the film is thicker, by PVC/CPVC (derived).

    Examples
    --------
    20 L on 108 m2 at 45 % by volume, in micrometres; the source prints 83.33:

    >>> round(dry_film_at_coverage(0.45, 108.0 / 20.0) * 1e6, 2)
    83.33

    References
    ----------
    .. [1] Painting-inspector training, maths exercise 3.2 with answers (verified).
    """
    return nonvolatile_volume_share / positive(coverage * LITRES_PER_CUBIC_METRE, "the coverage is not above zero")


def mass_on_area(density: float, spreading_rate: float) -> float:
    """Mass of paint that an area takes.

    Parameters
    ----------
    density : float
        Density of the wet paint, [kg/L]
    spreading_rate : float
        Area that a litre covers, [m2/L]

    Returns
    -------
    mass_on_area : float
        Paint on the wall, [kg/m2]

    Notes
    -----
    Refused if the spreading rate is not above zero. Theoretical in, theoretical out.

    Examples
    --------
    80 um dry at 57 % by volume and 1.21 kg/L; the source prints 0.17 kg/m2:

    >>> round(mass_on_area(1.21, spreading_rate(0.57, 80e-6)), 2)
    0.17

    References
    ----------
    .. [1] Cost-statistics note on the consumption of coatings, in Chinese (verified).
    """
    return density / positive(spreading_rate, "the spreading rate is not above zero")


def volume_for_area(area: float, spreading_rate: float) -> float:
    """Volume of paint that an area needs.

    Parameters
    ----------
    area : float
        Area, [m2]
    spreading_rate : float
        Area that a litre covers, [m2/L]

    Returns
    -------
    volume_for_area : float
        Volume of paint, [L]

    Notes
    -----
    Refused if the spreading rate is not above zero.

    Examples
    --------
    1400 ft2 at 80 mil of a lining without volatiles, 1604/80 ft2/gal, in square feet and gallons; printed as 70 gal:

    >>> round(volume_for_area(1400.0, 1604.0 / 80.0), 1)
    69.8

    References
    ----------
    .. [1] Lining maker's coverage bulletin, May 2014 (verified).
    """
    return area / positive(spreading_rate, "the spreading rate is not above zero")


def hegman_to_micrometre(hegman: float) -> float:
    """Fineness in micrometres for a reading in Hegman units.

    Parameters
    ----------
    hegman : float
        Reading of the gauge; it counts backwards, 8 is the finest, [hegman]

    Returns
    -------
    hegman_to_micrometre : float
        Depth of the groove at that reading, [um]

    Notes
    -----
    From 0 to 8. For showing the other scale; a reading is judged within the scale it was taken on.

    Examples
    --------
    >>> round(hegman_to_micrometre(5.0), 1)
    38.1

    References
    ----------
    .. [1] Encyclopaedia article on the Hegman gauge, conversion table (verified).
    """
    return HEGMAN_STEP * (HEGMAN_TOP - hegman)


def micrometre_to_hegman(fineness: float) -> float:
    """Fineness in Hegman units for a depth in micrometres; the other way round of `hegman_to_micrometre`.

    Parameters
    ----------
    fineness : float
        Depth of the groove, [um]

    Returns
    -------
    micrometre_to_hegman : float
        Reading of the gauge, [hegman]

    Notes
    -----
    From 0 to 101.6 um.

    Examples
    --------
    >>> round(micrometre_to_hegman(76.2), 6)
    2.0

    References
    ----------
    .. [1] Encyclopaedia article on the Hegman gauge, conversion table (verified).
    """
    return HEGMAN_TOP - fineness / HEGMAN_STEP
