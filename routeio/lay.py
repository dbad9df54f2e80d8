"""Laying: a shape known in plan laid on elevations known along it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mechanics.errors import FloatArray
from routeio.course import Course
from routeio.findings import Finding, InputRefusedError, Where, span_text
from routeio.options import ReadOptions
from routeio.plan import Plan
from routeio.profile import profiles
from routeio.ready import Ready
from routeio.shape import Shape
from routeio.space import weave

#: A recovered shape longer than its line by this share, and by this much, has left its vertices somewhere.
_LONGER, _LONGER_LEAST = 0.02, 0.5


def plan_of(shape: Shape) -> Course:
    """Return the course of a shape in plan.

    Parameters
    ----------
    shape : Shape
        With or without elevations.

    Returns
    -------
    Course
        One element a segment.
    """
    chain = shape.chain
    half = 0.5 * (chain.grade_out - chain.grade_in)
    # the mean of the cosine of a grade that changes evenly; numpy's sinc takes its argument over pi
    level = chain.length * np.cos(chain.grade_in + half) * np.sinc(half / np.pi)
    return Course((shape.start[0], shape.start[1]), shape.heading, level, chain.turn)


def laid(
    shape: Shape,
    station: FloatArray,
    z: FloatArray,
    options: ReadOptions,
    where: Where,
    scatter: float | None = None,
) -> Shape | InputRefusedError:
    """Return a shape with the grades and vertical curves that explain elevations along it.

    Parameters
    ----------
    shape : Shape
        Its own elevations, where it has any, are left out.
    station : ndarray, shape (k,)
        In plan, from 0 to its length, rising. [m]
    z : ndarray, shape (k,)
        Elevation there, all known. [m]
    options : ReadOptions
        Sweep and tolerance, as for elevations on the line.
    where : Where
        Of the line, for findings.
    scatter : float, optional
        Standard deviation of the elevations; None: estimated from them. [m]

    Returns
    -------
    Shape or InputRefusedError
        Elevated, with what was found about the elevations; a refusal where they are none of a duct.
    """
    plan = plan_of(shape)
    xy = plan.at(station)
    straight = np.zeros(len(station) - 1)
    ready = Ready(
        locate=lambda point: point, origin=np.zeros(2), xy=xy, turn=straight, bulge=straight,
        ids=(where.id,) * len(straight), z=z, plan_vertex=np.arange(len(station)), elevated=True, upright=False,
        drawn=False, where=where, findings=(),
    )  # fmt: skip
    (profile,) = profiles([ready], [Plan(plan, shape.origins, station, ())], options, scatter)
    if isinstance(profile, InputRefusedError):
        return profile
    chain, origins = weave(plan, shape.origins, profile.course, profile.origins)
    first, last = profile.datum + profile.course.start[1], float(z[-1])
    return replace(
        shape,
        chain=chain,
        origins=origins,
        start=(*shape.start[:2], first),
        end=(*shape.end[:2], last),
        elevated=True,
        findings=(*shape.findings, *profile.findings),
    )


def added(shape: Shape, finding: Finding) -> Shape:
    """Return a shape with one more finding.

    Parameters
    ----------
    shape : Shape
        Any.
    finding : Finding
        About it.

    Returns
    -------
    Shape
        The same otherwise.
    """
    return replace(shape, findings=(*shape.findings, finding))


def longer_than_drawn(shape: Shape, drawn: float, where: Where) -> list[Finding]:
    """Say where a recovered shape is longer than scatter and chords explain.

    Scatter makes a line longer than its duct, and chords make it shorter by a percent or so; a shape that is longer by
    much more runs past its vertices somewhere.

    Parameters
    ----------
    shape : Shape
        As recovered.
    drawn : float
        Length of its line in plan. [m]
    where : Where
        Of the line.

    Returns
    -------
    list of Finding
        ``shape-longer``, or none.
    """
    length = float(plan_of(shape).length.sum())
    if length <= drawn * (1.0 + _LONGER) + _LONGER_LEAST:
        return []
    return [
        Finding(
            "shape-longer", "warning",
            f"the recovered shape is {span_text(length)} long and the line as drawn {span_text(drawn)}: it runs past the "
            "vertices, most often at a corner of more than 90 degrees", where,
            "look at it in the picture of inspect, and draw the bends there with more vertices",
        )
    ]  # fmt: skip
