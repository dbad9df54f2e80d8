"""Many pulls of a way evaluated side by side: how hard tension and sidewall pressure load each.

The same pulls one by one, with everything that is to be said about them, are :func:`mechanics.pull.evaluate_pull`'s;
this is for choosing among thousands.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mechanics.balance import tension_along
from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, times
from mechanics.errors import FloatArray
from mechanics.interval import Passage, pick_friction
from mechanics.limits import Cap, binds, overriding, sidewall_cap, tension_caps
from mechanics.peaks import level_tensions, steep
from mechanics.setting import bend_angle
from network.way import Pieces, Way, spread

# Segments evaluated together: enough to keep numpy busy, few enough for memory.
_AT_ONCE = 20_000


def loads_of(way: Way, feed: IntArray, pull: IntArray, stops: Sequence[Sequence[int]]) -> FloatArray:
    """Return the worst utilisation of each pull by a binding check that depends on the tension.

    Parameters
    ----------
    way : Way
        In whose direction and numbering the pulls are.
    feed, pull : ndarray of int, shape (m,)
        Vaults, feed below pull.
    stops : sequence of sequences of int
        Re-lube vaults of each pull, rising.

    Returns
    -------
    ndarray, shape (m,)
        The greatest of the utilisations that :func:`mechanics.pull.evaluate_pull` gives for those checks.
    """
    count = way.last[pull - 1] - way.first[feed] + way.before.size + way.behind.size
    lots = np.cumsum(count) // _AT_ONCE
    used = np.empty(feed.size)
    for lot in np.unique(lots):
        own = np.flatnonzero(lots == lot)
        used[own] = _Lot(way, feed[own], pull[own], [stops[int(k)] for k in own]).used()
    return used


class _Lot:
    """Pulls evaluated together: pieces of all of them, one chain a pull."""

    def __init__(self, way: Way, feed: IntArray, pull: IntArray, stops: Sequence[Sequence[int]]) -> None:
        m = feed.size
        none = np.zeros(m, dtype=np.int64)
        head, tail = way.before.size, way.behind.size
        begin = np.stack(
            (none + len(way.track.chain) - head - tail, way.first[feed], none + len(way.track.chain) - tail),
            1,
        )
        end = np.stack((begin[:, 0] + head, way.last[pull - 1], begin[:, 2] + tail), 1)
        segments = spread(begin.ravel(), end.ravel())
        self.offsets = np.concatenate(([0], np.cumsum((end - begin).sum(1))))
        self.way, self.feed, self.pull, self.stops = way, feed, pull, stops
        owner = np.repeat(np.arange(m), [len(s) for s in stops])
        at = np.array([v for s in stops for v in s], dtype=np.int64)
        self.stop_owner, self.stop_at = owner, self._place(owner, at)
        fresh = np.sort(np.concatenate((self.offsets[:-1], self.stop_at)))
        self.pieces: Pieces = way.lay_out(segments, self.offsets, fresh)
        chain = self.pieces.chain
        self.heads, self.ends = chain.offsets[:-1], chain.offsets[1:] - 1
        self.owner = np.repeat(np.arange(m), np.diff(chain.offsets))

    def _place(self, owner: IntArray, vault: IntArray) -> IntArray:
        """Place among the segments at which a pull leaves a vault that it passes."""
        return np.asarray(
            self.offsets[owner]
            + self.way.before.size
            + self.way.first[vault]
            - self.way.first[self.feed[owner]]
        )

    def used(self) -> FloatArray:
        way, rules, pieces = self.way, self.way.rules, self.pieces
        chain, rub = pieces.chain, pieces.rubbing
        entry, holding, after = self._entry(rub)
        start = entry - np.where(holding == 0.0, rules.pusher, 0.0)
        added = self._assists(rub, start)
        weight = way.weight[pieces.segment]
        if after is None or added.any():
            after = tension_along(chain, weight, rub, start, added)
        before = after - added
        entering = np.concatenate(([0.0], after[:-1]))
        entering[self.heads] = start
        piece, peak = level_tensions(chain, weight, rub, entering, before)
        piece = np.concatenate((np.arange(len(chain)), np.arange(len(chain)), piece))
        tension = np.concatenate((entering, before, peak))
        press = way.press[pieces.segment[piece]]
        used = np.maximum(tension / way.cap, np.abs(tension) * press)
        worst = np.zeros(self.feed.size)
        np.maximum.at(worst, self.owner[piece], used)
        worst = np.maximum(worst, self._winch(before, start))
        return np.maximum(worst, self._restarts(piece, tension))

    def _entry(self, rub: FrictionLike) -> tuple[FloatArray, FloatArray, FloatArray | None]:
        """Entry tension before a pusher relieves it, and the least that keeps each pull taut.

        Where that need not be known, because all keep taut from the tension that the rules state, 0 stands for it,
        and the tensions at the ends of the pieces are known.
        """
        rules, pulls = self.way.rules, np.arange(self.feed.size)
        entry = np.full(pulls.size, rules.entry)
        if rules.pusher or rules.low_friction_factor is not None:
            holding = self._holding(pulls, self.heads, rub)
            if rules.low_friction_factor is not None:
                low = times(rules.low_friction_factor, rub)
                holding = np.maximum(holding, self._holding(pulls, self.heads, low))
            return np.maximum(entry, holding), holding, None
        chain, weight = self.pieces.chain, self.way.weight[self.pieces.segment]
        after = tension_along(chain, weight, rub, entry)
        slips = np.flatnonzero(steep(chain, rub))
        # Inside a piece the tension is at most this much lower than at its ends: what gravity takes on the way.
        fall = -np.sin(np.minimum(chain.grade_in, chain.grade_out)[slips])
        entering = np.where(np.isin(slips, self.heads), rules.entry, after[slips - 1])
        taut = np.minimum(entering, after[slips]) > weight[slips] * chain.length[slips] * fall
        held = np.unique(self.owner[slips[~taut]])
        if not held.size:
            return entry, np.zeros(pulls.size), after
        holding = np.zeros(pulls.size)
        holding[held] = self._holding(held, self.heads[held], rub)
        return np.maximum(entry, holding), holding, None

    def _holding(self, pulls: IntArray, begin: IntArray, rub: FrictionLike) -> FloatArray:
        """Least tension at a piece of each of these pulls that keeps the rest of it taut."""
        chain = self.pieces.chain
        holding = np.zeros(pulls.size)
        slips = np.flatnonzero(steep(chain, rub))
        # Up to the last piece that is so steep that the cable would slide: beyond it none need be held.
        behind = np.searchsorted(slips, self.ends[pulls] + 1)
        which = np.flatnonzero(behind > np.searchsorted(slips, begin))
        if which.size:
            stop = slips[behind[which] - 1] + 1
            at = spread(begin[which], stop)
            offsets = np.concatenate(([0], np.cumsum(stop - begin[which])))
            rest = Chain(chain.length[at], chain.grade_in[at], chain.grade_out[at], chain.turn[at], offsets)
            holding[which] = Passage(
                rest, self.way.weight[self.pieces.segment[at]], pick_friction(rub, at)
            ).least()
        return holding

    def _assists(self, rub: FrictionLike, entry: FloatArray) -> FloatArray:
        """What each assist adds at the end of its vault's crossing: at most what leaves the cable beyond it taut."""
        way, chain = self.way, self.pieces.chain
        added = np.zeros(len(chain))
        helped = np.array([k for k, tag in enumerate(way.tags) if tag in way.rules.assists], dtype=np.int64)
        if not helped.size:
            return added
        at = np.searchsorted(helped, self.feed, side="right")
        while True:
            vault = helped[np.minimum(at, helped.size - 1)]
            pulls = np.flatnonzero((at < helped.size) & (vault < self.pull))
            if not pulls.size:
                return added
            vault = vault[pulls]
            stop = np.searchsorted(self.pieces.item, self._place(pulls, vault))
            reached = tension_along(chain, way.weight[self.pieces.segment], rub, entry, added)[stop - 1]
            force = np.array([way.rules.assists[way.tags[v]] for v in vault])
            given = np.minimum(force, np.maximum(reached - self._holding(pulls, stop, rub), 0.0))
            added[stop - 1] = -given
            at = at + 1

    def _winch(self, before: FloatArray, start: FloatArray) -> FloatArray:
        """Load of the winch, whose rope rubs in the bends ahead of the cable's head."""
        way, rules, chain = self.way, self.way.rules, self.pieces.chain
        used = np.zeros(self.feed.size)
        if rules.puller is None or not binds("puller_tension", rules, True):
            return used
        limit = overriding(Cap("puller_tension", rules.puller, ""), rules).limit
        rope = rules.rope_friction
        if rope is None:
            rope = way.setting.tables.find("friction", "dry rope", "any").number("dry")
        own = np.array([b.friction.lubricated for b in way.track.bores])[way.track.bore]
        rub = np.where(way.setting.guide, own, rope)[self.pieces.segment] * bend_angle(chain)
        passed = np.cumsum(rub)
        whole = passed[self.ends]
        pull = before * np.exp(whole[self.owner] - passed)
        np.maximum.at(used, self.owner, pull / limit)
        at_feed = start * np.exp(whole - passed[self.heads] + rub[self.heads])
        return np.maximum(used, at_feed / limit)

    def _restarts(self, piece: IntArray, tension: FloatArray) -> FloatArray:
        """Load of starting again after the last re-lube stop, where the job makes it binding."""
        way, rules = self.way, self.way.rules
        used = np.zeros(self.feed.size)
        binding = [binds(name, rules, False) for name in ("restart_tension", "restart_sidewall")]
        if not any(binding) or not self.stop_at.size:
            return used
        least = min(tension_caps(way.bundle, rules), key=lambda cap: cap.limit)
        cap = overriding(Cap("restart_tension", least.limit, ""), rules).limit
        pressed = overriding(Cap("restart_sidewall", sidewall_cap(way.bundle, rules).limit, ""), rules).limit
        last = np.full(self.feed.size, -1)
        np.maximum.at(last, self.stop_owner, np.searchsorted(self.pieces.item, self.stop_at))
        lain = piece < last[self.owner[piece]]
        piece, tension = piece[lain], tension[lain] * rules.restart_factor
        segment = self.pieces.segment[piece]
        if binding[0]:
            np.maximum.at(used, self.owner[piece], tension / cap)
        if binding[1]:
            sidewall = np.abs(tension) * way.setting.factor[segment] * way.setting.inside_curvature[segment]
            np.maximum.at(used, self.owner[piece], sidewall / pressed)
        return used
