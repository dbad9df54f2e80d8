"""The way a feeder takes through the network, and the row of vaults, spans and crossings made from it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from mechanics.track import Bore
from network.graph import DuctNetwork
from network.row import Row, Stretch
from routeio.findings import Finding
from routeio.survey import Duct, Vault


@dataclass(frozen=True, eq=False)
class Leg:
    """A duct as the feeder runs through it.

    Parameters
    ----------
    duct : Duct
        The duct.
    forward : bool
        Whether the feeder runs from the duct's start to its end.
    """

    duct: Duct
    forward: bool


@dataclass(frozen=True, eq=False)
class FeederRoute:
    """The vaults a feeder passes, in order, and the duct from each to the next.

    Parameters
    ----------
    vaults : tuple of Vault
        n + 1 of them.
    legs : tuple of Leg
        n of them.
    findings : tuple of Finding
        Choices made where several ways were as good.
    """

    vaults: tuple[Vault, ...]
    legs: tuple[Leg, ...]
    findings: tuple[Finding, ...] = ()

    @property
    def tags(self) -> tuple[str, ...]:
        """Tags of the vaults, in order."""
        return tuple(v.tag for v in self.vaults)


@dataclass(frozen=True)
class Guides:
    """Guides at vaults.

    Parameters
    ----------
    radius : float
        Of the bend the cable takes on them. [m]
    friction : float
        Their own friction coefficient.
    feed, pull : Stretch or None
        Guides at the feed and at the pull vault, where the job states them, in the direction of the pull
        (:func:`guide_bend` makes one).
    assumed : tuple of str
        What about them was a default, in words.
    """

    radius: float = 0.9144
    friction: float = 0.12
    feed: Stretch | None = None
    pull: Stretch | None = None
    assumed: tuple[str, ...] = ()


def feeder_route(network: DuctNetwork, feeder: Sequence[str]) -> FeederRoute:
    """Find the shortest way through ``feeder``'s vaults in that order."""
    raise NotImplementedError


def duct_route(network: DuctNetwork, duct_id: str) -> FeederRoute:
    """Return one duct between two vaults as a route of its own, from its start to its end."""
    raise NotImplementedError


def build_row(route: FeederRoute, bore_of: Callable[[Duct], Bore], guides: Guides) -> Row:
    """Lay the ducts of a route end to end, with the crossing of every vault between them."""
    raise NotImplementedError


def guide_bend(radius: float, turn: float, friction: float, rise: float = 0.0) -> Stretch:
    """Return a bend on guides, for the feed or the pull vault."""
    raise NotImplementedError
