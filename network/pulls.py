"""Feasible pulls between the vaults of a row: one at a time, and all of a row as arrays."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from mechanics.chain import IntArray
from mechanics.errors import DomainError, FloatArray


@dataclass(frozen=True)
class PullOption:
    """A feasible pull between two vaults of the row.

    Parameters
    ----------
    feed, pull : int
        Vault indices; feed > pull is a pull against the row's direction.
    relube : tuple of int
        Vault indices where lubricant is added, in the direction of the pull.
    utilisation : float
        Worst of a binding check.
    climb : float
        Sum of rises in the direction of the pull. [m]

    Raises
    ------
    DomainError
        A pull that goes nowhere, a re-lube vault that it does not pass, a figure that is not finite.
    """

    feed: int
    pull: int
    relube: tuple[int, ...]
    utilisation: float
    climb: float

    def __post_init__(self) -> None:
        step = 1 if self.pull > self.feed else -1
        way = [step * v for v in (self.feed, *self.relube, self.pull)]
        if any(not a < b for a, b in itertools.pairwise(way)):
            raise DomainError(
                f"a pull runs from feed through relube to pull, got {self.feed}, {self.relube}, {self.pull}"
            )
        for name, value in (("utilisation", self.utilisation), ("climb", self.climb)):
            if not (value >= 0.0 and math.isfinite(value)):
                raise DomainError(f"{name} must be finite and at least 0, got {value!r}")


@dataclass(frozen=True, eq=False)
class PullTable:
    """All feasible pulls of a row as arrays, one element an option.

    Parameters
    ----------
    feed, pull : ndarray of int, shape (n,)
        Vault indices.
    utilisation, climb : ndarray, shape (n,)
        As in :class:`PullOption`. [-, m]
    relube : ndarray of int, shape (m,)
        Vault indices of the re-lube stops of all options, one option's after another's.
    offsets : ndarray of int, shape (n + 1,)
        Option k is re-lubricated at ``relube[offsets[k]:offsets[k + 1]]``.

    Raises
    ------
    DomainError
        Shapes that do not fit together, a figure that is not finite.
    """

    feed: IntArray
    pull: IntArray
    utilisation: FloatArray
    climb: FloatArray
    relube: IntArray
    offsets: IntArray

    def __post_init__(self) -> None:
        n = self.feed.size
        for name in ("feed", "pull", "utilisation", "climb"):
            if getattr(self, name).shape != (n,):
                raise DomainError(f"{name} must have shape ({n},), got {getattr(self, name).shape}")
        if self.offsets.shape != (n + 1,):
            raise DomainError(f"offsets must have shape ({n + 1},), got {self.offsets.shape}")
        for name in ("utilisation", "climb"):
            values = getattr(self, name)
            good = np.isfinite(values) & (values >= 0.0)
            if not good.all():
                k = int(np.argmin(good))
                raise DomainError(f"{name}[{k}] must be finite and at least 0, got {float(values[k])!r}")

    def __len__(self) -> int:
        """Return the number of options."""
        return int(self.feed.size)

    @property
    def stops(self) -> IntArray:
        """Number of re-lube stops of each option, shape (n,)."""
        return np.diff(self.offsets)

    def stops_of(self, index: int) -> tuple[int, ...]:
        """Return the re-lube vaults of one option."""
        return tuple(int(v) for v in self.relube[self.offsets[index] : self.offsets[index + 1]])

    def option(self, index: int) -> PullOption:
        """Return one option on its own."""
        return PullOption(
            int(self.feed[index]),
            int(self.pull[index]),
            self.stops_of(index),
            float(self.utilisation[index]),
            float(self.climb[index]),
        )

    @staticmethod
    def of(options: Iterable[PullOption]) -> PullTable:
        """Return single options as one table, in their order.

        Parameters
        ----------
        options : iterable of PullOption
            In any order.

        Returns
        -------
        PullTable
            One element an option.
        """
        rows = list(options)
        stops = np.array([len(o.relube) for o in rows], dtype=np.int64)
        return PullTable(
            np.array([o.feed for o in rows], dtype=np.int64),
            np.array([o.pull for o in rows], dtype=np.int64),
            np.array([o.utilisation for o in rows], dtype=np.float64),
            np.array([o.climb for o in rows], dtype=np.float64),
            np.array([v for o in rows for v in o.relube], dtype=np.int64),
            np.concatenate(([0], np.cumsum(stops))).astype(np.int64),
        )
