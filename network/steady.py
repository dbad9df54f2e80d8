"""What no tension changes: the checks of ducts, bends, bundle and reel, over stretches of a row."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from mechanics.cable import Bundle
from mechanics.chain import IntArray
from mechanics.checks import static_checks
from mechanics.errors import FloatArray
from mechanics.limits import Cap, binds, overriding
from mechanics.pull import Check, Rules, static_failures
from mechanics.setting import NO_BEND, Setting, set_up
from mechanics.track import Track
from network.row import Row

# A length so near to the reel's is judged by the check itself, sum for sum. [m]
_NEAR = 1e-6
_RADII = ("bending_radius", "bending_radius_pulling")
# Checks that bores and bends do not settle; advice, unless the job binds them.
_OF_STRETCHES = ("bend_total", "creep")


class Steady:
    """Checks of a row's stretches that do not depend on the tension, nor on the direction of the pull.

    Parameters
    ----------
    row : Row
        Where.
    bundle : Bundle
        What.
    rules : Rules
        By which limits.
    setting : Setting, optional
        The bundle along the row's line, where it is known.
    """

    def __init__(self, row: Row, bundle: Bundle, rules: Rules, setting: Setting | None = None) -> None:
        self.row, self.bundle, self.rules = row, bundle, rules
        self._setting = setting
        self._without_reel = replace(rules, reel=None)
        self._reel = np.inf
        if rules.reel is not None and binds("reel_length", rules, True):
            self._reel = overriding(Cap("reel_length", rules.reel, ""), rules).limit
        guides = sum(g.chain.total_length for g in (row.feed_guide, row.pull_guide) if g is not None)
        self._ends = guides + 2.0 * rules.slack
        self._known: FloatArray = np.zeros((0, 0))

    @cached_property
    def farthest(self) -> IntArray:
        """For each vault, the farthest in the row's direction to which a stretch passes these checks.

        What a stretch fails, a longer one that holds it fails too, so that one sweep with two ends finds all.
        """
        last = len(self.row.spans)
        guides = [self._binding(set_up(g, self.bundle, self._without_reel)) for g in self._end_guides]
        checks = [self._binding(self._line)] if self._by_stretch else self._tightest
        if not any(c.verdict == "fail" for own in (*checks, *guides) for c in own):
            return self._on_a_reel()
        farthest = np.empty(last + 1, dtype=np.int64)
        high = 0
        for low in range(last + 1):
            high = max(high, low)
            while (
                high < last and self._fits(low, high + 1) and self._passes(low, high + 1, self._without_reel)
            ):
                high += 1
            farthest[low] = high
        return farthest

    def _on_a_reel(self) -> IntArray:
        """For each vault, the farthest to which a reel holds the cable."""
        last = len(self.row.spans)
        if self._reel == np.inf:
            return np.full(last + 1, last)
        arrive, depart = self.row.facts.stations
        room = depart + (self._reel - self._ends)
        farthest = np.maximum(np.searchsorted(arrive, room - _NEAR) - 1, np.arange(last + 1))
        near = arrive.take(np.minimum(farthest + 1, last)) < room + _NEAR
        for low in np.flatnonzero(near).tolist():
            while farthest[low] < last and self._fits(low, int(farthest[low]) + 1):
                farthest[low] += 1
        return farthest

    def used(self, low: IntArray, high: IntArray, least: FloatArray) -> FloatArray:
        """Return the worst utilisation of stretches by a binding check among these, the reel's left out.

        Parameters
        ----------
        low, high : ndarray of int, shape (n,)
            Vaults of the row, low below high.
        least : ndarray, shape (n,)
            What is known from elsewhere.

        Returns
        -------
        ndarray, shape (n,)
            At least ``least``.
        """
        if self._by_stretch:
            pairs = zip(low.tolist(), high.tolist(), strict=True)
            return np.maximum(least, [self._worst(self.row.track(*pair)) for pair in pairs])
        return np.maximum(least, np.maximum(self._guides, self._hardest(low, high)))

    @cached_property
    def _by_stretch(self) -> bool:
        """Whether checks bind that bores and bends do not settle."""
        return any(binds(name, self.rules, False) for name in _OF_STRETCHES)

    @cached_property
    def _line(self) -> Setting:
        """The bundle along the whole line."""
        if self._setting is not None:
            return replace(self._setting, rules=self._without_reel)
        return set_up(self.row.line, self.bundle, self._without_reel)

    @cached_property
    def _guides(self) -> float:
        """Worst utilisation of the guides at the ends of every pull."""
        return max((self._worst(track) for track in self._end_guides), default=0.0)

    @property
    def _end_guides(self) -> list[Track]:
        ends = [g for g in (self.row.feed_guide, self.row.pull_guide) if g is not None and len(g.chain)]
        return [Track(g.chain, np.arange(len(g.chain)), g.bores) for g in ends]

    def _hardest(self, low: IntArray, high: IntArray) -> FloatArray:
        """Worst utilisation of any segment of each stretch."""
        count = int((high - low).max(initial=0))
        if count > len(self._known):
            spans, turns = self._each
            # Of stretches of one span, two spans, and so on; the last of each row run out of the row.
            known = [spans]
            for more in range(1, count):
                longer = known[-1].copy()
                further = np.maximum(turns[more - 1 :], spans[more:])
                np.maximum(longer[:-more], further, out=longer[:-more])
                known.append(longer)
            self._known = np.stack(known)
        return np.asarray(self._known[high - low - 1, low])

    @cached_property
    def _each(self) -> tuple[FloatArray, FloatArray]:
        """Worst utilisation of any segment of each span, and of each crossing between two."""
        first, last = self.row.first, self.row.last
        bounds = np.stack((first, last), axis=1).ravel()
        hardest = np.maximum.reduceat(np.append(self._segments, 0.0), bounds)
        return hardest[::2], np.where(last[:-1] < first[1:], hardest[1:-1:2], 0.0)

    @cached_property
    def _segments(self) -> FloatArray:
        """Worst utilisation of each segment on its own.

        The tightest bend of each bore is judged; a wider one uses less of the same radius, and nothing else differs.
        """
        setting, bore = self._line, self._line.track.bore
        whole, least = np.zeros(len(self._tightest)), np.zeros(len(self._tightest))
        for k, checks in enumerate(self._tightest):
            radii = [c.limit for c in checks if c.name in _RADII and c.limit is not None]
            whole[k] = max((c.utilisation or 0.0 for c in checks if c.name not in _RADII), default=0.0)
            least[k] = max(radii, default=0.0)
        bends = np.flatnonzero(setting.curvature > NO_BEND)
        radius = 1.0 / setting.curvature[bends] - 0.5 * setting.diameter[bends]
        worst, needed = whole.take(bore), least.take(bore[bends])
        needed /= np.maximum(radius, np.maximum(1e-3 * needed, 1e-300))
        worst[bends] = np.maximum(worst[bends], needed)
        return worst

    @cached_property
    def _tightest(self) -> list[list[Check]]:
        """The binding checks of the segment of each bore that has the sharpest bend."""
        setting, found = self._line, []
        track = setting.track
        for bore, lie in enumerate(setting.lies):
            own = np.flatnonzero(track.bore == bore)
            at = own[[np.argmax(setting.curvature[own])]]
            one = Track(track.chain.part(int(at[0]), int(at[0]) + 1), track.bore[at], track.bores)
            alone = tuple(lie if k == bore else None for k in range(len(track.bores)))
            found.append(self._binding(replace(setting.along(one, at), lies=alone)))
        return found

    @staticmethod
    def _binding(setting: Setting) -> list[Check]:
        return [c for c in static_checks(setting) if c.binding]

    def _worst(self, track: Track) -> float:
        checks = static_checks(set_up(track, self.bundle, self._without_reel))
        return max((c.utilisation or 0.0 for c in checks if c.strains), default=0.0)

    def _fits(self, low: int, high: int) -> bool:
        spare = self._reel - self.row.facts.length(low, high) - self._ends
        return spare > _NEAR or (spare > -_NEAR and self._passes(low, high, self.rules))

    def _passes(self, low: int, high: int, rules: Rules) -> bool:
        return not static_failures(self.row.track(low, high), self.bundle, rules)
