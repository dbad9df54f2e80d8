"""The cheapest plan of a feeder: sections, pulls, directions, re-lube stops. Knows pulls only through a callable."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from network.row import RowFacts


@dataclass(frozen=True)
class PullOption:
    """A feasible pull between two vaults of the row.

    Parameters
    ----------
    feed, pull : int
        Vault indices; feed > pull is a pull against the row's direction.
    relube : tuple of int
        Vault indices where lubricant is added, in the direction of the pull.
    utilisation : float
        Worst of a binding check.
    climb : float
        Sum of rises in the direction of the pull. [m]
    """

    feed: int
    pull: int
    relube: tuple[int, ...]
    utilisation: float
    climb: float


Options = Callable[[int], Iterable[PullOption]]
"""All feasible pulls fed at a vault: for each pull vault in reach, for each number of re-lube stops worth having
(fewest first; more only where they lower the utilisation), the option of least utilisation."""


@dataclass(frozen=True)
class Costs:
    """What a plan costs.

    Parameters
    ----------
    splice, setup, relube, middle_feed : float
        Each finite and at least 0.
    """

    splice: float = 10.0
    setup: float = 3.0
    relube: float = 1.0
    middle_feed: float = 0.0


@dataclass(frozen=True)
class PlanRules:
    """What a plan must keep to.

    Parameters
    ----------
    costs : Costs
        Prices.
    reel : float or None
        Longest cable on one reel. [m]
    slack : float
        Cable beyond the vault at each end of a section. [m]
    middle_feed : bool
        Whether a section may be fed from a vault between its ends.
    """

    costs: Costs
    reel: float | None = None
    slack: float = 0.0
    middle_feed: bool = False


@dataclass(frozen=True)
class Section:
    """One length of cable between two splices or terminations, and the one or two pulls that install it.

    Parameters
    ----------
    start, end : int
        Vault indices, start < end.
    pulls : tuple of PullOption
        One, or two fed at the same vault between.
    cable_length : float
        Route length plus slack at both ends. [m]
    """

    start: int
    end: int
    pulls: tuple[PullOption, ...]
    cable_length: float


@dataclass(frozen=True)
class Plan:
    """The cheapest plan.

    Parameters
    ----------
    sections : tuple of Section
        In the row's order.
    cost, splices, setups, relubes : float, int, int, int
        Of the whole.
    """

    sections: tuple[Section, ...]
    cost: float
    splices: int
    setups: int
    relubes: int


@dataclass(frozen=True)
class NoPlan:
    """Why there is none.

    Parameters
    ----------
    blocked : tuple of (int, int)
        Spans (vault index pairs) that no pull crosses, either way.
    reached : int
        Farthest vault that sections from the start of the row can reach.
    resumes : int
        Nearest vault to the start from which sections can reach the row's end.
    partial : tuple of Section
        The best sections up to ``reached``.
    reason : str
        In words, with the vault tags.
    """

    blocked: tuple[tuple[int, int], ...]
    reached: int
    resumes: int
    partial: tuple[Section, ...]
    reason: str


def plan_row(facts: RowFacts, options: Options, rules: PlanRules) -> Plan | NoPlan:
    """Return the cheapest plan of a row, or why there is none."""
    raise NotImplementedError
