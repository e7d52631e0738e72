"""Mass, volume, density, solids and doses of a mixture, volumes taken as additive."""

from __future__ import annotations


def positive(denominator: float, what: str) -> float:
    """The denominator itself, once it is known that it can be divided by.

    Parameters
    ----------
    denominator : float
        What a law is about to divide by; zero or below is refused, and so is what is no number, [any]
    what : str
        The sentence for people when it is refused, [text]

    Returns
    -------
    denominator : float
        Unchanged, [any]

    Raises
    ------
    ValueError
        With ``what``, if the denominator is not above zero in all it may be.

    Notes
    -----
    Asked as ``not > 0``, so that an interval which reaches down to zero is refused as well.

    Examples
    --------
    >>> positive(2.5, "there is no volume")
    2.5

    References
    ----------
    .. [1] Arithmetic; no source needed (practice).
    """
    if not denominator > 0:
        raise ValueError(what)
    return denominator


def volume(mass: float, density: float) -> float:
    """Volume that a mass takes up.

    Parameters
    ----------
    mass : float
        Mass as supplied, [kg]
    density : float
        Density as supplied; not the bulk density of a powder, [kg/L]

    Returns
    -------
    volume : float
        Volume without air, [L]

    Notes
    -----
    Valid for any density above zero. A wet density gives the wet volume, the density of the nonvolatile part the
    volume in the film.

    Examples
    --------
    190 kg of rutile in a handbook's matt paint:

    >>> round(volume(190.0, 4.2), 1)
    45.2

    References
    ----------
    .. [1] Dispersion maker's method sheet on PVC, quoted in a coatings forum, thread 33333: 45.2 mL (verified).
    """
    return mass / positive(density, "the density is not above zero")


def mass(volume: float, density: float) -> float:
    """Mass of a volume; the other way round of `volume`.

    Parameters
    ----------
    volume : float
        Volume as supplied, [L]
    density : float
        Density as supplied, or the content of a substance per volume, [kg/L]

    Returns
    -------
    mass : float
        Mass, [kg]

    Notes
    -----
    Valid at the temperature of the density only; no correction is made.

    Examples
    --------
    5 gal of oil at 7.7 lb/gal, in pounds and gallons:

    >>> round(mass(5.0, 7.7), 1)
    38.5

    References
    ----------
    .. [1] Definition; the figures are from an early 20th-century painting text on pigments (verified).
    """
    return volume * density


def density(total_mass: float, total_volume: float) -> float:
    """Density of the wet paint.

    Parameters
    ----------
    total_mass : float
        Mass of all additions, [kg]
    total_volume : float
        Sum of the volumes as supplied, [L]

    Returns
    -------
    density : float
        Density, free of air, [kg/L]

    Notes
    -----
    Refused if there is no volume. Volumes add up: within about 1 to 2 % for latex paints. Water with glycol or
    alcohol shrinks by 1 to 3 % of the two (memory); entrained air works the other way. On 27 oil paints with a
    measured density the rule was high by 1.1 % on average (standard deviation 2.3 %).

    Examples
    --------
    Six volumes of 1.3 kg/L and one of 0.9 kg/L:

    >>> round(density(6 * 1.3 + 0.9, 7.0), 2)
    1.24

    References
    ----------
    .. [1] Painting-inspector training, density exercise with answers: 1.24 (verified).
    .. [2] ASTM D5201, practice for calculating formulation physical constants, scope page (verified).
    .. [3] H. A. Gardner, Paint Technology and Tests (1911), table of measured oil paints (verified, recomputed).
    """
    return total_mass / positive(total_volume, "there is no volume")


def nonvolatile_mass_share(nonvolatile_mass: float, total_mass: float) -> float:
    """Share of the mass that stays in the film, solids by weight.

    Parameters
    ----------
    nonvolatile_mass : float
        Mass that stays in the film, by composition, [kg]
    total_mass : float
        Mass of all additions, [kg]

    Returns
    -------
    nonvolatile_mass_share : float
        Nonvolatile share, [kg/kg]

    Notes
    -----
    Refused if there is no mass. By composition, not by oven: one hour at 110 degC also drives off part of
    plasticizers and slow coalescents.

    Examples
    --------
    The nonvolatile rows of a handbook's matt paint, which prints "65 %" and leaves small additives out:

    >>> round(nonvolatile_mass_share(643.0, 1000.0), 2)
    0.64

    References
    ----------
    .. [1] Dispersion maker's method sheet on PVC, quoted in a coatings forum, thread 33333 (verified).
    """
    return nonvolatile_mass / positive(total_mass, "there is no mass")


def nonvolatile_volume_share(nonvolatile_volume: float, total_volume: float) -> float:
    """Share of the wet volume that stays in the film, solids by volume.

    Parameters
    ----------
    nonvolatile_volume : float
        Dry volume of all that stays in the film, hollow spheres with their void, [L]
    total_volume : float
        Sum of the volumes as supplied, [L]

    Returns
    -------
    nonvolatile_volume_share : float
        Nonvolatile share, [L/L]

    Notes
    -----
    Refused if there is no volume. Counts everything that stays, additives as well. With hollow spheres, nonvolatile
    and volatile volume add to more than the whole: their water leaves and its room stays. A film above the critical
    PVC is thicker than this share says.

    Examples
    --------
    A paint of 63 % by volume, thinned with a tenth of its volume:

    >>> round(nonvolatile_volume_share(63.0, 110.0), 3)
    0.573

    References
    ----------
    .. [1] Paint maker's note on useful calculations, in Spanish: 57.3 % (verified).
    """
    return nonvolatile_volume / positive(total_volume, "there is no volume")


