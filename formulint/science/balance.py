"""What a batch comes to, and whether its parts take up its room: what stays in the film, and what leaves it."""

from __future__ import annotations

from formulint.science.mixing import positive


def mass_of_batch(total_mass: float) -> float:
    """Mass of all lines of the sheet.

    Parameters
    ----------
    total_mass : float
        Mass of all additions, [kg]

    Returns
    -------
    mass_of_batch : float
        The same, [kg]

    Notes
    -----
    What is written in, not what comes out: no losses.

    Examples
    --------
    >>> mass_of_batch(541.6)
    541.6

    References
    ----------
    .. [1] Definition (practice).
    """
    return total_mass


def volume_of_batch(total_volume: float) -> float:
    """Volume of all lines of the sheet, volumes taken as additive.

    Parameters
    ----------
    total_volume : float
        Sum of the volumes as supplied, [L]

    Returns
    -------
    volume_of_batch : float
        The same, [L]

    Notes
    -----
    Free of air; within about 1 to 2 % for latex paints. Water with glycol or alcohol shrinks by 1 to 3 % of the two
    (memory).

    Examples
    --------
    >>> volume_of_batch(378.5)
    378.5

    References
    ----------
    .. [1] ASTM D5201 assumes that volumes add, scope page (verified).
    """
    return total_volume


def volume_balance(nonvolatile_volume: float, volatile_volume: float, total_volume: float) -> float:
    """Room of all that stays and all that leaves, over the volume as supplied.

    Parameters
    ----------
    nonvolatile_volume : float
        Dry volume of all that stays in the film, [L]
    volatile_volume : float
        Volume of water and of all other volatiles, each as a liquid by itself, [L]
    total_volume : float
        Sum of the volumes as supplied, [L]

    Returns
    -------
    volume_balance : float
        Ratio; 1 where volumes add, [1]

    Notes
    -----
    Refused if there is no volume. Two densities of one material that do not fit together show here: a latex whose
    nonvolatile density does not follow from its density as supplied. Not for hollow spheres: their water leaves and
    its room stays. Contraction of water with glycol is within about 1 %.

    Examples
    --------
    30 parts of a latex of 55 % at 1.02 kg/L, its solids taken as 1.037 kg/L:

    >>> round(volume_balance(16.5 / 1.037, 13.5 / 1.0, 30.0 / 1.02), 3)
    1.0

    References
    ----------
    .. [1] Coatings forum, thread 67405: volume of latex solids by taking away the water (verified).
    .. [2] ASTM D5201 assumes that volumes add, scope page (verified).
    """
    return (nonvolatile_volume + volatile_volume) / positive(total_volume, "there is no volume")
