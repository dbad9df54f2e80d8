"""How far each feed gets, with how many re-lube stops: intervals of tension carried on span by span.

The tension leaving a segment rises with the tension entering it. So for a given feed and last re-lube vault the entry
tensions that keep the cable taut and within every limit so far are an interval, and so are the tensions that they give
here. Both ends are carried on, the lower clipped at zero, the upper at the limits; an empty interval means that no
entry tension serves, and then no longer pull that begins so can be made either.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from network.labels import Labels, freshest, merged, undominated
from network.stage import UNLIMITED, Stage
from network.sweep import Sweep
from network.way import Way, spread

Held = NDArray[np.bool_] | None
"""Marks the starts of which a cable has to be held back, as they show; None: see :meth:`Carrier.round`."""

# Limits are taken this much higher: what is so close to one is settled by evaluating the pull itself.
_MARGIN = 1.0 + 1e-9


@dataclass(frozen=True, eq=False)
class Starts:
    """Pulls to begin.

    Parameters
    ----------
    feed : ndarray of int, shape (n,)
        Vault of each.
    farthest : ndarray of int, shape (n,)
        Farthest pull vault to look at.
    scale : ndarray, shape (n,)
        Limits are taken times this.
    """

    feed: IntArray
    farthest: IntArray
    scale: FloatArray

    def some(self, pick: IntArray) -> Starts:
        """Return the starts that an index picks."""
        return Starts(self.feed[pick], self.farthest[pick], self.scale[pick])


@dataclass(frozen=True, eq=False)
class Arrivals:
    """Pull vaults that can be reached.

    Parameters
    ----------
    start, pull, label : ndarray of int, shape (n,)
        From which start, which vault, by which of the round's labels; -1 for labels grown on the way.
    load : ndarray, shape (n,)
        Worst utilisation on tension and sidewall pressure at the least entry tension; NaN where it would have to be
        found from the feed on.
    """

    start: IntArray
    pull: IntArray
    label: IntArray
    load: FloatArray


@dataclass(frozen=True, eq=False)
class Reached:
    """Pulls that can be made, each with the fewest re-lube stops it takes.

    Parameters
    ----------
    start, pull, stops : ndarray of int, shape (n,)
        Which start, which pull vault, how many stops; in no order.
    load : ndarray, shape (n,)
        As in :class:`Arrivals`.
    """

    start: IntArray
    pull: IntArray
    stops: IntArray
    load: FloatArray


class Carrier:
    """Carries intervals along a way.

    Parameters
    ----------
    way : Way
        In its direction.

    Attributes
    ----------
    exact : bool
        Whether the intervals tell all. An assist, a pusher, a winch's limit, a brake sized at low friction and limits
        on starting again tie the tensions of a pull together in more ways than an interval can say: then what is found
        here bounds what can be reached, and each pull is to be evaluated.
    """

    def __init__(self, way: Way) -> None:
        self.way = way
        rules = way.rules
        restarts = [rules.overrides.get(name) for name in ("restart_tension", "restart_sidewall")]
        self.exact = not (
            rules.assists
            or rules.pusher
            or rules.puller is not None
            or rules.low_friction_factor is not None
            or any(o is not None and o.binding for o in restarts)
        )
        self._floor = -UNLIMITED if rules.pusher else 0.0
        force = np.array([rules.assists.get(tag, 0.0) for tag in way.tags] if rules.assists else [])
        self._assist = force if force.any() else None
        self._turn_ends = way.last[:-1], way.first[1:]
        guides = int(way.last[-1])
        ends = np.array([guides, guides + way.before.size, guides + way.before.size + way.behind.size])
        self._guides = tuple((ends[k : k + 1], ends[k + 1 : k + 2]) for k in (0, 1))

    # What does not depend on the last lubrication is laid out once.

    @cached_property
    def _ends(self) -> tuple[Stage, ...]:
        """The guides at a feed and at a pull vault."""
        return tuple(Stage(self.way, *guide, scale=_MARGIN) for guide in self._guides)

    @cached_property
    def _spans(self) -> Stage | None:
        """All spans, where they do not depend on the last lubrication."""
        return None if self.way.ages else Stage(self.way, self.way.first, self.way.last, scale=_MARGIN)

    @cached_property
    def _turns(self) -> Stage | None:
        """All crossings, where they do not depend on the last lubrication."""
        way = self.way
        steady = not way.ages or bool(way.track.guide[spread(*self._turn_ends)].all())
        return Stage(way, *self._turn_ends, scale=_MARGIN) if steady else None

    def reached(self, feed: IntArray, farthest: IntArray) -> Reached:
        """Return every pull that can be made, with the fewest stops.

        Parameters
        ----------
        feed, farthest : ndarray of int, shape (n,)
            Vaults to feed from, and for each the farthest pull vault to look at.

        Returns
        -------
        Reached
            Exact where the carrier is; else of pulls that may be found impossible, or to take more stops.
        """
        starts = Starts(feed, farthest, np.full(feed.size, _MARGIN))
        if not self.way.slips:
            return self._reached(starts, None)
        held = np.zeros(feed.size, dtype=bool)
        found = self._reached(starts, held)
        again = np.flatnonzero(held)
        if not again.size:
            return found
        rest = self._reached(starts.some(again), None)
        keep = ~held[found.start]
        return Reached(
            np.concatenate((found.start[keep], again[rest.start])),
            np.concatenate((found.pull[keep], rest.pull)),
            np.concatenate((found.stops[keep], rest.stops)),
            np.concatenate((found.load[keep], rest.load)),
        )

    def _reached(self, starts: Starts, held: Held) -> Reached:
        """Every pull that can be made; with ``held``, as for :meth:`round`."""
        width = self.way.spans + 1
        # First with lubricant added wherever one likes, which tells what can be reached at all; then stop by stop.
        arrivals, seeds = self.round(starts, self.first(starts, held), self.way.ages, held)
        keys = arrivals.start * width + arrivals.pull
        if not self.way.ages:  # each pull is reached once, and needs no stops
            load = arrivals.load if self.exact else np.full(keys.size, np.nan)
            return Reached(arrivals.start, arrivals.pull, np.zeros(keys.size, np.int64), load)
        keys = np.sort(keys)
        keys = keys[np.append(True, keys[1:] > keys[:-1])] if keys.size else keys
        stops, load = np.full(keys.size, -1), np.full(keys.size, np.nan)
        direct = arrivals.label >= 0
        at = np.searchsorted(keys, (arrivals.start * width + arrivals.pull)[direct])
        stops[at] = 0
        if self.exact:
            load[at] = arrivals.load[direct]
        seeds = seeds.some(seeds.parent >= 0)
        count = 0
        while True:
            wanting = stops < 0
            if held is not None:
                wanting &= ~held[keys // width]
            if not wanting.any():
                return Reached(keys // width, keys % width, stops, load)
            count += 1
            some = np.zeros(starts.feed.size, dtype=bool)
            some[keys[wanting] // width] = True
            seeds = undominated(seeds.some(some[seeds.start]))
            if held is not None and not len(seeds):
                held |= some
                continue
            arrivals, seeds = self.round(starts, seeds, held=held)
            found = arrivals.start * width + arrivals.pull
            at = np.searchsorted(keys, found)
            known = np.flatnonzero(keys.take(at, mode="clip") == found)
            at = at[known]
            stops[at] = np.where(stops[at] < 0, count, stops[at])

    def swept(self, feeds: range, ends: tuple[IntArray, IntArray]) -> FloatArray | None:
        """Return what loads every pull from neighbouring feeds, both ways, where the way is one for a sweep.

        Parameters
        ----------
        feeds : range
            Vaults to feed from, rising.
        ends : tuple of two ndarrays of int, shape (n,)
            For each the farthest pull vaults to look at, in the way's direction and against it.

        Returns
        -------
        ndarray or None
            As :meth:`network.sweep.Sweep.loads` has it, NaN where the carrier is not exact; None where it does not serve.
        """
        if not Sweep.serves(self.way):
            return None
        vault = np.zeros(1, dtype=np.int64)
        one = self.first(Starts(vault, vault, np.full(1, _MARGIN)))
        if not len(one):
            return np.full((2, 1, self.way.spans), np.inf)
        sweep = Sweep(self.way, self._assist, self._floor)
        entering = float(one.low[0]), float(one.load[0])
        loads = sweep.loads(feeds, ends, entering, _MARGIN, self._ends[1])
        return loads if self.exact else np.where(loads < np.inf, np.nan, np.inf)

    def first(self, starts: Starts, held: Held = None) -> Labels:
        """Return the labels of a first round: cable fed in at the tension the rules state, or more.

        Parameters
        ----------
        starts : Starts
            What is to begin.
        held : ndarray of bool, optional
            As for :meth:`round`.

        Returns
        -------
        Labels
            One a start, past the guides at the feed.
        """
        n = starts.feed.size
        low = np.full(n, self.way.rules.entry - self.way.rules.pusher)
        one = np.zeros(n, dtype=np.int64)
        labels = Labels(np.arange(n), starts.feed, low, np.full(n, np.inf), np.zeros(n), one - 1)
        labels = self._guided(0, labels, starts, held)
        return labels.some(labels.possible)

    def round(
        self, starts: Starts, seeds: Labels, regrow: bool = False, held: Held = None
    ) -> tuple[Arrivals, Labels]:
        """Carry labels on as far as they go.

        Parameters
        ----------
        starts : Starts
            What the labels belong to.
        seeds : Labels
            Each where the span ahead of its lubrication begins.
        regrow : bool, optional
            Whether lubricant is added again at every vault passed, as often as one likes.
        held : ndarray of bool, shape (starts,), optional
            Where given, only the lower ends are carried on, which is enough unless a cable has to be held back: starts
            of which one does are marked, and what is returned of them is of no use.

        Returns
        -------
        Arrivals
            Their labels are indices into ``seeds``.
        Labels
            What adding lubricant at a vault passed gives there, with indices into ``seeds`` as parents.
        """
        offset = seeds.lube - starts.feed[seeds.start]
        seeds = replace(seeds, parent=np.arange(len(seeds)))
        front = Labels.joined([])
        arrivals: list[Arrivals] = []
        grown: list[Labels] = []
        step = 0
        while len(front) or np.any(offset >= step):
            front = Labels.joined([front, seeds.some(offset == step)])
            vault = starts.feed[front.start] + step
            front = front.some(vault < starts.farthest[front.start])
            front = self._spanned(front, starts.feed[front.start] + step, starts, held)
            front = front.some(front.possible)
            out = self._guided(1, front, starts, held)
            there = out.possible
            step += 1
            vault = starts.feed[out.start[there]] + step
            arrivals.append(Arrivals(out.start[there], vault, out.parent[there], out.load[there]))
            vault = starts.feed[front.start] + step
            front = front.some(vault < starts.farthest[front.start])
            front = self._turned(front, starts.feed[front.start] + step, starts, held)
            front = front.some(front.possible)
            if self.way.ages:
                vault = starts.feed[front.start] + step
                fresh = replace(front, lube=vault, load=np.full(len(front), np.nan))
                grown.append(fresh.some(self.way.lubes[vault]))
                if regrow:
                    front = Labels.joined([front, merged(grown[-1])])
            if self.way.ages and (held is not None or not self.way.slips):
                front = self._worth_carrying(front, regrow)
        names = Arrivals.__dataclass_fields__
        none = np.zeros(0, dtype=np.int64)
        met = Arrivals(*(np.concatenate([none, *(getattr(a, f) for a in arrivals)]) for f in names))
        return met, Labels.joined(grown)

    def worth_keeping(self, labels: Labels) -> Labels:
        """Return the labels of which no other holds all tensions; any of the others can take their place."""
        return undominated(labels)

    @staticmethod
    def _worth_carrying(front: Labels, regrow: bool) -> Labels:
        """Where nothing slips: the labels that can lead farther; with stops at will, those without any apart."""
        if not regrow:
            return freshest(front)
        unstopped = front.parent >= 0
        return Labels.joined([front.some(unstopped), freshest(front.some(~unstopped))])

    def _spanned(self, labels: Labels, vault: IntArray, starts: Starts, held: Held) -> Labels:
        """Labels at the far end of the span ahead of each one's vault."""
        way, scale = self.way, starts.scale[labels.start]
        if self._spans is not None and np.all(scale == _MARGIN):
            return self._carried(self._spans, vault, labels, held)
        slid = way.slid[way.first[vault]] - way.slid[way.first[labels.lube]]
        return self._carried(Stage(way, way.first[vault], way.last[vault], slid, scale), None, labels, held)

    def _turned(self, labels: Labels, vault: IntArray, starts: Starts, held: Held) -> Labels:
        """Labels past the crossing of each one's vault and the assist there."""
        way, scale = self.way, starts.scale[labels.start]
        if self._turns is not None and np.all(scale == _MARGIN):
            labels = self._carried(self._turns, vault - 1, labels, held)
        else:
            begin, end = (ends[vault - 1] for ends in self._turn_ends)
            slid = way.slid[begin] - way.slid[way.first[labels.lube]]
            labels = self._carried(Stage(way, begin, end, slid, scale), None, labels, held)
        if self._assist is not None:
            labels = replace(labels, low=np.maximum(labels.low - self._assist[vault], self._floor))
        return labels

    def _guided(self, which: int, labels: Labels, starts: Starts, held: Held) -> Labels:
        """Labels past the guides at a feed (0) or at a pull vault (1)."""
        scale = starts.scale[labels.start]
        if np.all(scale == _MARGIN):
            return self._carried(self._ends[which], np.zeros(len(labels), dtype=np.int64), labels, held)
        begin, end = (np.repeat(edge, len(labels)) for edge in self._guides[which])
        return self._carried(Stage(self.way, begin, end, scale=scale), None, labels, held)

    def _carried(self, stage: Stage, stretch: IntArray | None, labels: Labels, held: Held) -> Labels:
        """Labels carried through their stretches; each through one of its own where none are named."""
        if not stage.count:
            return labels
        own = np.arange(len(labels)) if stretch is None else stretch
        low, high, load, raised = stage.carry(own, labels.low, labels.high, self._floor, held is None)
        if held is not None and raised is not None and raised.any():
            held[labels.start[raised]] = True
        return replace(labels, low=low, high=high, load=np.maximum(labels.load, load))
