"""One segment worked by hand: which equation holds, the numbers put in, what comes out."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

from tautline.explain_piece import FLAT, Piece, Worked, number
from tautline.explain_steps import changing_bend, steady_bend


def work(piece: Piece, entry: float) -> Worked:
    """Work out one segment.

    Parameters
    ----------
    piece : Piece
        The segment.
    entry : float
        Tension entering it. [N]

    Returns
    -------
    Worked
        The equation used with its numbers, and the tension leaving the segment.

    Notes
    -----
    Straights, level bends, sags and crests have closed forms; a sag is worked in parts where the cable changes
    sides in the duct. Bends on a grade have none: they are worked by the classical fourth-order rule in few enough
    steps to be followed by hand, and many enough to be right to seven figures (:mod:`tautline.explain_steps`).

    References
    ----------
    [rifenburg1953] in docs/sources.md for the level bend.

    Examples
    --------
    >>> quarter = Piece(3.0 * math.pi / 2, 0.0, 0.0, math.pi / 2, 5.0, 0.5, 1.0)
    >>> round(work(quarter, 100.0).tension, 4)
    220.2998
    """
    kind = piece.kind
    if "straight" in kind:
        return _straight(piece, entry)
    if kind in ("sag", "crest"):
        return _vertical(piece, entry)
    # the closed form of the level bend holds for a cable under tension
    if kind.startswith("level") and entry >= 0:
        return _level_bend(piece, entry)
    return changing_bend(piece, entry) if piece.grade_out != piece.grade_in else steady_bend(piece, entry)


def _straight(p: Piece, entry: float) -> Worked:
    g, c = p.grade_in, p.c
    out = entry + p.weight * p.length * (math.sin(g) + c * math.cos(g))
    if abs(g) < FLAT:
        return Worked(
            (
                "T2 = T1 + c w L",
                f"   = {number(entry)} + {number(c)} x {number(p.weight)} x {number(p.length)}",
            ),
            out,
            ("T2 = T1 + c w L",),
            (),
        )
    return Worked(
        (
            "T2 = T1 + w L (sin g + c cos g)",
            f"   = {number(entry)} + {number(p.weight)} x {number(p.length)} x "
            f"(sin {number(g)} + {number(c)} cos {number(g)})",
        ),
        out,
        (f"T2 = T1 + w L (sin g + c cos g), with g = {number(g)}",),
        (),
    )


def _level_bend(p: Piece, entry: float) -> Worked:
    angle, c = abs(p.turn), p.c
    radius = p.length / angle
    wr = p.weight * radius
    out = entry * math.cosh(c * angle) + math.hypot(entry, wr) * math.sinh(c * angle)
    ct = number(c * angle)
    return Worked(
        (
            "T2 = T1 cosh(c a) + sqrt(T1^2 + (w R)^2) sinh(c a)",
            f"   with a = {number(angle)}, R = L/a = {number(radius)}, w R = {number(wr)}, c a = {ct}",
            f"   = {number(entry)} cosh({ct}) + sqrt({number(entry)}^2 + {number(wr)}^2) sinh({ct})",
        ),
        out,
        (
            "T2 = T1 cosh(c a) + sqrt(T1^2 + (w R)^2) sinh(c a)",
            f"   with R = L/a = {number(radius)}, w R = {number(wr)}, a the angle turned",
        ),
        (("a", angle),),
    )


def _vertical(p: Piece, entry: float) -> Worked:
    """Work a sag or a crest by its closed form, in parts where the contact changes sides."""
    rising = p.grade_out > p.grade_in
    radius = p.length / abs(p.grade_out - p.grade_in)
    wr, name = p.weight * radius, "sag" if rising else "crest"
    rule = (
        "k = c where T > w R cos g, else -c; P = -w R (1 - k^2)/(1 + k^2), Q = -2 k w R/(1 + k^2)"
        if rising
        else "k = -c where T > -w R cos g, else c; P = w R (1 - k^2)/(1 + k^2), Q = 2 k w R/(1 + k^2)"
    )
    lines = [
        "T(g) = A e^(k g) + P cos g + Q sin g, A = (T1 - P cos g0 - Q sin g0) e^(-k g0)",
        f"   with {rule}",
        f"   R = L/|g1 - g0| = {number(radius)}, w R = {number(wr)}, g0 = {number(p.grade_in)}, g1 = {number(p.grade_out)}",
    ]
    tension, grade = entry, p.grade_in
    for _ in range(4):  # the contact changes sides twice at most
        side = _side(rising, tension, wr, grade)
        k, cosine, sine = _form(rising, side, p.c, wr)
        constant = (tension - cosine * math.cos(grade) - sine * math.sin(grade)) / math.exp(k * grade)

        def along(
            g: float, a: float = constant, k: float = k, cos: float = cosine, sin: float = sine
        ) -> float:
            return a * math.exp(k * g) + cos * math.cos(g) + sin * math.sin(g)

        end = _change(along, rising, side, wr, grade, p.grade_out)
        where = "on the inside of the bend" if side > 0 else "on the outside of the bend"
        lines.append(
            f"   cable {where}, k = {number(k)}, P = {number(cosine)}, Q = {number(sine)}, A = {number(constant)}: "
            f"T({number(end)}) = {number(along(end))}"
        )
        tension, grade = along(end), end
        if grade == p.grade_out:
            break
        tension = (wr if rising else -wr) * math.cos(grade)  # not a rounding to either side of it
        lines.append(f"   there it presses on neither side of the {name}, and changes over")
    alone = len(lines) == 4  # on one side of the duct all along
    return Worked(
        tuple(lines),
        tension,
        (
            *lines[:2],
            f"   R = L/|g1 - g0| = {number(radius)}, w R = {number(wr)}, g0 = {number(p.grade_in)} at first, g1 each next g0",
        ),
        (("g1", p.grade_out), ("k", k), ("A", constant)) if alone else None,
    )


def _side(rising: bool, tension: float, wr: float, grade: float) -> int:
    """Return +1 where the cable is pressed to the inside of the bend, else -1."""
    pressed = tension - wr * math.cos(grade) if rising else tension + wr * math.cos(grade)
    if pressed == 0:
        # on the edge: the way it goes next, by how T and w R cos g change with the grade
        drift = wr * math.sin(grade) * 2 if rising else -2 * wr * math.sin(grade)
        return 1 if drift * (1 if rising else -1) >= 0 else -1
    return 1 if pressed > 0 else -1


def _form(rising: bool, side: int, c: float, wr: float) -> tuple[float, float, float]:
    """Return k, P and Q of T = A e^(k g) + P cos g + Q sin g."""
    if rising:
        k = c * side
        return k, -wr * (1 - k * k) / (1 + k * k), -2 * k * wr / (1 + k * k)
    k = -c * side
    return k, wr * (1 - k * k) / (1 + k * k), 2 * k * wr / (1 + k * k)


def _change(
    along: Callable[[float], float], rising: bool, side: int, wr: float, start: float, stop: float
) -> float:
    """Return the grade at which the contact changes sides, or the end of the bend."""

    def pressed(g: float) -> float:
        return side * (along(g) - wr * math.cos(g) if rising else along(g) + wr * math.cos(g))

    steps = 64
    edges = [start + (stop - start) * i / steps for i in range(steps + 1)]
    edges[-1] = stop
    slack = 1e-9 * max(1.0, wr)
    for low, high in itertools.pairwise(edges):
        if pressed(high) < -slack:
            for _ in range(80):
                middle = 0.5 * (low + high)
                low, high = (middle, high) if pressed(middle) > 0 else (low, middle)
            return low if low != start else high
    return stop
