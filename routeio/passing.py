"""Passing: which lines run through which vaults between their ends, found for all lines at once."""

from __future__ import annotations

import numpy as np
import shapely

from mechanics.chain import IntArray
from routeio.bulges import feet, leg_lengths_of
from routeio.stack import Stack, box_array, run_boxes
from routeio.ties import EXACT, Reach, Ties

#: Legs of a long line are looked up in runs of this many.
_RUN = 32


def passing(stack: Stack, ties: Ties, reach: Reach, snap: float) -> dict[int, tuple[int, ...]]:
    """Return the vaults that lines pass, or run past at an end that is tied to them.

    Parameters
    ----------
    stack : Stack
        Of the lines.
    ties : Ties
        Of their ends.
    reach : Reach
        The vaults.
    snap : float
        How near a line passes a vault without an outline. [m]

    Returns
    -------
    dict of int to tuple of int
        Line to vaults, to be looked at one by one; lines that only end in vaults are not in it.
    """
    boxes, owner = run_boxes(stack, _RUN)
    run, vault = reach.tree.query(box_array(boxes + np.array([-snap, -snap, snap, snap])))
    if not run.size:
        return {}
    leg, vault = _legs_of_runs(stack, owner, run, vault)
    start = stack.leg_starts[leg]
    a, b, bulge = stack.points[start, :2], stack.points[start + 1, :2], stack.bulge[leg]
    line = stack.leg_owner[leg]
    part, distance = feet(a, b, bulge, reach.centres[vault])
    # an outline is met where the leg meets it; by a wide margin for arcs, looked at closely later
    outlined = reach.has_outline[vault]
    chords = shapely.linestrings(np.stack((a[outlined], b[outlined]), axis=1))
    bow = 0.5 * np.abs(bulge[outlined]) * np.hypot(*(b - a)[outlined].T)
    met = distance <= snap
    met[outlined] = shapely.dwithin(reach.marks[vault[outlined]], chords, bow + EXACT)
    station, total = _stations(stack, leg, part)
    station, total = station[met], total[met]
    line, vault, outlined, leg = line[met], vault[met], outlined[met], leg[met]
    ends_here = np.zeros(line.size, dtype=bool)
    first = stack.first[line] - line
    last = stack.first[line + 1] - line - 2
    for which, near, at_leg in ((0, station, leg == first), (1, total - station, leg == last)):
        tied = (ties.vault[2 * line + which] == vault) & (ties.distance[2 * line + which] <= EXACT)
        inside = tied & (ties.distance[2 * line + which] == 0.0)
        ends_here |= np.where(outlined, inside & at_leg, tied & (near <= EXACT))
        # legs further on that are in reach only because they are near the end as well
        ends_here |= ~outlined & tied & (near <= 2.0 * snap) & ~at_leg
    found: dict[int, set[int]] = {}
    for i, v in zip(line[~ends_here].tolist(), vault[~ends_here].tolist(), strict=True):
        found.setdefault(i, set()).add(v)
    return {i: tuple(sorted(vs)) for i, vs in found.items()}


def _legs_of_runs(stack: Stack, owner: IntArray, run: IntArray, vault: IntArray) -> tuple[IntArray, IntArray]:
    """Return every leg of each run beside the vault it was found for."""
    legs_of_line = np.diff(stack.first) - 1
    runs_of_line = -(-legs_of_line // _RUN)
    first_run = np.concatenate(([0], np.cumsum(runs_of_line)))
    within = run - first_run[owner[run]]
    first_leg = (stack.first[:-1] - np.arange(legs_of_line.size))[owner[run]] + within * _RUN
    count = np.minimum(legs_of_line[owner[run]] - within * _RUN, _RUN)
    offset = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    return np.repeat(first_leg, count) + offset, np.repeat(vault, count)


def _stations(stack: Stack, leg: IntArray, part: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how far along its line each foot lies, and how long that line is, in plan."""
    start = stack.leg_starts
    length = leg_lengths_of(stack.points[start, :2], stack.points[start + 1, :2], stack.bulge)
    ends = np.cumsum(length)
    first = (stack.first[:-1] - np.arange(stack.first.size - 1))[stack.leg_owner]
    before = (ends - length) - (ends - length)[first]
    total = np.add.reduceat(length, stack.first[:-1] - np.arange(stack.first.size - 1))
    return before[leg] + part * length[leg], total[stack.leg_owner[leg]]
