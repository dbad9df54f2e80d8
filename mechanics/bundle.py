"""How a bundle lies in a bore: which arrangement, with what correction, factor, clearance, jam ratio and fill."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import NamedTuple

from mechanics.arrangement import (
    COUNTS,
    DIAMOND_BELOW,
    LOOSE_FILL,
    clearance,
    fill,
    jam_ratio,
    ratio_range,
    sidewall_factor,
    weight_correction,
)
from mechanics.cable import Bundle, Cable
from mechanics.errors import DomainError, flag, instance, number
from mechanics.packing import ENCLOSING, EXACT, enclosing
from mechanics.tables import Tables, tables_of

_ALIKE = 1e-9  # sizes and shares that differ by less are equal
_SIZES = ((1000.0, 1), (1000.0 / 25.4, 3))  # mm and inches in a metre, with the digits told
_WEDGING = 0.75  # a cable beside others, wider than this times theirs, can stand between and part them
_TIGHTEST = {  # of equal cables, where it is not that of the arrangement itself
    "cradled": ("Clearance is that of the triangle into which cradled cables can be drawn in a bend.",),
    "pair": (
        "Clearance is that of one cable over the other, as two can be turned in a bend; no formula is published.",
    ),
    "diamond": (
        "Clearance is that of a square of four, into which a diamond can be drawn in a bend: less than the "
        "published one of a diamond.",
    ),
}
_TRIANGLE = ("Clearance is that of a triangle of three of the largest cable (safe side).",)
_DRAWN = (
    "Clearance is the room that all the cables leave when drawn together: no formula is published for them.",
)


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
        Between the top of the bundle and the crown, in the tightest arrangement it may be drawn into; negative where
        the bundle does not fit. [m]
    jam_ratio : float or None
        Of three single cables; None for any other bundle.
    fill : float
        Cross-section of all cables over that of the duct.
    refusal : str
        Why the bundle cannot lie so in this bore; empty where it can. The correction and the factor are then those
        of the tightest duct that takes it, so that a profile can still be drawn.
    notes : tuple of str
        Safe sides and equivalents taken.
    least_share : float
        Share of the bundle's contact force that presses on the least-pressed cable of those that touch the duct: what
        friction that falls with the contact force is taken by.
    """

    arrangement: str
    weight_correction: float
    sidewall_factor: float
    clearance: float
    jam_ratio: float | None
    fill: float
    refusal: str = ""
    notes: tuple[str, ...] = ()
    least_share: float = 1.0


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
    main = tuple(c for c in instance("bundle", bundle, Bundle).cables if c.role == "power") or bundle.cables
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
        No bundle, or one that floats.

    Examples
    --------
    >>> weight_of(Bundle((Cable(diameter=0.04, weight=25.5),) * 3))
    76.5
    """
    total = sum(c.weight for c in instance("bundle", bundle, Bundle).cables)
    if flag("flooded", flooded):
        lift = 1000.0 * 9.80665 * math.pi / 4 * sum(c.diameter**2 for c in bundle.cables)
        if not total > lift:
            raise DomainError(
                f"bundle.weight must be above the water it displaces, {lift:.2f} N/m, for a flooded duct "
                f"(a bundle that floats is not covered), got {total!r}"
            )
        total -= lift
    return total


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
    Of two cables of unequal sizes the worst position is known by statics, however they share the load. Accepted
    equivalents for other mixed sizes: the mean diameter chooses the arrangement and counts for jamming; the largest
    counts for weight correction and sidewall factor. Three of mixed sizes lie cradled. Where the cables carry unequal
    shares of the tension, by conductor area, the sidewall factor grows by the greatest share.

    Clearance of three is the published one of a triangle, of the largest diameter where sizes are mixed. For other
    bundles none is published: it is the inside diameter less that of the smallest circle around all the cables, which
    is the room left whichever way they are drawn together in a bend; of two, one over the other. With other cables
    beside three, or mixed sizes, the greater of the two is left. Whether a bundle fits at all is settled by that
    circle, see :func:`mechanics.packing.enclosing`, not by an equivalent. Three abreast are the jam ratio's.

    For a ground or fibre cable beside the power cables no formula is published. It adds its weight and its fill, and
    moves the weight correction towards that of a row of one cable more: by its diameter over that of the others, all
    the way from half of it on. A second one moves it on to a row of two more; of two, each counts by twice its diameter.
    One wider than three quarters of the others and lighter, or with less conductor, bears nothing yet parts them: what
    the row presses more is then taken on what weighs. One wider than all the others counts as the largest of mixed sizes
    does. Piles of circles let settle in a circle stay within that, but for three abreast that hold each other up at the
    ratio where three jam.

    Examples
    --------
    >>> cable = Cable(diameter=0.041, weight=25.5)
    >>> lie(Bundle((cable,) * 3), 0.1274).arrangement
    'cradled'
    """
    D = number("inside_diameter", inside_diameter, above=0.0)
    return _lie(instance("bundle", bundle, Bundle), D, tables_of(tables))


