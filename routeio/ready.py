"""Lines made ready for recovery: numbers checked, legs of no length dropped, coordinates about an origin of their own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mechanics.errors import FloatArray
from routeio.findings import Finding, InputRefusedError, Where
from routeio.legs import ZERO_LENGTH, kept_vertices
from routeio.rawlines import RawLine
from routeio.tangent import BoolArray, IntArray

#: Legs this near in length are alike. [m]
_ALIKE = 1e-6


@dataclass(frozen=True, eq=False)
class Ready:
    """A line ready for recovery.

    Parameters
    ----------
    locate : callable
        From a point of the plane the line is in to its place on the map. [m]
    origin : ndarray, shape (2,)
        The first vertex; what follows is relative to it. [m]
    xy : ndarray, shape (k, 2)
        Vertices in plan, no two neighbours alike. [m]
    turn : ndarray, shape (k - 1,)
        Of each leg in plan, 0 for a straight one. [rad]
    bulge : ndarray, shape (k - 1,)
        As drawn.
    ids : tuple of str
        Of each leg in plan.
    z : ndarray, shape (n,)
        Elevation of every vertex, upright legs included; NaN where none. [m]
    plan_vertex : ndarray of int, shape (n,)
        Which vertex in plan each is at.
    elevated : bool
        Whether every vertex has an elevation.
    upright : bool
        Whether the plane is that of distance and elevation.
    drawn : bool
        Whether the format draws arcs as arcs.
    where : Where
        Of the line.
    findings : tuple of Finding
        So far.
    backward : bool
        Whether it runs from the line's end to its start. Every line is taken from the end whose first leg is shorter,
        so that a line drawn the other way has the same shape to the last digit.
    """

    locate: Callable[[FloatArray], FloatArray]
    origin: FloatArray
    xy: FloatArray
    turn: FloatArray
    bulge: FloatArray
    ids: tuple[str, ...]
    z: FloatArray
    plan_vertex: IntArray
    elevated: bool
    upright: bool
    drawn: bool
    where: Where
    findings: tuple[Finding, ...]
    backward: bool = False

    def placed(self, point: FloatArray) -> Where:
        """Return the place on the map of a point of the line."""
        x, y = self.locate(point)
        return replace(self.where, x=float(x), y=float(y))


def all_ready(lines: Sequence[RawLine]) -> list[Ready | InputRefusedError]:
    """Return every line ready for recovery, or why it is not.

    Parameters
    ----------
    lines : sequence of RawLine
        As read or cleaned.

    Returns
    -------
    list of Ready or InputRefusedError
        In the same order; ``bad-coordinate``, ``line-without-length``.
    """
    if not all(len(line.points) > 1 for line in lines):
        return [_one_ready(line) for line in lines]
    if not lines:
        return []
    # all lines at once; those with anything about them one by one
    points = np.concatenate([np.asarray(line.points, dtype=np.float64) for line in lines])
    bulge = np.concatenate([np.asarray(line.bulge, dtype=np.float64) for line in lines])
    sizes = np.array([len(line.points) for line in lines])
    offsets = np.concatenate(([0], np.cumsum(sizes)))
    leg = np.delete(np.arange(len(points)), offsets[1:] - 1)
    step = points[leg + 1, :2] - points[leg, :2]
    owner = np.repeat(np.arange(len(lines)), sizes - 1)
    odd = np.bincount(owner, ~(np.hypot(step[:, 0], step[:, 1]) > ZERO_LENGTH), minlength=len(lines)) > 0
    odd |= np.bincount(owner, bulge != 0.0, minlength=len(lines)) > 0
    odd |= ~np.logical_and.reduceat(np.isfinite(points[:, 0] + points[:, 1]), offsets[:-1])
    known = np.add.reduceat(np.isfinite(points[:, 2]).astype(np.int64), offsets[:-1])
    odd |= (known > 0) & (known < sizes)
    back = backward(np.hypot(step[:, 0], step[:, 1]), np.concatenate(([0], np.cumsum(sizes - 1))))
    # every line from the end it is taken from, about its first vertex
    at = np.arange(len(points))
    at = np.where(np.repeat(back, sizes), np.repeat(offsets[:-1] + offsets[1:] - 1, sizes) - at, at)
    plan, z = points[at, :2], points[at, 2]
    origin = plan[offsets[:-1]]
    plan -= np.repeat(origin, sizes, axis=0)
    none, count = np.zeros(int(sizes.max())), np.arange(int(sizes.max()))
    bounds, turned, raised = offsets.tolist(), back.tolist(), (known > 0).tolist()
    out: list[Ready | InputRefusedError] = []
    for i, (line, wrong) in enumerate(zip(lines, odd.tolist(), strict=True)):
        if wrong:
            out.append(_one_ready(line))
            continue
        a, b = bounds[i], bounds[i + 1]
        straight = none[: b - a - 1]
        out.append(
            Ready(
                _from(origin[i]), origin[i], plan[a:b], straight, straight, line.ids[::-1] if turned[i] else line.ids,
                z[a:b], count[: b - a], raised[i], False, line.drawn, line.where, (), turned[i],
            )
        )  # fmt: skip
    return out


def backward(leg: FloatArray, offsets: IntArray) -> BoolArray:
    """Return which lines have the shorter leg at their end, at the first place where their ends differ.

    Parameters
    ----------
    leg : ndarray, shape (n,)
        Lengths of the legs of all lines, line after line. [m]
    offsets : ndarray of int, shape (m + 1,)
        Line k has legs ``offsets[k]:offsets[k + 1]``.

    Returns
    -------
    ndarray of bool, shape (m,)
        These are taken from their end to their start.
    """
    if len(offsets) < 2 or (np.diff(offsets) < 1).any():
        return np.zeros(max(len(offsets) - 1, 0), bool)
    other = np.repeat(offsets[:-1] + offsets[1:] - 1, np.diff(offsets)) - np.arange(len(leg))
    more = leg - leg[other]
    differs = np.where(np.abs(more) > _ALIKE, np.arange(len(leg)), len(leg))
    first = np.minimum.reduceat(differs, offsets[:-1])
    return np.asarray((first < len(leg)) & (more[np.minimum(first, len(leg) - 1)] > 0.0))


def _one_ready(line: RawLine) -> Ready | InputRefusedError:
    try:
        return _made_ready(line)
    except InputRefusedError as refusal:
        return refusal


def _from(origin: FloatArray) -> Callable[[FloatArray], FloatArray]:
    return lambda point: point + origin


def _made_ready(line: RawLine) -> Ready:
    """Return a line ready for recovery, or raise what is wrong with it."""
    points = np.asarray(line.points, dtype=np.float64)
    bulge = np.asarray(line.bulge, dtype=np.float64)
    if not (np.isfinite(points[:, :2]).all() and np.isfinite(bulge).all()):
        raise InputRefusedError(
            "bad-coordinate", "a vertex or a bulge of the line is not a number", line.where,
            "mend the line in its source",
        )  # fmt: skip
    findings: list[Finding] = []
    ids = line.ids
    keep = kept_vertices(points)
    if not keep.all():
        findings.append(
            Finding(
                "zero-length-leg", "info", f"{int((~keep).sum())} legs of no length dropped", line.where, ""
            )
        )
        points, bulge, ids = points[keep], bulge[keep[1:]], _kept(ids, keep[1:])
    step = np.diff(points[:, :2], axis=0)
    level = np.hypot(step[:, 0], step[:, 1]) > ZERO_LENGTH
    if not level.any():
        raise InputRefusedError(
            "line-without-length", "the line has no length in plan", line.where,
            "remove it, or draw it from vault to vault",
        )  # fmt: skip
    known = np.isfinite(points[:, 2])
    if known.any() and not known.all():
        findings.append(
            Finding(
                "elevation-incomplete", "warning",
                f"{int((~known).sum())} of {len(points)} vertices have no elevation: taken as flat",
                line.where, "give every vertex an elevation, or state the elevations at the vaults",
            )
        )  # fmt: skip
    size = np.hypot(step[:, 0], step[:, 1])
    turned = bool(backward(size, np.array([0, len(size)]))[0])
    if turned:
        points, bulge, ids, level = points[::-1], -bulge[::-1], ids[::-1], level[::-1]
    in_plan = np.concatenate(([True], level))
    origin = points[0, :2].copy()
    turn = 4.0 * np.arctan(bulge[level])
    return Ready(
        _from(origin), origin, points[in_plan, :2] - origin, np.where(np.abs(turn) < 1e-9, 0.0, turn),
        bulge[level], ids if level.all() else _kept(ids, level), points[:, 2], np.cumsum(in_plan) - 1,
        bool(known.all()), False, line.drawn, line.where, tuple(findings), turned,
    )  # fmt: skip


def _kept(ids: tuple[str, ...], keep: BoolArray) -> tuple[str, ...]:
    return tuple(i for i, k in zip(ids, keep, strict=True) if k)
