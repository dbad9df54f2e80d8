"""All feeds of a way at once, span by span, where tension never falls: every step is one closed form on whole arrays.

The feeds are carried side by side: at each step feed ``i`` is in span ``i + step``, so that what the spans do to a
tension is read as plain slices of arrays that have one element a span. Nothing is looked up, sorted or copied between
the steps; feeds that have passed a limit are carried on unheeded until none of their block is left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

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
# Places may be empty in so many stretches for each that fills one.
_WASTE = 4


@dataclass(frozen=True, eq=False)
class _Place:
    """The pieces at one place in every stretch; a stretch that is shorter has one that changes nothing.

    What bends do: squared weight on the radius, hyperbolic sine and cosine; the most tension allowed at their ends, where
    no lower limit follows; and what straights add; each of shape (m,), or None where no piece is of that kind.
    """

    bends: tuple[FloatArray, FloatArray, FloatArray] | None
    bound: FloatArray | None
    add: FloatArray | None


class Sweep:
    """A way on which tension never falls, set out for all of its feeds together; see :meth:`serves`.

    Parameters
    ----------
    way : Way
        In its direction.
    assist : ndarray or None
        Force of an assist at each vault. [N]
    floor : float
        Least tension behind one. [N]
    other : Sweep, optional
        Of the same row the other way, on the flat: what a segment does to a tension is the same either way.
    """

    def __init__(self, way: Way, assist: FloatArray | None, floor: float, other: Sweep | None = None) -> None:
        self._assist, self._floor = assist, floor
        self._segments: tuple[NDArray[Any], ...]
        self._last, n = way.spans, int(way.last[-1])
        chain = way.whole.chain
        if other is not None and not (chain.grade_in.any()):
            self._segments = tuple(np.ascontiguousarray(values[::-1]) for values in other._segments)
        else:
            weight, rub = way.weight[:n], np.asarray(way.whole.rubbing)[:n]
            length, turn, grade = chain.length[:n], np.abs(chain.turn[:n]), chain.grade_in[:n]
            bend = turn != 0.0
            curved = np.flatnonzero(bend)
            add = weight * rub * (length * np.cos(grade) if grade.any() else length)
            if grade.any():
                add += weight * (length * np.sin(grade))
            add[curved] = 0.0
            radius, angle = length[curved] / turn[curved], rub[curved] * turn[curved]
            press, sinh, cosh = np.zeros(n), np.zeros(n), np.ones(n)
            press[curved] = weight[curved] ** 2 * radius**2
            sinh[curved], cosh[curved] = np.sinh(angle), np.cosh(angle)
            self._segments = add, bend, press, sinh, cosh
        upper = np.ascontiguousarray(way.upper[:n])
        end = np.append(0, way.last[:-1])
        self._bound = upper[way.last - 1]
        self._spans = self._places(way.first, way.last - way.first, upper)
        self._turns = self._places(end, way.first - end, upper)
        self._turned = np.append(np.inf, upper[way.first[1:] - 1])

    @staticmethod
    def serves(way: Way) -> bool:
        """Return whether a way has nothing but straights and bends on the flat, none falling, of one friction each."""
        if way.ages or way.falls or isinstance(way.whole.rubbing, PressedFriction):
            return False
        longest, end = 0, np.append(0, way.last[:-1])
        for count in (way.first - end, way.last - way.first):
            longest += int(count.max())
        few = longest * way.spans <= _WASTE * int(way.last[-1])
        return few and Level.serves(way.whole.chain, way.whole.rubbing)

    def _places(self, first: IntArray, count: IntArray, upper: FloatArray) -> list[_Place]:
        """The pieces of stretches that begin at ``first`` and have ``count`` of them, place by place."""
        add, bend, press, sinh, cosh = self._segments
        places = []
        least = np.full(count.size, np.inf) if self._assist is not None else self._bound
        for place in reversed(range(int(count.max(initial=0)))):
            there = count > place
            at = first + place if there.all() else np.where(there, first + place, 0)
            bends, adds = bend.take(at) & there, add.take(at)
            adds *= there
            curved = bound = None
            if bends.any():
                curved = press.take(at), sinh.take(at), cosh.take(at)
                bound = upper.take(at)
                if not bends.all():
                    for values, nothing in zip((*curved, bound), (0.0, 0.0, 1.0, np.inf), strict=True):
                        values[~bends] = nothing
                # Tension never falls: a limit that is no lower than one later on shows nothing.
                lower = bound < least
                least = np.minimum(least, bound)
                bound = bound if lower.any() else None
            places.append(_Place(curved, bound, adds if adds.any() else None))
        return places[::-1]

    def carry(
        self, feeds: range, farthest: IntArray, low: float, load: float, scale: float, behind: Stage
    ) -> tuple[IntArray, IntArray, FloatArray]:
        """Carry one tension from each of neighbouring feeds as far as the limits let it.

        Parameters
        ----------
        feeds : range
            Vaults, rising one by one.
        farthest : ndarray of int, shape (n,)
            Farthest pull vault to look at, for each.
        low : float
            Tension entering the first span. [N]
        load : float
            Greatest part of a limit before it.
        scale : float
            Limits are taken times this.
        behind : Stage
            The guides at a pull vault.

        Returns
        -------
        feed, pull : ndarray of int, shape (k,)
            Vaults reached, sorted by feed and pull.
        load : ndarray, shape (k,)
            The greatest part of a limit on the way.
        """
        found: list[tuple[IntArray, IntArray, FloatArray]] = []
        with np.errstate(over="ignore", invalid="ignore"):
            for begin in range(feeds.start, feeds.stop, _BLOCK):
                end = min(begin + _BLOCK, feeds.stop)
                own = farthest[begin - feeds.start : end - feeds.start]
                loads = self._block(begin, own, low, load, scale, behind)
                at = np.flatnonzero(loads <= scale)
                worst = loads.ravel().take(at)
                lane = at // max(loads.shape[1], 1)
                at -= lane * loads.shape[1]
                lane += begin
                at += lane
                at += 1
                found.append((lane, at, worst))
        if not found:
            none = np.zeros(0, dtype=np.int64)
            return none, none, np.zeros(0)
        feed, pull, worst = (np.concatenate(column) for column in zip(*found, strict=True))
        return feed, pull, worst

    def _block(
        self, begin: int, farthest: IntArray, low: float, load: float, scale: float, behind: Stage
    ) -> FloatArray:
        """Load of a pull from each feed of a block to each vault after it, shape (feeds, steps); NaN where none."""
        tension, worst = np.full(farthest.size, low), np.full(farthest.size, load)
        spare = np.empty(farthest.size)
        reach = farthest - begin - np.arange(farthest.size)
        nearer = bool(np.any(farthest < self._last))
        loads: list[FloatArray] = []
        step = 0
        while True:
            lanes = min(farthest.size, self._last - begin - step)
            if lanes <= 0:
                break
            here = slice(begin + step, begin + step + lanes)
            work = tension[:lanes], worst[:lanes], spare[:lanes]
            if step:
                self._through(self._turns, here, work)
                if self._assist is not None:
                    np.maximum(work[1], work[0] / self._turned[here], out=work[1])
                    np.maximum(work[0] - self._assist[here], self._floor, out=work[0])
            self._through(self._spans, here, work)
            np.maximum(work[1], np.divide(work[0], self._bound[here], out=work[2]), out=work[1])
            there = np.append(work[1], np.full(farthest.size - lanes, np.nan))
            if nearer:
                there[reach <= step] = np.nan
            if not (there <= scale).any():
                break
            if behind.count:
                guided = behind.carry(np.zeros(lanes, dtype=np.int64), work[0], work[0], self._floor)[2]
                np.maximum(there[:lanes], guided, out=there[:lanes])
            loads.append(there)
            step += 1
        return np.stack(loads, axis=1) if loads else np.zeros((farthest.size, 0))

    @staticmethod
    def _through(places: list[_Place], here: slice, work: tuple[FloatArray, FloatArray, FloatArray]) -> None:
        """Carry tensions on through the stretches of a slice, and note the greatest part of a limit.

        It is greatest at the end of a bend or of the stretch: no straight has a limit of its own.
        """
        tension, worst, spare = work
        for place in places:
            if place.bends is not None:
                press, sinh, cosh = place.bends
                np.multiply(tension, tension, out=spare)
                spare += press[here]
                np.sqrt(spare, out=spare)
                spare *= sinh[here]
                np.multiply(tension, cosh[here], out=tension)
                tension += spare
            if place.bound is not None:
                np.divide(tension, place.bound[here], out=spare)
                np.maximum(worst, spare, out=worst)
            if place.add is not None:
                tension += place.add[here]
