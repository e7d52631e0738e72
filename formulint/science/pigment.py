"""Pigment and binder of the dry film: volume concentration, critical concentration by oil absorption, their ratio."""

from __future__ import annotations

from formulint.science.mixing import positive

# Raw linseed oil, kg/L: 0.93, 0.934 (15 degC) and 0.935 are printed in the trade's sources (verified); 0.935 is that of
# the usual formula "CPVC = 1/(1 + OA rho/93.5)" (verified, trade blog). 0.01 kg/L moves a CPVC of 50 % by 0.3
# points.
LINSEED_OIL_DENSITY = 0.935


def pvc(pigment_volume_all: float, nonvolatile_volume: float) -> float:
    """Pigment volume concentration: pigments and extenders over everything that stays in the film.

    Parameters
    ----------
    pigment_volume_all : float
        Dry volume of pigments, extenders, opaque polymer with its void, flatting agents and clays, [L]
    nonvolatile_volume : float
        Dry volume of all that stays in the film, [L]

    Returns
    -------
    pvc : float
        Pigment volume concentration, [L/L]

    Notes
    -----
    Refused if nothing stays in the film. The wording of ISO 4618: pigments, extenders and other non-film-forming
    solids over the whole nonvolatile volume. Additive solids are in the denominator, which lowers the value by 0.3
    to 1 point against `pvc_binder`. Between 0 and 1 as long as the pigments are part of what stays.

    Examples
    --------
    25 parts of rutile (4.2 kg/L) and 30 of calcite (2.7 kg/L) in 32.975 volumes of film; the source prints 51.75 %:

    >>> round(pvc(25.0 / 4.2 + 30.0 / 2.7, 32.9753), 4)
    0.5175

    References
    ----------
    .. [1] ISO 4618, term "pigment volume concentration", as quoted in trade sources (memory).
    .. [2] Coatings forum, thread 67405, latex paint core (verified).
    """
    return pigment_volume_all / positive(nonvolatile_volume, "nothing stays in the film")


def pvc_binder(pigment_volume_binder_convention: float, binder_volume: float) -> float:
    """Pigment volume concentration over pigments and binder alone, as the bench reckons it.

    Parameters
    ----------
    pigment_volume_binder_convention : float
        Dry volume of pigments, extenders, opaque polymer with its void, flatting agents and clays, [L]
    binder_volume : float
        Dry volume of the binders, [L]

    Returns
    -------
    pvc_binder : float
        Pigment volume concentration, additives left out, [L/L]

    Notes
    -----
    Refused if there is neither pigment nor binder. Always between 0 and 1. This one is compared with a critical
    value, since oil absorption knows no additives either.

    Examples
    --------
    A handbook's matt paint: rutile 190, calcite 240, talc 50 parts; 160 of binder solids of 1.1 kg/L. It prints 51 %:

    >>> round(pvc_binder(190.0 / 4.2 + 240.0 / 2.7 + 50.0 / 2.7, 160.0 / 1.1), 3)
    0.512

    References
    ----------
    .. [1] Dispersion maker's method sheet on PVC, quoted in a coatings forum, thread 33333 (verified).
    """
    both = pigment_volume_binder_convention + binder_volume
    return pigment_volume_binder_convention / positive(both, "there is neither pigment nor binder")


def cpvc(pigment_volume_oil: float, oil_mass: float) -> float:
    """Critical pigment volume concentration of a pigment mixture, estimated from oil absorption.

    Parameters
    ----------
    pigment_volume_oil : float
        Dry volume of the pigments that have an oil absorption; opaque polymer left out, [L]
    oil_mass : float
        Linseed oil these take up: sum of dry pigment mass times oil absorption, [kg]

    Returns
    -------
    cpvc : float
        Critical pigment volume concentration, [L/L]

    Notes
    -----
    Refused if there is no pigment with an oil absorption. An estimate, never a limit by itself: 3 to 5 points at
    best (practice). The oil demands are added, while real mixtures of coarse and fine pack better and take 10 to 25
    % less (memory), so the estimate is low. In a latex the critical value is lower than in oil.

    Examples
    --------
    1 kg of rutile of 4.2 kg/L and 20 g oil/100 g; derived from the formula, not a printed result:

    >>> round(cpvc(1.0 / 4.2, 0.20), 3)
    0.527

    References
    ----------
    .. [1] W. K. Asbeck, M. Van Loo, Ind. Eng. Chem. 41 (1949) 1470-1475: citation verified, content from memory.
    .. [2] Form 1/(1 + OA rho/93.5), trade blog and forum (verified).
    """
    oil_volume = oil_mass / LINSEED_OIL_DENSITY
    return pigment_volume_oil / positive(
        pigment_volume_oil + oil_volume, "there is no pigment with an oil absorption, so there is no critical value"
    )


