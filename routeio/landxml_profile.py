"""Profiles of LandXML: grades between points of vertical intersection, and the vertical curves at them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from lxml import etree

from routeio.findings import Finding, Where, span_text
from routeio.heights import HIGHEST, LOWEST
from routeio.landxml_tree import name_of, named, numbers
from routeio.rawlines import StatedProfile

#: A profile may stop this far before the alignment does, and goes on at its last grade. [m]
_SHORT = 1.0
#: Curves may run into each other by what rounding leaves. [m]
_OVERLAP = 0.005
#: A curve of another length than it states by more than this, and a hundredth, is said. [m]
_LENGTH_OFF = 0.05
_MOST = 64


class _BrokenError(ValueError):
    """A profile that no line can lie on."""


@dataclass(frozen=True)
class _Intersection:
    """A point of vertical intersection, with the curve at it."""

    station: float
    z: float
    kind: str
    before: float = 0.0
    after: float = 0.0
    radius: float = 0.0
    length: float = 0.0


def profile_of(
    alignment: etree._Element,
    wanted: str | None,
    units: tuple[float, float],
    length: float,
    tolerance: float,
    where: Where,
) -> tuple[StatedProfile | None, list[Finding], int]:
    """Return the profile of an alignment.

    Parameters
    ----------
    alignment : lxml element
        ``Alignment``.
    wanted : str or None
        Name of the profile, where the user states one; else the first design profile of the file is used.
    units : tuple of 2 floats
        Metres in one unit of stations and of elevations. [m]
    length : float
        Of the alignment in plan. [m]
    tolerance : float
        How far arcs may lie from a parabola. [m]
    where : Where
        Of the alignment.

    Returns
    -------
    profile : StatedProfile or None
        None where there is none, or none that can be used.
    findings : list of Finding
        Which was chosen, what was approximated, why none is used.
    read : int
        How many ``ProfAlign`` were read: 1 or 0.
    """
    findings: list[Finding] = []
    found = [p for profile in named(alignment, "Profile") for p in named(profile, "ProfAlign")]
    if wanted is not None:
        matching = [p for p in found if (p.get("name") or "") == wanted]
        if not matching:
            names = ", ".join(repr(p.get("name") or "") for p in found) or "none"
            findings.append(
                Finding(
                    "profile-missing", "error", f"no profile is named {wanted!r}: taken as flat", where,
                    f"the profiles are {names}",
                )
            )  # fmt: skip
        found = matching[:1]
    elif len(found) > 1:
        names = ", ".join(repr(p.get("name") or "") for p in found)
        findings.append(
            Finding(
                "profile-chosen", "warning",
                f"the alignment has {len(found)} profiles ({names}); the first is used", where,
                'state the right one in the job: ducts = { profile = "..." }',
            )
        )  # fmt: skip
    if not found:
        return None, findings, 0
    start = numbers(alignment.get("staStart"))
    datum = float(start[0]) if start.size == 1 and math.isfinite(start[0]) else 0.0
    try:
        points = _intersections(found[0], datum, units)
        station, z, turn, off = _legs(points, tolerance)
        station, z = _to_ends(station, z, turn, length, where, findings)
    except _BrokenError as error:
        findings.append(
            Finding(
                "profile-broken", "error", f"the profile {found[0].get('name') or ''!r} cannot be used: {error}; taken as flat",
                where, "correct the profile, or give elevations in the job",
            )
        )  # fmt: skip
        return None, findings, 0
    findings += _off_their_lengths(points, where)
    if off > 1e-6:
        findings.append(
            Finding(
                "parabola-as-arcs", "info",
                f"vertical parabolas are held as arcs, whose grade changes evenly, at most {1000.0 * off:.2g} mm from them",
                where, "none needed",
            )
        )  # fmt: skip
    return StatedProfile(tuple(station), tuple(z), tuple(turn), where), findings, 1


def _intersections(profile: etree._Element, datum: float, units: tuple[float, float]) -> list[_Intersection]:
    along, up = units
    points: list[_Intersection] = []
    for element in profile:
        kind = name_of(element)
        if kind not in ("PVI", "ParaCurve", "CircCurve", "UnsymParaCurve"):
            continue
        written = numbers(element.text)
        if written.size != 2 or not all(map(math.isfinite, written)):
            raise _BrokenError(f"{kind} {len(points) + 1} must be a station and an elevation")
        station, z = (float(written[0]) - datum) * along, float(written[1]) * up
        if not LOWEST < z < HIGHEST:
            raise _BrokenError(f"{kind} {len(points) + 1} has the elevation {z:g} m, which no duct has")
        if points and not station > points[-1].station:
            raise _BrokenError(f"{kind} {len(points) + 1} does not lie beyond the one before it")
        if kind == "UnsymParaCurve":
            before, after = (_positive(element, n, kind) * along for n in ("lengthIn", "lengthOut"))
            points.append(_Intersection(station, z, kind, before, after))
        elif kind == "ParaCurve":
            half = 0.5 * _positive(element, "length", kind) * along
            points.append(_Intersection(station, z, kind, half, half))
        elif kind == "CircCurve":
            radius = abs(_value(element, "radius")) * along
            size = abs(_value(element, "length")) * along
            if not (radius > 0.0 or size > 0.0):
                raise _BrokenError(f"CircCurve {len(points) + 1} has neither a radius nor a length")
            points.append(_Intersection(station, z, kind, radius=radius, length=size))
        else:
            points.append(_Intersection(station, z, kind))
    if len(points) < 2:
        raise _BrokenError("it has fewer than two points")
    if points[0].kind != "PVI" or points[-1].kind != "PVI":
        raise _BrokenError("it begins or ends with a curve, and must with a PVI")
    return points


def _value(element: etree._Element, name: str) -> float:
    written = numbers(element.get(name))
    return float(written[0]) if written.size == 1 and math.isfinite(written[0]) else 0.0


def _positive(element: etree._Element, name: str, kind: str) -> float:
    value = _value(element, name)
    if not value > 0.0:
        raise _BrokenError(f"{name} of a {kind} must be a number above 0, got {element.get(name)!r}")
    return value


def _legs(
    points: Sequence[_Intersection], tolerance: float
) -> tuple[list[float], list[float], list[float], float]:
    """Return where each grade or curve begins, how the grade turns over it, and how far arcs lie from parabolas."""
    station, z = [points[0].station], [points[0].z]
    turn: list[float] = []
    off = 0.0
    for i in range(1, len(points)):
        p = points[i]
        before = (p.z - points[i - 1].z) / (p.station - points[i - 1].station)
        if p.kind == "PVI":
            _straight(station, z, turn, p.station, p.z)
            continue
        n = points[i + 1]
        after = (n.z - p.z) / (n.station - p.station)
        g0, g1 = math.atan(before), math.atan(after)
        if p.kind == "CircCurve":
            bend = abs(g1 - g0)
            if bend < 1e-12:
                continue
            radius = p.radius or p.length / bend
            reach = radius * math.tan(bend / 2.0)
            p = replace(p, before=reach * math.cos(g0), after=reach * math.cos(g1))
        begin, end = p.station - p.before, p.station + p.after
        if begin < station[-1] - _OVERLAP or end > n.station + _OVERLAP:
            raise _BrokenError(f"the {p.kind} at {span_text(p.station)} has no room between its neighbours")
        _straight(station, z, turn, begin, p.z - before * p.before)
        if p.kind == "CircCurve":
            station.append(end)
            z.append(p.z + after * p.after)
            turn.append(g1 - g0)
            continue
        both = p.before + p.after
        middle = p.z + 0.5 * (after - before) * p.before * p.after / both
        slope = (p.z + after * p.after - z[-1]) / both
        for a, za, m0, b, zb, m1 in (
            (begin, z[-1], before, p.station, middle, slope),
            (p.station, middle, slope, end, p.z + after * p.after, after),
        ):
            off = max(off, _parabola(station, z, turn, (a, za, m0), (b, zb, m1), tolerance))
    return station, z, turn, off


def _off_their_lengths(points: Sequence[_Intersection], where: Where) -> list[Finding]:
    """Say of circular curves whose length is not that of their radius between the grades beside them."""
    found = []
    for last, p, after in zip(points, points[1:], points[2:], strict=False):
        if p.kind != "CircCurve" or not (p.radius > 0.0 and p.length > 0.0):
            continue
        g0, g1 = (math.atan((b.z - a.z) / (b.station - a.station)) for a, b in ((last, p), (p, after)))
        length = p.radius * abs(g1 - g0)
        if abs(length - p.length) > _LENGTH_OFF + 0.01 * length:
            found.append(
                Finding(
                    "element-differs", "warning",
                    f"the vertical curve {span_text(p.station)} from the start of the profile states a length of "
                    f"{span_text(p.length)}, and its radius of {span_text(p.radius)} makes {span_text(length)} of it between "
                    "its grades: the radius is used",
                    where, "correct the one that is wrong",
                )
            )  # fmt: skip
    return found


def _straight(station: list[float], z: list[float], turn: list[float], to: float, up: float) -> None:
    if turn and to - station[-1] <= _OVERLAP and abs(up - z[-1]) <= _OVERLAP:
        return  # curves that follow each other
    if not to > station[-1]:
        raise _BrokenError(f"it steps from one elevation to another at {span_text(to)}")
    station.append(to)
    z.append(up)
    turn.append(0.0)


def _parabola(
    station: list[float],
    z: list[float],
    turn: list[float],
    first: tuple[float, float, float],
    last: tuple[float, float, float],
    tolerance: float,
) -> float:
    """Add a parabola as arcs through points on it; return how far they lie from it at most. [m]"""
    (a, za, m0), (b, _, m1) = first, last
    count = 1
    while True:
        dx = (b - a) / count
        off = 0.0
        knots = []
        for k in range(count):
            s0, s1 = (m0 + (m1 - m0) * j / count for j in (k, k + 1))
            chord = 0.5 * (s0 + s1)
            bend = math.atan(s1) - math.atan(s0)
            size = dx * math.hypot(1.0, chord)
            # heights over the chord in the middle, of the parabola and of the arc; and the little by which the arc's
            # grade at its ends is not the parabola's, carried to the end of the curve
            off = max(
                off,
                abs((s1 - s0) * dx / 8.0 / math.hypot(1.0, chord) - 0.5 * size * math.tan(bend / 4.0)),
                abs(math.atan(chord) - 0.5 * (math.atan(s0) + math.atan(s1))) * (b - a),
            )
            x = a + dx * (k + 1)
            knots.append((x, za + m0 * (x - a) + 0.5 * (m1 - m0) * (x - a) ** 2 / (b - a), bend))
        # the parts of a curve may add up, and together stay below a tenth of the tolerance
        if off <= 0.03 * tolerance or count >= _MOST:
            break
        count *= 2
    for x, up, bend in knots:
        station.append(x)
        z.append(up)
        turn.append(bend)
    return off


def _to_ends(
    station: list[float],
    z: list[float],
    turn: list[float],
    length: float,
    where: Where,
    findings: list[Finding],
) -> tuple[list[float], list[float]]:
    """Return the profile drawn on at its end grades to the ends of the alignment, if little is missing."""
    gaps = max(station[0], 0.0), max(length - station[-1], 0.0)
    if max(gaps) > max(_SHORT, 1e-3 * length):
        raise _BrokenError(
            f"it runs from {span_text(station[0])} to {span_text(station[-1])}, and the alignment to {span_text(length)}"
        )
    if max(gaps) > 1e-3:
        findings.append(
            Finding(
                "profile-drawn-on", "info",
                f"the profile begins {span_text(gaps[0])} after the alignment and ends {span_text(gaps[1])} before it: drawn "
                "on at its grade",
                where, "none needed",
            )
        )  # fmt: skip
    station, z = list(station), list(z)
    for at, gap, beside in ((0, -gaps[0], 1), (-1, gaps[1], -2)):
        if not gap:
            continue
        half = 0.5 * turn[0 if at == 0 else -1]
        grade = math.atan((z[at] - z[beside]) / (station[at] - station[beside])) + (
            -half if at == 0 else half
        )
        z[at] += gap * math.tan(grade)
        station[at] += gap
    return station, z
