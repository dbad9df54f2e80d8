"""How far each feed gets: the feasible pulls of a row, with the re-lube stops that make them so."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from mechanics.cable import Bundle
from mechanics.pull import PullResult, Rules
from network.plan import PullOption
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

    def __call__(self, feed: int) -> Iterable[PullOption]:
        """Return the feasible pulls fed at vault ``feed``, both ways."""
        raise NotImplementedError

    def evaluate(self, feed: int, pull: int, relube: tuple[int, ...] = ()) -> PullResult:
        """Evaluate one pull with given re-lube vaults (indices into the row)."""
        raise NotImplementedError

    def best(self, feed: int, pull: int) -> tuple[tuple[int, ...], PullResult]:
        """Return the re-lube vaults with which a pull passes at least cost, and its evaluation."""
        raise NotImplementedError
