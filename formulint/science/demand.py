"""What pigments and binders ask for: dispersant, oil, coalescent; and what replaces an extender."""

from __future__ import annotations

from formulint.science.mixing import positive

PERCENT = 100  # a slope is given for each per cent


def dispersant_demand(dispersant_needed: float, pigment_mass: float) -> float:
    """Dispersant that the pigments ask for, as the suppliers or a dose ladder say of each.

    Parameters
    ----------
    dispersant_needed : float
        Active dispersant: mass of each dry pigment times its demand, added up, [kg]
    pigment_mass : float
        Mass of dry pigments and extenders, [kg]

    Returns
    -------
    dispersant_demand : float
        Active dispersant on pigment, [kg/kg]

    Notes
    -----
    Refused if there is no pigment. A slurry brings its own dispersant, which counts towards it. The minimum of
    viscosity in a ladder of doses decides, not this sum.

    Examples
    --------
    Made up: 200 kg at 0.3 % and 100 kg at 1.2 %:

    >>> round(dispersant_demand(200 * 0.003 + 100 * 0.012, 300.0), 4)
    0.006

    References
    ----------
    .. [1] Common practice of dispersant doses; no document (practice).
    """
    return dispersant_needed / positive(pigment_mass, "there is no pigment")


def dispersant_supply(dispersant_active: float, dispersant_needed: float) -> float:
    """Dispersant in the formula over what its pigments ask for.

    Parameters
    ----------
    dispersant_active : float
        Active part of the dispersants, [kg]
    dispersant_needed : float
        Active dispersant: mass of each dry pigment times its demand, added up, [kg]

    Returns
    -------
    dispersant_supply : float
        Ratio; below 1 there is too little, [1]

    Notes
    -----
    Refused if the pigments ask for none. As good as the demands; too much dispersant costs wet scrub and water
    resistance.

    Examples
    --------
    Made up: 2.1 kg where 1.8 kg are asked for:

    >>> round(dispersant_supply(2.1, 1.8), 2)
    1.17

    References
    ----------
    .. [1] Definition (practice).
    """
    return dispersant_active / positive(dispersant_needed, "the pigments ask for no dispersant")


def dispersant_on_area(dispersant_active: float, pigment_area: float) -> float:
    """Dispersant by the surface that it has to cover.

    Parameters
    ----------
    dispersant_active : float
        Active part of the dispersants, [kg]
    pigment_area : float
        Mass of each dry pigment times its specific surface, added up, [m2]

    Returns
    -------
    dispersant_on_area : float
        Active dispersant by surface, [kg/m2]

    Notes
    -----
    Refused if there is no surface. Polyelectrolytes need about 0.3 to 1.0 mg/m2 (memory). The surface is that of
    gas adsorption; porous pigments have more of it than a dispersant reaches.

    Examples
    --------
    Made up: 2 kg on 200 kg of pigment with 15 m2/g, in mg/m2:

    >>> round(dispersant_on_area(2.0, 200.0 * 15000.0) * 1e6, 3)
    0.667

    References
    ----------
    .. [1] Definition; the range from memory (memory).
    """
    return dispersant_active / positive(pigment_area, "there is no pigment surface")


def minimum_film_temperature(film_temperature_mass: float, film_temperature_drop: float, binder_mass: float) -> float:
    """Lowest temperature at which the latex forms a film, lowered by its coalescent.

    Parameters
    ----------
    film_temperature_mass : float
        Nonvolatile mass of each binder times its own minimum film temperature, added up, [K kg]
    film_temperature_drop : float
        Mass of each coalescent times what it lowers the temperature by for each part of it on a part of binder, [K kg]
    binder_mass : float
        Nonvolatile mass of the binders, [kg]

    Returns
    -------
    minimum_film_temperature : float
        Minimum film temperature, [K]

    Notes
    -----
    Refused if there is no binder. Straight lines: good for a few per cent of coalescent, within the range for which
    the supplier gives the slope, about 1.5 to 3 K for each per cent (memory). Two latexes do not form a film at the
    mean of their temperatures; the mean is a first guess.

    Examples
    --------
    Made up: a latex of 12 degC with 3 % of a coalescent that brings 2.5 K for each per cent, in K:

    >>> round(minimum_film_temperature(100 * 285.15, 3.0 * 2.5 * 100, 100.0), 2)
    277.65

    References
    ----------
    .. [1] Common practice; the range of slopes from memory (memory).
    """
    positive(binder_mass, "there is no binder")
    return film_temperature_mass / binder_mass - film_temperature_drop / binder_mass


def extender_at_equal_volume(mass: float, density: float, other_density: float) -> float:
    """Mass of another extender that takes the same room in the film, so that the PVC stays.

    Parameters
    ----------
    mass : float
        Mass of the extender that goes out, [kg]
    density : float
        Its density, dry, [kg/L]
    other_density : float
        Density of the extender that comes in, dry, [kg/L]

    Returns
    -------
    extender_at_equal_volume : float
        Mass of the extender that comes in, [kg]

    Notes
    -----
    Refused if a density is not above zero. Keeps PVC and nonvolatile volume; density, oil demand and critical PVC
    change. A printed factor OA1 D2/(OA2 D1) "at constant PVC" keeps neither PVC nor oil demand and is not used.

    Examples
    --------
    100 kg of calcite of 2.71 kg/L out, calcined kaolin of 2.63 kg/L in:

    >>> round(extender_at_equal_volume(100.0, 2.71, 2.63), 1)
    97.0

    References
    ----------
    .. [1] Definition of PVC; derived (practice).
    """
    return mass * other_density / positive(density, "the density is not above zero")


def extender_at_equal_oil(mass: float, oil_absorption: float, other_oil_absorption: float) -> float:
    """Mass of another extender that takes up the same oil, so that the binder demand stays.

    Parameters
    ----------
    mass : float
        Mass of the extender that goes out, [kg]
    oil_absorption : float
        Its oil absorption, [kg/kg]
    other_oil_absorption : float
        Oil absorption of the extender that comes in, [kg/kg]

    Returns
    -------
    extender_at_equal_oil : float
        Mass of the extender that comes in, [kg]

    Notes
    -----
    Refused if the one that comes in takes up no oil. The PVC changes.

    Examples
    --------
    100 kg of 15 g/100 g out, 60 g/100 g in:

    >>> extender_at_equal_oil(100.0, 0.15, 0.60)
    25.0

    References
    ----------
    .. [1] Definition of oil absorption; derived (practice).
    """
    return mass * oil_absorption / positive(other_oil_absorption, "the extender that comes in takes up no oil")
