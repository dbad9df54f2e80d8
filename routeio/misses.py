"""Misses: duct ends that reach nothing, with what they nearly reach, so that a person can see what snap should be."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from routeio.bulges import nearest_spot
from routeio.findings import Finding, span_text
from routeio.stack import ObjectArray, box_tree, run_boxes, stacked
from routeio.stitch import Joined
from routeio.survey import Vault
from routeio.tidy import course_in_plan, placed, points_at
from routeio.ties import EXACT

#: Ends this many times the tolerance away are near misses.
NEAR = 5.0
#: Vaults this many times the tolerance off a duct, or at least this far, are passed by. [-], [m]
PASSING, PASSING_LEAST = 20.0, 10.0
#: Legs of a long line are looked up in runs of this many.
_RUN = 32


def missed(lines: Sequence[Joined], vaults: Sequence[Vault], snap: float) -> list[Finding]:
    """Say of every loose end what it is nearest to.

    Parameters
    ----------
    lines : sequence of Joined
        After stitching.
    vaults : sequence of Vault
        All.
    snap : float
        [m]

    Returns
    -------
    list of Finding
        ``end-on-line``, ``near-miss`` or ``loose-end``, one an end; ends already spoken of are left out.
    """
    ends = [
        (i, k)
        for i, line in enumerate(lines)
        for k, (vault, said) in enumerate(
            zip((line.tied.start, line.tied.end), line.tied.undecided, strict=True)
        )
        if vault is None and not said
    ]
    if not ends:
        return []
    points = np.array([lines[i].tied.line.points[-1 if k else 0, :2] for i, k in ends])
    marks = points_at(points)
    beside = _nearest_other_line(ends, marks, lines, max(NEAR * snap, 1e-3))
    own = [lines[i].tied.start if k else lines[i].tied.end for i, k in ends]
    to_vault, nearest = _nearest_vault(marks, vaults, own)
    findings = []
    for e, (i, k) in enumerate(ends):
        line = lines[i].tied.line
        place = placed(line.where, points[e])
        other, apart, on_end = beside.get(e, (-1, np.inf, False))
        name = lines[other].tied.line.where.id if other >= 0 else ""
        near_vault = (
            _away(vaults[nearest[e]], points[e], float(to_vault[e])) if vaults else "there are no vaults"
        )
        end = "last" if k else "first"
        if apart <= snap and not on_end:
            findings.append(
                Finding(
                    "end-on-line",
                    "error",
                    f"the {end} end meets the middle of {name}, {span_text(apart)} off, where there is no vault: not joined",
                    place,
                    "draw the vault there; a branch needs one",
                )
            )
        elif min(apart, to_vault[e]) <= NEAR * snap:
            what = (
                f"{'an end' if on_end else 'the middle'} of {name} is {span_text(apart)} away; "
                if other >= 0
                else ""
            )
            findings.append(
                Finding(
                    "near-miss",
                    "warning",
                    f"the {end} end reaches nothing within the tolerance of {span_text(snap)}: {what}{near_vault}",
                    place,
                    "draw the end where it belongs, or raise snap",
                )
            )
        else:
            findings.append(
                Finding(
                    "loose-end",
                    "warning",
                    f"the {end} end reaches nothing: {near_vault}",
                    place,
                    "draw the vault or the duct that is missing, if one is",
                )
            )
    return findings


def _away(vault: Vault, end: FloatArray, apart: float) -> str:
    """Say how far a vault is, with its middle where it has an outline, since a drawing is measured to the middle."""
    if vault.footprint is None:
        return f"vault {vault.tag} is {span_text(apart)} away"
    middle = float(np.hypot(end[0] - vault.x, end[1] - vault.y))
    return f"vault {vault.tag} is {span_text(middle)} away, its outline {span_text(apart)}"


def unused(lines: Sequence[Joined], vaults: Sequence[Vault], snap: float) -> list[Finding]:
    """Say of every vault that no duct meets how far off the nearest duct passes.

    Parameters
    ----------
    lines : sequence of Joined
        After stitching.
    vaults : sequence of Vault
        All.
    snap : float
        [m]

    Returns
    -------
    list of Finding
        ``vault-passed-by`` within 20 tolerances or 10 m, ``vault-unused`` beyond. Of those that a line passes within the
        tolerance, :func:`grazed` speaks.
    """
    used = {v for line in lines for v in (line.tied.start, line.tied.end)}
    left = [i for i in range(len(vaults)) if i not in used]
    if not left or not lines:
        return []
    drawn = np.array([course_in_plan(j.tied.line) for j in lines], dtype=object)
    shapes = np.array(
        [vaults[i].footprint or shapely.Point(vaults[i].x, vaults[i].y) for i in left], dtype=object
    )
    nearest = np.asarray(shapely.STRtree(drawn).nearest(shapes))
    findings = []
    for i, line, apart in zip(
        left, nearest.tolist(), shapely.distance(shapes, drawn[nearest]).tolist(), strict=True
    ):
        if apart <= snap:
            continue  # an end in reach that belongs to another vault or could not be decided; or it is grazed
        vault, duct = vaults[i], lines[line].tied.line.where.id
        place = placed(vault.where, np.array([vault.x, vault.y]))
        if apart <= max(PASSING * snap, PASSING_LEAST):
            finding = Finding(
                "vault-passed-by", "warning",
                f"no duct meets vault {vault.tag}; {duct} passes {span_text(apart)} away, beyond the tolerance of "
                f"{span_text(snap)}",
                place, "draw the duct through the vault, or raise snap, if they belong together",
            )  # fmt: skip
        else:
            finding = Finding(
                "vault-unused", "info",
                f"no duct meets vault {vault.tag}; the nearest, {duct}, is {span_text(apart)} away", place,
                "draw the duct that is missing, if one is",
            )  # fmt: skip
        findings.append(finding)
    return findings


def grazed(lines: Sequence[Joined], vaults: Sequence[Vault], snap: float) -> list[Finding]:
    """Say where a line passes the outline of a vault within the tolerance, but not through it, and is not cut there.

    Parameters
    ----------
    lines : sequence of Joined
        After stitching.
    vaults : sequence of Vault
        All.
    snap : float
        [m]

    Returns
    -------
    list of Finding
        ``vault-grazed``, one a line and vault; of ends near a vault other findings speak.
    """
    outlined = [v for v, vault in enumerate(vaults) if vault.footprint is not None]
    if not outlined or not lines:
        return []
    shapes = np.array([vaults[v].footprint for v in outlined], dtype=object)
    boxes, owner = run_boxes(stacked([j.tied.line for j in lines]), _RUN)
    at, run = box_tree(boxes).query(shapes, predicate="dwithin", distance=snap)
    findings = []
    for i, k in sorted({(int(owner[r]), int(a)) for a, r in zip(at, run, strict=True)}):
        tied, vault = lines[i].tied, vaults[outlined[k]]
        if outlined[k] in (tied.start, tied.end):
            continue
        course = course_in_plan(lines[i].tied.line)
        apart = float(shapely.distance(course, shapes[k]))
        if not EXACT < apart <= snap:
            continue
        spot = shapely.get_point(shapely.shortest_line(course, shapes[k]), 0)
        along = float(course.project(spot))
        if not 2.0 * snap < along < course.length - 2.0 * snap:
            continue
        findings.append(
            Finding(
                "vault-grazed",
                "warning",
                f"the line passes {span_text(apart)} from the outline of vault {vault.tag}, within the tolerance of "
                f"{span_text(snap)}, and not through it: not split there",
                placed(tied.line.where, np.array([spot.x, spot.y])),
                "draw the duct through the vault, if it belongs to it",
            )
        )
    return findings


def _nearest_vault(
    marks: ObjectArray, vaults: Sequence[Vault], own: Sequence[int | None]
) -> tuple[FloatArray, IntArray]:
    """Return how far the nearest vault is and which; not the one at the other end, if another is half as near."""
    if not vaults:
        return np.full(len(marks), np.inf), np.zeros(len(marks), dtype=np.int64)
    shapes = np.array([v.footprint or shapely.Point(v.x, v.y) for v in vaults], dtype=object)
    tree = shapely.STRtree(shapes)
    nearest = np.asarray(tree.nearest(marks))
    apart = np.asarray(shapely.distance(marks, shapes[nearest]))
    again = np.array([o is not None and o == n for o, n in zip(own, nearest, strict=True)], dtype=bool)
    rows = np.flatnonzero(again)
    end, vault = tree.query(marks[rows], predicate="dwithin", distance=2.0 * apart[rows])
    distance = np.asarray(shapely.distance(marks[rows][end], shapes[vault]))
    for k in np.argsort(-distance, kind="stable"):  # the nearest is written last
        if vault[k] != own[rows[end[k]]]:
            nearest[rows[end[k]]], apart[rows[end[k]]] = vault[k], distance[k]
    return apart, nearest


def _nearest_other_line(
    ends: Sequence[tuple[int, int]], marks: ObjectArray, lines: Sequence[Joined], reach: float
) -> dict[int, tuple[int, float, bool]]:
    """Return for each end the nearest other line in reach, how far it is, and whether it is an end of it."""
    boxes, owner = run_boxes(stacked([j.tied.line for j in lines]), _RUN)
    end, run = box_tree(boxes).query(marks, predicate="dwithin", distance=reach)
    best: dict[int, tuple[int, float, bool]] = {}
    for e, i in {(int(e), int(owner[k])): None for e, k in zip(end, run, strict=True)}:
        if i == ends[e][0]:
            continue
        line = lines[i].tied.line
        point = marks[e]
        apart = nearest_spot(line.points, line.bulge, point.x, point.y).distance
        if apart <= reach and apart < best.get(e, (0, np.inf, False))[1]:
            tips = np.hypot(*(line.points[[0, -1], :2] - (point.x, point.y)).T)
            best[e] = (i, apart, bool((tips <= apart + 1e-3).any()))
    return best
