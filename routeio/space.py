"""Plan and profile woven into one chain: heading and grade along the centreline in space."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from mechanics.chain import Chain
from routeio.course import Course
from routeio.survey import Origin

#: Within one bend cos(grade) changes by no more than this a segment, so that it stays the bend it is in plan.
_COSINE_STEP = 0.005


def weave(
    plan: Course, plan_origins: tuple[Origin, ...], profile: Course, profile_origins: tuple[Origin, ...]
) -> tuple[Chain, tuple[Origin, ...]]:
    """Return the chain whose plan and whose profile are the given courses.

    Parameters
    ----------
    plan : Course
        In x and y.
    plan_origins : tuple of Origin
        One an element of the plan.
    profile : Course
        In distance along the plan and elevation; its length is the length in space.
    profile_origins : tuple of Origin
        One an element of the profile.

    Returns
    -------
    chain : Chain
        Cut wherever the plan or the profile goes from one element to the next.
    origins : tuple of Origin
        One a segment: the plan's where it bends there, else the profile's where that does.
    """
    bounds = plan.stations
    # the profile may start and end a little off the plan's ends
    head, tail = profile.start[0], profile.end[0]
    bounds = head + bounds * ((tail - head) / bounds[-1])
    length: list[float] = []
    grade_in: list[float] = []
    grade_out: list[float] = []
    turn: list[float] = []
    origins: list[Origin] = []
    knots = profile.knots[:, 0]
    grades = profile.headings
    element = 0
    for i in range(profile.length.size):
        total, g0, g1 = float(profile.length[i]), float(grades[i]), float(grades[i + 1])
        rate = (g1 - g0) / total
        inner = bounds[(bounds > knots[i] + 1e-9) & (bounds < knots[i + 1] - 1e-9)]
        cuts = [0.0, *(_along(float(p - knots[i]), g0, rate) for p in inner), total]
        for a, b in pairwise(cuts):
            if b - a <= 1e-9:
                continue
            middle = float(knots[i]) + _plan_distance(0.5 * (a + b), g0, rate)
            element = min(
                max(int(np.searchsorted(bounds, middle, side="right")) - 1, 0), plan.length.size - 1
            )
            whole = float(bounds[element + 1] - bounds[element])
            bends = plan.turn[element] != 0.0
            steps = _steps(a, b, g0, rate) if bends else [a, b]
            for c, d in pairwise(steps):
                span = _plan_distance(d, g0, rate) - _plan_distance(c, g0, rate)
                length.append(d - c)
                grade_in.append(g0 + rate * c)
                grade_out.append(g0 + rate * d)
                turn.append(float(plan.turn[element]) * span / whole if bends else 0.0)
                origins.append(plan_origins[element] if bends or rate == 0.0 else profile_origins[i])
    return Chain(np.array(length), np.array(grade_in), np.array(grade_out), np.array(turn)), tuple(origins)


def flat(plan: Course) -> Chain:
    """Return the chain of a plan without elevations.

    Parameters
    ----------
    plan : Course
        In x and y.

    Returns
    -------
    Chain
        All grades 0.
    """
    level = np.zeros(plan.length.size)
    return Chain(plan.length, level, level, plan.turn)


def _plan_distance(s: float, g0: float, rate: float) -> float:
    """Distance in plan after a length ``s`` along a profile element."""
    half = 0.5 * rate * s
    return s * math.cos(g0 + half) * (math.sin(half) / half if half else 1.0)


def _along(p: float, g0: float, rate: float) -> float:
    """Length along a profile element at which the distance in plan is ``p``."""
    if abs(rate) < 1e-12:
        return p / math.cos(g0)
    return (math.asin(min(1.0, max(-1.0, math.sin(g0) + rate * p))) - g0) / rate


def _steps(a: float, b: float, g0: float, rate: float) -> list[float]:
    """Cut a bend further where cos(grade) changes much within it."""
    change = abs(math.cos(g0 + rate * b) - math.cos(g0 + rate * a))
    pieces = max(1, math.ceil(change / _COSINE_STEP))
    return [a + (b - a) * k / pieces for k in range(pieces + 1)]
