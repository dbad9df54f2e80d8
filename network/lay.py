"""Laying a route out as a row: ducts end to end, each oriented, with the crossing of every vault between them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from mechanics.chain import Chain
from mechanics.crossing import vault_crossing
from mechanics.errors import in_range
from mechanics.track import Bore, Friction
from network.route import FeederRoute, Leg
from network.row import Row, RowVault, Stretch
from routeio.survey import Duct, Vault


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

    @property
    def bore(self) -> Bore:
        """What the cable slides on there."""
        return Bore(None, Friction(self.friction), guide=True, label="guides", assumed=self.assumed)


def build_row(route: FeederRoute, bore_of: Callable[[Duct], Bore], guides: Guides) -> Row:
    """Lay the ducts of a route end to end, with the crossing of every vault between them.

    Parameters
    ----------
    route : FeederRoute
        Vaults and ducts.
    bore_of : callable
        The bore of a duct, from its own attributes or the job's values.
    guides : Guides
        What the cable turns on where duct mouths do not face each other.

    Returns
    -------
    Row
        Crossings are bends of the guides' radius, mouths set apart included; empty where the mouths meet face
        to face.

    Raises
    ------
    DomainError
        A guide radius or friction that is not above 0, or that does not fit the vault.
    """
    in_range("guides.radius", guides.radius, above=0.0)
    in_range("guides.friction", guides.friction, at_least=0.0)
    spans = tuple(_span(leg, bore_of) for leg in route.legs)
    crossings = tuple(
        _crossing(before, after, bore_of(before.duct.at(_last(before))), vault, guides)
        for (before, after), vault in zip(pairwise(route.legs), route.vaults[1:-1], strict=True)
    )
    vaults = tuple(RowVault(v.tag, v.splice, v.feed, v.pull) for v in route.vaults)
    return Row(vaults, spans, crossings, guides.feed, guides.pull)


def guide_bend(radius: float, turn: float, friction: float, label: str = "guides") -> Stretch:
    """Return a flat bend on guides, for the feed or the pull vault.

    Parameters
    ----------
    radius : float
        Of the bend, above 0. [m]
    turn : float
        Its angle, not 0; left or right makes no difference to the pull. [rad]
    friction : float
        Of the guides, at least 0.
    label : str, optional
        As a person reads it.

    Returns
    -------
    Stretch
        One segment.

    Raises
    ------
    DomainError
        An argument outside its range.
    """
    in_range("radius", radius, above=0.0)
    in_range("friction", friction, at_least=0.0)
    chain = Chain([radius * abs(turn)], [0.0], [0.0], [turn])
    return Stretch(chain, (Bore(None, Friction(friction), guide=True, label=label),), (label,), ("guide",))


def _last(leg: Leg) -> int:
    """Return the segment of the leg's duct by which the feeder leaves it."""
    return len(leg.duct.chain) - 1 if leg.forward else 0


def _span(leg: Leg, bore_of: Callable[[Duct], Bore]) -> Stretch:
    duct = leg.duct
    n = len(duct.chain)
    # a duct may change its size or layer with no vault between
    bores = tuple(bore_of(duct.at(k)) for k in range(n)) if duct.parts else (bore_of(duct),) * n
    ids = tuple(duct.id if o.id in ("", duct.id) else f"{duct.id} {o.id}" for o in duct.origins)
    span = Stretch(duct.chain, bores, ids, tuple(str(o.how) for o in duct.origins))
    return span if leg.forward else span.reversed()


@dataclass(frozen=True)
class _Mouth:
    """Where a duct meets a vault: its place, and the direction in which the feeder runs there."""

    x: float
    y: float
    z: float
    heading: float
    grade: float


def _arrives(leg: Leg) -> _Mouth:
    return _end(leg.duct) if leg.forward else _turned(_start(leg.duct))


def _departs(leg: Leg) -> _Mouth:
    return _start(leg.duct) if leg.forward else _turned(_end(leg.duct))


def _start(duct: Duct) -> _Mouth:
    return _Mouth(*duct.start, duct.heading, float(duct.chain.grade_in[0]))


def _end(duct: Duct) -> _Mouth:
    return _Mouth(*duct.end, duct.heading + float(duct.chain.turn.sum()), float(duct.chain.grade_out[-1]))


def _turned(mouth: _Mouth) -> _Mouth:
    return _Mouth(mouth.x, mouth.y, mouth.z, mouth.heading + math.pi, -mouth.grade)


def _crossing(before: Leg, after: Leg, bore: Bore, vault: Vault, guides: Guides) -> Stretch:
    """The cable's way from one duct mouth to the next; where both lines end at one point, the turn alone.

    Straight on from a mouth the cable rubs as in the duct it comes out of.
    """
    here, there = _arrives(before), _departs(after)
    elevated = before.duct.elevated and after.duct.elevated
    offset = (there.x - here.x, there.y - here.y, there.z - here.z if elevated else 0.0)
    bore = replace(bore, flooded=False)  # whoever lubricates there has pumped the vault out
    if bore.inside_diameter is not None:
        offset = _drawn_offset(offset, here, there, 0.5 * bore.inside_diameter)
    way = vault_crossing(offset, here.heading, here.grade, there.heading, there.grade, guides.radius)
    n = len(way.chain)
    return Stretch(
        way.chain,
        tuple(guides.bore if on_guide else bore for on_guide in way.guide),
        (f"vault {vault.tag}",) * n,
        tuple("guide" if on_guide else "vault" for on_guide in way.guide),
    )


def _drawn_offset(
    offset: tuple[float, float, float], here: _Mouth, there: _Mouth, play: float
) -> tuple[float, float, float]:
    """Return the offset between two mouths without what is a drafter's accuracy.

    Mouths that face each other but for less than half a duct's width need no guide: the cable has that room inside
    its duct. Bent round guides, a slip of 6 mm where two lines were drawn to one vault would be an S of twice 5°.
    """
    a, b = (
        np.array(
            [
                math.cos(m.grade) * math.cos(m.heading),
                math.cos(m.grade) * math.sin(m.heading),
                math.sin(m.grade),
            ]
        )
        for m in (here, there)
    )
    middle = a + b
    size = float(np.linalg.norm(middle))
    if size < 1e-9:  # straight back: no direction to measure from
        return offset
    ahead = float(np.dot(offset, middle)) / size
    aside = float(np.linalg.norm(np.array(offset) - ahead * middle / size))
    if aside >= play or ahead <= -play:
        return offset
    if ahead < play:
        return 0.0, 0.0, 0.0
    x, y, z = (ahead * middle / size).tolist()
    return x, y, z