@functools.lru_cache(maxsize=4096)
def _lie(bundle: Bundle, D: float, tables: Tables) -> Lie:
    main = main_cables(bundle)
    others = [c for c in bundle.cables if c not in main]
    beside = [c.diameter for c in others]
    diameters = [c.diameter for c in main]
    n = len(main)
    if n == 1 and len(beside) == 1 and bundle.arrangement is None:
        found = _unequal_pair(D, diameters[0], beside[0])
    else:
        found = _with_beside(bundle, _alone(bundle, D, diameters, tables), D, others)
    sizes = sorted((*diameters, *beside), reverse=True)
    least = enclosing(sizes)
    room = D - least
    gap = room
    if n == 3 and room > 0 and ENCLOSING[2] * max(diameters) <= D:
        gap = max(room, float(clearance("triangular", D, max(diameters))) - sum(beside))
    correction, factor, refusal, notes = found.correction, found.factor, found.refusal, found.notes
    greatest = _greatest_share(main) * n
    if greatest > 1 + _ALIKE:
        factor *= greatest
        notes += ("Tension shared by conductor area: the sidewall factor is that of the greatest share.",)
    if n == 2 == len(sizes) and sizes[1] * (1 + _ALIKE) < sizes[0]:
        # both are bounds, and statics knows two sizes: near twice the larger diameter the equivalent means nothing
        pair = _unequal_pair(D, sizes[0], sizes[1])
        correction = pair.correction if refusal else min(correction, pair.correction)
        factor = pair.factor if refusal else min(factor, pair.factor)
        refusal, notes = "", (*notes, *pair.notes)
    if room <= 0:
        refusal = _too_small(sizes, least, D)
    if not refusal:
        alike = sizes[0] <= sizes[-1] * (1 + _ALIKE)
        notes += _TIGHTEST.get(found.arrangement, ()) if alike else _TRIANGLE if gap > room else _DRAWN
    single_three = n == 3 and not bundle.triplexed
    plain = sizes[0] <= sizes[-1] * (1 + _ALIKE) and greatest <= 1 + _ALIKE and not beside and not refusal
    return Lie(
        arrangement=found.arrangement,
        weight_correction=correction if bundle.weight_correction is None else bundle.weight_correction,
        sidewall_factor=factor if bundle.sidewall_factor is None else bundle.sidewall_factor,
        clearance=gap,
        jam_ratio=float(jam_ratio(D, (diameters[0], diameters[1], diameters[2]), tables))
        if single_three
        else None,
        fill=float(fill(D, [c.diameter for c in bundle.cables])),
        refusal=refusal,
        notes=notes,
        least_share=_least_share(found, n) if plain else 1.0 / len(sizes),
    )


class _Found(NamedTuple):
    arrangement: str
    correction: float
    factor: float
    refusal: str
    notes: tuple[str, ...]


