r"""The arrangements of equal cables in a round duct: weight correction, sidewall factor, clearance, jam ratio, fill.

With D the inside diameter of the duct, d that of one cable and s = d / (D - d), the cables' centres lie on a circle of
diameter D - d, and neighbours that touch stand 2 arcsin s apart on it. All the formulas follow from that picture and
from balance of forces without friction between the cables.

For four to six cables lying loose there is no published formula ("circle" here). The safe side is taken: the weight
correction of a row of n cables along the bottom, 1 + (n² - 1) s² / 6, which is the published one for three; half of it
on the hardest-pressed cable; and the clearance over one round bundle. Piles of circles let settle in a circle stay
within all three up to a fill of 53 %; above, five or six cables can wedge like the stones of an arch, and the formula
refuses.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from mechanics.errors import DomainError, FloatArray, in_range, one_of, together, whole
from mechanics.packing import ENCLOSING
from mechanics.tables import Tables, tables_of

LOOSE_FILL = 0.53
"""Greatest fill for which loose piles of four to six cables stay within the safe side taken."""
COUNTS: dict[str, tuple[int, ...]] = {
    "single": (1,),
    "pair": (2,),
    "triangular": (3,),
    "cradled": (3,),
    "diamond": (4,),
    "circle": (4, 5, 6),
}
"""The arrangements, and for how many cables each is."""
DIAMOND_BELOW = (
    3.0  # D/d from which the two cables at the sides no longer hold the top one off the bottom one
)


def weight_correction(
    arrangement: str, inside_diameter: ArrayLike, diameter: ArrayLike, cables: int | None = None
) -> FloatArray:
    r"""Weight correction factor of an arrangement of equal cables.

    .. math::
        \text{pair, triangular: } \frac{1}{\sqrt{1 - s^2}} \qquad \text{cradled: } 1 + \tfrac43 s^2 \qquad
        \text{diamond: } 1 + 2 s^2 \qquad \text{circle: } 1 + \tfrac{n^2 - 1}{6} s^2,
        \qquad s = \frac{d}{D - d}

    Parameters
    ----------
    arrangement : str
        ``single``, ``pair``, ``triangular``, ``cradled``, ``diamond`` or ``circle``.
    inside_diameter : float or array_like
        Of the duct, D. [m]
    diameter : float or array_like
        Of one cable, d. [m]
    cables : int, optional
        How many, for ``circle``.

    Returns
    -------
    ndarray
        At least 1.

    Raises
    ------
    DomainError
        Unknown arrangement, or a ratio D/d at which the cables cannot lie so.

    References
    ----------
    [ieee1185] in docs/sources.md for cradled, triangular and diamond, from memory; statics for the pair; ``circle`` is
    a safe side of this project.

    Examples
    --------
    >>> round(float(weight_correction("cradled", 127.4, 41.0)), 5)
    1.30025
    >>> round(float(weight_correction("triangular", 3.0, 1.0)), 4)
    1.1547
    """
    s = _spread(arrangement, inside_diameter, diameter, cables)[2]
    if arrangement == "single":
        return np.ones_like(s)
    if arrangement in {"pair", "triangular"}:
        return np.asarray(1.0 / np.sqrt(1.0 - s**2))
    if arrangement == "cradled":
        return np.asarray(1.0 + 4.0 / 3.0 * s**2)
    if arrangement == "diamond":
        return np.asarray(1.0 + 2.0 * s**2)
    n = cables or 0
    return np.asarray(1.0 + (n * n - 1) / 6.0 * s**2)


def sidewall_factor(
    arrangement: str, inside_diameter: ArrayLike, diameter: ArrayLike, cables: int | None = None
) -> FloatArray:
    r"""Pressure on the hardest-pressed cable of a bundle as a share of tension over radius.

    .. math::
        \text{single: } 1 \qquad \text{pair, triangular, circle: } \frac{w_c}{2} \qquad
        \text{cradled: } \frac{3 w_c - 2}{3} \qquad \text{diamond: } w_c - 1

    Parameters
    ----------
    arrangement : str
        ``single``, ``pair``, ``triangular``, ``cradled``, ``diamond`` or ``circle``.
    inside_diameter : float or array_like
        Of the duct, D. [m]
    diameter : float or array_like
        Of one cable, d. [m]
    cables : int, optional
        How many, for ``circle``.

    Returns
    -------
    ndarray
        The factor.

    Raises
    ------
    DomainError
        Unknown arrangement, or a ratio D/d at which the cables cannot lie so.

    References
    ----------
    [ieee1185] in docs/sources.md, from memory; statics for the pair; ``circle`` is a safe side of this project.

    Examples
    --------
    >>> round(float(sidewall_factor("cradled", 127.4, 41.0)), 6)
    0.633581
    """
    correction = weight_correction(arrangement, inside_diameter, diameter, cables)
    if arrangement == "single":
        return correction
    if arrangement == "cradled":
        return np.asarray((3.0 * correction - 2.0) / 3.0)
    if arrangement == "diamond":
        return np.asarray(correction - 1.0)
    return np.asarray(correction / 2.0)


def clearance(
    arrangement: str, inside_diameter: ArrayLike, diameter: ArrayLike, cables: int | None = None
) -> FloatArray:
    r"""Height between the top of the uppermost cable and the crown of the duct.

    .. math::
        \text{single: } D - d \qquad \text{pair: } \tfrac{D-d}{2}(1 + \sqrt{1-s^2}) \qquad
        \text{triangular: } \tfrac D2 - \tfrac{1+\sqrt3}{2} d + \tfrac{D-d}{2}\sqrt{1-s^2}

    .. math::
        \text{cradled: } (D-d)(1-s^2) \qquad \text{diamond: } (D-d)(1-2s^2) \qquad
        \text{circle: } D - \text{diameter of one round bundle}

    Parameters
    ----------
    arrangement : str
        ``single``, ``pair``, ``triangular``, ``cradled``, ``diamond`` or ``circle``.
    inside_diameter : float or array_like
        Of the duct, D. [m]
    diameter : float or array_like
        Of one cable, d. [m]
    cables : int, optional
        How many, for ``circle``.

    Returns
    -------
    ndarray
        At least 0. [m]

    Raises
    ------
    DomainError
        Unknown arrangement, or a ratio D/d at which the cables cannot lie so.

    Notes
    -----
    Geometry of circles, as the bundle lies; ``circle`` is a safe side of this project. In a bend it can be drawn tighter:
    what a pull is judged by is :func:`mechanics.bundle.lie`'s.

    Examples
    --------
    >>> round(float(clearance("triangular", 127.4, 41.0)), 4)
    45.7191
    """
    D, d, s = _spread(arrangement, inside_diameter, diameter, cables)
    if arrangement == "single":
        return np.asarray(D - d)
    if arrangement == "pair":
        return np.asarray((D - d) / 2 * (1 + np.sqrt(1 - s**2)))
    if arrangement == "triangular":
        return np.asarray(D / 2 - (1 + math.sqrt(3)) / 2 * d + (D - d) / 2 * np.sqrt(1 - s**2))
    if arrangement == "cradled":
        return np.asarray((D - d) * (1 - s**2))
    if arrangement == "diamond":
        return np.asarray((D - d) * (1 - 2 * s**2))
    return np.asarray(D - ENCLOSING[(cables or 1) - 1] * d)


def jam_ratio(
    inside_diameter: ArrayLike, diameters: tuple[float, float, float], tables: Tables | None = None
) -> FloatArray:
    r"""Jam ratio of three single cables: near 3 they can stand abreast and wedge in a bend.

    .. math:: J = 1.05\, D / \bar d

    Parameters
    ----------
    inside_diameter : float or array_like
        Of the duct, D. [m]
    diameters : tuple of three floats
        Of the cables; their mean counts. [m]
    tables : Tables, optional
        With a user's own allowance for ovality.

    Returns
    -------
    ndarray
        Critical from 2.8 to 3.2.

    Raises
    ------
    DomainError
        Not above 0, or not three cables.

    Notes
    -----
    Handbooks; common practice. The allowance of 5 % is for the ovality of bends.

    Examples
    --------
    >>> round(float(jam_ratio(127.4, (41.0, 41.0, 41.0))), 5)
    3.26268
    """
    D = in_range("inside_diameter", inside_diameter, above=0.0)
    d = in_range("diameters", diameters, above=0.0)
    if d.shape != (3,):
        raise DomainError(f"diameters must be three, got {d.size}")
    allowance = tables_of(tables).find("limits", "jam_allowance").number("value")
    return np.asarray(allowance * D / d.mean())


def fill(inside_diameter: ArrayLike, diameters: ArrayLike) -> FloatArray:
    r"""Cross-section of the cables over that of the duct.

    .. math:: \sum d_i^2 / D^2

    Parameters
    ----------
    inside_diameter : float or array_like
        Of the duct, D. [m]
    diameters : array_like, shape (n,)
        Of the cables. [m]

    Returns
    -------
    ndarray
        As a fraction.

    Raises
    ------
    DomainError
        Not above 0.

    Examples
    --------
    >>> round(float(fill(127.4, [41.0] * 3)), 6)
    0.310706
    """
    D = in_range("inside_diameter", inside_diameter, above=0.0)
    d = in_range("diameters", diameters, above=0.0)
    return np.asarray((d**2).sum() / D**2)


def ratio_range(arrangement: str, n: int) -> tuple[float, float]:
    """Return the ratios D/d from which and below which equal cables can lie in an arrangement.

    Parameters
    ----------
    arrangement : str
        One of :data:`COUNTS`.
    n : int
        How many cables.

    Returns
    -------
    tuple of float
        From, and below; the second may be infinite.

    Raises
    ------
    DomainError
        Unknown arrangement, or one for another number of cables.

    Examples
    --------
    >>> ratio_range("diamond", 4)
    (2.414213562373095, 3.0)
    """
    counts = COUNTS[one_of("arrangement", arrangement, COUNTS)]
    if whole("n", n) not in counts:
        raise DomainError(f"n must be {' or '.join(map(str, counts))} for {arrangement}, got {n!r}")
    if arrangement == "circle":
        return max(ENCLOSING[n - 1], math.sqrt(n / LOOSE_FILL)), math.inf
    return ENCLOSING[n - 1], DIAMOND_BELOW if arrangement == "diamond" else math.inf


def _spread(
    arrangement: str, inside_diameter: ArrayLike, diameter: ArrayLike, cables: int | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return D, d and s = d/(D - d), checked for the arrangement."""
    counts = COUNTS[one_of("arrangement", arrangement, COUNTS)]
    if cables is not None:
        whole("cables", cables)
    n = counts[0] if len(counts) == 1 else cables
    if n not in counts or (cables is not None and cables != n):
        raise DomainError(f"cables must be {' or '.join(map(str, counts))} for {arrangement}, got {cables!r}")
    D, d = in_range("inside_diameter", inside_diameter, above=0.0), in_range("diameter", diameter, above=0.0)
    together(inside_diameter=D, diameter=d)
    D, d = np.broadcast_arrays(D, d)
    lower, upper = ratio_range(arrangement, n)
    ratio = in_range("inside_diameter/diameter", D / d, at_least=lower * (1 - 1e-12))
    if math.isfinite(upper):
        in_range("inside_diameter/diameter", ratio, below=upper)
    # one cable that fills its duct has no spread; two stand at most a quarter turn up either side
    return D, d, np.asarray(d / (D - d) if n > 1 else np.zeros_like(d))
