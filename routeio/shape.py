"""The shape behind the vertices: a raw line as a chain of straights and tangent bends."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import Chain
from mechanics.errors import FloatArray
from routeio.corners import Rounded, round_corners
from routeio.findings import Finding, InputRefusedError, Where
from routeio.legs import Piece, kept_vertices, merge_collinear, pieces_of
from routeio.options import ReadOptions
from routeio.space import flat, place, weave
from routeio.survey import Origin


@dataclass(frozen=True, eq=False)
class Shape:
    """A line recovered: its chain, with its place, and how well it explains the vertices.

    Parameters
    ----------
    chain : Chain
        From the first vertex to the last.
    start : tuple of 3 floats
        The first vertex; z is 0 where ``elevated`` is False. [m]
    heading : float
        At the start, from the x axis, anticlockwise. [rad]
    end : tuple of 3 floats
        The last vertex, likewise. [m]
    origins : tuple of Origin
        One a segment.
    findings : tuple of Finding
        What a person should know about it.
    elevated : bool
        Whether the line has elevations.
    scatter, residual : float
        Standard deviation of the vertices as estimated or stated, and root mean square distance of the vertices
        from the chain, in plan; 0 where the line is taken as drawn. [m]
    """

    chain: Chain
    start: tuple[float, float, float]
    heading: float
    end: tuple[float, float, float]
    origins: tuple[Origin, ...]
    findings: tuple[Finding, ...] = ()
    elevated: bool = False
    scatter: float = 0.0
    residual: float = 0.0


def recover(
    points: FloatArray,
    bulge: FloatArray,
    ids: tuple[str, ...],
    drawn: bool,
    options: ReadOptions | None = None,
    where: Where | None = None,
) -> Shape:
    """Return the shape behind one line.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        Vertices; z is NaN where the file gives none. [m]
    bulge : ndarray, shape (k - 1,)
        Tangent of a quarter of each leg's turn, left positive.
    ids : tuple of str
        Handle or feature id of each leg.
    drawn : bool
        Whether the format draws arcs as arcs.
    options : ReadOptions, optional
        What was stated.
    where : Where, optional
        Of the line, for findings.

    Returns
    -------
    Shape
        Total turn is always kept.

    Raises
    ------
    InputRefusedError
        ``line-without-length``, ``bad-coordinate``, ``sharp-corner``, ``line-turns-back``.
    """
    options = options or ReadOptions()
    where = where or Where()
    points = np.asarray(points, dtype=np.float64)
    bulge = np.asarray(bulge, dtype=np.float64)
    points, bulge, ids, findings = _checked(points, bulge, ids, where)
    elevated = bool(np.isfinite(points[:, 2]).all())
    if np.isfinite(points[:, 2]).any() and not elevated:
        findings.append(
            Finding(
                "elevation-incomplete", "warning",
                f"{int(np.isnan(points[:, 2]).sum())} of {len(points)} vertices have no elevation: taken as flat",
                where, "give every vertex an elevation, or state the elevations at the vaults",
            )
        )  # fmt: skip
    plan_step = np.hypot(*np.diff(points[:, :2], axis=0).T)
    upright = plan_step <= 1e-6
    origin = points[0, :2].copy()
    level = points[:, :2] - origin
    keep = np.concatenate(([True], ~upright))
    if keep.sum() < 2:
        raise InputRefusedError(
            "line-without-length", "the line has no length in plan", where, "draw it from vault to vault"
        )
    pieces = _arcs_from_chords(
        merge_collinear(
            pieces_of(
                level[keep], bulge[~upright], tuple(i for i, u in zip(ids, upright, strict=True) if not u)
            )
        )
    )
    plan = round_corners(
        pieces, level[keep], sweep=options.sweep, tolerance=options.chord_tolerance, where=where,
        locate=lambda point: point + origin,
    )  # fmt: skip
    findings += plan.findings
    course = replace(plan.course, start=(0.0, 0.0))
    if elevated:
        chain, origins, more = _with_profile(plan, keep, points[:, 2], ids, options, where, origin)
        findings += more
        start_z, end_z = float(points[0, 2]), float(points[-1, 2])
    else:
        chain, origins, start_z, end_z = flat(course), plan.origins, 0.0, 0.0
    shape = Shape(
        chain,
        (float(points[0, 0]), float(points[0, 1]), start_z),
        course.heading,
        (float(points[-1, 0]), float(points[-1, 1]), end_z),
        origins,
        tuple(findings),
        elevated,
    )
    return _closed(shape, options, where)


def _checked(
    points: FloatArray, bulge: FloatArray, ids: tuple[str, ...], where: Where
) -> tuple[FloatArray, FloatArray, tuple[str, ...], list[Finding]]:
    if not (np.isfinite(points[:, :2]).all() and np.isfinite(bulge).all()):
        raise InputRefusedError(
            "bad-coordinate",
            "a vertex or a bulge of the line is not a number",
            where,
            "mend the line in its source",
        )
    findings: list[Finding] = []
    keep = kept_vertices(points, bulge)
    if not keep.all():
        findings.append(
            Finding("zero-length-leg", "info", f"{int((~keep).sum())} legs of no length dropped", where, "")
        )
    if keep.sum() < 2:
        raise InputRefusedError(
            "line-without-length",
            "the line has no length",
            where,
            "remove it, or draw it from vault to vault",
        )
    legs = keep[1:]
    return points[keep], bulge[legs], tuple(i for i, k in zip(ids, legs, strict=True) if k), findings


def _with_profile(
    plan: Rounded,
    keep: NDArray[np.bool_],
    z: FloatArray,
    ids: tuple[str, ...],
    options: ReadOptions,
    where: Where,
    origin: FloatArray,
) -> tuple[Chain, tuple[Origin, ...], tuple[Finding, ...]]:
    """Round the grade breaks in the plane of distance and elevation, and weave."""
    station = plan.stations[np.cumsum(keep) - 1]
    curve = np.stack((station, z), axis=-1)
    pieces = merge_collinear(pieces_of(curve, np.zeros(len(ids)), ids))
    gentle = max(options.standard_radii, default=15.24)
    profile = round_corners(
        pieces, curve, sweep=options.sweep or gentle, tolerance=options.chord_tolerance, where=where,
        what="grade break", locate=lambda point: plan.course.at(point[:1])[0] + origin,
    )  # fmt: skip
    chain, origins = weave(plan.course, plan.origins, profile.course, profile.origins)
    return chain, origins, profile.findings


def _arcs_from_chords(pieces: list[Piece]) -> list[Piece]:
    """Return the pieces with runs of straights that are chords of one circle made arcs."""
    out: list[Piece] = []
    i = 0
    while i < len(pieces):
        run = _chord_run(pieces, i)
        if run is None:
            out.append(pieces[i])
            i += 1
        else:
            out.append(run[0])
            i = run[1]
    return out


def _chord_run(pieces: list[Piece], i: int) -> tuple[Piece, int] | None:
    """Return the arc through as many straights from piece ``i`` as are chords of one circle, and where it stops."""
    if i + 2 >= len(pieces) or any(p.turn for p in pieces[i : i + 3]):
        return None
    at = [pieces[i].first, *(p.last for p in pieces[i : i + 3])]
    circle = _circle(at[0], at[1], at[2])
    if circle is None:
        return None
    centre, radius = circle
    tolerance = 1e-3 + 1e-4 * radius

    def chord(p: Piece) -> bool:
        if p.turn or abs(math.hypot(*(p.last - centre)) - radius) > min(tolerance, 0.01):
            return False
        a, b = p.first - centre, p.last - centre
        angle = math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))
        sagitta = radius * (1.0 - math.cos(0.5 * angle))
        return abs(angle) < math.radians(50.0) and sagitta <= 0.2 and angle * sense > 0

    a, b = at[1] - at[0], at[2] - at[1]
    sense = math.copysign(1.0, a[0] * b[1] - a[1] * b[0])
    j = i
    while j < len(pieces) and chord(pieces[j]):
        j += 1
    if j - i < 3:
        return None
    run = pieces[i:j]
    turn = 0.0
    for p in run:
        a, b = p.first - centre, p.last - centre
        turn += math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))
    out = run[0].first - centre
    heading = math.atan2(out[0], -out[1]) if turn > 0 else math.atan2(-out[0], out[1])
    arc = Piece(
        run[0].first, run[-1].last, heading, radius * abs(turn), turn,
        replace(run[0].origin, how="fitted"), (run[0].vertices[0], run[-1].vertices[1]),
    )  # fmt: skip
    return arc, j


def _circle(a: FloatArray, b: FloatArray, c: FloatArray) -> tuple[FloatArray, float] | None:
    """Return centre and radius of the circle through three points; None where they lie on a line."""
    u, v = b - a, c - a
    cross = 2.0 * float(u[0] * v[1] - u[1] * v[0])
    if abs(cross) < 1e-12 * float(u @ u + v @ v):
        return None
    uu, vv = float(u @ u), float(v @ v)
    centre = np.array([v[1] * uu - u[1] * vv, u[0] * vv - v[0] * uu]) / cross
    return a + centre, math.hypot(*centre)


def _closed(shape: Shape, options: ReadOptions, where: Where) -> Shape:
    """Add a finding where the chain does not end where the line does."""
    end = place(shape.chain, shape.start, shape.heading)[-1]
    miss = float(np.hypot(*(end[:2] - np.asarray(shape.end[:2]))))
    if miss <= options.chord_tolerance + 3.0 * shape.scatter:
        return shape
    finding = Finding(
        "end-moved", "warning", f"the recovered shape ends {miss:.3g} m from the line's end", where,
        "look at the line: a kink beside an arc, or scatter that no bend explains",
    )  # fmt: skip
    return replace(shape, findings=(*shape.findings, finding))