def _alone(bundle: Bundle, D: float, diameters: list[float], tables: Tables) -> _Found:
    """Return how the power cables lie, whatever is beside them."""
    d, mean, n = max(diameters), sum(diameters) / len(diameters), len(diameters)
    mixed = d > min(diameters) * (1 + _ALIKE)
    notes: list[str] = []
    arrangement = bundle.arrangement or _chosen(bundle, D / mean, n, mixed, tables)
    if n not in COUNTS.get(arrangement, ()):
        raise DomainError(f"bundle.arrangement {arrangement!r} is not one for {n} cables")
    stated = bundle.weight_correction is not None and bundle.sidewall_factor is not None
    if arrangement == "circle" and not stated:
        notes.append(
            f"No formula is published for {n} cables lying loose: a safe side is taken for weight correction, "
            "sidewall pressure and clearance."
        )
    if mixed:
        notes.append(
            "Cables of mixed sizes: mean diameter for jamming, the largest for weight correction and sidewall pressure "
            "(safe side)."
        )
    refusal = "" if stated else _refusal(arrangement, D, d, n, mixed)
    lower, upper = ratio_range(arrangement, n)
    ratio = D / d
    if not lower <= ratio < upper or ENCLOSING[n - 1] * d >= D:
        # outside the formula's range: the tightest duct in which the numbers are not yet those of a wedge
        ratio = min(max(ratio, 1.05 * lower), 0.999 * upper)
    correction = float(weight_correction(arrangement, ratio, 1.0, n))
    factor = float(sidewall_factor(arrangement, ratio, 1.0, n))
    if mixed and arrangement == "cradled":
        factor = max(factor, float(sidewall_factor("triangular", ratio, 1.0)))
    return _Found(arrangement, correction, factor, refusal, tuple(notes))


def _least_share(found: _Found, count: int) -> float:
    """Return the share of the least-pressed of equal cables that touch the duct; of a loose pile, that of a flat row."""
    if found.arrangement in {"pair", "triangular"}:
        return 0.5 * found.correction
    return {"single": 1.0, "cradled": 1.0 / 3.0, "diamond": 0.5}.get(found.arrangement, 1.0 / count)


def _with_beside(bundle: Bundle, found: _Found, D: float, beside: list[Cable]) -> _Found:
    """Return how the bundle lies with ground or fibre cables beside its power cables; see :func:`lie`."""
    if not beside:
        return found
    main = main_cables(bundle)
    n, own = len(main), max(c.diameter for c in main)
    widths = sorted((c.diameter for c in beside), reverse=True)
    d = max(own, widths[0])
    s = d / max(D - d, d)
    correction, refusal = found.correction, found.refusal
    if d > own * (1 + _ALIKE):  # the largest counts, as with other mixed sizes
        correction = max(correction, 1.0 + (n * n - 1) / 6.0 * s**2)
        count = n + len(beside)
        wedge = count > 3 and count * d * d > LOOSE_FILL * D * D
        if wedge and (bundle.weight_correction is None or bundle.sidewall_factor is None):
            refusal = refusal or (
                f"no formula is published for a cable of {_size(d)} beside smaller ones: the equivalent, {count} "
                f"of the largest, holds only {_within(d, math.sqrt(count / LOOSE_FILL), math.inf)}; state "
                "weight_correction and sidewall_factor"
            )
    if len(widths) == 1:
        sizes = [g / d if g < 0.5 * d else 1.0 for g in widths]
    else:  # two can stand between the others
        sizes = [min(1.0, 2.0 * g / d) for g in widths]
    for k, size in enumerate(sizes, n):
        # a row of k cables has 1 + (k^2 - 1) s^2 / 6, one of k + 1 has (2k + 1) s^2 / 6 more
        correction += size * (2 * k + 1) / 6.0 * s**2
    if widths[0] > _WEDGING * own:
        # all the rest presses on a light one between: what the row presses more stays, and what it weighs is less
        carried = n + sum(_carried(c, main) for c in beside)
        correction = 1.0 + (correction - 1.0) * (n + len(beside)) / carried
    factor = max(found.factor * correction / found.correction, 0.5 * correction * (1.0 + sum(sizes) / 6.0))
    note = (
        "A ground or fibre cable beside the others: no formula is published; a safe side is taken for weight "
        "correction and sidewall pressure."
    )
    return found._replace(correction=correction, factor=factor, refusal=refusal, notes=(*found.notes, note))


