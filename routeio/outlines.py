"""Outlines among the ducts: closed lines as small as a vault, which no cable is pulled round."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from routeio.bulges import flattened
from routeio.dxf_rings import CLOSED
from routeio.findings import Finding, span_text
from routeio.rawlines import RawLine, RawVault
from routeio.stack import stacked
from routeio.tidy import placed

#: Vaults are no longer than this: common practice, no source. [m]
LONGEST = 6.0
#: And hardly dented: their share of the area that a string around them would enclose.
CONVEX = 0.9
#: How far the outline may lie from arcs it is drawn with. [m]
_ARCS = 0.01


def parted(
    lines: Sequence[RawLine], marks: Sequence[RawVault], snap: float
) -> tuple[list[RawLine], list[RawVault], list[Finding]]:
    """Return lines without outlines of vaults, those as vaults, and what was found.

    Parameters
    ----------
    lines : sequence of RawLine
        As read.
    marks : sequence of RawVault
        Vaults as read: a line that meets one it does not go round is a duct from there and back.
    snap : float
        How near a line must come to a vault to be at it. [m]

    Returns
    -------
    lines : list of RawLine
        The ducts.
    vaults : list of RawVault
        One an outline, untagged, with its footprint.
    findings : list of Finding
        ``outline-among-ducts``, one an outline.
    """
    if not lines:
        return [], [], []
    stack = stacked(lines)
    xy = stack.points[:, :2]
    gap = xy[stack.first[1:] - 1] - xy[stack.first[:-1]]
    # a hundred thousand lines have few that close: those alone are looked at one by one
    closed = np.flatnonzero((np.hypot(gap[:, 0], gap[:, 1]) <= CLOSED) & (np.diff(stack.first) > 2))
    if not closed.size:
        return list(lines), [], []
    places = np.array(
        [shapely.Point(m.x, m.y) if m.footprint is None else m.footprint for m in marks], dtype=object
    )
    tree = shapely.STRtree(places)
    vaults: dict[int, RawVault] = {}
    findings: list[Finding] = []
    for i in closed.tolist():
        outline = _outline(lines[i])
        if outline is None:
            continue
        across = shapely.get_coordinates(shapely.minimum_rotated_rectangle(outline))
        longest = float(np.hypot(*np.diff(across, axis=0).T).max())
        met = tree.query(outline.exterior, predicate="dwithin", distance=snap).tolist()
        if longest > LONGEST or any(not _within(marks[k], outline) for k in met):
            continue
        centre = outline.centroid
        where = placed(lines[i].where, np.array([centre.x, centre.y]))
        vaults[i] = RawVault("", centre.x, centre.y, float("nan"), outline, {}, where)
        findings.append(
            Finding(
                "outline-among-ducts", "warning",
                f"a closed line of {len(lines[i].points) - 1} vertices, {span_text(longest)} long, lies among the ducts: "
                "taken as the outline of a vault, not as a duct", where,
                "move it to a layer of vaults; if it is no vault, take it from the layer of ducts",
            )
        )  # fmt: skip
    return [line for i, line in enumerate(lines) if i not in vaults], list(vaults.values()), findings


def _within(mark: RawVault, outline: shapely.Polygon) -> bool:
    """Return whether a vault stands inside an outline, not on its edge."""
    place = shapely.Point(mark.x, mark.y)
    return bool(outline.contains(place) and outline.exterior.distance(place) > CLOSED)


def _outline(line: RawLine) -> shapely.Polygon | None:
    """Return the ground that a closed line goes round, None where it crosses itself or is dented."""
    points, _ = flattened(line.points, line.bulge, _ARCS)
    if len(points) < 4 or not np.isfinite(points[:, :2]).all():
        return None
    outline = shapely.Polygon(points[:, :2])
    if not (outline.is_valid and outline.area >= CONVEX * outline.convex_hull.area > 0.0):
        return None
    return outline
