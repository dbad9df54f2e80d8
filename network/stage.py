"""Stretches of a way through which intervals of tension are carried, many at a time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from mechanics.balance import Laws, Layout, Ready, march
from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from mechanics.interval import cut_at_level, pick_friction
from network.level import Level
from network.sags import Sags
from network.way import Way, spread

# Stretches of so few pieces are looked over piece by piece, all at once.
_SHORT = 12

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
        self.slips = way.slips
        self.filled = end > begin
        # Number of each stretch among those that have segments.
        self.number = np.cumsum(self.filled) - 1
        begin, end = begin[self.filled], end[self.filled]
        self.count = begin.size
        self._level: Level | None = None
        if not self.count:
            return
        offsets = np.concatenate(([0], np.cumsum(end - begin)))
        own = None if slid is None else slid[self.filled]
        pieces = way.lay_out(spread(begin, end), offsets, offsets[:-1], own)
        scales = np.broadcast_to(scale, self.filled.shape)[self.filled]
        chain, rub = pieces.chain, pieces.rubbing
        upper = (np.repeat(scales, end - begin) * way.upper[spread(begin, end)])[pieces.item]
        weight = way.weight[pieces.segment]
        if way.slips:
            chain, source = cut_at_level(chain, weight, rub, 0.0)
            rub, upper, weight = pick_friction(rub, source), upper[source], weight[source]
        if way.falls:
            chain, source = cut_at_level(chain, weight, rub, np.where(upper < np.inf, upper, 0.0))
            rub, upper, weight = pick_friction(rub, source), upper[source], weight[source]
        upper = np.minimum(upper, UNLIMITED)
        self.first, self.last = chain.offsets[:-1], chain.offsets[1:] - 1
        self._longest = int(np.max(self.last - self.first)) + 1
        # Where two pieces meet, both limits hold.
        self.bound = np.minimum(upper, np.append(upper[1:], UNLIMITED))
        self.bound[self.last] = upper[self.last]
        self.upper, self.scales = upper, scales
        if not way.falls and self._longest <= _SHORT and Level.serves(chain, rub):
            first, count = np.zeros((2, self.filled.size), dtype=np.int64)
            first[self.filled], count[self.filled] = self.first, np.diff(chain.offsets)
            self._level = Level(chain, weight, np.asarray(rub), first, count, upper, self.bound)
            self._scale = np.broadcast_to(scale, self.filled.shape)
            return
        self.layout = Layout(chain)
        self.laws = Laws.of(self.layout, weight, rub)
        self._ready = Ready(self.layout, self.laws)
        self._sags = Sags(chain, weight, rub, upper, self.first) if way.falls else None

    def carry(
        self, stretch: IntArray, low: FloatArray, high: FloatArray, floor: float, held: bool = True
    ) -> tuple[FloatArray, FloatArray, FloatArray, NDArray[np.bool_] | None]:
        """Carry intervals, each through one of the stretches.

        Parameters
        ----------
        stretch : ndarray of int, shape (n,)
            Which one.
        low, high : ndarray, shape (n,)
            Tensions entering. [N]
        floor : float
            Least tension allowed. [N]
        held : bool, optional
            Whether the upper ends are carried as well; if not, only where no cable has to be held back do the lower
            ends tell all.

        Returns
        -------
        low, high : ndarray, shape (n,)
            Tensions leaving; low above high, or NaN, where none serves. Where nothing on the way is so steep that the
            cable slips, it never has to be held back, so that the lower end alone decides and the upper is left as it
            was. [N]
        load : ndarray, shape (n,)
            Worst utilisation at the lower end; NaN where that was raised on the way. Above the limits it may be any that is.
        raised : ndarray of bool, shape (n,), or None
            Where the lower end was raised on the way; None where it never is.
        """
        if self._level is not None:
            low, worst = self._level.carry(stretch, low)
            scales = self._scale.take(stretch)
            worst *= scales
            return np.where(worst <= scales, low, np.nan), high, worst, None
        load = np.zeros(low.size)
        which = np.flatnonzero(self.filled[stretch])
        if not which.size:
            return low, high, load, None
        column = self.number[stretch[which]]
        row = _place_in_group(column)
        entering, head = low[which], self.upper[self.first[column]]
        lowest = self._march(row, column, entering, floor if self.slips else None, None)
        last = self.last[column]
        worst = self._over(np.maximum, lowest / self.bound)[row, column]
        worst = np.maximum(worst, entering / head) * self.scales[column]
        low, load[which] = low.copy(), worst
        raised = None
        possible = worst <= self.scales[column]
        if self.slips:
            raised = np.zeros(low.size, dtype=bool)
            raised[which] = self._over(np.minimum, lowest)[row, column] <= floor
            load[raised] = np.nan
        if self.slips and held:
            most = np.minimum(high[which], head)
            highest = self._march(row, column, most, None, self.bound)
            high = high.copy()
            high[which] = highest[row, last]
            # An interval that enters above the first limit is empty, however it goes on.
            possible = entering <= most
        if self._sags is not None:
            peaks = self._sags.loads(row, column, entering, lowest)
            load[which] = np.maximum(load[which], peaks * self.scales[column])
        low[which] = np.where(possible, lowest[row, last], np.nan)
        return low, high, load, raised

    def _march(
        self,
        row: IntArray,
        column: IntArray,
        entering: FloatArray,
        floor: float | None,
        ceiling: FloatArray | None,
    ) -> FloatArray:
        """Tensions at the end of each piece, one row for each label that shares a stretch with others."""
        entry = np.full((int(row.max()) + 1, self.count), np.nan)
        entry[row, column] = entering
        n = len(self.layout)
        stepped = march(
            self.layout,
            self.laws,
            entry[:, self.layout.entries],
            None,
            None if floor is None else np.full(n, floor),
            None if ceiling is None else ceiling[self.layout.index],
            ready=self._ready,
        )
        tension = np.empty_like(stepped)
        tension[:, self.layout.index] = stepped
        return tension

    def _over(self, extreme: np.ufunc, values: FloatArray) -> FloatArray:
        """The greatest or least of each stretch's values: by place in the stretch where all are short."""
        if self._longest > _SHORT:
            return np.asarray(extreme.reduceat(values, self.first, axis=1))
        over = values[:, self.first]
        for place in range(1, self._longest):
            # Shorter stretches have their last piece looked at again.
            over = extreme(over, values[:, np.minimum(self.first + place, self.last)])
        return over


def _place_in_group(group: IntArray) -> IntArray:
    """Number the members of each group from 0, in their order."""
    if np.all(group[1:] > group[:-1]):
        return np.zeros(group.size, dtype=np.int64)
    order = np.argsort(group, kind="stable")
    ranked = group[order]
    place = np.empty(group.size, dtype=np.int64)
    place[order] = np.arange(group.size) - np.searchsorted(ranked, ranked)
    return place