def nonvolatile_volume_by_balance(nonvolatile: float, density: float, water_density: float) -> float:
    """Share of a latex's volume that stays, found by taking away the water.

    Parameters
    ----------
    nonvolatile : float
        Nonvolatile share by mass, [kg/kg]
    density : float
        Density as supplied, [kg/L]
    water_density : float
        Density of the water in it, [kg/L]

    Returns
    -------
    nonvolatile_volume_by_balance : float
        Nonvolatile share by volume, [L/L]

    Notes
    -----
    Refused if the density of water is not above zero. 1 - (1 - n) d/dw. Valid where water is the only volatile and
    volumes add: latex, dispersions, solutions of salts by approximation. Not valid for hollow spheres: it gives
    their shell without the void.

    Examples
    --------
    A latex of 42.5 % by weight at 8.56 lb/gal, water 8.33 lb/gal; its sheet prints 41.0 % by volume:

    >>> round(nonvolatile_volume_by_balance(0.425, 8.56, 8.33), 3)
    0.409

    References
    ----------
    .. [1] Technical data sheet of an acrylic copolymer latex that prints both solids (verified).
    """
    return 1 - (1 - nonvolatile) * density / positive(water_density, "the density of water is not above zero")


def nonvolatile_density_by_balance(nonvolatile: float, density: float, water_density: float) -> float:
    """Density of what stays of a latex, found by taking away the water: the figure a material calls "derived".

    Parameters
    ----------
    nonvolatile : float
        Nonvolatile share by mass, above zero, [kg/kg]
    density : float
        Density as supplied, [kg/L]
    water_density : float
        Density of the water in it, [kg/L]

    Returns
    -------
    nonvolatile_density_by_balance : float
        Density of the nonvolatile part, [kg/L]

    Notes
    -----
    Refused if nothing stays, or the water alone would take up the whole volume. n d/(1 - (1 - n) d/dw), see
    `nonvolatile_volume_by_balance` for where it is valid: water the only volatile, additive volumes, no hollow
    spheres. The less stays, the more it magnifies an error of the density: at 50 % nonvolatile an error of 1 % in
    the density as supplied becomes about 2 %, at 25 % about 4 %.

    Examples
    --------
    30 parts of a latex of 55 % at 1.02 kg/L hold 15.91 volumes for 16.5 parts of solids:

    >>> round(nonvolatile_density_by_balance(0.55, 1.02, 1.0), 3)
    1.037

    References
    ----------
    .. [1] Coatings forum, thread 67405: 15.9118 volumes by water subtraction (verified).
    """
    # The same as n d/(1 - (1 - n) d/dw), with n and d once each, so that an interval of either keeps its true width.
    positive(density, "the density is not above zero")
    water_bulk = 1 / positive(water_density, "the density of water is not above zero")
    positive(nonvolatile, "nothing stays, so what stays has no density")
    bulk = (1 / density - water_bulk) / nonvolatile + water_bulk
    return 1 / positive(bulk, "the water alone takes up the whole volume")


def water_share(water_mass: float, total_mass: float) -> float:
    """Share of the mass that is water, that in the raw materials included.

    Parameters
    ----------
    water_mass : float
        Water added and water in the raw materials, [kg]
    total_mass : float
        Mass of all additions, [kg]

    Returns
    -------
    water_share : float
        Water, [kg/kg]

    Notes
    -----
    Refused if there is no mass. Forgetting the water of a latex is the commonest mistake in a VOC calculation.

    Examples
    --------
    >>> water_share(53.0, 100.0)
    0.53

    References
    ----------
    .. [1] Definition (practice).
    """
    return water_mass / positive(total_mass, "there is no mass")


def active_dose(active_mass: float, basis_mass: float) -> float:
    """Dose of an additive on what it works on.

    Parameters
    ----------
    active_mass : float
        Active part of the additive; as supplied or nonvolatile where a rule counts so, [kg]
    basis_mass : float
        Pigment, binder solids or the whole batch, [kg]

    Returns
    -------
    active_dose : float
        Dose, [kg/kg]

    Notes
    -----
    Refused if there is nothing to dose on. 100 m a / sum of pigment in per cent. Products of 40 % and 25 % active
    differ by 1.6 at equal weight as supplied.

    Examples
    --------
    Made up: 8.5 lb of a dispersant of 25 % active on 500 lb of pigment:

    >>> round(active_dose(8.5 * 0.25, 500.0), 5)
    0.00425

    References
    ----------
    .. [1] Common practice of dispersant doses; no document (practice).
    """
    return active_mass / positive(basis_mass, "there is nothing to dose on")


def substance_share(substance_mass: float, total_mass: float) -> float:
    """Share of one substance in the paint, from all raw materials that carry it.

    Parameters
    ----------
    substance_mass : float
        Mass of the substance in all additions, [kg]
    total_mass : float
        Mass of all additions, [kg]

    Returns
    -------
    substance_share : float
        Content, [kg/kg]

    Notes
    -----
    Refused if there is no mass. A lower bound where a supplier does not name all components.

    Examples
    --------
    Made up: 0.235 kg of a preservative's active in 1000 kg are 235 ppm:

    >>> substance_share(0.235, 1000.0)
    0.000235

    References
    ----------
    .. [1] Definition (practice).
    """
    return substance_mass / positive(total_mass, "there is no mass")
