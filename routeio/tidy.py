"""Tidying lines one by one and against their doubles: what has no length, and what is drawn twice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import shapely

from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from routeio.bulges import flattened, leg_lengths
from routeio.findings import Finding, Where, span_text
from routeio.rawlines import RawLine
from routeio.stack import ObjectArray, stacked

#: Vertices nearer than this are one. [m]
ZERO = 1e-6
#: Lines whose vertices lie this near one another are the same line drawn twice. [m]
SAME = 1e-3
#: Drawn and recorded lengths that differ by more than this are worth saying.
LENGTH_DIFFERS = 0.05


def without_zero_length(lines: Sequence[RawLine]) -> tuple[list[RawLine], list[Finding]]:
    """Drop vertices that repeat the one before, and lines that have no length.

    Parameters
    ----------
    lines : sequence of RawLine
        As read.

    Returns
    -------
    lines : list of RawLine
        Those with a length.
    findings : list of Finding
        One a line changed or dropped.
    """
    kept: list[RawLine] = []
    findings: list[Finding] = []
    stack = stacked(lines)
    step = stack.points[stack.leg_starts + 1] - stack.points[stack.leg_starts]
    rise = np.where(np.isfinite(step[:, 2]), step[:, 2], 0.0)
    every = np.hypot(np.hypot(step[:, 0], step[:, 1]), rise) > ZERO
    marred = set(stack.leg_owner[~every].tolist())
    for i, line in enumerate(lines):
        if i not in marred:
            kept.append(line)
            continue
        long = every[stack.first[i] - i : stack.first[i + 1] - i - 1]
        place = placed(line.where, line.points[0])
        if not long.any():
            findings.append(
                Finding(
                    "zero-length", "warning", "the line has no length and is left out", place, "delete it"
                )
            )
            continue
        findings.append(
            Finding(
                "repeated-vertex",
                "info",
                f"{int((~long).sum())} vertices repeat the one before and are left out",
                place,
                "none needed",
            )
        )
        kept.append(
            replace(
                line,
                points=line.points[np.concatenate(([True], long))],
                bulge=line.bulge[long],
                ids=tuple(i for i, good in zip(line.ids, long, strict=True) if good),
            )
        )
    return kept, findings


def without_doubles(lines: Sequence[RawLine]) -> tuple[list[RawLine], list[Finding]]:
    """Keep one of the lines drawn twice, in either direction; say where two differ in their fields only.

    Parameters
    ----------
    lines : sequence of RawLine
        Each with a length.

    Returns
    -------
    lines : list of RawLine
        The first of each set of doubles.
    findings : list of Finding
        One for each line left out, and for each kept beside one of other fields.
    """
    if len(lines) < 2:
        return list(lines), []
    findings: list[Finding] = []
    keep = np.ones(len(lines), dtype=bool)
    stack = stacked(lines)
    low = np.minimum.reduceat(stack.points[:, :2], stack.first[:-1])
    high = np.maximum.reduceat(stack.points[:, :2], stack.first[:-1])
    # doubles have the same bounds and as many vertices, whichever way they run
    like = np.column_stack((low, high, np.diff(stack.first)))
    _, group, size = np.unique(like, axis=0, return_inverse=True, return_counts=True)
    first: dict[bytes, int] = {}
    for i in np.flatnonzero(size[group.ravel()] > 1).tolist():
        j = first.setdefault(_canonical(lines[i]), i)
        if j != i:
            keep[i] = _judge(lines[j], lines[i], findings)
    rest = np.flatnonzero(keep)
    for a, b in _near_pairs(0.5 * (low + high)[rest], rest):
        if keep[a] and keep[b] and _near_doubles(lines[a], lines[b]):
            keep[b] = _judge(lines[a], lines[b], findings)
    return [line for line, kept in zip(lines, keep, strict=True) if kept], findings


def _judge(kept: RawLine, double: RawLine, findings: list[Finding]) -> bool:
    """Return whether a double is kept after all, because its fields say it is another duct."""
    place = placed(double.where, double.points[0])
    if kept.fields == double.fields:
        findings.append(
            Finding(
                "duplicate-line",
                "warning",
                f"drawn twice: the same course as {kept.where.id}; left out",
                place,
                "delete one of the two",
            )
        )
        return False
    findings.append(
        Finding(
            "same-course",
            "info",
            f"runs on the course of {kept.where.id} with other attributes; kept as a duct of its own",
            place,
            "delete one if it is the same duct",
        )
    )
    return True


def _canonical(line: RawLine) -> bytes:
    """Return bytes that are the same for a line and its reverse."""
    forward = np.column_stack((line.points[:-1], line.bulge, line.points[1:])) + 0.0
    backward = np.column_stack((line.points[:0:-1], -line.bulge[::-1], line.points[-2::-1])) + 0.0
    one, other = forward.tobytes(), backward.tobytes()
    return min(one, other)


def _near_pairs(centre: FloatArray, rows: IntArray) -> list[tuple[int, int]]:
    """Return pairs of rows whose centres are within two millimetres of one another, the earlier first."""
    marks = points_at(centre)
    one, other = shapely.STRtree(marks).query(marks, predicate="dwithin", distance=2 * SAME)
    once = one < other
    return sorted(zip(rows[one[once]].tolist(), rows[other[once]].tolist(), strict=True))


def _near_doubles(a: RawLine, b: RawLine) -> bool:
    """Whether two lines have the same course within a millimetre, without being the same to the last bit."""
    if a.points.shape != b.points.shape:
        return _one_course(a, b)
    if _canonical(a) == _canonical(b):
        return False
    return _alike(a.points, a.bulge, b.points, b.bulge) or _alike(
        a.points, a.bulge, b.points[::-1], -b.bulge[::-1]
    )


def _one_course(a: RawLine, b: RawLine) -> bool:
    """Whether two lines without elevations have one course in plan, by whatever vertices each is drawn."""
    if np.isfinite(a.points[:, 2]).any() or np.isfinite(b.points[:, 2]).any():
        return False
    tips = a.points[[0, -1], :2], b.points[[0, -1], :2]
    if min(np.abs(tips[0] - tips[1]).max(), np.abs(tips[0] - tips[1][::-1]).max()) > SAME:
        return False
    one, other = course_in_plan(a), course_in_plan(b)
    return bool(shapely.hausdorff_distance(one, other) <= SAME)


def _alike(p: FloatArray, a: FloatArray, q: FloatArray, b: FloatArray) -> bool:
    apart = p - q
    level = np.isnan(apart[:, 2])
    apart = np.where(level[:, None] & [False, False, True], 0.0, apart)
    same_z = bool((np.isnan(p[:, 2]) == np.isnan(q[:, 2])).all())
    return same_z and bool((np.abs(apart) <= SAME).all()) and bool(np.allclose(a, b, rtol=0, atol=1e-3))


def against_record(lines: Iterable[RawLine]) -> list[Finding]:
    """Say where the drawn length differs from the length on record.

    Parameters
    ----------
    lines : iterable of RawLine
        As read, before splitting and joining.

    Returns
    -------
    list of Finding
        One a line whose lengths differ by more than 5 %.
    """
    findings = []
    for line in lines:
        recorded = line.fields.recorded_length
        if recorded is None or not recorded > 0.0:
            continue
        drawn = length_3d(line)
        if abs(drawn / recorded - 1.0) > LENGTH_DIFFERS:
            findings.append(
                Finding(
                    "length-differs",
                    "warning",
                    f"drawn {span_text(drawn)}, on record {span_text(recorded)} ({drawn / recorded:.2f} times); the drawing "
                    "is used",
                    placed(line.where, line.points[0]),
                    "check which is right, and the unit of the record",
                )
            )
    return findings


def length_3d(line: RawLine) -> float:
    """Return the length of a line in space, taken flat where it has no elevations. [m]

    Parameters
    ----------
    line : RawLine
        Any.

    Returns
    -------
    float
        [m]
    """
    rise = np.diff(line.points[:, 2])
    plan = leg_lengths(line.points, line.bulge)
    return float(np.hypot(plan, np.where(np.isfinite(rise), rise, 0.0)).sum())


def course_in_plan(line: RawLine) -> shapely.LineString:
    """Return the course of a line in plan.

    Parameters
    ----------
    line : RawLine
        The line.

    Returns
    -------
    LineString
        Its arcs by chords within :data:`SAME`.
    """
    return shapely.LineString(flattened(line.points, line.bulge, SAME)[0][:, :2])


def points_at(places: FloatArray) -> ObjectArray:
    """Return point geometries at places in plan.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        [m]

    Returns
    -------
    ndarray of shapely.Point, shape (n,)
        Also where n is 1.
    """
    return np.asarray(shapely.points(places), dtype=object).reshape(len(places))


def placed(where: Where, point: FloatArray) -> Where:
    """Return a place with the coordinates of a point.

    Parameters
    ----------
    where : Where
        File, layer and id.
    point : ndarray, shape (2,) or (3,)
        [m]

    Returns
    -------
    Where
        The same with x and y.
    """
    return Where(where.file, where.layer, where.id, float(point[0]), float(point[1]))
