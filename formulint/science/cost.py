"""What a paint costs in raw materials, by mass, by volume wet and dry, and by area."""

from __future__ import annotations

from formulint.science.mixing import positive


def cost_mass(cost: float, total_mass: float) -> float:
    """Cost of the raw materials by mass of paint.

    Parameters
    ----------
    cost : float
        Price of all additions, [money]
    total_mass : float
        Mass of all additions, [kg]

    Returns
    -------
    cost_mass : float
        Raw-material cost, [money/kg]

    Notes
    -----
    Refused if there is no mass. Raw materials only: no losses, packages, labour.

    Examples
    --------
    Made up, for its form only:

    >>> cost_mass(650.0, 500.0)
    1.3

    References
    ----------
    .. [1] Definition (practice).
    """
    return cost / positive(total_mass, "there is no mass")


def cost_volume(cost: float, total_volume: float) -> float:
    """Cost of the raw materials by volume of paint.

    Parameters
    ----------
    cost : float
        Price of all additions, [money]
    total_volume : float
        Sum of the volumes as supplied, [L]

    Returns
    -------
    cost_volume : float
        Raw-material cost, [money/L]

    Notes
    -----
    Refused if there is no volume. Paint is sold by volume, so this is the number to compare; a lighter paint of
    equal cost by mass is cheaper by volume.

    Examples
    --------
    Made up, for its form only:

    >>> cost_volume(650.0, 400.0)
    1.625

    References
    ----------
    .. [1] Definition (practice).
    """
    return cost / positive(total_volume, "there is no volume")


def cost_dry_volume(cost: float, nonvolatile_volume: float) -> float:
    """Cost of the raw materials by volume of dry film.

    Parameters
    ----------
    cost : float
        Price of all additions, [money]
    nonvolatile_volume : float
        Dry volume of all that stays in the film, hollow spheres with their void, [L]

    Returns
    -------
    cost_dry_volume : float
        Raw-material cost of what stays on the wall, [money/L]

    Notes
    -----
    Refused if nothing stays in the film. Tells paints of different solids apart, as cost by volume cannot: water is
    cheap in the can and gone on the wall. Above the critical PVC the film has air in it besides.

    Examples
    --------
    Made up, for its form only:

    >>> cost_dry_volume(650.0, 130.0)
    5.0

    References
    ----------
    .. [1] Definition (practice).
    """
    return cost / positive(nonvolatile_volume, "nothing stays in the film")


def cost_area(cost_volume: float, spreading_rate: float) -> float:
    """Cost of the raw materials by area covered.

    Parameters
    ----------
    cost_volume : float
        Raw-material cost by volume, [money/L]
    spreading_rate : float
        Area that a litre covers, [m2/L]

    Returns
    -------
    cost_area : float
        Cost of one coat, [money/m2]

    Notes
    -----
    Refused if the spreading rate is not above zero. As good as the spreading rate: theoretical in, theoretical out.

    Examples
    --------
    43.50 USD/gal at 294 ft2/gal, in dollars and square feet; the source cuts it to 0.14:

    >>> round(cost_area(43.5, 294.0), 3)
    0.148

    References
    ----------
    .. [1] Contractor magazine, vol. 5 no. 4, estimating column (verified).
    """
    return cost_volume / positive(spreading_rate, "the spreading rate is not above zero")
