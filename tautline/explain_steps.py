"""Bends that have no closed form, worked by the classical fourth-order rule in few enough steps to be followed by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from tautline.explain_piece import Piece, Worked, number

_SETTLED = 3e-9  # relative; twice as many steps change a tension by no more
_MOST = 64  # steps
_STEEP = 0.1  # cos g; a steeper bend is worked in T itself


@dataclass(frozen=True)
class Step:
    """One step of the fourth-order rule.

    Parameters
    ----------
    slopes : tuple of float
        k1 to k4.
    at, value : float
        Where it ends, and what has come out there.
    """

    slopes: tuple[float, float, float, float]
    at: float
    value: float

    def line(self, name: str) -> str:
        """Return it as it is written."""
        told = ", ".join(number(k) for k in self.slopes)
        return f"   k = {told}: {name}({number(self.at)}) = {number(self.value)}"


def steady_bend(p: Piece, entry: float) -> Worked:
    """Work out a bend in plan on a steady grade.

    Parameters
    ----------
    p : Piece
        The segment; it turns, and its grade is the same at both ends.
    entry : float
        Tension entering it, of either sign. [N]

    Returns
    -------
    Worked
        The steps with their numbers, and the tension leaving the segment.

    Notes
    -----
    With T = W sinh u, W the weight across the plane of the bend times its radius, the balance becomes
    du/da = c + tan g / cosh u over the angle a in space. Its right side hardly changes along a bend, so a step or two
    are exact to seven figures; on the level u grows by c a, the closed form of the level bend.

    Examples
    --------
    >>> quarter = Piece(1.5 * math.pi / math.cos(0.1), 0.1, 0.1, math.pi / 2, 20.0, 0.35, 1.0)
    >>> round(steady_bend(quarter, 1000.0).tension, 4)
    1741.7437
    """
    g, c, angle = p.grade_in, p.c, abs(p.turn) * math.cos(p.grade_in)
    across = p.weight * math.cos(g) * p.length / angle if angle > 0 else 0.0
    if not (math.cos(g) > _STEEP and across > 0):
        return changing_bend(p, entry)

    def slope(_: float, u: float) -> float:
        return c + math.tan(g) / math.cosh(u)

    start = math.asinh(entry / across)
    steps = _settled(slope, start, angle, lambda u: across * math.sinh(u))
    end = steps[-1].value
    rule = (
        "T = W sinh u, du/da = c + tan g / cosh u, a the angle turned in space, W = w R cos g",
        f"   with a = |turn| cos g = {number(angle)}, R = L/a = {number(p.length / angle)}, g = {number(g)}, W = {number(across)}",
    )
    return Worked(
        (
            *rule,
            f"   u = asinh(T1/W) = asinh({number(entry)} / {number(across)}) = {number(start)}",
            _how(steps, angle, "u"),
            *(step.line("u") for step in steps),
            "T2 = W sinh u",
            f"   = {number(across)} sinh({number(end)})",
        ),
        across * math.sinh(end),
        (
            rule[0],
            f"   with R = L/a = {number(p.length / angle)}, g = {number(g)}, W = {number(across)}; u = asinh(T1/W) at first",
            "   T2 = W sinh u2, u2 = u1 + a k, k = (k1 + 2 k2 + 2 k3 + k4)/6 of du/da at u1, u1 + a/2 k1, u1 + a/2 k2, u1 + a k3",
        ),
        (("a", angle), ("k", (end - start) / angle), ("u2", end)) if len(steps) == 1 else None,
    )


def changing_bend(p: Piece, entry: float) -> Worked:
    """Work out a bend that turns and changes its grade at once.

    Parameters
    ----------
    p : Piece
        The segment.
    entry : float
        Tension entering it, of either sign. [N]

    Returns
    -------
    Worked
        The steps with their numbers, and the tension leaving the segment.
    """
    turn, rate = p.turn / p.length, (p.grade_out - p.grade_in) / p.length

    def slope(s: float, tension: float) -> float:
        g = p.grade_in + rate * s
        across = math.hypot(tension * rate - p.weight * math.cos(g), tension * turn * math.cos(g))
        return p.weight * math.sin(g) + p.c * across

    steps = _settled(slope, entry, p.length, lambda tension: tension)
    equation = "dT/ds = w sin g + c sqrt((T g' - w cos g)^2 + (T h' cos g)^2)"
    rates = f"g' = {number(rate)}, h' = {number(turn)}"
    return Worked(
        (
            equation,
            f"   with g from {number(p.grade_in)} to {number(p.grade_out)}, {rates}",
            _how(steps, p.length, "T"),
            *(step.line("T") for step in steps),
        ),
        steps[-1].value,
        (
            equation,
            f"   with {rates}, g from {number(p.grade_in)} on, g2 the grade at the end of a part",
            "   T2 = T1 + L k, k = (k1 + 2 k2 + 2 k3 + k4)/6 of dT/ds at the start, twice in the middle, with T1 + L/2 k1 and "
            "T1 + L/2 k2, and at the end, with T1 + L k3",
        ),
        (("g2", p.grade_out), ("k", (steps[0].value - entry) / p.length)) if len(steps) == 1 else None,
    )


def _how(steps: list[Step], over: float, name: str) -> str:
    many = "one step" if len(steps) == 1 else f"{len(steps)} steps"
    return f"   {many} of {number(over / len(steps))}, {name}2 = {name}1 + step/6 (k1 + 2 k2 + 2 k3 + k4):"


def _settled(
    slope: Callable[[float, float], float], start: float, over: float, tension: Callable[[float], float]
) -> list[Step]:
    """Return the fewest steps, a power of two, that twice as many do not better."""
    rows = _march(slope, start, over, 1)
    while len(rows) < _MOST:
        finer = _march(slope, start, over, 2 * len(rows))
        one, other = tension(rows[-1].value), tension(finer[-1].value)
        if abs(other - one) <= _SETTLED * max(1.0, abs(other)):
            break
        rows = finer
    return rows


def _march(slope: Callable[[float, float], float], start: float, over: float, steps: int) -> list[Step]:
    size, value, rows = over / steps, start, list[Step]()
    for i in range(steps):
        s = i * size
        k1 = slope(s, value)
        k2 = slope(s + size / 2, value + size / 2 * k1)
        k3 = slope(s + size / 2, value + size / 2 * k2)
        k4 = slope(s + size, value + size * k3)
        value += size / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        rows.append(Step((k1, k2, k3, k4), s + size, value))
    return rows
