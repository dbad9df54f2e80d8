"""Stacks: the vertices of many lines in one array, so that what concerns all of them is worked out at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from routeio.rawlines import RawLine

ObjectArray = NDArray[np.object_]
#: Lines looked at together.
_BLOCK = 2_048


@dataclass(frozen=True, eq=False)
class Stack:
    """Lines as arrays.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Vertices of all lines. [m]
    bulge : ndarray, shape (n - number of lines,)
        Of all legs.
    first : ndarray of int, shape (number of lines + 1,)
        Where each line's vertices start; leg k of line i starts at vertex ``first[i] + k`` and is leg
        ``first[i] - i + k`` of all.
    """

    points: FloatArray
    bulge: FloatArray
    first: IntArray

    def part(self, begin: int, end: int) -> Stack:
        """Return some lines.

        Parameters
        ----------
        begin, end : int
            From this line to before that.

        Returns
        -------
        Stack
            Views of the same arrays.
        """
        first = self.first[begin : end + 1]
        last = begin + first.size - 1
        return Stack(
            self.points[first[0] : first[-1]],
            self.bulge[first[0] - begin : first[-1] - last],
            first - first[0],
        )

    @property
    def leg_starts(self) -> IntArray:
        """Vertex at which each leg starts, shape (number of legs,)."""
        last = np.zeros(self.points.shape[0], dtype=bool)
        last[self.first[1:] - 1] = True
        return np.flatnonzero(~last)

    @property
    def leg_owner(self) -> IntArray:
        """Line of each leg, shape (number of legs,)."""
        return np.repeat(np.arange(self.first.size - 1), np.diff(self.first) - 1)


def stacked(lines: Sequence[RawLine]) -> Stack:
    """Return lines as arrays.

    Parameters
    ----------
    lines : sequence of RawLine
        Each of at least two vertices.

    Returns
    -------
    Stack
        In the same order.
    """
    sizes = np.array([line.points.shape[0] for line in lines], dtype=np.int64)
    return Stack(
        np.concatenate([np.zeros((0, 3)), *(line.points for line in lines)]),
        np.concatenate([np.zeros(0), *(line.bulge for line in lines)]),
        np.concatenate(([0], np.cumsum(sizes))).astype(np.int64),
    )


def run_boxes(stack: Stack, legs: int) -> tuple[FloatArray, IntArray]:
    """Return boxes around runs of legs, arcs included.

    Parameters
    ----------
    stack : Stack
        The lines.
    legs : int
        At most so many legs a run; no run goes over the end of a line.

    Returns
    -------
    boxes : ndarray, shape (m, 4)
        Least x and y, greatest x and y. [m]
    owner : ndarray of int, shape (m,)
        Line of each run.
    """
    # some thousand lines at a time: the steps between would take ten times the memory of what comes out
    some = [_run_boxes(stack.part(k, k + _BLOCK), legs) for k in range(0, stack.first.size - 1, _BLOCK)]
    return (
        np.concatenate([np.zeros((0, 4)), *(boxes for boxes, _ in some)]),
        np.concatenate([np.zeros(0, np.int64), *(owner + k * _BLOCK for k, (_, owner) in enumerate(some))]),
    )


def _run_boxes(stack: Stack, legs: int) -> tuple[FloatArray, IntArray]:
    start = stack.leg_starts
    a, b = stack.points[start, :2], stack.points[start + 1, :2]
    chord = np.hypot(*(b - a).T)
    # an arc stands off its chord by bulge times half of it; beyond a half circle it is wider than its chord too
    bow = np.abs(stack.bulge)
    off = 0.5 * chord * np.where(bow <= 1.0, bow, (1.0 + bow**2) / np.maximum(bow, 1e-300))
    low = np.minimum(a, b) - off[:, None]
    high = np.maximum(a, b) + off[:, None]
    owner = stack.leg_owner
    within = start - stack.first[owner]
    runs = np.flatnonzero(within % legs == 0)
    if not runs.size:
        return np.zeros((0, 4)), np.zeros(0, dtype=np.int64)
    return (
        np.column_stack((np.minimum.reduceat(low, runs), np.maximum.reduceat(high, runs))),
        owner[runs],
    )


def box_tree(boxes: FloatArray) -> shapely.STRtree:
    """Return a tree of boxes.

    Parameters
    ----------
    boxes : ndarray, shape (m, 4)
        As :func:`run_boxes` gives them.

    Returns
    -------
    shapely.STRtree
        Of polygons.
    """
    return shapely.STRtree(box_array(boxes))


def box_array(boxes: FloatArray) -> ObjectArray:
    """Return boxes as polygons.

    Parameters
    ----------
    boxes : ndarray, shape (m, 4)
        Least x and y, greatest x and y. [m]

    Returns
    -------
    ndarray of shapely.Polygon, shape (m,)
        Also where m is 1.
    """
    return np.asarray(shapely.box(*boxes.T), dtype=object).reshape(boxes.shape[0])
