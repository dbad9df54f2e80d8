"""The chain: consecutive straights and curves, each by four numbers; the shape of a duct without a place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mechanics.errors import DomainError, FloatArray, in_range, several, whole

IntArray = NDArray[np.int64]

_HALF_PI = float(np.pi / 2)


@dataclass(frozen=True, eq=False)
class Chain:
    """One chain, or many in one ragged object, as arrays of segments.

    Heading (in plan) and grade (above the horizontal) vary linearly along each segment.

    Parameters
    ----------
    length : array_like, shape (n,)
        Length along the 3-D centreline, above 0. [m]
    grade_in, grade_out : array_like, shape (n,)
        Grade at the start and the end, within [-pi/2, pi/2], upward positive. [rad]
    turn : array_like, shape (n,)
        Change of heading, left positive. [rad]
    offsets : array_like of int, shape (m + 1,), optional
        Chain k is segments ``offsets[k]:offsets[k + 1]``; default one chain of all segments.

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> chain = Chain(length=[10.0, 4.7], grade_in=[0, 0], grade_out=[0, 0], turn=[0, 1.57])
    >>> float(chain.station[-1])
    14.7
    >>> [float(t) for t in chain.reversed().turn]
    [-1.57, 0.0]
    """

    length: FloatArray
    grade_in: FloatArray
    grade_out: FloatArray
    turn: FloatArray
    offsets: IntArray

    def __init__(
        self,
        length: ArrayLike,
        grade_in: ArrayLike,
        grade_out: ArrayLike,
        turn: ArrayLike,
        offsets: ArrayLike | None = None,
    ) -> None:
        fields = _usual(length, grade_in, grade_out, turn) or {
            "length": in_range("length", length, above=0.0),
            "grade_in": in_range("grade_in", grade_in, at_least=-_HALF_PI, at_most=_HALF_PI),
            "grade_out": in_range("grade_out", grade_out, at_least=-_HALF_PI, at_most=_HALF_PI),
            "turn": in_range("turn", turn),
        }
        n = fields["length"].size
        for name, array in fields.items():
            if array.ndim != 1:
                raise DomainError(f"{name} must be a row of numbers, one a segment, got shape {array.shape}")
            if array.shape != (n,):
                raise DomainError(f"{name} must have shape ({n},) like length, got {array.shape}")
        if offsets is None:
            for name, array in fields.items():
                self._freeze(name, np.array(array))
            self._freeze("offsets", np.array([0, n], dtype=np.int64))
            return
        try:
            bounds = np.asarray(offsets)
        except ValueError as error:
            raise DomainError("offsets must be a row of integers, got rows of several lengths") from error
        if bounds.ndim != 1 or bounds.size < 1 or not np.issubdtype(bounds.dtype, np.integer):
            raise DomainError(
                f"offsets must be a row of integers, got shape {bounds.shape} of {bounds.dtype}"
            )
        if bounds.max() > n:  # before a cast that could wrap
            bad = int(bounds.argmax())
            raise DomainError(
                f"offsets must rise from 0 to the number of segments {n}, got offsets[{bad}] = {bounds[bad]}"
            )
        bounds = bounds.astype(np.int64)
        if bounds[0] != 0 or bounds[-1] != n or np.any(np.diff(bounds) < 0):
            bad = int(np.argmax(np.diff(bounds) < 0)) + 1 if bounds[0] == 0 and bounds[-1] == n else 0
            raise DomainError(
                f"offsets must rise from 0 to the number of segments {n}, got {bounds.tolist()[max(bad - 3, 0) : bad + 5]}"
                f" from offsets[{max(bad - 3, 0)}] on"
            )
        for name, array in fields.items():
            self._freeze(name, np.array(array))
        self._freeze("offsets", bounds)

    def _freeze(self, name: str, array: FloatArray | IntArray) -> None:
        array.setflags(write=False)
        object.__setattr__(self, name, array)

    def __len__(self) -> int:
        """Return the number of segments, over all chains."""
        return int(self.length.size)

    @property
    def count(self) -> int:
        """Number of chains in this object."""
        return int(self.offsets.size) - 1

    @property
    def station(self) -> FloatArray:
        """Distance from each chain's start to the end of each segment, shape (n,). [m]"""
        total = np.cumsum(self.length)
        before = np.concatenate(([0.0], total))[self.offsets[:-1]]
        return np.asarray(total - np.repeat(before, np.diff(self.offsets)))

    @property
    def total_length(self) -> float:
        """Length of all segments together. [m]"""
        return float(self.length.sum())

    @property
    def curvature(self) -> FloatArray:
        """Greatest curvature within each segment, shape (n,). [1/m]

        The horizontal part is heading rate times cos(grade), so it is greatest where the grade is least steep.
        """
        if not (self.grade_in.any() or self.grade_out.any()):
            return np.asarray(np.abs(self.turn / self.length))
        flattest = np.where(
            self.grade_in * self.grade_out <= 0.0,
            1.0,
            np.maximum(np.cos(self.grade_in), np.cos(self.grade_out)),
        )
        vertical = (self.grade_out - self.grade_in) / self.length
        return np.asarray(np.hypot(vertical, self.turn / self.length * flattest))

    def reversed(self) -> Chain:
        """Return the same shape travelled the other way (every chain of it, in the same order of chains)."""
        order = np.repeat(self.offsets[:-1] + self.offsets[1:] - 1, np.diff(self.offsets)) - np.arange(
            len(self)
        )
        # what is sound one way is sound the other way: nothing to check again
        back = object.__new__(Chain)
        back._freeze("length", self.length[order])
        back._freeze("grade_in", 0.0 - self.grade_out[order])  # not -x, which makes -0.0 of 0.0
        back._freeze("grade_out", 0.0 - self.grade_in[order])
        back._freeze("turn", 0.0 - self.turn[order])
        back._freeze("offsets", self.offsets)
        return back

    def chain(self, index: int) -> Chain:
        """Return chain number ``index`` alone."""
        whole("index", index, at_least=0, at_most=self.count - 1)
        return self.part(int(self.offsets[index]), int(self.offsets[index + 1]))

    def chains(self, begin: int, end: int) -> Chain:
        """Return chains ``begin:end``, still side by side."""
        if not 0 <= whole("begin", begin) <= whole("end", end) <= self.count:
            raise DomainError(f"begin and end must rise within 0 to {self.count}, got {begin} and {end}")
        start, stop = int(self.offsets[begin]), int(self.offsets[end])
        some = object.__new__(Chain)
        for name in ("length", "grade_in", "grade_out", "turn"):
            some._freeze(name, getattr(self, name)[start:stop])
        some._freeze("offsets", self.offsets[begin : end + 1] - start)
        return some

    def part(self, start: int, stop: int) -> Chain:
        """Return segments ``start:stop`` as one chain."""
        if not 0 <= whole("start", start) <= whole("stop", stop) <= len(self):
            raise DomainError(f"start and stop must rise within 0 to {len(self)}, got {start} and {stop}")
        cut = slice(start, stop)
        return Chain(self.length[cut], self.grade_in[cut], self.grade_out[cut], self.turn[cut])

    def apart(self) -> list[Chain]:
        """Return every chain of this object by itself, sharing its numbers."""
        bounds = self.offsets.tolist()
        rows = [(name, getattr(self, name)) for name in ("length", "grade_in", "grade_out", "turn")]
        sizes: dict[int, IntArray] = {}
        out = []
        for start, stop in pairwise(bounds):
            # what is sound together is sound by itself: nothing to check again
            one = object.__new__(Chain)
            own = one.__dict__
            for name, row in rows:
                own[name] = row[start:stop]
            n = stop - start
            if n not in sizes:
                sizes[n] = np.array([0, n], dtype=np.int64)
                sizes[n].setflags(write=False)
            own["offsets"] = sizes[n]
            out.append(one)
        return out

    @staticmethod
    def joined(chains: Sequence[Chain]) -> Chain:
        """Return all segments of ``chains`` end to end as one chain."""
        return Chain(*Chain._stacked(several("chains", chains, Chain)))

    @staticmethod
    def ragged(chains: Sequence[Chain]) -> Chain:
        """Return ``chains`` side by side in one object, each kept apart."""
        chains = several("chains", chains, Chain)
        counts = np.concatenate([np.diff(c.offsets) for c in chains]) if chains else np.zeros(0, np.int64)
        return Chain(
            *Chain._stacked(chains), offsets=np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
        )

    @staticmethod
    def _stacked(chains: Sequence[Chain]) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        if not chains:
            empty = np.zeros(0)
            return empty, empty, empty, empty
        return (
            np.concatenate([c.length for c in chains]),
            np.concatenate([c.grade_in for c in chains]),
            np.concatenate([c.grade_out for c in chains]),
            np.concatenate([c.turn for c in chains]),
        )


def _usual(*fields: ArrayLike) -> dict[str, FloatArray] | None:
    """Return length, grades and turn checked all at once where they are rows of one length and nothing is wrong.

    A survey makes a hundred thousand chains, and checking each array by itself would be most of the work.
    """
    if any(isinstance(field, np.ma.MaskedArray) for field in fields):
        return None
    try:
        rows = np.array(fields)
    except (TypeError, ValueError):
        return None
    if rows.ndim != 2 or rows.dtype.kind not in "fiu":
        return None
    rows = rows.astype(np.float64, copy=False)
    if not np.isfinite(rows).all():
        return None
    if rows.shape[1] and (rows[0].min() <= 0.0 or np.abs(rows[1:3]).max() > _HALF_PI):
        return None
    return dict(zip(("length", "grade_in", "grade_out", "turn"), rows, strict=True))
