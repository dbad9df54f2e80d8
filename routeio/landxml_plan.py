"""Alignments of LandXML in plan: lines, curves and clothoids as vertices and bulges, each checked against what it states."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from lxml import etree

from mechanics.errors import FloatArray
from routeio.course import wrap
from routeio.findings import Finding, InputRefusedError, Where, span_text
from routeio.ground import check_in_reach
from routeio.landxml_tree import angle, east_north, name_of, named, numbers

#: Stated and drawn may differ by this: what six decimals and a slip of the pen leave. [m, rad]
_LENGTH, _TURN = 0.01, math.radians(0.05)
#: Ends of elements that follow each other, farther apart than this, are a gap. [m]
_GAP = 0.005
#: A clothoid becomes at least so many arcs, so that the tightest is at most 1/32 wider than its end, and at most these.
_FEWEST, _MOST = 16, 1024


@dataclass
class Course2D:
    """The plan of one alignment on its way to a line.

    Parameters
    ----------
    points : list of ndarray, shape (3,)
        Vertices. [m]
    bulge : list of float
        Of the legs.
    ids : list of str
        Of the legs.
    findings : list of Finding
        What does not agree.
    counts : Counter
        Elements read and skipped.
    """

    points: list[FloatArray] = field(default_factory=list)
    bulge: list[float] = field(default_factory=list)
    ids: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True)
class Reading:
    """What the elements of one file are read by.

    Parameters
    ----------
    metres : float
        In one unit of the file. [m]
    tolerance : float
        How far arcs may lie from a clothoid. [m]
    points : mapping of str to ndarray
        Points of the file by name, for ``pntRef``.
    direction : str
        Unit of directions.
    where : Where
        Of the alignment.
    """

    metres: float
    tolerance: float
    points: Mapping[str, FloatArray]
    direction: str
    where: Where


def plan_of(alignment: etree._Element, reading: Reading) -> Course2D | None:
    """Return the plan of an alignment, or None where it has no geometry.

    Parameters
    ----------
    alignment : lxml element
        ``Alignment``.
    reading : Reading
        Units and points.

    Returns
    -------
    Course2D or None
        In metres.

    Raises
    ------
    InputRefusedError
        ``spiral-not-clothoid``, ``element-unreadable``, ``bad-number``.
    """
    geometry = next(named(alignment, "CoordGeom"), None)
    if geometry is None:
        return None
    plan = Course2D()
    stated: list[float] = []
    for number, element in enumerate((e for e in geometry if name_of(e)), 1):
        kind = name_of(element)
        place = replace(reading.where, id=f"{reading.where.id} {kind} {number}")
        if kind not in _READ:
            if kind in ("Chain",):
                raise InputRefusedError(
                    "element-unreadable", "a Chain names points of a survey and is not read", place,
                    "export the alignment with Line, Curve and Spiral elements",
                )  # fmt: skip
            continue  # Feature and the like say nothing of the course
        points, bulge = _READ[kind](element, reading, place, plan.findings)
        check_in_reach(points[:, :2], 1.0, place)
        _length_agrees(element, points, bulge, reading, place, plan.findings)
        if element.get("length"):
            stated.append(float(_number(element, "length", place)) * reading.metres)
        _append(plan, points, bulge, place)
        plan.counts[f"read {kind}"] += 1
    if not plan.points:
        return None
    _directions_agree(geometry, plan, reading)
    return plan


def _append(plan: Course2D, points: FloatArray, bulge: FloatArray, place: Where) -> None:
    if plan.points:
        gap = float(np.hypot(*(points[0] - plan.points[-1])[:2]))
        if gap > _GAP:
            plan.findings.append(
                Finding(
                    "element-gap", "error" if gap > 1.0 else "warning",
                    f"the element begins {span_text(gap)} from where the one before it ends; a straight is drawn between",
                    _at(place, points[0]), "correct the alignment: elements follow each other without gaps",
                )
            )  # fmt: skip
            points, bulge = np.vstack((plan.points[-1], points)), np.append(0.0, bulge)
        elif len(plan.bulge):
            _kink(plan, points, bulge, place)
        plan.points += list(points[1:])
    else:
        plan.points += list(points)
    plan.bulge += bulge.tolist()
    plan.ids += [place.id] * len(bulge)


def _kink(plan: Course2D, points: FloatArray, bulge: FloatArray, place: Where) -> None:
    out = _heading(plan.points[-2], plan.points[-1]) + 2.0 * math.atan(plan.bulge[-1])
    into = _heading(points[0], points[1]) - 2.0 * math.atan(bulge[0])
    kink = float(wrap(np.array(into - out)))
    if abs(kink) > _TURN:
        plan.findings.append(
            Finding(
                "element-kink", "warning",
                f"the alignment turns by {math.degrees(kink):+.2f} degrees between two elements, without a curve",
                _at(place, points[0]), "draw the curve there, or state sweep: the radius such corners are built with",
            )
        )  # fmt: skip


def _heading(a: FloatArray, b: FloatArray) -> float:
    return math.atan2(float(b[1] - a[1]), float(b[0] - a[0]))


def _at(place: Where, point: FloatArray) -> Where:
    return replace(place, x=float(point[0]), y=float(point[1]))


def _point(element: etree._Element, name: str, reading: Reading, place: Where) -> FloatArray:
    """Return a point of an element, written there or named. [m]"""
    child = next(named(element, name), None)
    reference = None if child is None else child.get("pntRef")
    if child is not None and reference and not (child.text or "").strip():
        if reference not in reading.points:
            raise _unreadable(f"{name} names the point {reference!r}, which the file does not hold", place)
        return reading.points[reference]
    written = numbers(None if child is None else child.text)
    if written.size not in (2, 3):
        raise _unreadable(f"{name} must be a northing, an easting and perhaps an elevation", place)
    return east_north(written) * reading.metres


def _number(element: etree._Element, name: str, place: Where, default: float | None = None) -> float:
    text = element.get(name)
    if text is None and default is not None:
        return default
    try:
        value = math.inf if text and text.strip().upper() in ("INF", "INFINITY") else float(text or "")
    except ValueError:
        value = math.nan
    if math.isnan(value):
        raise _unreadable(f"{name} must be a number, got {text!r}", place)
    return value


def _unreadable(why: str, place: Where) -> InputRefusedError:
    return InputRefusedError(
        "element-unreadable",
        why,
        place,
        "export the alignment again; every element needs its points and its radius",
    )


def _line(
    element: etree._Element, reading: Reading, place: Where, said: list[Finding]
) -> tuple[FloatArray, FloatArray]:
    del said
    ends = np.array([_point(element, name, reading, place) for name in ("Start", "End")])
    return ends, np.zeros(1)


def _irregular(
    element: etree._Element, reading: Reading, place: Where, said: list[Finding]
) -> tuple[FloatArray, FloatArray]:
    del said
    for name, size in (("PntList2D", 2), ("PntList3D", 3)):
        for child in named(element, name):
            written = numbers(child.text)
            if written.size < 2 * size or written.size % size:
                raise _unreadable(f"{name} must hold {size} numbers for each of two or more points", place)
            points = east_north(written.reshape(-1, size)) * reading.metres
            return points, np.zeros(len(points) - 1)
    return _line(element, reading, place, [])


def _rotation(element: etree._Element, place: Where) -> float:
    rot = (element.get("rot") or "").lower()
    if rot not in ("cw", "ccw"):
        raise _unreadable(f"rot must be cw or ccw, got {element.get('rot')!r}", place)
    return 1.0 if rot == "ccw" else -1.0


def _curve(
    element: etree._Element, reading: Reading, place: Where, said: list[Finding]
) -> tuple[FloatArray, FloatArray]:
    start, centre, end = (_point(element, name, reading, place) for name in ("Start", "Center", "End"))
    side = _rotation(element, place)
    out, back = (start - centre)[:2], (end - centre)[:2]
    radii = float(np.hypot(*out)), float(np.hypot(*back))
    if not min(radii) > 0.0:
        raise _unreadable("the curve has no radius: its centre is one of its ends", place)
    turn = math.atan2(out[0] * back[1] - out[1] * back[0], float(out @ back)) * side
    turn = turn if turn > 1e-12 else turn + 2.0 * math.pi
    stated = _number(element, "radius", place, 0.0) * reading.metres
    if abs(radii[0] - radii[1]) > _LENGTH or (stated and abs(stated - radii[0]) > _LENGTH):
        said.append(
            Finding(
                "element-differs", "warning",
                f"the centre lies {span_text(radii[0])} from the start and {span_text(radii[1])} from the end of the curve"
                + (f", and its radius is stated as {span_text(stated)}" if stated else "")
                + "; the arc through its ends with that turn is used",
                _at(place, start), "correct the curve",
            )
        )  # fmt: skip
    if turn > math.pi:
        # more than half a circle: two legs, for a bulge above 1 says little
        half = _turned(out, side * turn / 2.0)
        middle = np.array([centre[0] + half[0], centre[1] + half[1], 0.5 * (start[2] + end[2])])
        return np.array([start, middle, end]), np.full(2, side * math.tan(turn / 8.0))
    return np.array([start, end]), np.array([side * math.tan(turn / 4.0)])


def _turned(vector: FloatArray, by: float) -> FloatArray:
    c, s = math.cos(by), math.sin(by)
    return np.array([c * vector[0] - s * vector[1], s * vector[0] + c * vector[1]])


def _spiral(
    element: etree._Element, reading: Reading, place: Where, said: list[Finding]
) -> tuple[FloatArray, FloatArray]:
    """Return a clothoid as tangent arcs through points on it, each with the turn of its part."""
    kind = (element.get("spiType") or "").strip()
    if kind.lower() != "clothoid":
        raise InputRefusedError(
            "spiral-not-clothoid", f"the spiral is of type {kind or 'unstated'!r}, and only clothoids are read", place,
            "export the alignment with clothoids, or with the spiral drawn as curves",
        )  # fmt: skip
    start, apex, end = (_point(element, name, reading, place) for name in ("Start", "PI", "End"))
    side = _rotation(element, place)
    length = _number(element, "length", place) * reading.metres
    radii = [_number(element, name, place) * reading.metres for name in ("radiusStart", "radiusEnd")]
    if not (0.0 < length < 1e6 and all(r > 0.0 for r in radii)):
        raise _unreadable("length and both radii of a spiral must be above 0 (INF for a straight)", place)
    k0, k1 = (0.0 if math.isinf(r) else side / r for r in radii)
    if abs(0.5 * (k0 + k1) * length) > 2.0 * math.pi:
        raise _unreadable("the spiral winds round more than once; check its length and radii", place)
    if float(np.hypot(*(apex - start)[:2])) < 1e-6:
        raise _unreadable("its PI lies on its start, so it has no direction", place)
    heading = _heading(start, apex)
    count = _FEWEST
    while True:
        points, turn, off = _arcs(length, k0, k1, heading, count)
        if off <= 0.1 * reading.tolerance or count >= _MOST:
            break
        count *= 2
    placed = np.column_stack((points + start[:2], np.linspace(start[2], end[2], count + 1)))
    miss = float(np.hypot(*(placed[-1] - end)[:2]))
    if miss > _LENGTH:
        said.append(
            Finding(
                "element-differs", "warning",
                f"the clothoid of that length and those radii ends {span_text(miss)} from the end stated; it is moved there",
                _at(place, end), "correct the spiral, or the elements after it",
            )
        )  # fmt: skip
    # what rounding leaves, or the miss on record, is spread along it
    placed[:, :2] += np.linspace(0.0, 1.0, count + 1)[:, None] * (end - placed[-1])[:2]
    tightest = min(radii) if any(map(math.isfinite, radii)) else math.inf
    held = length / count / float(np.abs(turn).max()) if np.abs(turn).max() > 0.0 else math.inf
    said.append(
        Finding(
            "spiral-as-arcs", "info",
            f"the clothoid is held as {count} arcs, at most {1000.0 * max(off, 1e-6):.2g} mm from it; the tightest has a radius of "
            f"{span_text(held)}, the clothoid's own is {span_text(tightest)}",
            _at(place, start), "none needed",
        )
    )  # fmt: skip
    return placed, np.tan(turn / 4.0)


def _arcs(
    length: float, k0: float, k1: float, heading: float, count: int
) -> tuple[FloatArray, FloatArray, float]:
    """Return points on a clothoid from the origin, the turn between them, and how far their arcs lie from it. [m]

    The heading is a quadratic in the distance, and its cosine and sine are summed by Gauss's rule over short parts.
    """
    fine = 4 * count
    nodes, weights = np.polynomial.legendre.leggauss(8)
    step = length / fine
    s = step * (np.arange(fine)[:, None] + 0.5 * (nodes + 1.0))
    phase = heading + k0 * s + 0.5 * (k1 - k0) / length * s * s
    moves = 0.5 * step * np.stack((np.cos(phase) @ weights, np.sin(phase) @ weights), axis=-1)
    dense = np.vstack(([0.0, 0.0], np.cumsum(moves, axis=0)))
    at = np.linspace(0.0, length, count + 1)
    turn = np.diff(k0 * at + 0.5 * (k1 - k0) / length * at * at)
    points = dense[::4]
    chord = np.diff(points, axis=0)
    size = np.hypot(chord[:, 0], chord[:, 1])
    left = np.stack((-chord[:, 1], chord[:, 0]), axis=-1) / size[:, None]
    off = 0.0
    for k in (1, 2, 3):
        gap = dense[k::4] - points[:-1]
        across = np.einsum("ni,ni->n", gap, left)
        along = np.einsum("ni,ni->n", gap, chord) / size
        # height of the arc over its chord there, by its circle
        with np.errstate(divide="ignore", invalid="ignore"):
            radius = size / (2.0 * np.sin(turn / 2.0))
            rise = np.sign(radius) * (
                np.sqrt(radius**2 - (along - size / 2.0) ** 2) - np.sqrt(radius**2 - (size / 2.0) ** 2)
            )
        over = np.where(np.abs(turn) < 1e-12, 0.0, -rise)
        off = max(off, float(np.nanmax(np.abs(across - over))))
    return points, turn, off


_READ = {"Line": _line, "Curve": _curve, "Spiral": _spiral, "IrregularLine": _irregular}


def _length_agrees(
    element: etree._Element,
    points: FloatArray,
    bulge: FloatArray,
    reading: Reading,
    place: Where,
    said: list[Finding],
) -> None:
    if not element.get("length"):
        return
    stated = _number(element, "length", place) * reading.metres
    chord = np.hypot(*np.diff(points[:, :2], axis=0).T)
    drawn = float((chord / np.sinc(2.0 * np.arctan(bulge) / np.pi)).sum())
    if not abs(stated - drawn) <= _LENGTH + 1e-5 * drawn:
        said.append(
            Finding(
                "element-differs", "warning",
                f"the element is {span_text(drawn)} long by its points and {span_text(stated)} as stated; the points are used",
                _at(place, points[0]), "correct the element",
            )
        )  # fmt: skip


def _directions_agree(geometry: etree._Element, plan: Course2D, reading: Reading) -> None:
    """Say where directions that lines state fit none of the ways in which programs count them."""
    pairs = []
    for element in named(geometry, "Line"):
        written = element.get("dir")
        if written is None:
            continue
        ends = [
            numbers(next(named(element, n)).text)
            for n in ("Start", "End")
            if next(named(element, n), None) is not None
        ]
        if len(ends) == 2 and all(e.size > 1 for e in ends):
            a, b = (east_north(e) for e in ends)
            if np.hypot(*(b - a)[:2]) * reading.metres > 0.1:
                pairs.append((angle(written, reading.direction), _heading(a, b)))
    if not pairs:
        return
    given, drawn = np.array(pairs).T
    # from east anticlockwise, from north clockwise, from north anticlockwise
    ways = (given, math.pi / 2 - given, math.pi / 2 + given)
    best = min(float(np.abs(wrap(way - drawn)).max()) if np.isfinite(way).all() else math.inf for way in ways)
    if best > _TURN:
        plan.findings.append(
            Finding(
                "direction-differs", "warning",
                f"the directions that its lines state are not those of their points (by {math.degrees(best):.2f} degrees at "
                f"least, read as {reading.direction}); the points are used",
                reading.where, "check directionUnit, and the lines",
            )
        )  # fmt: skip
