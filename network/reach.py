"""How far each feed gets: the feasible pulls of a row, with the re-lube stops that make them so."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from mechanics.cable import Bundle
from mechanics.pull import PullResult, Rules, evaluate_pull
from network.pulls import PullOption
from network.row import Row


@dataclass(frozen=True, eq=False)
class RowPulls:
    """The pulls of a row: an ``Options`` callable for :func:`network.plan.plan_row`, and single pulls by name.

    Parameters
    ----------
    row : Row
        Where.
    bundle : Bundle
        What.
    rules : Rules
        By which limits.
    further_stops : bool
        Whether options with more re-lube stops than needed are given where they lower the utilisation
        (wanted when a stop costs nothing, or for trading cost against margin).
    """

    row: Row
    bundle: Bundle
    rules: Rules
    further_stops: bool = False

    def __call__(self, feed: int) -> Iterator[PullOption]:
        """Yield the feasible pulls fed at vault ``feed``, both ways."""
        last = len(self.row.spans)
        for way in (range(feed + 1, last + 1), range(feed - 1, -1, -1)):
            fewest = 0
            for pull in way:
                found = self._least(feed, pull, fewest)
                if found is None:
                    # What a shorter pull cannot pass, a longer one cannot either: it meets the same limits at
                    # tensions at least as high.
                    break
                relube, result = found
                fewest = len(relube)
                yield PullOption(feed, pull, relube, result.utilisation, self.row.climb(feed, pull))

    def evaluate(self, feed: int, pull: int, relube: tuple[int, ...] = ()) -> PullResult:
        """Evaluate one pull.

        Parameters
        ----------
        feed, pull : int
            Vaults of the row.
        relube : tuple of int, optional
            Vaults of the row where lubricant is added.

        Returns
        -------
        PullResult
            Whatever its verdict.

        Raises
        ------
        DomainError
            Not two different vaults, or a re-lube vault that the pull does not pass.
        """
        step = 1 if pull > feed else -1
        stops = tuple(sorted(step * (vault - feed) - 1 for vault in relube))
        return evaluate_pull(self.row.track(feed, pull), self.bundle, self.rules, stops)

    def best(self, feed: int, pull: int) -> tuple[tuple[int, ...], PullResult]:
        """Return the re-lube vaults with which a pull passes at least cost, and its evaluation.

        Parameters
        ----------
        feed, pull : int
            Vaults of the row.

        Returns
        -------
        tuple of (tuple of int, PullResult)
            The fewest stops with which it passes, of those the ones of least utilisation; if it never passes, no
            stops.

        Raises
        ------
        DomainError
            Not two different vaults.
        """
        return self._least(feed, pull, 0) or ((), self.evaluate(feed, pull))

    def _least(self, feed: int, pull: int, fewest: int) -> tuple[tuple[int, ...], PullResult] | None:
        step = 1 if pull > feed else -1
        between = range(feed + step, pull, step)
        ages = any(b.friction.dry is not None and b.friction.hold is not None for b in self.row.line.bores)
        for count in range(fewest, len(between) + 1 if ages else 1):
            tried = [(r, self.evaluate(feed, pull, r)) for r in combinations(between, count)]
            passed = [(r, result) for r, result in tried if result.verdict == "pass"]
            if passed:
                return min(passed, key=lambda one: (round(one[1].utilisation, 9), sorted(one[0])))
        return None
