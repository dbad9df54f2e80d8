"""The shape behind the vertices: raw lines as chains of straights and tangent bends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mechanics.chain import Chain
from mechanics.errors import DomainError, FloatArray
from routeio.course import wrap
from routeio.explain import Beliefs
from routeio.findings import Finding, InputRefusedError, Where
from routeio.options import ReadOptions
from routeio.plan import Plan, not_at_end, recovered
from routeio.profile import Profile, profiles
from routeio.rawlines import RawLine
from routeio.ready import Ready, all_ready
from routeio.space import flat, weave
from routeio.survey import Origin
from routeio.undisturbed import undisturbed


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
        The last vertex; the chain ends within its scatter of it. [m]
    origins : tuple of Origin
        One a segment.
    findings : tuple of Finding
        What a person should know about it.
    elevated : bool
        Whether the line has elevations.
    scatter, residual : float
        Standard deviation of the vertices as estimated or stated, and root mean square distance of the vertices
        from the chain, in plan; the scatter is 0 where they are taken as exact. [m]
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
    DomainError
        A shape that no duct has.
    """
    line = RawLine(points, bulge, ids, drawn, where=where or Where())
    (shape,) = recover_many([line], options)
    if not isinstance(shape, Shape):
        raise shape
    return shape


def recover_many(
    lines: Sequence[RawLine], options: ReadOptions | None = None
) -> list[Shape | InputRefusedError | DomainError]:
    """Return the shape behind each line of one layer.

    Lines of few vertices say little of how far their vertices scatter: together they say it.

    Parameters
    ----------
    lines : sequence of RawLine
        Of one layer, or drawn the same way.
    options : ReadOptions, optional
        What was stated.

    Returns
    -------
    list of Shape, InputRefusedError or DomainError
        In the order of the lines; what :func:`recover` would raise where a line has no shape, or none that a duct has.
    """
    with undisturbed():
        return _recovered_many(lines, options or ReadOptions())


def _recovered_many(
    lines: Sequence[RawLine], options: ReadOptions
) -> list[Shape | InputRefusedError | DomainError]:
    refused: dict[int, InputRefusedError] = {}
    ready: dict[int, Ready] = {}
    for i, line in enumerate(all_ready(lines)):
        if isinstance(line, InputRefusedError):
            refused[i] = line
        else:
            ready[i] = line
    plans: dict[int, Plan] = {}
    beliefs = Beliefs(tolerance=options.chord_tolerance)
    for i, plan in zip(ready, recovered(list(ready.values()), options, beliefs), strict=True):
        if isinstance(plan, InputRefusedError):
            refused[i] = plan
        elif not plan.course.length.sum() > 0.0:
            refused[i] = _out_and_back(ready[i])
        else:
            plans[i] = plan
    raised = [i for i in plans if ready[i].elevated]
    heights: dict[int, Profile] = {}
    for i, profile in zip(
        raised, profiles([ready[i] for i in raised], [plans[i] for i in raised], options), strict=True
    ):
        if isinstance(profile, InputRefusedError):
            refused[i] = profile
        else:
            heights[i] = profile
    return [
        refused[i] if i in refused else _shape_or_not(ready[i], plans[i], heights.get(i), options)
        for i in range(len(lines))
    ]


def _shape_or_not(
    line: Ready, plan: Plan, profile: Profile | None, options: ReadOptions
) -> Shape | DomainError:
    try:
        return _shape(line, plan, profile, options)
    except DomainError as error:
        return error


def _out_and_back(line: Ready) -> InputRefusedError:
    """Return the refusal of a line that ends where it starts without going round anything."""
    return InputRefusedError(
        "line-turns-back",
        f"the line of {len(line.xy)} vertices goes out and comes back on itself",
        line.placed(line.xy[0]),
        "draw it once, from end to end",
    )


def _shape(line: Ready, plan: Plan, profile: Profile | None, options: ReadOptions) -> Shape:
    """Put plan and profile together."""
    course = plan.course
    from_x, from_y = line.origin.tolist()
    x, y = course.start[0] + from_x, course.start[1] + from_y
    last_x, last_y = (line.xy[-1] + line.origin).tolist()
    way = -1 if line.backward else 1
    findings = (*line.findings, *plan.findings[::way])
    miss = not_at_end(plan, line, options.chord_tolerance + 3.0 * plan.scatter)
    if miss is not None:
        findings = (*findings, miss)
    first, last = (x, y, 0.0), (last_x, last_y, 0.0)
    heading = course.heading
    if profile is None:
        chain, origins = flat(course) if plan.chain is None else plan.chain, plan.origins
    else:
        chain, origins = weave(course, plan.origins, profile.course, profile.origins)
        findings = (*findings, *profile.findings[::way])
        first = (x, y, profile.datum + profile.course.start[1])
        last = (last_x, last_y, float(line.z[-1]))
    if line.backward:
        # back to the way it is drawn
        end_x, end_y, heading = plan.end or (*course.end, float(wrap(course.headings[-1:] + np.pi)[0]))
        first_z = first[2] if profile is None else profile.datum + profile.course.end[1]
        last = (from_x, from_y, float(line.z[0]) if profile is not None else 0.0)
        first = (end_x + from_x, end_y + from_y, first_z)
        chain, origins = chain if chain is plan.chain else chain.reversed(), origins[::-1]
    return Shape(
        chain, first, heading, last, origins, findings, profile is not None, plan.scatter, plan.residual
    )
