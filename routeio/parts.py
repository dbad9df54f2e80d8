"""Parts: where along a duct its pieces, and with them its attributes, change; segments are cut there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from mechanics.centreline import place
from mechanics.chain import Chain
from routeio.bulges import nearest_spot
from routeio.rawlines import RawLine
from routeio.shape import Shape
from routeio.survey import DuctPart

#: A change this near to the end of a segment is at its end. [m]
NEAR = 1e-3


def parted(shape: Shape, pieces: Sequence[RawLine]) -> tuple[Shape, tuple[DuctPart, ...]]:
    """Cut the segments of a shape where one piece of its line ends and another begins.

    Parameters
    ----------
    shape : Shape
        Of the whole line.
    pieces : sequence of RawLine
        In order along it; none where they do not differ.

    Returns
    -------
    shape : Shape
        The same course, with a segment ending at each change of piece.
    parts : tuple of DuctPart
        One a piece with any length.
    """
    if len(pieces) < 2:
        return shape, ()
    parts: list[DuctPart] = []
    for piece, after in pairwise(pieces):
        shape, stop = _cut(shape, parts[-1].stop if parts else 0, piece, after)
        if stop > (parts[-1].stop if parts else 0):
            parts.append(DuctPart(stop, replace(piece.fields, recorded_length=None), piece.where))
    last = pieces[-1]
    if len(shape.chain) > (parts[-1].stop if parts else 0):
        parts.append(DuctPart(len(shape.chain), replace(last.fields, recorded_length=None), last.where))
    return shape, tuple(parts)


def _cut(shape: Shape, first: int, piece: RawLine, after: RawLine) -> tuple[Shape, int]:
    """Cut at the place on segments from ``first`` on that is nearest to where a piece ends."""
    knots = place(shape.chain, shape.start, shape.heading).points[first:]
    if knots.shape[0] < 2:
        return shape, first
    x, y = piece.points[-1, :2]
    spot = nearest_spot(knots, np.tan(shape.chain.turn[first:] / 4.0), float(x), float(y))
    segment = first + spot.leg
    length = float(shape.chain.length[segment])
    if spot.part * length < NEAR:
        return shape, segment
    if (1.0 - spot.part) * length < NEAR:
        return shape, segment + 1
    name = after.ids[0]
    origins = list(shape.origins)
    origins.insert(segment + 1, replace(origins[segment], id=name))
    return replace(shape, chain=_split(shape.chain, segment, spot.part), origins=tuple(origins)), segment + 1


def _split(chain: Chain, segment: int, part: float) -> Chain:
    """Return a chain with one segment made two; heading and grade vary evenly along it, so both keep their rates."""
    middle = chain.grade_in[segment] + part * (chain.grade_out[segment] - chain.grade_in[segment])
    shares = np.array([part, 1.0 - part])

    def spread(values: np.ndarray, two: np.ndarray) -> np.ndarray:
        return np.concatenate((values[:segment], two, values[segment + 1 :]))

    return Chain(
        spread(chain.length, chain.length[segment] * shares),
        spread(chain.grade_in, np.array([chain.grade_in[segment], middle])),
        spread(chain.grade_out, np.array([middle, chain.grade_out[segment]])),
        spread(chain.turn, chain.turn[segment] * shares),
    )
