"""Where a chain lies on the map: points close enough to its curves to draw them."""

from __future__ import annotations

import math

import numpy as np

from mechanics.centreline import place
from mechanics.chain import Chain
from mechanics.errors import FloatArray
from network.route import Leg

# Turn of one chord [rad]: 12 mm off the curve at a radius of 30 m.
_CHORD = 0.055

Point = list[float | None]


def trace(chain: Chain, start: tuple[float, float, float], heading: float) -> tuple[FloatArray, list[int]]:
    """Return points along one chain, and which of them its segments start at.

    Parameters
    ----------
    chain : Chain
        One chain.
    start : tuple of 3 floats
        [m]
    heading : float
        At the start. [rad]

    Returns
    -------
    points : ndarray, shape (k, 3)
        The start, every chord's end, the end. [m]
    index : list of int, length n + 1
        Row of ``points`` where each segment starts, and the last row.
    """
    bend = np.abs(chain.turn) + np.abs(chain.grade_out - chain.grade_in)
    count = np.maximum(1, np.ceil(bend / _CHORD)).astype(np.int64)
    owner = np.repeat(np.arange(len(chain)), count)
    first = np.concatenate(([0], np.cumsum(count)))
    step = np.arange(int(first[-1])) - first[owner]
    rate = (chain.grade_out - chain.grade_in)[owner] / count[owner]
    fine = Chain(
        (chain.length / count)[owner],
        chain.grade_in[owner] + rate * step,
        chain.grade_in[owner] + rate * (step + 1),
        (chain.turn / count)[owner],
    )
    return place(fine, start, heading).points, [int(i) for i in first]


def along(leg: Leg, forward: bool = True) -> tuple[Chain, tuple[float, float, float], float]:
    """Return a leg's chain, start and heading, along the route or against it.

    Parameters
    ----------
    leg : Leg
        A duct as the route runs through it.
    forward : bool, optional
        Whether to travel with the route.

    Returns
    -------
    tuple of Chain, point and float
        In the direction of travel. [m, rad]
    """
    duct = leg.duct
    if leg.forward == forward:
        return duct.chain, duct.start, duct.heading
    placed = place(duct.chain, duct.start, duct.heading)
    end = placed.points[-1]
    back = placed.heading + math.pi
    return duct.chain.reversed(), (float(end[0]), float(end[1]), float(end[2])), back


def as_points(points: FloatArray, elevated: bool) -> list[Point]:
    """Return points as the document writes them, z None where elevations are not known.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        [m]
    elevated : bool
        Whether z means anything.

    Returns
    -------
    list of [x, y, z]
        Plain floats. [m]
    """
    return [[x, y, z if elevated else None] for x, y, z in points.tolist()]
