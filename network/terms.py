"""What a plan costs and keeps to, and what it is: sections with their pulls, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from mechanics.errors import in_range
from network.pulls import PullOption


@dataclass(frozen=True)
class Costs:
    """What a plan costs.

    Parameters
    ----------
    splice, setup, relube, middle_feed : float
        Each finite and at least 0, all in one currency.

    Raises
    ------
    DomainError
        A price that is not.
    """

    splice: float = 10.0
    setup: float = 3.0
    relube: float = 1.0
    middle_feed: float = 0.0

    def __post_init__(self) -> None:
        for name in ("splice", "setup", "relube", "middle_feed"):
            in_range(f"cost.{name}", getattr(self, name), at_least=0.0)


@dataclass(frozen=True)
class Reel:
    """A size of reel that cable can be bought on.

    Parameters
    ----------
    length : float
        Of the longest cable on it. [m]
    cost : float, optional
        Of one such reel, whatever is used of it.

    Raises
    ------
    DomainError
        A length that is not above 0, a price that is not at least 0.
    """

    length: float
    cost: float = 0.0

    def __post_init__(self) -> None:
        in_range("reel.length", self.length, above=0.0)
        in_range("reel.cost", self.cost, at_least=0.0)


@dataclass(frozen=True)
class Stock:
    """What the cable of the sections between two vaults comes on, where that is not what others come on.

    Parameters
    ----------
    first, last : str
        Tags of the vaults, in the row's order; a splice must be at both.
    reel : float or None
        Longest cable on one reel. [m]
    reels : tuple of Reel
        Sizes to choose from.

    Raises
    ------
    DomainError
        A reel that is not above 0.
    """

    first: str
    last: str
    reel: float | None = None
    reels: tuple[Reel, ...] = ()

    def __post_init__(self) -> None:
        if self.reel is not None:
            in_range("reel", self.reel, above=0.0)


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
    reels : tuple of Reel
        Sizes to choose from, each section having one; none: any length up to ``reel``, at no price.
    waste : float
        Price of a metre of cable left on a reel.
    splice_at : tuple of str
        Tags of vaults where a splice must be.
    no_splice, no_feed, no_pull : tuple of str
        Tags of vaults where none may be, whatever the vaults' own fields say; for :func:`network.feeder.plan_feeder`,
        which closes them in its row.
    stocks : tuple of Stock
        Where in the row cable comes on other reels than ``reel`` and ``reels``.

    Raises
    ------
    DomainError
        A reel that is not above 0, a slack or a price that is negative.
    """

    costs: Costs
    reel: float | None = None
    slack: float = 0.0
    middle_feed: bool = False
    reels: tuple[Reel, ...] = ()
    waste: float = 0.0
    splice_at: tuple[str, ...] = ()
    no_splice: tuple[str, ...] = ()
    no_feed: tuple[str, ...] = ()
    no_pull: tuple[str, ...] = ()
    stocks: tuple[Stock, ...] = ()

    def within(self, tags: Sequence[str], low: int, high: int) -> PlanRules:
        """Return the rules of a stretch of the row alone.

        Parameters
        ----------
        tags : sequence of str
            The row's vaults.
        low, high : int
            The stretch's ends.

        Returns
        -------
        PlanRules
            With the splices that must be inside it, and the reels that its cable comes on.
        """
        inside = set(tags[low + 1 : high])
        own = replace(self, splice_at=tuple(t for t in self.splice_at if t in inside), stocks=())
        if not self.stocks:
            return own
        number = {tag: k for k, tag in enumerate(tags)}
        stocks = []
        for stock in self.stocks:
            first, last = max(number[stock.first], low), min(number[stock.last], high)
            if (first, last) == (low, high):
                return replace(own, reel=stock.reel, reels=stock.reels)
            if first < last:
                stocks.append(replace(stock, first=tags[first], last=tags[last]))
        return replace(own, stocks=tuple(stocks))

    def at(self, tags: Sequence[str], start: int) -> PlanRules:
        """Return the rules with the reels of a section that begins at a vault.

        Parameters
        ----------
        tags : sequence of str
            The row's vaults.
        start : int
            Which of them.

        Returns
        -------
        PlanRules
            Itself where all cable comes on the same reels.
        """
        for stock in self.stocks:
            if tags.index(stock.first) <= start < tags.index(stock.last):
                return replace(self, reel=stock.reel, reels=stock.reels, stocks=())
        return replace(self, stocks=()) if self.stocks else self

    @property
    def longest(self) -> float:
        """Longest cable that a section can have; infinite where no reel limits it. [m]"""
        sizes = max((r.length for r in self.reels), default=float("inf"))
        return sizes if self.reel is None else min(sizes, self.reel)

    def __post_init__(self) -> None:
        in_range("slack", self.slack, at_least=0.0)
        in_range("waste", self.waste, at_least=0.0)
        if self.reel is not None:
            in_range("reel", self.reel, above=0.0)


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
    reel : Reel or None
        The size it comes on, where there are sizes to choose from.
    """

    start: int
    end: int
    pulls: tuple[PullOption, ...]
    cable_length: float
    reel: Reel | None = None


@dataclass(frozen=True)
class Plan:
    """The cheapest plan.

    Parameters
    ----------
    sections : tuple of Section
        In the row's order.
    cost, splices, setups, relubes : float, int, int, int
        Of the whole.
    middle_feeds : int
        How many sections are fed from a vault between their ends.
    utilisation : float
        Worst of a binding check in any of its pulls.
    climb : float
        Sum of the rises of all pulls. [m]
    """

    sections: tuple[Section, ...]
    cost: float
    splices: int
    setups: int
    relubes: int
    middle_feeds: int = 0
    utilisation: float = 0.0
    climb: float = 0.0


@dataclass(frozen=True)
class NoPlan:
    """Why there is none.

    Parameters
    ----------
    blocked : tuple of (int, int)
        Spans (vault index pairs) that no section can cover.
    reached : int
        Farthest vault that sections from the start of the row can reach.
    resumes : int
        Nearest vault to the start from which sections can reach the row's end.
    partial : tuple of Section
        The best sections up to ``reached``.
    reason : str
        In words, with the vault tags.
    why : tuple of str
        For each blocked span, in words.
    rest : tuple of Section
        The best sections from ``resumes`` on.
    """

    blocked: tuple[tuple[int, int], ...]
    reached: int
    resumes: int
    partial: tuple[Section, ...]
    reason: str
    why: tuple[str, ...] = ()
    rest: tuple[Section, ...] = ()
