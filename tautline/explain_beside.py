"""What a ground or fibre cable beside the others, or a second one of another size, does to a bundle, worked by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tautline.document import Document
from tautline.explain_piece import number
from tautline.explain_units import Units

_ALIKE = 1e-9  # sizes and shares that differ by less are equal
_WEDGING = 0.75  # a cable beside others, wider than this times theirs, can part them
_SQUARE_MM = 1e-6


@dataclass(frozen=True)
class Lain:
    """A bundle in one duct, worked out.

    Parameters
    ----------
    lines : tuple of str
        Equations, numbers, results.
    correction, factor : float
        Weight correction and sidewall factor.
    """

    lines: tuple[str, ...]
    correction: float
    factor: float


def with_beside(
    own: Lain, main: Sequence[Document], others: Sequence[Document], inside: float, units: Units
) -> Lain:
    """Work on from how the power cables lie to how they lie with others beside them.

    Parameters
    ----------
    own : Lain
        The power cables alone.
    main, others : sequence of dict
        The power cables, and one or two beside them.
    inside : float
        Of the duct. [m]
    units : Units
        Of the page.

    Returns
    -------
    Lain
        With the lines of ``own`` before its own.

    Notes
    -----
    No formula is published; a safe side of this project: each moves the bundle towards a row of one cable more.
    """
    n, small = len(main), units.small
    largest = max(c["diameter_m"] for c in main)
    widths = sorted((c["diameter_m"] for c in others), reverse=True)
    d, k = max(largest, widths[0]), own.correction
    s = d / max(inside - d, d)
    lines = [
        *own.lines,
        f"    with what lies beside, N being {n} (no formula is published: a safe side is taken):",
    ]
    wide = d > largest * (1 + _ALIKE)
    if wide or n == 1:
        spread = f"{small(d)} / {small(inside - d)} = {number(s)}"
        if wide:
            lines.append("    the widest is beside the others; d is that from here on, and so is s")
        lines.append(f"    s = d / (D - d) = {spread if inside - d >= d else '1, as more is never taken'}")
    if wide:
        k = max(k, 1 + (n * n - 1) / 6 * s * s)
        lines += [
            "    of a row of N so wide, if that is more, kw = max(k, 1 + (N^2 - 1)/6 s^2)",
            f"    kw = max({number(own.correction)}, 1 + {n * n - 1} / 6 x {number(s)}^2) = {number(k)}",
        ]
    two, sizes = len(widths) == 2, list[float]()
    lines.append(
        f"    z is {'2 g/d, 1 at most' if two else 'g/d, or 1 from half of d on'}, g the diameter of one beside"
    )
    for m, g in enumerate(widths, 1):
        size = min(1.0, 2 * g / d) if two else g / d if g < 0.5 * d else 1.0
        worked = f"{'2 x ' if two else ''}{small(g)} / {small(d)} = {number(size)}"
        lines.append(f"    z{m} = {f'1, as g = {small(g)}' if size == 1 else worked}")
        sizes.append(size)
    rows = " + ".join(f"z{m} (2 N + {2 * m - 1})" for m in range(1, len(sizes) + 1))
    put_in = " + ".join(f"{number(z)} x {2 * n + 2 * m - 1}" for m, z in enumerate(sizes, 1))
    before, k = k, k + sum(z * (2 * n + 2 * m - 1) for m, z in enumerate(sizes, 1)) * s * s / 6
    lines += [
        f"    k' = {'kw' if wide else 'k'} + ({rows}) s^2 / 6",
        f"    k' = {number(before)} + ({put_in}) x {number(s)}^2 / 6 = {number(k)}",
    ]
    if widths[0] > _WEDGING * largest:
        parted = _parted(main, others, k)
        lines += parted.lines
        k = parted.correction
    pressed, half = own.factor * k / own.correction, 0.5 * k * (1 + sum(sizes) / 6)
    total = f"({' + '.join(f'z{m}' for m in range(1, len(sizes) + 1))})" if len(sizes) > 1 else "z1"
    added = f"({' + '.join(map(number, sizes))})" if len(sizes) > 1 else number(sizes[0])
    lines += [
        f"    weight correction k' = {number(k)}",
        "    sidewall factor q', the greater of these two:",
        f"    q k'/k = {number(own.factor)} x {number(k)} / {number(own.correction)} = {number(pressed)}",
        f"    k'/2 (1 + {total}/6) = {number(k)} / 2 x (1 + {added} / 6) = {number(half)}",
        f"    q' = max({number(pressed)}, {number(half)}) = {number(max(pressed, half))}",
    ]
    return Lain(tuple(lines), k, max(pressed, half))


def _parted(main: Sequence[Document], others: Sequence[Document], k: float) -> Lain:
    """Work what a cable beside others, wide enough to part them, presses more where it bears less than they do."""
    n, weights, areas = len(main), [c["weight_N_per_m"] for c in main], [_conductor(c) for c in main]
    known = min(areas) > 0
    lines = [
        "    one wider than 3/4 of the others can part them; v, what it bears of what one of them does, is N times its "
        f"weight over theirs{', or N times its conductor area over theirs if that is less' if known else ''}, 1 at most "
        f"({'N/m and mm2' if known else 'N/m'})"
    ]
    borne = []
    for m, c in enumerate(sorted(others, key=lambda c: -c["diameter_m"]), 1):
        shares = [c["weight_N_per_m"] * n / sum(weights)]
        put_in = f"{number(c['weight_N_per_m'])} x {n} / {number(sum(weights))}"
        if known:
            shares.append(_conductor(c) * n / sum(areas))
            put_in += f", {number(_conductor(c) / _SQUARE_MM)} x {n} / {number(sum(areas) / _SQUARE_MM)}"
        borne.append(min(1.0, *shares))
        lines.append(f"    v{m} = min(1, {put_in}) = {number(borne[-1])}")
    total, many = " + ".join(f"v{m}" for m in range(1, len(borne) + 1)), len(borne)
    parted = 1 + (k - 1) * (n + many) / (n + sum(borne))
    lines += [
        "    what the row presses more is taken on what weighs: in place of k' comes",
        f"    1 + (k' - 1) (N + {many}) / (N + {total})",
        f"    k' = 1 + ({number(k)} - 1) x {n + many} / ({n} + {' + '.join(map(number, borne))}) = {number(parted)}",
    ]
    return Lain(tuple(lines), parted, 0.0)


def _conductor(cable: Document) -> float:
    """Return the area of all conductors of a cable; 0 where the document has none. [m2]"""
    return float((cable["conductor_area_m2"] or 0.0) * cable.get("conductors", 1))


def unequal(units: Units, inside: float, d: float, g: float) -> Lain:
    """Work out the worst position of two unequal cables.

    Parameters
    ----------
    units : Units
        Of the page.
    inside, d, g : float
        Diameters of the duct and of the two cables. [m]

    Returns
    -------
    Lain
        By statics: their centres are (D - d)/2 and (D - g)/2 from the axis of the duct.

    Examples
    --------
    >>> right = unequal(Units.of("si"), 0.12, 0.06, 0.04)  # 3, 4 and 5 are the sides of a right-angled triangle
    >>> round(right.correction, 6), right.factor
    (1.414214, 1.0)
    """
    a, b, apart = inside - d, inside - g, d + g
    if not apart < inside:
        return Lain(
            ("    the two do not fit: k = 1 and q = 1 are taken to draw the tensions at all",), 1.0, 1.0
        )
    cosine = (a * a + b * b - apart**2) / (2 * a * b)
    k = math.sqrt(2 / (1 + cosine))
    q = 1.0 if cosine >= 0 else 1 / math.sqrt(1 - cosine * cosine)
    one, other, between = (units.small(length) for length in (a, b, apart))
    return Lain(
        (
            f"    a cable of d with one of g beside it, by statics: a = D - d = {one}, b = D - g = {other}",
            f"    C = (a^2 + b^2 - (d + g)^2) / (2 a b) = ({one}^2 + {other}^2 - {between}^2) / (2 x {one} x {other}) = "
            f"{number(cosine)}, the cosine of the angle between them",
            f"    weight correction k = sqrt(2 / (1 + C)) = sqrt(2 / (1 + {number(cosine)})) = {number(k)}",
            "    sidewall factor q = 1, as C is not below 0: one of them may bear all"
            if cosine >= 0
            else f"    sidewall factor q = 1 / sqrt(1 - C^2) = 1 / sqrt(1 - {number(-cosine)}^2) = {number(q)}",
        ),
        k,
        q,
    )
