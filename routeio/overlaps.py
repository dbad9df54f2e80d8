"""Overlaps: pieces drawn over each other along one course, and what of it is drawn twice once pieces are joined."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import shapely

from mechanics.errors import FloatArray
from routeio.attach import Tied, part_of
from routeio.bulges import leg_lengths, nearest_spot
from routeio.findings import Finding, span_text
from routeio.rawlines import RawLine
from routeio.stack import box_tree, run_boxes, stacked
from routeio.stitch import Joined
from routeio.tidy import SAME, course_in_plan, placed, points_at

#: Two pieces run on over each other where they lie this near all along. [m]
OVER = 0.03
#: Pieces that run on over each other for more of the shorter one are no joint drawn too long. [-]
_MOST = 0.5
#: The middles of two ducts are farther apart than this: no duct for cables is narrower. [m]
NARROWEST = 0.05
#: Legs of a long line are looked up in runs of this many.
_RUN = 32
#: Of ends, by piece and whether it is the last: other lines.
_On = defaultdict[tuple[int, bool], set[int]]


def without_overlaps(tied: Sequence[Tied], snap: float) -> tuple[list[Tied], list[Finding]]:
    """Cut back pieces whose loose ends run over each other, and leave out loose pieces drawn over another line.

    Parameters
    ----------
    tied : sequence of Tied
        Pieces, their ends tied to vaults where they reach any.
    snap : float
        Up to this, an overlap is a gap to be closed where the pieces are stitched. [m]

    Returns
    -------
    lines : list of Tied
        Of two that overlap, the second begins where the first ends.
    findings : list of Finding
        ``drawn-over``, one an overlap. Pieces that differ in attributes or layer are left as they are.
    """
    near, on = _ends_on_lines(tied)
    findings: list[Finding] = []
    keep = np.ones(len(tied), bool)
    for i in sorted({i for i, _ in near}):
        for j in sorted(near[i, False] & near[i, True]):
            if (
                keep[j]
                and _length(tied[i].line) < _length(tied[j].line)
                and _alike(tied[i].line, tied[j].line)
                and _lies_on(tied[i].line, tied[j].line)
            ):
                keep[i] = False
                findings.append(_said(tied[i].line, tied[j].line, _length(tied[i].line), "left out", False))
                break
    lines = list(tied)
    done: set[tuple[int, bool]] = set()
    for i, last in sorted(on):
        others = on[i, last]
        left = [j for j in sorted(others) if keep[j]]
        if not keep[i] or len(left) != 1 or left[0] <= i:
            continue
        j = left[0]
        back = [end for end in (False, True) if {k for k in on[j, end] if keep[k]} == {i}]
        if len(back) != 1 or {(i, last), (j, back[0])} & done or not _alike(tied[i].line, tied[j].line):
            continue
        trimmed, twice = _cut_back(lines[j].line, back[0], lines[i].line, last)
        most = _MOST * min(_length(lines[i].line), _length(lines[j].line))
        if trimmed is None or not snap < twice <= most:
            continue
        done |= {(i, last), (j, back[0])}
        findings.append(_said(lines[i].line, lines[j].line, twice, "counted once", last))
        lines[j] = replace(lines[j], line=trimmed)
    return [t for t, kept in zip(lines, keep, strict=True) if kept], findings


def without_doubles_joined(lines: Sequence[Joined]) -> tuple[list[Joined], list[Finding]]:
    """Leave out lines between the same vaults that have the course of another; say of those that nearly have.

    Parameters
    ----------
    lines : sequence of Joined
        After stitching: a line drawn once whole and once in pieces is there twice.

    Returns
    -------
    lines : list of Joined
        The first of each that are the same.
    findings : list of Finding
        ``duplicate-line``, ``nearly-same-course``.
    """
    groups: dict[tuple[int, int], list[int]] = defaultdict(list)
    for i, line in enumerate(lines):
        a, b = line.tied.start, line.tied.end
        if a is not None and b is not None:
            groups[min(a, b), max(a, b)].append(i)
    findings: list[Finding] = []
    keep = np.ones(len(lines), bool)
    for group in groups.values():
        if len(group) < 2:
            continue
        courses = {i: course_in_plan(lines[i].tied.line) for i in group}
        for i, j in combinations(group, 2):
            if not (keep[i] and keep[j]):
                continue
            apart = np.abs(np.subtract(courses[i].bounds, courses[j].bounds)).max()
            if apart > NARROWEST:
                continue
            apart = float(shapely.hausdorff_distance(courses[i], courses[j]))
            one, other = lines[i].tied.line, lines[j].tied.line
            place = placed(other.where, other.points[0])
            if apart <= SAME and _alike(one, other) and not lines[i].pieces and not lines[j].pieces:
                keep[j] = False
                findings.append(
                    Finding(
                        "duplicate-line", "warning",
                        f"drawn twice: the same course as {one.where.id}, whole or in pieces; left out", place,
                        "delete one of the two",
                    )
                )  # fmt: skip
            elif SAME < apart <= NARROWEST:
                findings.append(
                    Finding(
                        "nearly-same-course", "info",
                        f"lies within {span_text(apart)} of {one.where.id} all along, nearer than two ducts can: kept as a "
                        "duct of its own",
                        place, "delete one if it is the same duct",
                    )
                )  # fmt: skip
    return [line for line, kept in zip(lines, keep, strict=True) if kept], findings


def _ends_on_lines(tied: Sequence[Tied]) -> tuple[_On, _On]:
    """Return for each loose end the other lines it lies on, and of these those that go on beyond it both ways."""
    near, on = _On(set), _On(set)
    ends = [
        (i, last)
        for i, t in enumerate(tied)
        for last in (False, True)
        if (t.end if last else t.start) is None and not t.undecided[int(last)]
    ]
    if not ends:
        return near, on
    places = np.array([tied[i].line.points[-1 if last else 0, :2] for i, last in ends])
    boxes, owner = run_boxes(stacked([t.line for t in tied]), _RUN)
    end, run = box_tree(boxes).query(points_at(places), predicate="dwithin", distance=OVER)
    for e, j in {(int(e), int(owner[r])) for e, r in zip(end, run, strict=True)}:
        if j == ends[e][0]:
            continue
        line = tied[j].line
        if nearest_spot(line.points, line.bulge, *places[e]).distance > OVER:
            continue
        near[ends[e]].add(j)
        if np.hypot(*(line.points[[0, -1], :2] - places[e]).T).min() > OVER:
            on[ends[e]].add(j)
    return near, on


def _cut_back(line: RawLine, last: bool, other: RawLine, other_last: bool) -> tuple[RawLine | None, float]:
    """Return a line cut back to where another ends on it, and by how much; None where they part between."""
    tip, end = (a.points[-1 if at_end else 0, :2] for a, at_end in ((line, last), (other, other_last)))
    total = _length(line)
    here = nearest_spot(line.points, line.bulge, *end).station
    there = nearest_spot(other.points, other.bulge, *tip).station
    twice = part_of(line, here, total, total) if last else part_of(line, 0.0, here, total)
    whole = _length(other)
    under = part_of(other, there, whole, whole) if other_last else part_of(other, 0.0, there, whole)
    if shapely.hausdorff_distance(course_in_plan(twice), course_in_plan(under)) > OVER:
        return None, 0.0
    rest = part_of(line, 0.0, here, total) if last else part_of(line, here, total, total)
    return rest, _length(twice)


def _lies_on(line: RawLine, other: RawLine) -> bool:
    low, high = sorted(nearest_spot(other.points, other.bulge, *line.points[k, :2]).station for k in (0, -1))
    # What goes on square to the other, or past its end, has a point of it beside it and no part.
    if not high - low > SAME:
        return False
    under = part_of(other, low, high, _length(other))
    return bool(shapely.hausdorff_distance(course_in_plan(line), course_in_plan(under)) <= SAME)


def _alike(a: RawLine, b: RawLine) -> bool:
    plain = (replace(line.fields, recorded_length=None) for line in (a, b))
    return next(plain) == next(plain) and a.where.layer == b.where.layer


def _said(line: RawLine, other: RawLine, twice: float, what: str, last: bool) -> Finding:
    place: FloatArray = line.points[-1 if last else 0]
    return Finding(
        "drawn-over",
        "warning",
        f"{span_text(twice)} of {line.where.id} and {other.where.id} are drawn over each other: {what}",
        placed(line.where, place),
        "draw the pieces end to end; two ducts side by side are drawn from vault to vault, each by itself",
    )


def _length(line: RawLine) -> float:
    return float(leg_lengths(line.points, line.bulge).sum())
