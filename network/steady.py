"""What no tension changes: the checks of ducts, bends, bundle and reel, over stretches of a row."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from mechanics.cable import Bundle
from mechanics.chain import IntArray
from mechanics.checks import static_checks
from mechanics.limits import Cap, binds, overriding
from mechanics.pull import Rules, static_failures
from mechanics.setting import set_up
from network.row import Row

# A length so near to the reel's is judged by the check itself, sum for sum. [m]
_NEAR = 1e-6


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
    """

    def __init__(self, row: Row, bundle: Bundle, rules: Rules) -> None:
        self.row, self.bundle, self.rules = row, bundle, rules
        self._without_reel = replace(rules, reel=None)
        self._known: dict[tuple[int, int], float] = {}
        self._reel = np.inf
        if rules.reel is not None and binds("reel_length", rules, True):
            self._reel = overriding(Cap("reel_length", rules.reel, ""), rules).limit
        guides = sum(g.chain.total_length for g in (row.feed_guide, row.pull_guide) if g is not None)
        self._ends = guides + 2.0 * rules.slack

    @cached_property
    def farthest(self) -> IntArray:
        """For each vault, the farthest in the row's direction to which a stretch passes these checks.

        What a stretch fails, a longer one that holds it fails too, so that one sweep with two ends finds all.
        """
        last = len(self.row.spans)
        whole = self._passes(0, last, self._without_reel)
        farthest = np.empty(last + 1, dtype=np.int64)
        high = 0
        for low in range(last + 1):
            high = max(high, low)
            while (
                high < last
                and self._fits(low, high + 1)
                and (whole or self._passes(low, high + 1, self._without_reel))
            ):
                high += 1
            farthest[low] = high
        return farthest

    def used(self, low: int, high: int, least: float) -> float:
        """Return the worst utilisation of a binding check among these, the reel's left out, or ``least`` where that is more.

        Parameters
        ----------
        low, high : int
            Vaults of the row, low below high.
        least : float
            What is known from elsewhere.

        Returns
        -------
        float
            At least ``least``.
        """
        if least >= self._most:
            return least
        if (low, high) not in self._known:
            self._known[low, high] = self._worst(low, high)
        return max(least, self._known[low, high])

    @cached_property
    def _most(self) -> float:
        """What no stretch's utilisation is above, that of its length for the reel left out."""
        return self._worst(0, len(self.row.spans))

    def _worst(self, low: int, high: int) -> float:
        checks = static_checks(set_up(self.row.track(low, high), self.bundle, self._without_reel))
        return max((c.utilisation for c in checks if c.binding and c.utilisation is not None), default=0.0)

    def _length(self, low: int, high: int) -> float:
        return self.row.length(low, high) + self._ends

    def _fits(self, low: int, high: int) -> bool:
        spare = self._reel - self._length(low, high)
        return spare > _NEAR or (spare > -_NEAR and self._passes(low, high, self.rules))

    def _passes(self, low: int, high: int, rules: Rules) -> bool:
        return not static_failures(self.row.track(low, high), self.bundle, rules)
