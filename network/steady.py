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
from mechanics.pull import Rules, static_failures
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
        self._known_runs: FloatArray = np.zeros((0, 0))

    @cached_property
    def farthest(self) -> IntArray:
        """For each vault, the farthest in the row's direction to which a stretch passes these checks.

        What a stretch fails, a longer one that holds it fails too, so that one sweep with two ends finds all.
        """
        last = len(self.row.spans)
        settings = [self._line, *(set_up(g, self.bundle, self._without_reel) for g in self._end_guides)]
        whole = not any(c.binding and c.verdict == "fail" for s in settings for c in static_checks(s))
        if whole:
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
        sure, most = (
            np.maximum(np.searchsorted(arrive, room + near) - 1, np.arange(last + 1))
            for near in (-_NEAR, _NEAR)
        )
        for low in np.flatnonzero(most > sure).tolist():
            while sure[low] < most[low] and self._fits(low, int(sure[low]) + 1):
                sure[low] += 1
        return np.asarray(sure)

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
        if any(binds(name, self.rules, False) for name in _OF_STRETCHES):
            pairs = zip(low.tolist(), high.tolist(), strict=True)
            return np.maximum(least, [self._worst(self.row.track(*pair)) for pair in pairs])
        return np.maximum(least, np.maximum(self._guides, self._hardest(low, high)))

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
        """Worst utilisation of any segment of each stretch: of its first span, and of runs of 1, 2, 4, ... further ones."""
        hardest = self._spans.take(low)
        count = high - low - 1
        more = np.flatnonzero(count)
        if more.size:
            if more.size < count.size:
                count, low, high = count.take(more), low.take(more), high.take(more)
            levels = np.frexp(np.arange(int(count.max()) + 1, dtype=np.float64))[1] - 1
            level = levels.take(count).astype(np.int64)
            runs = self._runs(int(levels[-1]))
            at, width = level * runs.shape[1], np.left_shift(1, level)
            longer = np.maximum(runs.take(at + low + 1), runs.take(at + high - width))
            hardest[more] = np.maximum(hardest.take(more), longer)
        return hardest

    def _runs(self, level: int) -> FloatArray:
        """Maxima of runs of up to 2 to the power of ``level`` spans, each with the crossing before it."""
        if level >= len(self._known_runs):
            turns = self._hardest_of(self.row.last[:-1], self.row.first[1:])
            runs = [np.maximum(self._spans, np.append(0.0, turns))]
            for power in range(level):
                width = 1 << power
                longer = runs[-1].copy()
                longer[: longer.size - width] = np.maximum(runs[-1][:-width], runs[-1][width:])
                runs.append(longer)
            self._known_runs = np.stack(runs)
        return self._known_runs

    @cached_property
    def _spans(self) -> FloatArray:
        """Worst utilisation of any segment of each span."""
        return self._hardest_of(self.row.first, self.row.last)

    def _hardest_of(self, begin: IntArray, end: IntArray) -> FloatArray:
        """Worst utilisation of any segment of ranges that rise; 0 for an empty one."""
        hardest = np.zeros(begin.size)
        filled = np.flatnonzero(end > begin)
        if filled.size:
            bounds = np.stack((begin[filled], end[filled]), axis=1).ravel()
            padded = np.append(self._segments, 0.0)
            hardest[filled] = np.maximum.reduceat(padded, bounds)[::2]
        return hardest

    @cached_property
    def _segments(self) -> FloatArray:
        """Worst utilisation of each segment on its own.

        The tightest bend of each bore is judged; a wider one uses less of the same radius, and nothing else differs.
        """
        setting = self._line
        line = setting.track
        whole, least = np.zeros(len(line.bores)), np.zeros(len(line.bores))
        for bore in range(len(line.bores)):
            own = np.flatnonzero(line.bore == bore)
            tightest = int(own[np.argmax(setting.curvature[own])])
            one = Track(line.chain.part(tightest, tightest + 1), line.bore[[tightest]], line.bores)
            checks = [c for c in static_checks(set_up(one, self.bundle, self._without_reel)) if c.binding]
            radii = [c.limit for c in checks if c.name in _RADII and c.limit is not None]
            whole[bore] = max((c.utilisation or 0.0 for c in checks if c.name not in _RADII), default=0.0)
            least[bore] = max(radii, default=0.0)
        bends = np.flatnonzero(setting.curvature > NO_BEND)
        radius = 1.0 / setting.curvature[bends] - 0.5 * setting.diameter[bends]
        worst, needed = whole[line.bore], least[line.bore[bends]]
        needed /= np.maximum(radius, np.maximum(1e-3 * needed, 1e-300))
        worst[bends] = np.maximum(worst[bends], needed)
        return worst

    def _worst(self, track: Track) -> float:
        checks = static_checks(set_up(track, self.bundle, self._without_reel))
        return max((c.utilisation or 0.0 for c in checks if c.strains), default=0.0)

    def _fits(self, low: int, high: int) -> bool:
        spare = self._reel - self.row.facts.length(low, high) - self._ends
        return spare > _NEAR or (spare > -_NEAR and self._passes(low, high, self.rules))

    def _passes(self, low: int, high: int, rules: Rules) -> bool:
        return not static_failures(self.row.track(low, high), self.bundle, rules)
