"""The dissolver: how fast its disc runs, and how disc, tank and filling go together."""

from __future__ import annotations

from math import pi

from formulint.science.mixing import positive

LITRES_PER_CUBIC_METRE = 1000
CYLINDER = pi / 4  # cross-section of a cylinder over the square of its diameter


def tip_speed(disc: float, rotation: float) -> float:
    """Speed at the rim of a disc.

    Parameters
    ----------
    disc : float
        Diameter of the disc, [m]
    rotation : float
        Turns in a second, [1/s]

    Returns
    -------
    tip_speed : float
        Speed at the rim, [m/s]

    Notes
    -----
    For any disc. Targets in print disagree: about 20 m/s, 20 to 30, 25 to 26 (verified); the same tip speed is
    kept when a batch goes to a larger tank.

    Examples
    --------
    14 in at 1450 rpm, in ft/min; the booklet prints 5315, its speed of rotation is deduced:

    >>> round(tip_speed(14.0 / 12, 1450.0))
    5315

    References
    ----------
    .. [1] Dispersion-equipment maker's training booklet, table of tip speeds (verified).
    """
    return pi * disc * rotation


def disc_to_tank(disc: float, tank: float) -> float:
    """Diameter of the disc over that of its tank.

    Parameters
    ----------
    disc : float
        Diameter of the disc, [m]
    tank : float
        Inner diameter of the tank, [m]

    Returns
    -------
    disc_to_tank : float
        Ratio, [1]

    Notes
    -----
    Refused if the tank has no diameter. A third is printed (verified); tanks of 2.5 to 3.5 discs are usual
    (practice).

    Examples
    --------
    16 in in a tank of 48 in:

    >>> round(disc_to_tank(16.0, 48.0), 3)
    0.333

    References
    ----------
    .. [1] Dispersion-equipment handbook chapter: a third (verified).
    """
    return disc / positive(tank, "the tank has no diameter")


def liquid_height(volume: float, tank: float) -> float:
    """How high a volume stands in a tank.

    Parameters
    ----------
    volume : float
        Volume in the tank, [L]
    tank : float
        Inner diameter of the tank, [m]

    Returns
    -------
    liquid_height : float
        Height above a flat bottom, [m]

    Notes
    -----
    Refused if the tank has no diameter. A flat bottom, at rest, without air; a dished bottom stands higher.

    Examples
    --------
    300 gal in a tank of 48 in, in inches:

    >>> round(liquid_height(300 * 3.785411784, 48 * 0.0254) / 0.0254, 1)
    38.3

    References
    ----------
    .. [1] Geometry; no source needed (practice).
    """
    positive(tank, "the tank has no diameter")
    return volume / LITRES_PER_CUBIC_METRE / (CYLINDER * tank * tank)


def disc_coverage(mill_volume: float, tank: float, disc: float) -> float:
    """Height of what is ground over the diameter of the disc.

    Parameters
    ----------
    mill_volume : float
        Volume in the tank while the disc runs, [L]
    tank : float
        Inner diameter of the tank, [m]
    disc : float
        Diameter of the disc, [m]

    Returns
    -------
    disc_coverage : float
        Ratio, [1]

    Notes
    -----
    Refused if the disc or the tank has no diameter. Below about 1 the disc draws air; fillings of 1 to 2 discs are
    usual (practice). A flat bottom, at rest.

    Examples
    --------
    300 gal in a tank of 48 in with a disc of 16 in:

    >>> round(disc_coverage(300 * 3.785411784, 48 * 0.0254, 16 * 0.0254), 2)
    2.39

    References
    ----------
    .. [1] Common practice of dissolvers; no document (practice).
    """
    return liquid_height(mill_volume, tank) / positive(disc, "the disc has no diameter")
