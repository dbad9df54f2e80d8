"""Profiles: elevations along lines as grades and vertical curves, so that scatter in z is not a hundred little hills."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from routeio.course import Course
from routeio.explain import Beliefs
from routeio.findings import Finding, InputRefusedError
from routeio.fit import Prior
from routeio.legs import ZERO_LENGTH
from routeio.options import ReadOptions
from routeio.plan import Plan, recovered
from routeio.ready import Ready
from routeio.survey import Origin

#: Vertical curves are anything from a duct's own sweep to a road's summit.
_PRIOR = Prior(radius=100.0, spread=2.5)
#: Elevations that scatter more than this may be hills. [m]
_CEILING = 0.2
#: Radius given to grade breaks where nothing is stated. [m]
_GENTLE = 15.24


@dataclass(frozen=True, eq=False)
class Profile:
    """Elevation of one line along its plan.

    Parameters
    ----------
    course : Course
        In distance along the plan and elevation above ``datum``; its heading is the grade.
    origins : tuple of Origin
        One an element.
    datum : float
        [m]
    findings : tuple of Finding
        What a person should know.
    """

    course: Course
    origins: tuple[Origin, ...]
    datum: float
    findings: tuple[Finding, ...]


def profiles(
    lines: Sequence[Ready], plans: Sequence[Plan], options: ReadOptions, scatter: float | None = None
) -> list[Profile | InputRefusedError]:
    """Return the profile of each line.

    Parameters
    ----------
    lines : sequence of Ready
        Lines with elevations.
    plans : sequence of Plan
        Theirs.
    options : ReadOptions
        What was stated. Without a sweep, grade breaks get the largest standard radius, or what room there is.
    scatter : float, optional
        Standard deviation of the elevations; None: estimated from them. [m]

    Returns
    -------
    list of Profile or InputRefusedError
        ``line-turns-back`` where a line goes straight up and down again.
    """
    curves = [_curve(line, plan) for line, plan in zip(lines, plans, strict=True)]
    gentle = max(options.standard_radii, default=_GENTLE)
    told = replace(options, scatter=scatter, standard_radii=(), sweep=options.sweep or gentle)
    out: list[Profile | InputRefusedError] = []
    for line, plan, found in zip(
        lines,
        plans,
        recovered(curves, told, Beliefs(_PRIOR, tolerance=options.chord_tolerance, ceiling=_CEILING)),
        strict=True,
    ):
        if isinstance(found, InputRefusedError):
            out.append(found)
        else:
            course = _to_ends(found.course, float(plan.course.length.sum()))
            findings = tuple(_of_elevations(f) for f in found.findings)
            out.append(Profile(course, found.origins, float(line.z[0]), findings))
    return out


def _of_elevations(finding: Finding) -> Finding:
    """Return a finding on a curve in the plane of distance and elevation in the words of elevations."""
    message, where, remedy = finding.message, finding.where, finding.remedy
    if finding.code == "line-fitted":
        return Finding("profile-fitted", "info", f"of the elevations, {message}", where, remedy)
    if finding.code == "stray-vertex":
        return Finding("stray-elevation", "warning", f"of the elevations, {message}", where, remedy)
    if finding.code in ("shape-as-drawn", "vertex-kept"):
        return replace(finding, message=f"of the elevations, {message}")
    return finding


def _curve(line: Ready, plan: Plan) -> Ready:
    """Return the line in the plane of distance and elevation, where there is no drawing back."""
    station, z = plan.stations[line.plan_vertex], line.z - line.z[0]
    leg = np.minimum(line.plan_vertex, len(line.ids) - 1)
    if plan.scatter > 0.0:
        order = np.argsort(station, kind="stable")
        station, z, leg = station[order], z[order], leg[order]
        # vertices that came to lie at one place have one elevation, their mean
        new = np.concatenate(([True], np.diff(station) > ZERO_LENGTH))
        group = np.cumsum(new) - 1
        z = np.bincount(group, z) / np.bincount(group)
        station, leg = station[new], leg[new]
    new = np.concatenate(([True], np.hypot(np.diff(station), np.diff(z)) > ZERO_LENGTH))
    curve = np.stack((station, z), axis=-1)[new]
    straight = np.zeros(len(curve) - 1)
    ids = tuple(line.ids[i] for i in leg[new][:-1].tolist())
    course = plan.course
    return replace(
        line, locate=lambda point: line.locate(course.at(np.asarray(point)[:1])[0]), xy=curve, turn=straight,
        bulge=straight, ids=ids, upright=True, findings=(),
    )  # fmt: skip


def _to_ends(course: Course, length: float) -> Course:
    """Return the course with its first and last straight made to reach from 0 to the length of the plan."""
    lengths, (x, y), heading = course.length.copy(), course.start, course.heading
    if course.turn[0] == 0.0 and abs(np.cos(heading)) > 0.5:
        extra = min(x / float(np.cos(heading)), 1.0)
        if lengths[0] + extra > 0.0:
            lengths[0] += extra
            x, y = x - extra * float(np.cos(heading)), y - extra * float(np.sin(heading))
    longer = Course((x, y), heading, lengths, course.turn)
    out = float(longer.headings[-1])
    if course.turn[-1] == 0.0 and abs(np.cos(out)) > 0.5:
        extra = (length - longer.end[0]) / float(np.cos(out))
        if lengths[-1] + extra > 0.0:
            lengths[-1] += extra
    return Course((x, y), heading, lengths, course.turn)
