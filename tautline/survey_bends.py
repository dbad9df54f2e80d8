"""The bends of a survey as a person counts them: neighbouring segments of one curve are one bend."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from mechanics.chain import Chain
from routeio.survey import Duct, How
from tautline.path import trace

Point = tuple[float, float]

#: A radius this uncertain, or more, is told as about so much. [of the radius]
_ABOUT = 0.1
#: Segments whose curvatures differ by no more than this are of one bend. [of the curvature]
_ALIKE = 1e-3


@dataclass(frozen=True)
class PlanBend:
    """A bend in plan.

    Parameters
    ----------
    path : tuple of points
        Along it. [m]
    turn : float
        Left positive. [rad]
    radius : float
        In plan. [m]
    how : {"drawn", "fitted", "swept", "stated"}
        Where it comes from.
    sigma_turn, sigma_radius : float, optional
        Standard deviations, where fitted. [rad, m]
    """

    path: tuple[Point, ...]
    turn: float
    radius: float
    how: How
    sigma_turn: float | None = None
    sigma_radius: float | None = None

    @property
    def about(self) -> bool:
        """Whether the vertices leave the radius open by a tenth or more."""
        return self.sigma_radius is not None and self.sigma_radius >= _ABOUT * self.radius

    @property
    def middle(self) -> Point:
        """Its middle point. [m]"""
        return self.path[len(self.path) // 2]


def laid(duct: Duct) -> tuple[list[Point], list[PlanBend]]:
    """Return the course of a duct in plan and its bends.

    Parameters
    ----------
    duct : Duct
        Of a survey.

    Returns
    -------
    path : list of points
        Close enough to draw. [m]
    bends : list of PlanBend
        In order.
    """
    points, index = trace(duct.chain, duct.start, duct.heading)
    path: list[Point] = [(float(x), float(y)) for x, y in points[:, :2]]
    curvature = _curvature(duct.chain)
    bends: list[PlanBend] = []
    first = 0
    for k in range(1, len(curvature) + 1):
        same = (
            k < len(curvature)
            and duct.origins[k].how == duct.origins[first].how
            and abs(curvature[k] - curvature[first]) <= _ALIKE * abs(curvature[first])
        )
        if same:
            continue
        if curvature[first] != 0.0:
            bends.append(_bend(duct, first, k, tuple(path[index[first] : index[k] + 1])))
        first = k
    return path, bends


def _curvature(chain: Chain) -> list[float]:
    level = chain.length * np.cos(0.5 * (chain.grade_in + chain.grade_out))
    return [float(c) for c in chain.turn / level]


def _bend(duct: Duct, first: int, stop: int, path: tuple[Point, ...]) -> PlanBend:
    chain = duct.chain
    turn = float(chain.turn[first:stop].sum())
    grade = 0.5 * (chain.grade_in + chain.grade_out)[first:stop]
    radius = float((chain.length[first:stop] * np.cos(grade)).sum()) / abs(turn)
    origin = duct.origins[first]
    return PlanBend(path, turn, radius, origin.how, origin.sigma_turn, origin.sigma_radius)


def bend_text(bend: PlanBend, radius: str, *, forgiven: bool) -> str:
    """Return what is written beside a bend.

    Parameters
    ----------
    bend : PlanBend
        The bend.
    radius : str
        Its radius with the unit.
    forgiven : bool
        Whether corners drawn sharp have no radius of their own here.

    Returns
    -------
    str
        Such as ``45° R 12.5 ft``; ``≈`` stands before a radius that the vertices leave open.
    """
    angle = f"{math.degrees(abs(bend.turn)):.0f}°"
    if bend.how == "swept" and forgiven:
        return f"{angle} sharp"
    return f"{angle} R {'≈ ' if bend.about else ''}{radius}"