def _carried(cable: Cable, main: tuple[Cable, ...]) -> float:
    """Return the least share of weight or tension of a cable beside the others, one of them having 1."""
    shares = [cable.weight * len(main) / sum(c.weight for c in main)]
    areas = [(c.conductor_area or 0.0) * c.conductors for c in main]
    if min(areas) > 0:
        shares.append((cable.conductor_area or 0.0) * cable.conductors * len(main) / sum(areas))
    return min(1.0, *shares)


def _chosen(bundle: Bundle, ratio: float, n: int, mixed: bool, tables: Tables) -> str:
    if n == 3:
        cradled = tables.find("limits", "cradled_from").number("value")
        return "triangular" if bundle.triplexed or (ratio < cradled and not mixed) else "cradled"
    if n == 4:
        return "diamond" if ratio < DIAMOND_BELOW else "circle"
    return ("single", "pair")[n - 1] if n < 3 else "circle"


def _unequal_pair(D: float, a: float, b: float) -> _Found:
    """Return the lie of one cable with a smaller one beside it: the worst position of the two, by statics."""
    note = "Two cables of unequal sizes: the worst position of the two by statics (safe side)."
    if a + b >= D:
        return _Found("pair", 1.0, 1.0, "", (note,))
    # centres at (D-a)/2 and (D-b)/2 from the axis, (a+b)/2 apart
    p, q = D - a, D - b
    cosine = (p * p + q * q - (a + b) ** 2) / (2 * p * q)
    correction = math.sqrt(2.0 / (1.0 + cosine))
    # however they share the load: one force is sin(x) / sin(between), x from 0 to between
    factor = 1.0 if cosine >= 0.0 else 1.0 / math.sqrt(1.0 - cosine * cosine)
    return _Found("pair", correction, factor, "", (note,))


def _too_small(sizes: list[float], least: float, D: float) -> str:
    """Say that cables do not fit, and what they need; sizes largest first."""
    n, there = len(sizes), f"and it has {_size(D)}"
    if n == 1:
        return f"does not fit: a cable of {_size(sizes[0])} in a duct of {_size(D)}"
    if sizes[0] <= sizes[-1] * (1 + _ALIKE):
        return (
            f"does not fit: {n} cables of {_size(sizes[0])} need a duct of more than {_size(least)}, {there}"
        )
    if n <= EXACT:
        return f"does not fit: cables of {_size(*sizes)} need a duct of more than {_size(least)}, {there}"
    return f"does not fit: no way was found to lay cables of {_size(*sizes)} in a duct of less than {_size(least)}, {there}"


def _size(*diameters: float) -> str:
    """Write diameters for readers of either system of units."""
    mm, inches = (", ".join(f"{per * d:.{digits}f}" for d in diameters) for per, digits in _SIZES)
    return f"{mm} mm ({inches} in)"


def _refusal(arrangement: str, D: float, d: float, n: int, mixed: bool) -> str:
    """Say why cables that fit can not be taken to lie so; the largest counts where sizes are mixed."""
    lower, upper = ratio_range(arrangement, n)
    if mixed and not lower <= D / d < upper:
        return (
            f"no formula is published for cables of these sizes: the accepted equivalent, {n} of the largest, "
            f"{_size(d)}, holds only {_within(d, lower, upper)}; state weight_correction and sidewall_factor"
        )
    if D / d < lower:
        return f"loose cables can wedge at a fill above {LOOSE_FILL:.0%}, and no formula is published"
    if D / d >= upper:
        return (
            f"four cables cannot lie as a diamond from D/d = {upper:g} on: the sides no longer carry the top"
        )
    return ""


def _within(d: float, lower: float, upper: float) -> str:
    below = f" to below {_size(upper * d)}" if math.isfinite(upper) else ""
    return f"in a duct of {_size(lower * d)}{below or ' and more'}"


def _greatest_share(cables: tuple[Cable, ...]) -> float:
    """Return the greatest share of the tension that one cable of several carries."""
    areas = [(c.conductor_area or 0.0) * c.conductors for c in cables]
    if not min(areas) > 0:
        areas = [c.weight for c in cables]
    return max(areas) / sum(areas)
