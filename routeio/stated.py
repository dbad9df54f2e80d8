"""Stated shapes: spans written down segment by segment, and profiles stated for a line; nothing of them is fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from mechanics.centreline import place
from mechanics.chain import Chain
from mechanics.errors import DomainError, FloatArray
from routeio import marks
from routeio.attach import Tied
from routeio.bulges import nearest_spot
from routeio.clean import Cleaned
from routeio.corners import round_corners
from routeio.course import Course, advance
from routeio.findings import Finding, InputRefusedError, Where, span_text
from routeio.lay import plan_of
from routeio.legs import pieces_of
from routeio.options import ReadOptions
from routeio.rawlines import RawLine, RawSurvey, StatedProfile, StatedSpan
from routeio.shape import Shape
from routeio.space import weave
from routeio.stitch import Joined
from routeio.survey import Origin

#: Radius given to grade breaks where nothing is stated. [m]
_GENTLE = 15.24
#: A part of a line may be so much longer or shorter than the profile along it: what kinks and sweeps take. [m]
_SLACK = 0.5
#: A profile whose rounding moves it farther than this is not one to lay a duct on. [m]
_FARTHEST = 1.0


def as_stated(raw: RawSurvey) -> tuple[Cleaned, dict[int, Shape]]:
    """Return spans written down segment by segment as lines between their vaults, with their shapes.

    Which vault a span ends at is written, so nothing is snapped, split or joined.

    Parameters
    ----------
    raw : RawSurvey
        With spans, and no lines.

    Returns
    -------
    cleaned : Cleaned
        One line a span.
    shapes : dict of int to Shape
        By their place among the lines.
    """
    vaults, said = marks.settled(raw.vaults, raw.ground.metres_per_elevation or raw.ground.metres_per_unit)
    index = {v.tag: i for i, v in enumerate(vaults)}
    lines: list[Joined] = []
    shapes: dict[int, Shape] = {}
    for span in raw.spans:
        chain = Chain(span.length, span.grade_in, span.grade_out, span.turn)
        drawn = place(chain, span.start, span.heading)
        knots = drawn.points[drawn.segment]
        if not span.elevated:
            knots = np.column_stack((knots[:, :2], np.full(len(knots), np.nan)))
        line = RawLine(
            knots, np.tan(np.array(span.turn) / 4.0), span.ids, True, span.fields[0][1], span.where
        )
        shapes[len(lines)] = Shape(
            chain,
            span.start,
            span.heading,
            (float(knots[-1, 0]), float(knots[-1, 1]), float(knots[-1, 2]) if span.elevated else 0.0),
            tuple(Origin(name, "stated") for name in span.ids),
            elevated=span.elevated,
        )
        lines.append(
            Joined(Tied(line, index.get(span.from_vault), index.get(span.to_vault)), _pieces(line, span))
        )
    return Cleaned(tuple(lines), vaults, said), shapes


def _pieces(line: RawLine, span: StatedSpan) -> tuple[RawLine, ...]:
    """Return the stretches of a span that have attributes of their own; none where it has the same throughout."""
    if len(span.fields) < 2:
        return ()
    pieces, first = [], 0
    for stop, fields in span.fields:
        part = slice(first, stop)
        pieces.append(
            RawLine(line.points[first : stop + 1], line.bulge[part], line.ids[part], True, fields, line.where)
        )
        first = stop
    return tuple(pieces)


def on_profiles(
    shaped: Sequence[tuple[Joined, Shape]], raw: RawSurvey, options: ReadOptions
) -> tuple[list[tuple[Joined, Shape]], list[Finding]]:
    """Lay shapes on the profiles stated for the lines they are parts of.

    Parameters
    ----------
    shaped : sequence of (Joined, Shape)
        As cleaned and recovered in plan.
    raw : RawSurvey
        With the lines as drawn and their profiles.
    options : ReadOptions
        Sweep of grade breaks, and tolerance.

    Returns
    -------
    shaped : list of (Joined, Shape)
        In the same order; those with a profile elevated.
    findings : list of Finding
        ``profile-not-laid`` where a part cannot be found on its profile.
    """
    if not raw.profiles:
        return list(shaped), []
    whole = {line.where.id: line for line in raw.lines}
    courses: dict[str, tuple[Course, tuple[Origin, ...]]] = {}
    findings: list[Finding] = []
    for name, profile in raw.profiles.items():
        try:
            course, origins, said = _course(profile, options)
        except (InputRefusedError, DomainError) as error:
            findings.append(_not_laid(f"its profile has a shape that no duct has: {error}", profile.where))
            continue
        courses[name] = course, origins
        findings += said
    out = []
    for joined, shape in shaped:
        name = joined.tied.line.where.id
        if name not in courses:
            out.append((joined, shape))
            continue
        line = joined.tied.line
        try:
            laid = _laid(line, shape, whole[name], *courses[name])
        except DomainError as error:
            laid = _not_laid(f"its profile has a shape that no duct has: {error}", line.where)
        if isinstance(laid, Finding):
            findings.append(laid)
            laid = shape
        out.append((joined, laid))
    return out, findings


def _course(profile: StatedProfile, options: ReadOptions) -> tuple[Course, tuple[Origin, ...], list[Finding]]:
    """Return a profile as a course in distance and elevation, its grade breaks rounded."""
    points = np.column_stack((profile.station, profile.z))
    bulge = np.tan(np.array(profile.turn) / 4.0)
    rounded = round_corners(
        pieces_of(points, bulge, (profile.where.id,) * len(bulge)), points,
        sweep=options.sweep or max(options.standard_radii, default=_GENTLE), tolerance=options.chord_tolerance,
        where=profile.where, what="grade break", locate=lambda _: np.array([profile.where.x, profile.where.y]),
    )  # fmt: skip
    course = rounded.course
    off = float(np.abs(_elevation(course, points[:, 0]) - points[:, 1]).max())
    findings = list(rounded.findings)
    if not off <= _FARTHEST:
        raise DomainError(
            f"with its grade breaks rounded it lies up to {span_text(off)} from what is stated; state vertical curves"
        )
    if off > options.chord_tolerance:
        findings.append(
            Finding(
                "profile-deviates", "info",
                f"the profile with its grade breaks rounded lies up to {span_text(off)} from the one stated",
                profile.where, "state vertical curves at the grade breaks",
            )
        )  # fmt: skip
    return course, rounded.origins, findings


def _elevation(course: Course, station: FloatArray) -> FloatArray:
    """Return the elevation of a course at distances along the plan. [m]"""
    knots, grades = course.knots, course.headings
    i = np.clip(np.searchsorted(knots[:, 0], station, side="right") - 1, 0, course.length.size - 1)
    along = np.array(
        [
            _along(float(s - knots[k, 0]), float(grades[k]), float(course.turn[k] / course.length[k]))
            for s, k in zip(station, i, strict=True)
        ]
    )
    step = advance(grades[i], along, course.turn[i] * along / course.length[i])
    return np.asarray(knots[i, 1] + step[:, 1])


def _along(p: float, grade: float, rate: float) -> float:
    """Length along a profile element at which the distance in plan is ``p``. [m]"""
    if abs(rate) < 1e-12:
        return p / float(np.cos(grade))
    return float((np.arcsin(np.clip(np.sin(grade) + rate * p, -1.0, 1.0)) - grade) / rate)


def _laid(
    part: RawLine, shape: Shape, whole: RawLine, course: Course, origins: tuple[Origin, ...]
) -> Shape | Finding:
    """Return a part of a line laid on the profile of the whole, or why that cannot be done."""
    first, last = (
        nearest_spot(whole.points, whole.bulge, float(p[0]), float(p[1])).station
        for p in (part.points[0], part.points[-1])
    )
    plan = plan_of(shape)
    length = float(plan.length.sum())
    low, high = float(course.start[0]), float(course.knots[-1, 0])
    if not abs((last - first) - length) <= _SLACK + 0.01 * length or not low - 1e-6 <= first < last:
        return _not_laid(
            f"the part from {span_text(first)} to {span_text(last)} along the line is not found on its profile, which "
            f"runs from {span_text(low)} to {span_text(high)}",
            part.where,
        )
    own, kept = _cut(course, origins, max(first, low), min(last, high))
    chain, woven = weave(plan, shape.origins, own, kept)
    return replace(
        shape,
        chain=chain,
        origins=woven,
        start=(*shape.start[:2], own.start[1]),
        end=(*shape.end[:2], own.end[1]),
        elevated=True,
    )


def _not_laid(why: str, where: Where) -> Finding:
    return Finding(
        "profile-not-laid", "error", f"{why}: taken as flat", where,
        "check the line for places where it meets itself, and the stations and elevations of the profile",
    )  # fmt: skip


def _cut(
    course: Course, origins: tuple[Origin, ...], first: float, last: float
) -> tuple[Course, tuple[Origin, ...]]:
    """Return the part of a profile between two distances along the plan."""
    knots, grades = course.knots, course.headings
    start: tuple[float, float] | None = None
    grade = 0.0
    length: list[float] = []
    turn: list[float] = []
    kept: list[Origin] = []
    for k in range(course.length.size):
        total, g, rate = float(course.length[k]), float(grades[k]), float(course.turn[k] / course.length[k])
        begin, end = float(knots[k, 0]), float(knots[k + 1, 0])
        if end <= first + 1e-9 or begin >= last - 1e-9:
            continue
        a = _along(first - begin, g, rate) if begin < first else 0.0
        b = _along(last - begin, g, rate) if end > last else total
        if start is None:
            step = advance(np.array([g]), np.array([a]), np.array([rate * a]))[0]
            start = (begin + float(step[0]), float(knots[k, 1] + step[1]))
            grade = g + rate * a
        length.append(b - a)
        turn.append(rate * (b - a))
        kept.append(origins[k])
    return Course(start or (first, 0.0), grade, np.array(length), np.array(turn)), tuple(kept)
