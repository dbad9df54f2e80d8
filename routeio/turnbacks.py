"""Turning back: lines that run back over themselves, which no duct does; what a fit would take for one straight."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from mechanics.errors import FloatArray
from routeio.attach import Tied
from routeio.corners import REVERSAL
from routeio.findings import Finding, span_text
from routeio.rawlines import RawLine
from routeio.stack import stacked
from routeio.tangent import BoolArray
from routeio.tidy import SAME, ZERO, placed

#: A line runs back along itself where it stays this near its own course. [m]
_BESIDE = 0.03
#: Where more of a line's vertices turn back, it is scatter between vertices that lie close. [-]
_FEW, _PART = 2, 0.05


def without_turning_back(tied: Sequence[Tied], snap: float) -> tuple[list[Tied], list[Finding]]:
    """Drop what a line draws twice by running back over itself; leave out lines that go somewhere and come back.

    Parameters
    ----------
    tied : sequence of Tied
        Lines after they were cut at vaults: a line that turns back inside one is two by now.
    snap : float
        Up to how far a vertex that overshoots is dropped. [m]

    Returns
    -------
    lines : list of Tied
        Those that are left.
    findings : list of Finding
        ``backtrack-dropped`` where a stretch was counted once, ``line-turns-back`` where a line is left out.
    """
    if not tied:
        return [], []
    stack = stacked([t.line for t in tied])
    step = np.diff(stack.points[:, :2], axis=0)
    size = np.hypot(step[:, 0], step[:, 1])
    straight = np.zeros(len(step), bool)
    straight[stack.leg_starts] = (stack.bulge == 0.0) & (size[stack.leg_starts] > ZERO)
    # by the cosine: all lines at once would take as much memory again for their angles
    along = np.einsum("ij,ij->i", step[1:], step[:-1])
    back = (along < math.cos(REVERSAL) * size[1:] * size[:-1]) & straight[1:] & straight[:-1]
    marred = {int(np.searchsorted(stack.first, v, side="right")) - 1 for v in np.flatnonzero(back) + 1}
    kept: list[Tied] = []
    findings: list[Finding] = []
    for i, t in enumerate(tied):
        line: RawLine | None = t.line
        if i in marred:
            line = _once(t.line, snap, findings)
        if line is not None:
            kept.append(t if line is t.line else replace(t, line=line))
    return kept, findings


def _once(line: RawLine, snap: float, findings: list[Finding]) -> RawLine | None:
    """Return a line without what it draws twice; None where that is more than a slip."""
    if np.count_nonzero(_turns_back(line)) > max(_FEW, _PART * len(line.points)):
        return line
    while True:
        back = np.flatnonzero(_turns_back(line)) + 1
        leg = np.hypot(*np.diff(line.points[:, :2], axis=0).T)
        far = [float(min(leg[k - 1], leg[k])) for k in back]
        slips = [(e, int(k)) for e, k in zip(far, back, strict=True) if e > SAME]
        if not slips:
            return line
        e, k = slips[0]
        place = placed(line.where, line.points[k])
        if _and_on_again(line, k, leg):
            e = float(leg[k])
            line = _merged(line, k)
        elif e <= snap:
            line = _left_out(line, k)
        else:
            findings.append(
                Finding(
                    "line-turns-back",
                    "error",
                    f"the line turns back here and runs {span_text(e)} over itself; it is left out",
                    place,
                    "remove the vertex if it overshoots; else draw the vault it runs to, or the return bend",
                )
            )
            return None
        findings.append(
            Finding(
                "backtrack-dropped",
                "info" if e <= snap else "warning",
                f"the line turns back here and runs {span_text(e)} over itself: counted once",
                place,
                "remove the vertex that overshoots",
            )
        )
        if len(line.points) < 2:
            return None


def _turns_back(line: RawLine) -> BoolArray:
    """Return of each inner vertex whether two straight legs turn back at it, one over the other."""
    step = np.diff(line.points[:, :2], axis=0)
    size = np.hypot(step[:, 0], step[:, 1])
    straight = (line.bulge == 0.0) & (size > ZERO)
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = np.abs(np.angle(np.exp(1j * np.diff(heading))))
    shorter = np.minimum(size[1:], size[:-1])
    beside = shorter * np.sin(turn) <= _BESIDE
    return np.asarray((turn > REVERSAL) & beside & straight[1:] & straight[:-1])


def _and_on_again(line: RawLine, k: int, leg: FloatArray) -> bool:
    """Whether a line that turns back at a vertex turns on again at the next, all on one course."""
    return (
        k + 2 < len(line.points)
        and bool(_turns_back(line)[k])
        and bool(leg[k] <= min(leg[k - 1], leg[k + 1]))
    )


def _merged(line: RawLine, k: int) -> RawLine:
    """Return a line with a vertex and the next made one, between them."""
    points = np.delete(line.points, k + 1, axis=0)
    points[k] = 0.5 * (line.points[k] + line.points[k + 1])
    return _with(line, points, np.delete(line.bulge, k), line.ids[:k] + line.ids[k + 1 :])


def _left_out(line: RawLine, k: int) -> RawLine:
    """Return a line without a vertex, nor the next if that repeats the one before."""
    points = np.delete(line.points, k, axis=0)
    bulge, ids = np.delete(line.bulge, k), line.ids[:k] + line.ids[k + 1 :]
    if math.dist(points[k - 1, :2], points[k, :2]) <= SAME:
        points = np.delete(points, k if k < len(points) - 1 else k - 1, axis=0)
        bulge, ids = np.delete(bulge, k - 1), ids[: k - 1] + ids[k:]
    return _with(line, points, bulge, ids)


def _with(line: RawLine, points: FloatArray, bulge: FloatArray, ids: tuple[str, ...]) -> RawLine:
    return replace(line, points=points, bulge=bulge, ids=ids)
