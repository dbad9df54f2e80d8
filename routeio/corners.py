"""Corners: what is drawn sharp gets a sweep of the stated radius, small kinks are rounded within tolerance."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mechanics.errors import FloatArray
from routeio.course import Course
from routeio.findings import Finding, InputRefusedError, Where, span_text
from routeio.hidden import hidden_turn, shared_turn
from routeio.legs import Piece, kinks
from routeio.survey import Origin

BoolArray = NDArray[np.bool_]

#: Kinks up to this are drafting, not corners: rounded as gently as the tolerance allows. [rad]
DRAFTING_KINK = math.radians(2.0)
#: A line that turns back on itself by more than this has no bend that could be meant. [rad]
REVERSAL = math.radians(175.0)
#: A corner that turns by more than this is rare in a duct, and a bend in it is far shorter than what is drawn. [rad]
HAIRPIN = math.radians(135.0)
#: By how much, to be worth saying. [m]
_MUCH = 0.5


@dataclass(frozen=True)
class Rounded:
    """A course made of pieces with their kinks rounded, and how it went.

    Parameters
    ----------
    course : Course
        Tangent throughout.
    origins : tuple of Origin
        One an element.
    stations : ndarray, shape (k,)
        Where along the course each vertex lies. [m]
    findings : tuple of Finding
        Corners with too little room.
    """

    course: Course
    origins: tuple[Origin, ...]
    stations: FloatArray
    findings: tuple[Finding, ...]


def round_corners(
    pieces: list[Piece],
    vertices: FloatArray,
    *,
    sweep: float | None,
    tolerance: float,
    where: Where,
    stretch: FloatArray | None = None,
    what: str = "corner",
    locate: Callable[[FloatArray], FloatArray] | None = None,
    scatter: float = 0.0,
) -> Rounded:
    """Give every kink between the pieces an arc.

    Parameters
    ----------
    pieces : list of Piece
        Of one line, end to end.
    vertices : ndarray, shape (k, 2)
        Vertices of the line, which the pieces' ``vertices`` count. [m]
    sweep : float or None
        Radius of sharp corners; None refuses them. [m]
    tolerance : float
        How far the rounding of a small kink may lie from it. [m]
    where : Where
        Of the line.
    stretch : ndarray, shape (n - 1,), optional
        Tangent length a corner must be given where it is more than the radius asks for. [m]
    what : str
        What to call a corner in findings.
    locate : callable, optional
        From a point of the pieces to its place on the map; default: it is one. [m]
    scatter : float
        Standard deviation of the vertices, for how far each turn may be off; 0 says nothing of that. [m]

    Returns
    -------
    Rounded
        The tangent course.

    Raises
    ------
    InputRefusedError
        ``sharp-corner`` where a corner is sharp and no sweep is stated; ``line-turns-back`` where the line doubles
        back on itself.
    """
    kink = kinks(pieces)
    kink[np.abs(kink) < 1e-9] = 0.0
    sharp = np.abs(kink) > DRAFTING_KINK
    places = [_placed(where, piece.last, locate) for piece in pieces]
    _refuse(kink, sharp, sweep, places)
    findings: list[Finding] = []
    # Tangent lengths: corners first, then the small kinks from what room is left.
    half = np.abs(kink) / 2.0
    wish = np.where(sharp, (sweep or 0.0) * np.tan(np.minimum(half, 1.5)), 0.0)
    if stretch is not None:
        wish = np.where(sharp, np.maximum(wish, stretch), wish)
    length = np.array([p.length for p in pieces])
    straight = np.array([p.turn == 0.0 for p in pieces])
    # a small kink keeps what the sweep asks there, or an arc of no length would be left of it beside a crowded corner
    small = ~sharp & (np.abs(kink) > 1e-12) & straight[:-1] & straight[1:]
    corner = _shared(np.where(small, (sweep or 0.0) * np.tan(np.minimum(half, 1.5)), wish), length)
    corner[small] = 0.0
    for i in np.flatnonzero(sharp & (corner < wish * (1 - 1e-9))):
        radius = corner[i] / math.tan(half[i])
        findings.append(
            Finding(
                "no-room-for-sweep",
                "warning",
                f"a {what} of {math.degrees(abs(kink[i])):.1f} degrees leaves room for a radius of "
                f"{span_text(float(radius))} only, not the {span_text(sweep or 0.0)} stated",
                places[i],
                "check the vertices there, or draw the bend as it is",
            )
        )
    findings += _hairpins(np.where(sharp, kink, 0.0), corner, places, what)
    left = length - np.concatenate(([0.0], corner)) - np.concatenate((corner, [0.0]))
    room = np.minimum(left[:-1], left[1:]) * 0.4 if kink.size else np.zeros(0)
    gentle = np.minimum(4.0 * tolerance / np.maximum(np.abs(kink), 1e-15), room)
    tangent = np.where(sharp, corner, np.where(np.abs(kink) > 1e-12, np.maximum(gentle, 0.0), 0.0))
    # a turn between two legs hangs on three vertices
    sigma = scatter * np.sqrt(
        2.0 / length[:-1] ** 2 + 2.0 / length[1:] ** 2 + 2.0 / (length[:-1] * length[1:])
    )
    if scatter and kink.size:
        # and on what the legs beside it hide: an end leg a part of it, a leg between two of one sense how they share it
        one = np.array([p.vertices[1] - p.vertices[0] == 1 and p.turn == 0.0 for p in pieces])
        for end in (0, -1):
            if one[end]:
                hides = hidden_turn(float(kink[end]), float(length[end]), sweep or 0.0)
                sigma[end] = math.hypot(sigma[end], hides)
        apart = np.where(one[1:-1], shared_turn(kink[:-1], kink[1:], length[1:-1]), 0.0)
        sigma = np.hypot(sigma, np.hypot(np.append(apart, 0.0), np.append(0.0, apart)))
    return _assemble(pieces, kink, sharp, tangent, straight, vertices, tuple(findings), sigma.tolist())


def _hairpins(kink: FloatArray, tangent: FloatArray, places: list[Where], what: str) -> list[Finding]:
    """Say where a corner turns so far that its bend is much shorter than it and stays well short of its vertex."""
    half = 0.5 * np.abs(kink)
    radius = tangent / np.maximum(np.tan(half), 1e-12)
    shorter = 2.0 * (tangent - radius * half)
    passes = radius * (1.0 / np.cos(half) - 1.0)
    return [
        Finding(
            "hairpin", "warning",
            f"a {what} of {2.0 * math.degrees(half[i]):.1f} degrees, given a bend of {span_text(float(radius[i]))}, is "
            f"{span_text(float(shorter[i]))} shorter than drawn and passes {span_text(float(passes[i]))} from its vertex",
            places[i], "check that the line goes there and back; if it does, draw the return bend",
        )
        for i in np.flatnonzero((2.0 * half > HAIRPIN) & (shorter > _MUCH)).tolist()
    ]  # fmt: skip


def _placed(where: Where, point: FloatArray, locate: Callable[[FloatArray], FloatArray] | None) -> Where:
    x, y = point if locate is None else locate(point)
    return replace(where, x=float(x), y=float(y))


def _refuse(kink: FloatArray, sharp: BoolArray, sweep: float | None, places: list[Where]) -> None:
    for i in np.flatnonzero(sharp):
        place = places[i]
        degrees = math.degrees(abs(kink[i]))
        if abs(kink[i]) > REVERSAL:
            raise InputRefusedError(
                "line-turns-back",
                f"the line turns back on itself by {degrees:.1f} degrees",
                place,
                "remove the vertex that overshoots, or draw the return bend",
            )
        if sweep is None:
            raise InputRefusedError(
                "sharp-corner",
                f"a corner of {degrees:.1f} degrees is drawn sharp and no sweep is stated",
                place,
                "state the radius such corners are built with (sweep), or draw the bend as an arc",
            )


def _shared(wish: FloatArray, length: FloatArray) -> FloatArray:
    """Return the tangent lengths cut down so that those at the two ends of every piece fit on it."""
    if wish.size == 0:
        return wish
    asked = np.concatenate(([0.0], wish)) + np.concatenate((wish, [0.0]))
    share = np.minimum(1.0, length / np.maximum(asked, 1e-300))
    return np.asarray(wish * np.minimum(share[:-1], share[1:]))


def _assemble(
    pieces: list[Piece],
    kink: FloatArray,
    sharp: BoolArray,
    tangent: FloatArray,
    straight: BoolArray,
    vertices: FloatArray,
    findings: tuple[Finding, ...],
    sigma: list[float],
) -> Rounded:
    """Lay the pieces and the arcs between them end to end."""
    length: list[float] = []
    turn: list[float] = []
    origins: list[Origin] = []
    stations = np.zeros(len(vertices))
    here = 0.0
    n = len(pieces)
    turns = np.array([p.turn for p in pieces])
    trimmed = np.array([p.length for p in pieces])
    cut = np.zeros(n)
    arcs: list[tuple[float, float] | None] = []
    for i in range(n - 1):
        if kink[i] == 0.0:
            arcs.append(None)
            continue
        both = straight[i] and straight[i + 1]
        if both and tangent[i] > 0.0:
            radius = tangent[i] / math.tan(abs(kink[i]) / 2.0)
            trimmed[i] -= tangent[i]
            trimmed[i + 1] -= tangent[i]
            cut[i + 1] = tangent[i]
            arcs.append((radius * abs(kink[i]), float(kink[i])))
        elif not sharp[i] and not both:
            # the neighbouring arc takes the kink: every heading after it stays as drawn
            target = i if not straight[i] else i + 1
            turns[target] += kink[i]
            arcs.append(None)
        else:
            before = float(trimmed[i + 1])
            arcs.append(_at_an_arc(pieces, i, float(kink[i]), float(tangent[i]), trimmed, turns))
            cut[i + 1] = before - trimmed[i + 1]
    for i, piece in enumerate(pieces):
        first, last = piece.vertices
        kept = max(float(trimmed[i]), 0.0)
        before, after = (0.5 * arc[0] if arc else 0.0 for arc in ([None, *arcs][i], [*arcs, None][i]))
        # what an arc takes of the piece is spread along its half of the arc, so that no two vertices share a station
        stations[first : last + 1] = here + np.interp(
            piece.along(vertices[first : last + 1]),
            [0.0, cut[i], cut[i] + kept, max(piece.length, cut[i] + kept)],
            [-before, 0.0, kept, kept + after],
        )
        if trimmed[i] > 1e-9:
            length.append(float(trimmed[i]))
            turn.append(float(turns[i]))
            origins.append(piece.origin)
            here += float(trimmed[i])
        if i < n - 1 and (arc := arcs[i]) is not None:
            length.append(arc[0])
            turn.append(arc[1])
            origins.append(Origin(piece.origin.id, "swept" if sharp[i] else "fitted", sigma[i] or None))
            here += arc[0]
    start = pieces[0].first
    course = Course((float(start[0]), float(start[1])), pieces[0].heading, np.array(length), np.array(turn))
    return Rounded(course, tuple(origins), stations, findings)


def _at_an_arc(
    pieces: list[Piece], i: int, kink: float, tangent: float, trimmed: FloatArray, turns: FloatArray
) -> tuple[float, float]:
    """Round a sharp corner where one side or both are drawn arcs: the fillet tangent to both."""
    radius = tangent / math.tan(abs(kink) / 2.0)
    side = math.copysign(1.0, kink)
    before, after = pieces[i], pieces[i + 1]
    corner = before.last
    centre = _tangent_centre(before, after, corner, side * radius)
    if centre is None:
        return max(radius * abs(kink), 1e-6), kink
    cuts = []
    for piece, out in ((before, True), (after, False)):
        heading = piece.heading_out if out else piece.heading
        if piece.turn == 0.0:
            ray = np.array([math.cos(heading), math.sin(heading)])
            cuts.append((abs(float((centre - corner) @ ray)), 0.0))
        else:
            hub = corner + piece.radius * np.array([-math.sin(heading), math.cos(heading)])
            a, b = (
                corner - hub,
                (centre - hub)
                * math.copysign(
                    1.0, abs(piece.radius) - abs(radius) * (1.0 if piece.turn * kink > 0 else -1.0)
                ),
            )
            angle = math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))
            cuts.append((abs(angle * piece.radius), abs(angle) * math.copysign(1.0, piece.turn)))
    for k, (cut, angle) in zip((i, i + 1), cuts, strict=True):
        trimmed[k] -= cut
        turns[k] -= angle
    full = kink + cuts[0][1] + cuts[1][1]
    return radius * abs(full), full


def _tangent_centre(before: Piece, after: Piece, corner: FloatArray, radius: float) -> FloatArray | None:
    """Return the centre of the circle of signed radius that is tangent to both pieces, nearest the corner."""
    loci = []
    for piece, out in ((before, True), (after, False)):
        heading = piece.heading_out if out else piece.heading
        left = np.array([-math.sin(heading), math.cos(heading)])
        if piece.turn == 0.0:
            loci.append((corner + radius * left, np.array([math.cos(heading), math.sin(heading)]), 0.0))
        else:
            loci.append((corner + piece.radius * left, np.zeros(2), abs(piece.radius - radius)))
    (p, u, r), (q, v, t) = loci
    if r == 0.0 and t == 0.0:
        cross = u[0] * v[1] - u[1] * v[0]
        gap = q - p
        return p + u * (gap[0] * v[1] - gap[1] * v[0]) / cross if abs(cross) > 1e-12 else None
    if r == 0.0 or t == 0.0:
        line, ray, hub, reach = (p, u, q, t) if r == 0.0 else (q, v, p, r)
        foot = line + ray * float((hub - line) @ ray)
        off = float(np.hypot(*(hub - foot)))
        if off > reach:
            return None
        along = math.sqrt(reach * reach - off * off)
        options = [foot + along * ray, foot - along * ray]
    else:
        gap = q - p
        apart = float(np.hypot(*gap))
        if apart < 1e-12 or apart > r + t or apart < abs(r - t):
            return None
        along = (apart * apart + r * r - t * t) / (2.0 * apart)
        across = math.sqrt(max(r * r - along * along, 0.0))
        unit = gap / apart
        foot = p + along * unit
        normal = np.array([-unit[1], unit[0]])
        options = [foot + across * normal, foot - across * normal]
    return min(options, key=lambda c: float(np.hypot(*(c - corner))))
