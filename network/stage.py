"""Stretches of a way through which intervals of tension are carried, many at a time."""

from __future__ import annotations

import numpy as np

from mechanics.balance import Laws, Layout, march
from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from mechanics.interval import cut_at_level, pick_friction
from network.way import Way, spread

UNLIMITED = 1e100
"""Stands for an unlimited tension. [N]"""


class Stage:
    """Stretches of a way side by side, ready to carry intervals.

    Parameters
    ----------
    way : Way
        In its direction.
    begin, end : ndarray of int, shape (m,)
        Segments at which each stretch begins and before which it ends; a stretch may be empty.
    slid : ndarray, shape (m,), optional
        What the cable has slid since its last lubrication at the start of each; 0 by default. [m]
    scale : float or ndarray, shape (m,), optional
        Limits are taken times this.
    """

    def __init__(
        self,
        way: Way,
        begin: IntArray,
        end: IntArray,
        slid: FloatArray | None = None,
        scale: FloatArray | float = 1.0,
    ) -> None:
        self.filled = end > begin
        # Number of each stretch among those that have segments.
        self.number = np.cumsum(self.filled) - 1
        begin, end = begin[self.filled], end[self.filled]
        self.count = begin.size
        if not self.count:
            return
        offsets = np.concatenate(([0], np.cumsum(end - begin)))
        own = None if slid is None else slid[self.filled]
        pieces = way.lay_out(spread(begin, end), offsets, offsets[:-1], own)
        scales = np.broadcast_to(scale, self.filled.shape)[self.filled]
        chain, rub = pieces.chain, pieces.rubbing
        upper = (np.repeat(scales, end - begin) * way.upper[spread(begin, end)])[pieces.item]
        chain, source = cut_at_level(chain, way.weight, rub, 0.0)
        rub, upper = pick_friction(rub, source), upper[source]
        chain, source = cut_at_level(chain, way.weight, rub, np.where(upper < np.inf, upper, 0.0))
        rub, upper = pick_friction(rub, source), np.minimum(upper[source], UNLIMITED)
        self.first, self.last = chain.offsets[:-1], chain.offsets[1:] - 1
        # Where two pieces meet, both limits hold.
        self.bound = np.minimum(upper, np.append(upper[1:], UNLIMITED))
        self.bound[self.last] = upper[self.last]
        self.upper, self.scales = upper, scales
        self.layout = Layout(chain)
        self.laws = Laws.of(self.layout, way.weight, rub)
        level = (np.minimum(chain.grade_in, chain.grade_out) < 0.0) & (chain.grade_in != chain.grade_out)
        self.peaks = np.add.reduceat(level.astype(np.int64), self.first) > 0

    def carry(
        self, stretch: IntArray, low: FloatArray, high: FloatArray, floor: float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Carry intervals, each through one of the stretches.

        Parameters
        ----------
        stretch : ndarray of int, shape (n,)
            Which one.
        low, high : ndarray, shape (n,)
            Tensions entering. [N]
        floor : float
            Least tension allowed. [N]

        Returns
        -------
        low, high : ndarray, shape (n,)
            Tensions leaving; low above high, or NaN, where none serves. [N]
        load : ndarray, shape (n,)
            Worst utilisation at the lower end; NaN where that was raised on the way, or may peak inside a piece.
        """
        load = np.zeros(low.size)
        which = np.flatnonzero(self.filled[stretch])
        if not which.size:
            return low, high, load
        column = self.number[stretch[which]]
        order = np.argsort(column, kind="stable")
        ranked = column[order]
        row = np.empty(which.size, dtype=np.int64)
        row[order] = np.arange(which.size) - np.searchsorted(ranked, ranked)
        shape = (int(row.max()) + 1, self.count)
        entry = np.full((2, *shape), np.nan)
        head = self.upper[self.first[column]]
        entry[0, row, column] = low[which]
        entry[1, row, column] = np.minimum(high[which], head)
        lowest = np.full(len(self.layout), floor), np.full(len(self.layout), -np.inf)
        highest = np.full(len(self.layout), np.inf), self.bound[self.layout.index]
        stepped = march(
            self.layout,
            self.laws,
            entry[..., self.layout.entries],
            None,
            np.stack(lowest)[:, None],
            np.stack(highest)[:, None],
        )
        tension = np.empty_like(stepped)
        tension[..., self.layout.index] = stepped
        low, high = low.copy(), high.copy()
        worst = np.maximum.reduceat(tension[0] / self.bound, self.first, axis=1)[row, column]
        raised = np.minimum.reduceat(tension[0], self.first, axis=1)[row, column] <= floor
        worst = np.maximum(worst, low[which] / head) * self.scales[column]
        load[which] = np.where(raised | self.peaks[column], np.nan, worst)
        # An interval that enters above the first limit is empty, however it goes on.
        empty = ~(low[which] <= entry[1, row, column])
        low[which] = np.where(empty, np.nan, tension[0, row, self.last[column]])
        high[which] = tension[1, row, self.last[column]]
        return low, high, load
