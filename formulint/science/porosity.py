"""Critical PVC of a latex, and the room in a dry film that neither pigment nor binder fills."""

from __future__ import annotations

from formulint.science.mixing import positive


def not_below_zero(number: float) -> float:
    """The number, and zero in place of all of it that lies below.

    Parameters
    ----------
    number : float
        Anything that may be below zero, an interval too, [any]

    Returns
    -------
    number : float
        Itself where it is above zero; of an interval the part that is, [any]

    Notes
    -----
    An interval says itself what is left of it; what else is a number is compared with zero.

    Examples
    --------
    >>> not_below_zero(-0.2), not_below_zero(0.2)
    (0.0, 0.2)

    References
    ----------
    .. [1] Arithmetic; no source needed (practice).
    """
    if number > 0:
        return number
    if hasattr(number, "floored"):
        return number.floored()  # type: ignore[no-any-return]
    return number * 0.0 + 0.0


def binder_index(binder_index_volume: float, binder_volume: float) -> float:
    """Binder index of a mixture of latexes, the mean by their dry volume.

    Parameters
    ----------
    binder_index_volume : float
        Dry volume of each binder times its index, added up, [L]
    binder_volume : float
        Dry volume of the binders, [L]

    Returns
    -------
    binder_index : float
        Oil volume at the critical point over the latex volume that does the same, [1]

    Notes
    -----
    Refused if there is no binder. One for linseed oil. About 0.45 to 0.7 for a coarse, hard or badly coalesced
    latex, 0.7 to 0.95 for a fine, soft, well coalesced one (memory); a supplier's figure goes before these.

    Examples
    --------
    Made up: 60 L of index 0.6 with 40 L of index 0.8:

    >>> round(binder_index(60 * 0.6 + 40 * 0.8, 100.0), 2)
    0.68

    References
    ----------
    .. [1] Binder index or efficiency: Berardi 1963, T. C. Patton (memory).
    """
    return binder_index_volume / positive(binder_volume, "there is no binder")


def cpvc_latex(cpvc: float, binder_index: float) -> float:
    """Critical pigment volume concentration of a latex paint, from that in oil and the binder index.

    Parameters
    ----------
    cpvc : float
        Critical pigment volume concentration in oil, [L/L]
    binder_index : float
        Oil volume at the critical point over the latex volume that does the same, [1]

    Returns
    -------
    cpvc_latex : float
        Critical pigment volume concentration in the latex, [L/L]

    Notes
    -----
    Refused if the index is not above zero. CPVC/(CPVC + (1 - CPVC)/e), derived from the definition of the index. As
    good as both figures, 3 to 5 points at best (practice): an estimate, never a limit by itself.

    Examples
    --------
    52.7 % in oil and an index of 0.7; derived, not a printed result:

    >>> round(cpvc_latex(0.527, 0.7), 3)
    0.438

    References
    ----------
    .. [1] Definition of the binder index: Berardi 1963, T. C. Patton (memory); the relation is derived from it.
    """
    # The same as c/(c + (1 - c)/e) with each figure once, so that an interval keeps its true width.
    latex_per_pigment = (1 / positive(cpvc, "the critical pigment volume concentration is not above zero") - 1) / positive(
        binder_index, "the binder index is not above zero"
    )
    return 1 / (1 + latex_per_pigment)


def voids(pvc_binder: float, cpvc: float) -> float:
    """Share of a dry film that is air because there is too little binder.

    Parameters
    ----------
    pvc_binder : float
        Pigment volume concentration over pigments and binder, [L/L]
    cpvc : float
        Critical pigment volume concentration, [L/L]

    Returns
    -------
    voids : float
        Air in the dry film, [L/L]

    Notes
    -----
    Zero up to the critical point, 1 - CPVC/PVC above it. Refused if there is no pigment. The film is thicker by
    PVC/CPVC than what stays of the paint fills. As good as the critical value, and hollow spheres hold air besides.

    Examples
    --------
    65 % in a paint that goes critical at 50 %; derived, not a printed result:

    >>> round(voids(0.65, 0.50), 3)
    0.231

    References
    ----------
    .. [1] H. E. Stieg's porosity (memory); derived anew, both agree.
    """
    return not_below_zero(1 - cpvc / positive(pvc_binder, "there is no pigment"))


def porosity_index(pvc_binder: float, cpvc: float) -> float:
    """Share of the room between the pigments that no binder fills.

    Parameters
    ----------
    pvc_binder : float
        Pigment volume concentration over pigments and binder, [L/L]
    cpvc : float
        Critical pigment volume concentration, [L/L]

    Returns
    -------
    porosity_index : float
        Unfilled share of the room between the pigments, [L/L]

    Notes
    -----
    Zero up to the critical point, 1 - CPVC (1 - PVC)/(PVC (1 - CPVC)) above it. Refused if there is no pigment, or
    no room between it.

    Examples
    --------
    65 % in a paint that goes critical at 50 %; derived, not a printed result:

    >>> round(porosity_index(0.65, 0.50), 3)
    0.462

    References
    ----------
    .. [1] H. E. Stieg's porosity index (memory); derived anew, both agree.
    """
    binder_per_pigment = 1 / positive(pvc_binder, "there is no pigment") - 1
    room_per_pigment = 1 / positive(cpvc, "the critical pigment volume concentration is not above zero") - 1
    return not_below_zero(1 - binder_per_pigment / positive(room_per_pigment, "there is no room between the pigments"))
