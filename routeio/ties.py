"""Ties: which vault each end of each line belongs to, and which ends cannot be decided."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from routeio.findings import Finding, span_text
from routeio.rawlines import RawLine
from routeio.stack import ObjectArray, Stack
from routeio.survey import Vault
from routeio.tidy import placed, points_at

#: Ends nearer than this to where they belong need no repair. [m]
EXACT = 1e-3
#: Of two vaults in reach the nearer is meant if the other is this many times as far.
CLEARLY = 2.0


@dataclass(frozen=True, eq=False)
class Reach:
    """The vaults, ready to be looked up.

    Parameters
    ----------
    vaults : sequence of Vault
        All.
    marks : ndarray of shapely geometries
        Outline, or point where there is none, of each.
    has_outline : ndarray of bool
        Which have an outline.
    centres : ndarray, shape (n, 2)
        [m]
    tree : shapely.STRtree
        Of the marks.
    """

    vaults: Sequence[Vault]
    marks: ObjectArray
    has_outline: NDArray[np.bool_]
    centres: FloatArray
    tree: shapely.STRtree


@dataclass(frozen=True, eq=False)
class Ties:
    """What each end is tied to; ends are numbered start and end of the first line, of the second, and so on.

    Parameters
    ----------
    vault : ndarray of int, shape (2 n,)
        Index, -1 for none.
    distance : ndarray, shape (2 n,)
        From the vault's outline or point; infinite where there is none. [m]
    undecided : ndarray of bool, shape (2 n,)
        Ends that could belong to two vaults.
    """

    vault: IntArray
    distance: FloatArray
    undecided: NDArray[np.bool_]


def reach_of(vaults: Sequence[Vault]) -> Reach:
    """Return vaults ready to be looked up.

    Parameters
    ----------
    vaults : sequence of Vault
        At least one.

    Returns
    -------
    Reach
        In the same order.
    """
    centres = np.array([(v.x, v.y) for v in vaults], dtype=np.float64)
    outlined = np.array([v.footprint is not None for v in vaults], dtype=bool)
    marks = points_at(centres)
    for i in np.flatnonzero(outlined).tolist():
        marks[i] = vaults[i].footprint
    shapely.prepare(marks[outlined])
    return Reach(vaults, marks, outlined, centres, shapely.STRtree(marks))


def tied_ends(
    stack: Stack, lines: Sequence[RawLine], reach: Reach, snap: float
) -> tuple[Ties, list[Finding]]:
    """Tie ends to vaults.

    An end inside an outline belongs to it; else to the nearest outline or point within ``snap``, unless another is
    nearly as near.

    Parameters
    ----------
    stack : Stack
        Of the lines.
    lines : sequence of RawLine
        The lines.
    reach : Reach
        The vaults.
    snap : float
        [m]

    Returns
    -------
    ties : Ties
        Of all ends.
    findings : list of Finding
        Every end tied across a gap, and every end that could belong to two vaults.
    """
    vertex = np.column_stack((stack.first[:-1], stack.first[1:] - 1)).ravel()
    points = stack.points[vertex, :2]
    geometry = points_at(points)
    end, vault = reach.tree.query(geometry, predicate="dwithin", distance=snap)
    distance = np.asarray(shapely.distance(geometry[end], reach.marks[vault]))
    centre = np.hypot(*(points[end] - reach.centres[vault]).T)
    ties = Ties(
        np.full(len(points), -1, dtype=np.int64),
        np.full(len(points), np.inf),
        np.zeros(len(points), dtype=bool),
    )
    # most ends lie in one vault or exactly on it, and need no second look
    alone = np.bincount(end, minlength=len(points))[end] == 1
    plain = alone & (distance <= EXACT)
    ties.vault[end[plain]] = vault[plain]
    ties.distance[end[plain]] = distance[plain]
    contested: dict[int, list[tuple[float, float, int]]] = defaultdict(list)
    for k in np.flatnonzero(~plain).tolist():
        contested[int(end[k])].append((float(distance[k]), float(centre[k]), int(vault[k])))
    findings: list[Finding] = []
    for e, near in sorted(contested.items()):
        near.sort()
        if len(near) > 1 and not _clear(near[0], near[1]):
            ties.undecided[e] = True
            findings.append(_ambiguous(lines[e // 2], points[e], reach.vaults, near))
            continue
        ties.vault[e], ties.distance[e] = near[0][2], near[0][0]
        if near[0][0] > EXACT:
            findings.append(_snapped(lines[e // 2], points[e], reach.vaults[near[0][2]], near[0][0], snap))
    return ties, findings


def _clear(first: tuple[float, float, int], second: tuple[float, float, int]) -> bool:
    """Whether the first of two vaults is clearly the nearer."""
    if first[0] == 0.0 and second[0] == 0.0:  # inside both outlines
        return second[1] >= CLEARLY * max(first[1], EXACT)
    return second[0] >= CLEARLY * first[0] and second[0] > EXACT


def _ambiguous(
    line: RawLine, point: FloatArray, vaults: Sequence[Vault], near: list[tuple[float, float, int]]
) -> Finding:
    (distance, _, one), (further, _, other) = near[:2]
    return Finding(
        "vault-ambiguous",
        "error",
        f"a duct end lies {span_text(distance)} from vault {vaults[one].tag} and {span_text(further)} from "
        f"vault {vaults[other].tag}: left loose",
        placed(line.where, point),
        "draw the end at the vault it belongs to, or lower snap",
    )


def _snapped(line: RawLine, point: FloatArray, vault: Vault, distance: float, snap: float) -> Finding:
    return Finding(
        "end-snapped",
        "warning" if distance > 0.5 * snap else "info",
        f"a duct ends {span_text(distance)} from vault {vault.tag} and is tied to it (tolerance {span_text(snap)})",
        placed(line.where, point),
        "draw the end at the vault, or lower snap if it does not belong to it",
    )
