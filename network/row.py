"""The row: a feeder's vaults in line, with the spans between them and the crossings through each, ready to slice."""

from __future__ import annotations

from dataclasses import dataclass

from mechanics.chain import Chain
from mechanics.track import Bore, Track


@dataclass(frozen=True)
class RowVault:
    """A vault in the row.

    Parameters
    ----------
    tag : str
        Unique.
    splice, feed, pull : bool
        What is allowed there (feeder ends are never asked for ``splice``).
    """

    tag: str
    splice: bool = True
    feed: bool = True
    pull: bool = True


@dataclass(frozen=True)
class RowFacts:
    """What the planner knows of a row, besides its pulls.

    Parameters
    ----------
    vaults : tuple of RowVault
        In order, with what is allowed at each.
    arrive, depart : tuple of float
        Station at which the row arrives at each vault and leaves it again; between them lies the crossing. [m]
    """

    vaults: tuple[RowVault, ...]
    arrive: tuple[float, ...]
    depart: tuple[float, ...]

    def length(self, low: int, high: int) -> float:
        """Route length between two vaults, crossings between them included. [m]"""
        return self.arrive[high] - self.depart[low]


@dataclass(frozen=True, eq=False)
class Stretch:
    """Segments with their bores, in the row's direction: one span, or one crossing of a vault.

    Parameters
    ----------
    chain : Chain
        One chain, may be empty.
    bores : tuple of Bore
        One a segment.
    ids : tuple of str
        One a segment: duct id and handle it came from.
    """

    chain: Chain
    bores: tuple[Bore, ...]
    ids: tuple[str, ...] = ()


@dataclass(frozen=True)
class Row:
    """Vaults v0 ... vn, n spans, n - 1 crossings.

    Parameters
    ----------
    vaults : tuple of RowVault
        n + 1 of them.
    spans : tuple of Stretch
        ``spans[k]`` runs from vault k to vault k + 1.
    crossings : tuple of Stretch
        ``crossings[k]`` lies at vault k + 1; empty chain where the ducts meet face to face.
    feed_guide, pull_guide : tuple of Bore and Chain, optional
        Guides at the feed and pull vaults where the job states them, in the direction of the pull.
    """

    vaults: tuple[RowVault, ...]
    spans: tuple[Stretch, ...]
    crossings: tuple[Stretch, ...]
    feed_guide: Stretch | None = None
    pull_guide: Stretch | None = None

    @property
    def facts(self) -> RowFacts:
        """What the planner needs to know of this row besides its pulls."""
        raise NotImplementedError

    def track(self, feed: int, pull: int) -> Track:
        """Return the track of the pull fed at vault ``feed`` and drawn out at vault ``pull``, either way."""
        raise NotImplementedError

    def length(self, low: int, high: int) -> float:
        """Route length between two vaults of the row, crossings between them included. [m]"""
        raise NotImplementedError
