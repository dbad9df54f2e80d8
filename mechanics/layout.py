"""Chains set out for evaluation, so that one step carries the tension of many chains through one segment each."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import Chain, IntArray
from mechanics.errors import DomainError, FloatArray, instance

Kind = Literal["straight", "flat bend", "vertical bend", "curve"]
_KINDS: tuple[Kind, ...] = ("straight", "flat bend", "vertical bend", "curve")
STRAIGHT, FLAT, VERTICAL, CURVE = range(4)
_NO_TURN = 1e-12  # a smaller turn [rad] changes no tension by more than rounding
_MOST_TURN = 1e4  # a curve that turns further [rad] would take too long to integrate, and is no duct
LANES = 8192  # chains a block: what one step works on stays in cache
_PART = 8192  # rows measured at a time, for the same reason


def kinds(chain: Chain) -> tuple[Kind, ...]:
    """Return which of the four solutions each segment has.

    Parameters
    ----------
    chain : Chain
        One chain or many.

    Returns
    -------
    tuple of str
        ``straight``, ``flat bend`` and ``vertical bend`` have closed forms, ``curve`` is integrated.

    Raises
    ------
    DomainError
        No chain.

    Examples
    --------
    >>> kinds(Chain(length=[9, 5, 5, 5], grade_in=[0, 0, 0, 0.1], grade_out=[0, 0, 0.1, 0.1], turn=[0, 1, 0, 1]))
    ('straight', 'flat bend', 'vertical bend', 'curve')
    """
    instance("chain", chain, Chain)
    return tuple(_KINDS[k] for k in _kind_numbers(chain.grade_in, chain.grade_out, chain.turn))


def _kind_numbers(grade_in: FloatArray, grade_out: FloatArray, turn: FloatArray) -> NDArray[np.int8]:
    turns = np.abs(turn) > _NO_TURN
    changes = grade_in != grade_out
    number = turns.astype(np.int8)  # STRAIGHT or FLAT
    if changes.any() or grade_in.any():
        number[changes] += VERTICAL
        number[turns & (grade_in != 0.0)] = CURVE
    return number


class Step(NamedTuple):
    """The segments at one position in the chains of a group.

    Parameters
    ----------
    start, stop : int
        Rows of the layout.
    straight, flat : bool
        Whether any of them is a straight, or a flat bend.
    """

    start: int
    stop: int
    straight: bool
    flat: bool


class Layout:
    """A chain, or many, set out for evaluation: the first segments of many chains, then the second ones, and so on.

    Building it costs a few evaluations; build it once where a geometry is used again (many bundles, many frictions)
    and pass it in place of the chain.

    Parameters
    ----------
    chain : Chain
        One chain or many.

    Raises
    ------
    DomainError
        A curve that winds round more than a thousand times.

    Attributes
    ----------
    index : ndarray of int, shape (n,)
        Segment of ``chain`` in each row of the layout.
    entries : ndarray of int, shape (m,)
        Chains that have segments, in the layout's order.

    Notes
    -----
    A block is neighbouring chains, so that its rows and its segments cover the same range; a group is those of a block
    that begin alike, longest first, so that the chains with a k-th segment are always the leading ones.
    """

    __slots__ = (
        "along",
        "blocks",
        "bounds",
        "chain",
        "curves",
        "entries",
        "index",
        "inverse",
        "kind",
        "other",
        "vertical",
    )

    def __init__(self, chain: Chain) -> None:
        self.chain = instance("chain", chain, Chain)
        counts = np.diff(chain.offsets)
        kind = _kind_numbers(chain.grade_in, chain.grade_out, chain.turn)
        used = np.flatnonzero(counts)
        order: list[IntArray] = []
        rows: list[IntArray] = []
        sizes: list[list[int]] = []  # steps of each group of each block
        for begin in range(0, used.size, LANES):
            lanes = used[begin : begin + LANES]
            sizes.append([])
            for group in _alike(lanes, kind[chain.offsets[lanes]]):
                group = group[np.argsort(-counts[group], kind="stable")]
                start, count = chain.offsets[group], counts[group][::-1]
                wide = group.size - np.searchsorted(count, np.arange(int(count[-1])), side="right")
                rows += [start[:w] + k for k, w in enumerate(wide.tolist())]
                order.append(group)
                sizes[-1].append(wide.size)
        none = np.zeros(0, dtype=np.int64)
        self.entries: IntArray = np.concatenate([none, *order])
        self.index: IntArray = np.concatenate([none, *rows])
        self.bounds: IntArray = np.cumsum([0, *(row.size for row in rows)])
        self.kind = kind.take(self.index)
        self.vertical, self.curves = none, none
        if self.kind.max(initial=STRAIGHT) >= VERTICAL:
            self.vertical = np.flatnonzero(self.kind == VERTICAL)
            self.curves = np.flatnonzero(self.kind == CURVE)
            wound = np.abs(chain.turn[self.index[self.curves]]) > _MOST_TURN
            if wound.any():
                at = int(self.index[self.curves[np.argmax(wound)]])
                raise DomainError(
                    f"turn[{at}] must be within {_MOST_TURN:g} either way on a slope, got {float(chain.turn[at])!r}"
                )
        self.blocks = self._steps(sizes)
        self._measures(kind)

    def __len__(self) -> int:
        """Return the number of segments, over all chains."""
        return int(self.index.size)

    def _steps(self, sizes: list[list[int]]) -> list[list[list[Step]]]:
        if not sizes:
            return []
        starts = self.bounds[:-1]
        has = [np.logical_or.reduceat(self.kind == kind, starts).tolist() for kind in (STRAIGHT, FLAT)]
        steps = iter(Step(*s) for s in zip(starts.tolist(), self.bounds[1:].tolist(), *has, strict=True))
        return [[list(islice(steps, size)) for size in block] for block in sizes]

    def _measures(self, kind: NDArray[np.int8]) -> None:
        """Take what tensions are reckoned with: run and rise of straights, angle and squared radius of flat bends."""
        n = len(self)
        along, other = np.empty(n), np.empty(n)
        sloped = bool(self.chain.grade_in.any())
        for begin in range(0, n, _PART):
            part = slice(begin, begin + _PART)
            length, turn, flat = self.chain.length[part], np.abs(self.chain.turn[part]), kind[part] == FLAT
            rise: FloatArray | float = 0.0
            run = length
            if sloped:
                grade = self.chain.grade_in[part]
                rise, run = length * np.sin(grade), length * np.cos(grade)
            along[part] = np.where(flat, turn, run)
            radius = length / (turn + ~flat)
            other[part] = np.where(flat, radius * radius, rise)
        self.along, self.other = along.take(self.index), other.take(self.index)
        self.inverse: IntArray = np.empty(n, dtype=np.int64)
        for block in self.blocks:
            first, stop = block[0][0].start, block[-1][-1].stop
            self.inverse[self.index[first:stop]] = np.arange(stop - first)


def _alike(lanes: IntArray, first: NDArray[np.int8]) -> Iterator[IntArray]:
    """Part the chains of a full block into those that begin with a straight and the others: steps of one kind are quicker."""
    straight = first == STRAIGHT
    if lanes.size < LANES or straight.all() or not straight.any():
        yield lanes
    else:
        yield lanes[straight]
        yield lanes[~straight]
