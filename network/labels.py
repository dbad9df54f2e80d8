"""Labels: intervals of tension on their way along a row, and what may be left out among them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from mechanics.errors import FloatArray


@dataclass(frozen=True, eq=False)
class Labels:
    """Intervals of tension at some place, each of pulls with the same feed and last lubrication.

    Parameters
    ----------
    start : ndarray of int, shape (n,)
        Which of the starts asked for.
    lube : ndarray of int, shape (n,)
        Vault where lubricant was last added; the feed counts.
    low, high : ndarray, shape (n,)
        Tensions; low above high, or NaN: none. [N]
    load : ndarray, shape (n,)
        Worst utilisation on the way at the lower end; NaN where it is not known.
    parent : ndarray of int, shape (n,)
        Label of the round before, at whose vault the lubricant was added; -1: none.
    """

    start: IntArray
    lube: IntArray
    low: FloatArray
    high: FloatArray
    load: FloatArray
    parent: IntArray

    def __len__(self) -> int:
        """Return the number of labels."""
        return int(self.start.size)

    def some(self, pick: NDArray[np.bool_] | IntArray) -> Labels:
        """Return the labels that an index or a mask picks."""
        if pick.dtype == np.bool_ and pick.all():
            return self
        return Labels(*(getattr(self, name)[pick] for name in self.__dataclass_fields__))

    @property
    def possible(self) -> NDArray[np.bool_]:
        """Which intervals are not empty, shape (n,)."""
        return np.asarray(self.low <= self.high)

    @staticmethod
    def joined(labels: Sequence[Labels]) -> Labels:
        """Return all labels one after another."""
        labels = [one for one in labels if len(one)] or labels[:1]
        if len(labels) == 1:
            return labels[0]
        if not labels:
            none = np.zeros(0, dtype=np.int64)
            return Labels(none, none, np.zeros(0), np.zeros(0), np.zeros(0), none)
        return Labels(
            *(np.concatenate([getattr(one, name) for one in labels]) for name in Labels.__dataclass_fields__)
        )


def merged(labels: Labels) -> Labels:
    """Return the unions of the intervals of each start; all labels of a start have the same lubrication.

    Parameters
    ----------
    labels : Labels
        Intervals that are not empty.

    Returns
    -------
    Labels
        Without load and parent.
    """
    ordered = labels.some(np.lexsort((labels.low, labels.start)))
    if not len(ordered):
        return ordered
    new = ordered.low > _running_highest(ordered.start, ordered.high)
    first = np.flatnonzero(new)
    return Labels(
        ordered.start[first],
        ordered.lube[first],
        ordered.low[first],
        np.maximum.reduceat(ordered.high, first),
        np.full(first.size, np.nan),
        np.full(first.size, -1),
    )


def undominated(labels: Labels) -> Labels:
    """Return the labels whose interval does not lie within that of another with the same start and lubrication.

    Parameters
    ----------
    labels : Labels
        Intervals that are not empty.

    Returns
    -------
    Labels
        Sorted by start, lubrication and lower end.
    """
    ordered = labels.some(np.lexsort((-labels.high, labels.low, labels.lube, labels.start)))
    group = ordered.start * (int(ordered.lube.max(initial=0)) + 1) + ordered.lube
    return ordered.some(ordered.high > _running_highest(group, ordered.high))


def freshest(labels: Labels) -> Labels:
    """Return the labels that no other of the same start beats in both tension and freshness of the lubricant.

    Only where more friction is always more tension: where no cable has to be held back.

    Parameters
    ----------
    labels : Labels
        All at one vault for each start.

    Returns
    -------
    Labels
        Sorted by start.
    """
    ordered = labels.some(np.lexsort((labels.low, -labels.lube, labels.start)))
    return ordered.some(-ordered.low > _running_highest(ordered.start, -ordered.low))


def _running_highest(group: IntArray, high: FloatArray) -> FloatArray:
    """The highest value before each element in its group; -inf for a group's first. Groups stand together."""
    before = np.full(high.size, -np.inf)
    if high.size:
        rank = np.empty(high.size, dtype=np.int64)
        rank[np.argsort(high, kind="stable")] = np.arange(high.size)
        number = np.cumsum(np.append(0, group[1:] != group[:-1]))
        # Ranks, not values, so that the running maximum can begin anew with each group.
        so_far = np.maximum.accumulate(rank + number * high.size) - number * high.size
        same = number[1:] == number[:-1]
        before[1:][same] = np.sort(high)[so_far[:-1]][same]
    return before
