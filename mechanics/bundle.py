"""How a bundle lies in a bore: which arrangement, with what correction, factor, clearance, jam ratio and fill."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

from mechanics.arrangement import (
    COUNTS,
    DIAMOND_BELOW,
    ENCLOSING,
    LOOSE_FILL,
    clearance,
    fill,
    jam_ratio,
    ratio_range,
    sidewall_factor,
    weight_correction,
)
from mechanics.cable import Bundle, Cable
from mechanics.errors import DomainError, in_range
from mechanics.tables import Tables, built_in


@dataclass(frozen=True)
class Lie:
    """How a bundle lies in one bore.

    Parameters
    ----------
    arrangement : str
        Chosen or given.
    weight_correction : float
        On the coefficient of friction.
    sidewall_factor : float
        Share of the bundle's tension over radius that presses on the hardest-pressed cable.
    clearance : float
        Between the top of the bundle and the crown, in the tightest arrangement it may take; negative where the
        bundle does not fit. [m]
    jam_ratio : float or None
        Of three single cables; None for any other bundle.
    fill : float
        Cross-section of all cables over that of the duct.
    refusal : str
        Why the bundle cannot lie so in this bore; empty where it can. The correction and the factor are then those
        of the tightest duct that takes it, so that a profile can still be drawn.
    notes : tuple of str
        Safe sides and equivalents taken.
    """

    arrangement: str
    weight_correction: float
    sidewall_factor: float
    clearance: float
    jam_ratio: float | None
    fill: float
    refusal: str = ""
    notes: tuple[str, ...] = ()


def main_cables(bundle: Bundle) -> tuple[Cable, ...]:
    """Return the cables that make the arrangement: the power cables, or all where there is none.

    Parameters
    ----------
    bundle : Bundle
        One to six such cables, at most two beside them.

    Returns
    -------
    tuple of Cable
        In the bundle's order.

    Raises
    ------
    DomainError
        Too few or too many.
    """
    main = tuple(c for c in bundle.cables if c.role == "power") or bundle.cables
    beside = len(bundle.cables) - len(main)
    if not 1 <= len(main) <= 6 or beside > 2:
        raise DomainError(
            "bundle.cables must be one to six power cables with at most two ground or fibre cables beside them, "
            f"got {len(main)} and {beside}"
        )
    return main


def weight_of(bundle: Bundle, flooded: bool = False) -> float:
    r"""Weight of a bundle per length, all its cables.

    .. math:: \sum w_i - \rho\, g_n\, \pi d_i^2 / 4 \quad\text{(the second term in water)}

    Parameters
    ----------
    bundle : Bundle
        The cables.
    flooded : bool, optional
        Whether the duct stands full of water; fresh water, 1000 kg/m3.

    Returns
    -------
    float
        [N/m]

    Raises
    ------
    DomainError
        A weight or diameter not above 0, or a bundle that floats.

    Examples
    --------
    >>> weight_of(Bundle((Cable(diameter=0.04, weight=25.5),) * 3))
    76.5
    """
    weights = in_range("bundle.weight", [c.weight for c in bundle.cables], above=0.0)
    diameters = in_range("bundle.diameter", [c.diameter for c in bundle.cables], above=0.0)
    total = float(weights.sum())
    if flooded:
        lift = 1000.0 * 9.80665 * math.pi / 4 * float((diameters**2).sum())
        if not total > lift:
            raise DomainError(
                f"bundle.weight must be above the water it displaces, {lift:.2f} N/m, for a flooded duct "
                f"(a bundle that floats is not covered), got {total!r}"
            )
        total -= lift
    return total


@functools.lru_cache(maxsize=4096)
def lie(bundle: Bundle, inside_diameter: float, tables: Tables | None = None) -> Lie:
    """Say how a bundle lies in a duct.

    Parameters
    ----------
    bundle : Bundle
        The cables, with an arrangement given or none.
    inside_diameter : float
        Of the duct. [m]
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    Lie
        With ``refusal`` said where the bundle does not fit or cannot lie so.

    Raises
    ------
    DomainError
        Not above 0, too many cables, or an arrangement for another number of cables.

    Notes
    -----
    Accepted equivalents for mixed sizes: the mean diameter chooses the arrangement and counts for jamming; the largest
    counts for weight correction, sidewall factor and clearance, which is the safe side. A ground or fibre cable
    beside the power cables adds its weight and its fill, and is taken as lying on top of them for the clearance
    (safe side). Where the cables carry unequal shares of the tension, by conductor area, the sidewall factor grows
    by the greatest share.

    Examples
    --------
    >>> cable = Cable(diameter=0.041, weight=25.5)
    >>> lie(Bundle((cable,) * 3), 0.1274).arrangement
    'cradled'
    """
    D = float(in_range("inside_diameter", inside_diameter, above=0.0))
    main = main_cables(bundle)
    beside = tuple(c for c in bundle.cables if c not in main)
    diameters = [float(in_range("bundle.diameter", c.diameter, above=0.0)) for c in main]
    d, mean, n = max(diameters), sum(diameters) / len(diameters), len(main)
    notes: list[str] = []
    if n == 1 and len(beside) == 1 and bundle.arrangement is None:
        found = _unequal_pair(D, d, beside[0].diameter)
    else:
        found = _equal(bundle, D, d, mean, n, tables or built_in())
    arrangement, correction, factor, gap, refusal, said = found
    notes.extend(said)
    if max(diameters) > min(diameters) * (1 + 1e-9):
        notes.append(
            "Cables of mixed sizes: mean diameter for arrangement and jamming, the largest for the rest (safe side)."
        )
    greatest = _greatest_share(main) * n
    if greatest > 1 + 1e-9:
        factor *= greatest
        notes.append(
            "Cables share the tension by conductor area: the sidewall factor is that of the greatest share."
        )
    if beside and arrangement != "pair":
        gap -= sum(c.diameter for c in beside)
        notes.append(
            "A ground or fibre cable is taken as lying on top of the others for the clearance (safe side)."
        )
    if gap < 0 and not refusal:
        refusal = f"the bundle is {-1000 * gap:.1f} mm higher than the duct"
    return Lie(
        arrangement=arrangement,
        weight_correction=_stated("weight_correction", bundle.weight_correction, correction),
        sidewall_factor=_stated("sidewall_factor", bundle.sidewall_factor, factor),
        clearance=gap,
        jam_ratio=float(jam_ratio(D, (diameters[0], diameters[1], diameters[2])))
        if n == 3 and not bundle.triplexed
        else None,
        fill=float(fill(D, [c.diameter for c in bundle.cables])),
        refusal=refusal,
        notes=tuple(notes),
    )


def _equal(
    bundle: Bundle, D: float, d: float, mean: float, n: int, tables: Tables
) -> tuple[str, float, float, float, str, list[str]]:
    """Return arrangement, correction, factor, clearance, refusal and notes of ``n`` cables of diameter ``d``."""
    notes: list[str] = []
    arrangement = bundle.arrangement or _chosen(bundle, D / mean, n, tables)
    if n not in COUNTS.get(arrangement, ()):
        raise DomainError(f"bundle.arrangement {arrangement!r} is not one for {n} cables")
    stated = bundle.weight_correction is not None and bundle.sidewall_factor is not None
    if arrangement == "circle" and not stated:
        notes.append(
            f"No formula is published for {n} cables lying loose: a safe side is taken for weight correction, "
            "sidewall pressure and clearance."
        )
    refusal = _refusal(arrangement, D, d, n)
    if stated and ENCLOSING[n - 1] * d < D:
        refusal = ""
    tightest = {"cradled": "triangular"}.get(arrangement, arrangement)
    lower, upper = ratio_range(arrangement, n)
    if lower <= D / d < upper and ENCLOSING[n - 1] * d < D:
        ratio, gap = D / d, float(clearance(tightest, D, d, n))
    else:
        # outside the formula's range: the tightest duct in which the numbers are not yet those of a wedge
        ratio = min(max(D / d, 1.05 * lower), 0.999 * upper)
        gap = D - ENCLOSING[n - 1] * d
    correction = float(weight_correction(arrangement, ratio, 1.0, n))
    factor = float(sidewall_factor(arrangement, ratio, 1.0, n))
    if tightest != arrangement and not refusal:
        notes.append("Clearance is that of the triangle into which cradled cables can be drawn in a bend.")
    return arrangement, correction, factor, gap, refusal, notes


def _chosen(bundle: Bundle, ratio: float, n: int, tables: Tables) -> str:
    if n == 3:
        cradled = tables.find("limits", "cradled_from").number("value")
        return "triangular" if bundle.triplexed or ratio < cradled else "cradled"
    if n == 4:
        return "diamond" if ratio < DIAMOND_BELOW else "circle"
    return ("single", "pair")[n - 1] if n < 3 else "circle"


def _unequal_pair(D: float, a: float, b: float) -> tuple[str, float, float, float, str, list[str]]:
    """Return the lie of one cable with a smaller one beside it: the worst position of the two, by statics."""
    note = "One cable with another beside it: the worst position of the two by statics (safe side)."
    if a + b >= D:
        return "pair", 1.0, 1.0, D - a - b, "the two cables are together wider than the duct", [note]
    # centres at (D-a)/2 and (D-b)/2 from the axis, (a+b)/2 apart
    p, q = D - a, D - b
    cosine = (p * p + q * q - (a + b) ** 2) / (2 * p * q)
    correction = math.sqrt(2.0 / (1.0 + cosine))
    return "pair", correction, max(1.0, correction / 2), D - a - b, "", [note]


def _refusal(arrangement: str, D: float, d: float, n: int) -> str:
    lower, upper = ratio_range(arrangement, n)
    if D / d <= ENCLOSING[n - 1]:
        return f"{n} cable{'s' if n > 1 else ''} of {1000 * d:.1f} mm need a duct of more than {1000 * d * ENCLOSING[n - 1]:.1f} mm"
    if D / d < lower:
        return f"loose cables can wedge at a fill above {LOOSE_FILL:.0%}, and no formula is published"
    if D / d >= upper:
        return (
            f"four cables cannot lie as a diamond from D/d = {upper:g} on: the sides no longer carry the top"
        )
    return ""


def _stated(name: str, stated: float | None, computed: float) -> float:
    return computed if stated is None else float(in_range(f"bundle.{name}", stated, above=0.0))


def _greatest_share(cables: tuple[Cable, ...]) -> float:
    """Return the greatest share of the tension that one cable of several carries."""
    areas = [(c.conductor_area or 0.0) * c.conductors for c in cables]
    if not min(areas) > 0:
        areas = [c.weight for c in cables]
    return max(areas) / sum(areas)