def critical_pvc_from_oil_absorption(
    oil_absorption: float, pigment_density: float, oil_density: float = LINSEED_OIL_DENSITY
) -> float:
    """Critical pigment volume concentration of a single pigment.

    Parameters
    ----------
    oil_absorption : float
        Oil absorption by mass on dry pigment; 100 times this is g/100 g, [kg/kg]
    pigment_density : float
        Density of the dry pigment, [kg/L]
    oil_density : float
        Density of the oil; linseed oil unless said otherwise, [kg/L]

    Returns
    -------
    critical_pvc_from_oil_absorption : float
        Critical pigment volume concentration, [L/L]

    Notes
    -----
    Refused if the density of the oil is not above zero. 1/(1 + OA rho/oil density). An oil absorption given in
    mL/100 g has to be multiplied by the density of the oil first; mixing the two up moves the result by 1 to 2
    points. See `cpvc` for how good the estimate is.

    Examples
    --------
    Calcite of 15 g/100 g and 2.71 kg/L; derived from the formula, not a printed result:

    >>> round(critical_pvc_from_oil_absorption(0.15, 2.71), 3)
    0.697

    References
    ----------
    .. [1] Form 1/(1 + OA rho/93.5), trade blog and forum (verified).
    .. [2] Asbeck and Van Loo (1949): citation verified, content from memory.
    """
    oil_per_pigment = oil_absorption * pigment_density / positive(oil_density, "the oil's density is not above zero")
    return 1 / positive(1 + oil_per_pigment, "the oil absorption is below zero")


def oil_absorption_of_mixture(oil_mass: float, pigment_mass: float) -> float:
    """Oil absorption of a pigment mixture, the mean by mass.

    Parameters
    ----------
    oil_mass : float
        Linseed oil that the pigments take up, each by itself, [kg]
    pigment_mass : float
        Mass of the same pigments, dry, [kg]

    Returns
    -------
    oil_absorption_of_mixture : float
        Oil absorption, [kg/kg]

    Notes
    -----
    Refused if there is no pigment. An upper bound: mixtures of coarse and fine pigment take less oil than the mean
    (memory).

    Examples
    --------
    Four pigments of 17, 13, 40 and 33 g/100 g in 100 g of an enamel's pigment; the source prints 18.951 g/100 g:

    >>> round(oil_absorption_of_mixture(79.31 * 0.17 + 6.91 * 0.13 + 0.30 * 0.40 + 13.48 * 0.33, 100.0), 5)
    0.18949

    References
    ----------
    .. [1] Student design project on an alkyd enamel, page 10 of the web edition (verified).
    """
    return oil_mass / positive(pigment_mass, "there is no pigment")


def reduced_pvc(pvc_binder: float, cpvc: float) -> float:
    """How far a paint is from its critical point: above 1 the film has air in it.

    Parameters
    ----------
    pvc_binder : float
        Pigment volume concentration over pigments and binder, [L/L]
    cpvc : float
        Critical pigment volume concentration, [L/L]

    Returns
    -------
    reduced_pvc : float
        Ratio of the two, [1]

    Notes
    -----
    Refused if the critical value is not above zero. With a critical value from oil absorption a latex film may be
    porous well below 1. Printed bands: topcoats 0.10 to 0.40, primers 0.50 to 0.75, wall paints 0.60 to 1.70.

    Examples
    --------
    An enamel's mill base made at 49.73 %, critical 58.51 %; the source means 0.85:

    >>> round(reduced_pvc(0.4973, 0.5851), 3)
    0.85

    References
    ----------
    .. [1] Student design project on an acrylic enamel, section 5.1.2, page 17 of the web edition (verified).
    .. [2] Bands: two web sources, as "pigment volume balance" (verified).
    """
    return pvc_binder / positive(cpvc, "the critical pigment volume concentration is not above zero")


def pigment_binder(pigment_mass: float, binder_mass: float) -> float:
    """Pigment-binder ratio by mass.

    Parameters
    ----------
    pigment_mass : float
        Mass of dry pigments and extenders, [kg]
    binder_mass : float
        Nonvolatile mass of the binders, [kg]

    Returns
    -------
    pigment_binder : float
        Ratio, [1]

    Notes
    -----
    Refused if there is no binder. Thickener, dispersant and wax solids are in neither (practice).

    Examples
    --------
    480 parts of pigment on 160 of binder solids; the source prints 3.0:

    >>> pigment_binder(480.0, 160.0)
    3.0

    References
    ----------
    .. [1] Dispersion maker's method sheet on PVC, quoted in a coatings forum, thread 33333 (verified).
    """
    return pigment_mass / positive(binder_mass, "there is no binder")
