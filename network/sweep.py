"""All feeds of a level row at once, span by span, both ways: every step is one closed form on whole arrays.

The feeds are carried side by side: in the row's direction, feed ``i`` is in span ``i + step`` at each step, against it
in span ``i - 1 - step``. So what the spans do to a tension is read as plain slices of arrays that have one element a
span. Nothing is looked up, sorted or copied between the steps; feeds that have passed a limit are carried on unheeded
until none of their block is left.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from mechanics.contact import PressedFriction
from mechanics.errors import FloatArray
from network.level import Level
from network.stage import Stage
from network.way import Way

# Feeds carried together: what one step works on stays in cache.
_BLOCK = 8192
# Spans of the longest pull to make room for at first.
_STEPS = 16
# Places may be empty in so many stretches for each that fills one.
_WASTE = 4


@dataclass(frozen=True, eq=False)
class _Place:
    """The pieces at one place in every stretch; a stretch that is shorter has one that changes nothing.

    What bends do: squared weight on the radius, hyperbolic sine and cosine; and what straights add; each of shape (m,),
    or None where no piece is of that kind. The most tension allowed at the end of each bend, of shape (m,), for pulls in
    the row's direction and for those against it; None where lower limits that follow show all that it would.
    """

    bends: tuple[FloatArray, FloatArray, FloatArray] | None
    add: FloatArray | None
    bounds: list[FloatArray | None]


class Sweep:
    """A level row, on which tension never falls, set out for all of its feeds together; see :meth:`serves`.

    Parameters
    ----------
    way : Way
        In the row's direction.
    assist : ndarray or None
        Force of an assist at each vault. [N]
    floor : float
        Least tension behind one. [N]
    """

    def __init__(self, way: Way, assist: FloatArray | None, floor: float) -> None:
        self._assist, self._floor = assist, floor
        self._way, self._last = way, way.spans
        # Most tension at the far end of each span, and of each vault's crossing, one way and the other.
        self._bounds = way.upper[way.last - 1], way.upper[way.first]
        self._turned = np.full((2, way.spans + 1), np.inf)
        self._turned[:, 1:-1] = way.upper[way.first[1:] - 1], way.upper[way.last[:-1]]
        none = np.full(way.spans, np.inf)
        later = self._bounds if assist is None else (none, none)
        self._spans = self._places(way.first, way.last, later)
        begin, end = (np.zeros(way.spans + 1, dtype=np.int64) for _ in range(2))
        begin[1:-1], end[1:-1] = way.last[:-1], way.first[1:]
        self._turns = self._places(begin, end, (np.append(later[0], np.inf), np.append(np.inf, later[1])))

    @staticmethod
    def serves(way: Way) -> bool:
        """Return whether a way has nothing but straights and bends on the flat, of one friction each."""
        if way.ages or not way.level or isinstance(way.whole.rubbing, PressedFriction):
            return False
        longest, end = 0, np.append(0, way.last[:-1])
        for count in (way.first - end, way.last - way.first):
            longest += int(count.max())
        few = longest * way.spans <= _WASTE * int(way.last[-1])
        return few and Level.serves(way.whole.chain, way.whole.rubbing)

    def _places(self, begin: IntArray, end: IntArray, later: tuple[FloatArray, FloatArray]) -> list[_Place]:
        """The pieces of stretches, place by place; limits ``later`` on follow them in either direction."""
        way, chain = self._way, self._way.whole.chain
        rubbing = np.asarray(way.whole.rubbing)
        columns, limits = [], []
        count = end - begin
        for place in range(int(count.max(initial=0))):
            there = count > place
            # Where there is no piece, a straight of no length stands.
            at = np.minimum(begin + place, len(chain) - 1)
            length, turn, weight, rub = (
                values.take(at) for values in (chain.length, chain.turn, way.weight, rubbing)
            )
            length *= there
            bend = (turn != 0.0) & there
            bends, limit = None, np.full(at.size, np.inf)
            add = weight * rub * length
            if bend.any():
                add *= ~bend
                np.copyto(limit, way.upper.take(at), where=bend)
                turn = np.abs(turn) * bend
                radius, angle = np.divide(length, turn, out=np.zeros(at.size), where=bend), rub * turn
                bends = weight**2 * radius**2, np.sinh(angle), np.cosh(angle)
            columns.append((bends, add if add.any() else None))
            limits.append(limit)
        shown = [self._shown(limits[::-1], later[0])[::-1], self._shown(limits, later[1])]
        return [_Place(*own, [b[k] for b in shown]) for k, own in enumerate(columns)]

    @staticmethod
    def _shown(limits: list[FloatArray], least: FloatArray) -> list[FloatArray | None]:
        """Limits from the last to the first; none for those that are no lower than later ones, for tension never falls."""
        shown: list[FloatArray | None] = []
        for limit in limits:
            shown.append(limit if (limit < least).any() else None)
            least = np.minimum(least, limit)
        return shown

    def loads(
        self,
        feeds: range,
        ends: tuple[IntArray, IntArray],
        entering: tuple[float, float],
        scale: float,
        behind: Stage,
    ) -> FloatArray:
        """Carry one tension from each of neighbouring feeds as far as the limits let it.

        Parameters
        ----------
        feeds : range
            Vaults, rising one by one.
        ends : tuple of two ndarrays of int, shape (n,)
            Farthest pull vaults to look at for each, in the row's direction and against it.
        entering : tuple of float
            Tension entering the first span [N], and the greatest part of a limit before it.
        scale : float
            Limits are taken times this.
        behind : Stage
            The guides at a pull vault.

        Returns
        -------
        ndarray, shape (2, k, spans)
            The greatest part of a limit on a pull through i + 1 spans of which span j is the first of the row, in the
            row's direction and against it; infinite where there is none.
        """
        blocks = [range(b, min(b + _BLOCK, feeds.stop)) for b in range(feeds.start, feeds.stop, _BLOCK)]
        loads, reached = np.full((2, _STEPS, self._last), np.inf), 1
        with np.errstate(over="ignore", invalid="ignore"):
            for against, block in itertools.product((0, 1), blocks):
                end = ends[against][block.start - feeds.start : block.stop - feeds.start]
                for step, here, worst, good in self._carried(block, end, against, entering, scale, behind):
                    if step == loads.shape[1]:
                        loads = np.append(loads, np.full(loads.shape, np.inf), axis=1)
                    np.copyto(loads[against, step, here], worst, where=good)
                    reached = max(reached, step + 1)
        return loads[:, :reached]

    def _carried(
        self,
        feeds: range,
        end: IntArray,
        against: int,
        entering: tuple[float, float],
        scale: float,
        behind: Stage,
    ) -> Iterator[tuple[int, slice, FloatArray, NDArray[np.bool_]]]:
        """Carry the feeds of a block on, one way: step by step, the first spans of their pulls, what loads those, which are good.

        What is yielded holds until the next step.
        """
        count = len(feeds)
        tension, worst, spare = np.full(count, entering[0]), np.full(count, entering[1]), np.empty(count)
        bound, turned = self._bounds[against], self._turned[against]
        reach = np.abs(end - np.arange(feeds.start, feeds.stop))
        # No feed's end is nearer than so many spans, but for the row's own.
        free = reach[end != (0 if against else self._last)].min(initial=self._last)
        for step in range(int(reach.max(initial=0))):
            first = max(feeds.start, step + 1) if against else feeds.start
            after = feeds.stop if against else min(feeds.stop, self._last - step)
            if first >= after:
                return
            lanes = slice(first - feeds.start, after - feeds.start)
            work = tension[lanes], worst[lanes], spare[lanes]
            shift = -1 - step if against else step
            here = slice(first + shift, after + shift)
            if step:
                crossed = slice(here.start + against, here.stop + against)
                self._through(self._turns, crossed, against, work)
                if self._assist is not None:
                    np.maximum(work[1], work[0] / turned[crossed], out=work[1])
                    np.maximum(work[0] - self._assist[crossed], self._floor, out=work[0])
            self._through(self._spans, here, against, work)
            np.maximum(work[1], np.divide(work[0], bound[here], out=work[2]), out=work[1])
            good = work[1] <= scale
            if step >= free:
                good &= reach[lanes] > step
            if not good.any():
                return
            loads = work[1]
            if behind.count:
                loads = np.maximum(
                    loads,
                    behind.carry(np.zeros(loads.size, dtype=np.int64), work[0], work[0], self._floor)[2],
                )
                good &= loads <= scale
            yield step, here if against else slice(first, after), loads, good

    @staticmethod
    def _through(
        places: list[_Place], here: slice, against: int, work: tuple[FloatArray, FloatArray, FloatArray]
    ) -> None:
        """Carry tensions on through the stretches of a slice, and note the greatest part of a limit.

        It is greatest at the end of a bend or of the stretch: no straight has a limit of its own.
        """
        tension, worst, spare = work
        for place in reversed(places) if against else places:
            if place.bends is not None:
                press, sinh, cosh = place.bends
                np.multiply(tension, tension, out=spare)
                spare += press[here]
                np.sqrt(spare, out=spare)
                spare *= sinh[here]
                np.multiply(tension, cosh[here], out=tension)
                tension += spare
            bound = place.bounds[against]
            if bound is not None:
                np.divide(tension, bound[here], out=spare)
                np.maximum(worst, spare, out=worst)
            if place.add is not None:
                tension += place.add[here]
