"""New vaults: the fewest that let a feeder be planned, where they leave the best margin.

Every place of a grid along the straights stands in the row as a vault that costs one, beside those that stand and cost
nothing; the cheapest plan of that row is the answer. Every new vault of it is a splice, and that loses nothing:

- A section fed at a new vault between its ends could be two sections, by the same two pulls: as many vaults, the same margin,
  and two shorter cables. At vaults that stand, where no splice may be, sections are fed between their ends if the plan's rules
  allow it.
- A pull lubricated on its way at a new vault could be cut there: its first part is as before, and its second enters with
  nothing behind it. Only where the job states an entry tension, or guides at the ends of every pull, may two pulls be harder
  than one; then a plan that stops there for lubricant alone is not looked for.

A finer grid around what was found then settles the places.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from mechanics.cable import Bundle
from mechanics.centreline import displacement
from mechanics.chain import IntArray
from mechanics.errors import FloatArray, in_range
from mechanics.pull import Rules
from mechanics.track import Bore
from network.feeder import restricted
from network.graph import DuctNetwork
from network.lay import Guides, build_row
from network.mixed import OtherBundle, Pulls, pulls_of, with_others
from network.plan import Plan, plan_row
from network.pulls import Offers, PullOption
from network.route import FeederRoute, Leg, feeder_route
from network.row import Row, RowFacts
from network.split import Place, with_vaults
from network.terms import Costs, PlanRules, Reel
from routeio.survey import Duct, Survey

# A curve of a larger radius is straight enough for the wall of a vault: judgement, no source. [m]
_STRAIGHT = 300.0
# Prices of a vault where it can be reached, of one elsewhere, and of a re-lube stop: each far below the one before.
_VAULT, _OUT_OF_REACH, _STOP = 1.0, 1.0001, 1e-8
# The second grid is so many times finer than the first.
_FINER = 8


@dataclass(frozen=True)
class PlaceRules:
    """Where new vaults may stand.

    Parameters
    ----------
    step : float
        Distance between the places looked at. [m]
    lead : float
        Straight duct from a bend, or from another vault, to a new one. [m]
    spacing : float or None
        Greatest distance from vault to vault along the route. [m]
    keep_out : geometry or None
        Area in which none may stand, in the survey's metres.
    access : geometry or None
        Area in which they stand in preference.

    Raises
    ------
    DomainError
        A length that is not above 0, a lead that is negative.
    """

    step: float = 10.0
    lead: float = 3.0
    spacing: float | None = None
    keep_out: BaseGeometry | None = None
    access: BaseGeometry | None = None

    def __post_init__(self) -> None:
        in_range("vaults.step", self.step, above=0.0)
        in_range("vaults.lead", self.lead, at_least=0.0)
        if self.spacing is not None:
            in_range("vaults.spacing", self.spacing, above=0.0)


@dataclass(frozen=True, eq=False)
class Proposal:
    """A survey with new vaults in it.

    Parameters
    ----------
    survey : Survey
        The same as read where none is needed, or none would do.
    feeder : tuple of str
        Tags of all vaults of the feeder in order, new ones included.
    new : tuple of (str, Place)
        Tag and place of each new vault, in order.
    solved : bool
        Whether the feeder can be planned with them.
    looked_at : int
        Number of places of the first grid.
    """

    survey: Survey
    feeder: tuple[str, ...]
    new: tuple[tuple[str, Place], ...]
    solved: bool
    looked_at: int


def propose(
    survey: Survey,
    feeder: Sequence[str],
    bore_of: Callable[[Duct], Bore],
    bundle: Bundle,
    rules: Rules,
    plan_rules: PlanRules,
    place_rules: PlaceRules,
    guides: Guides | None = None,
    others: Sequence[OtherBundle] = (),
) -> Proposal:
    """Find the fewest new vaults with which a feeder can be planned.

    Parameters
    ----------
    survey : Survey
        Vaults and ducts.
    feeder : sequence of str
        From, to, and any vaults it must pass between them.
    bore_of : callable
        The bore of a duct.
    bundle : Bundle
        What is pulled.
    rules : Rules
        What a pull is judged by.
    plan_rules : PlanRules
        Reels, slack, forced splices and middle feeds; prices play no part.
    place_rules : PlaceRules
        Where new vaults may stand.
    guides : Guides, optional
        At the vaults.
    others : sequence of OtherBundle, optional
        What else is pulled, between which vaults.

    Returns
    -------
    Proposal
        Fewest new vaults on the grid; of those, most where they can be reached; of those, the fewest re-lube stops at
        vaults that stand; of those, the least worst utilisation. Every new vault is a splice in that count; the plan that
        is made afterwards with the job's prices may use it otherwise.

    Raises
    ------
    InputRefusedError
        Unknown vaults, no way between them.
    DomainError
        A figure out of its range.
    """
    route = feeder_route(DuctNetwork.from_survey(survey), feeder)

    def planned(places: list[Place]) -> list[Place] | None:
        return _fewest(
            survey,
            route,
            places,
            bore_of,
            lambda row: pulls_of(row, bundle, rules, others),
            with_others(plan_rules, route.tags, others),
            place_rules,
            guides or Guides(),
        )

    every = list(_places(route, place_rules, place_rules.step))
    chosen = planned(every)
    if chosen is None:
        return Proposal(survey, route.tags, (), False, len(every))
    if chosen:
        near = [
            p
            for p in _places(route, place_rules, place_rules.step / _FINER)
            if any(p.duct == c.duct and abs(p.station - c.station) <= place_rules.step for c in chosen)
        ]
        chosen = planned(near) or chosen
    if not chosen:
        return Proposal(survey, route.tags, (), True, len(every))
    order = _in_order(route, chosen)
    tags = _free_tags({v.tag for v in survey.vaults}, len(order))
    new = with_vaults(survey, list(zip(order, tags, strict=True)))
    return Proposal(new, _passed(route, order, tags), tuple(zip(tags, order, strict=True)), True, len(every))


def _fewest(
    survey: Survey,
    route: FeederRoute,
    places: list[Place],
    bore_of: Callable[[Duct], Bore],
    pulls: Callable[[Row], Pulls],
    plan_rules: PlanRules,
    place_rules: PlaceRules,
    guides: Guides,
) -> list[Place] | None:
    """Return the places of the cheapest plan of a row in which every place has a price; None where there is no plan."""
    order = _in_order(route, places)
    names = [f"\0{k}" for k in range(len(order))]
    fine = with_vaults(survey, list(zip(order, names, strict=True)))
    tags = _passed(route, order, names)
    row = restricted(build_row(_along(fine, tags, route), bore_of, guides), plan_rules)
    own = dict(zip(names, order, strict=True))
    row = replace(
        row,
        vaults=tuple(
            v if v.tag not in own else replace(v, relube=False, price=_VAULT if own[v.tag].preferred else _OUT_OF_REACH)
            for v in row.vaults
        ),
    )  # fmt: skip
    offers = pulls(row).offers()
    last = _farthest(row.facts, place_rules.spacing)
    free = replace(
        plan_rules,
        costs=Costs(0.0, 0.0, _STOP, 0.0),
        reels=_free(plan_rules.reels),
        stocks=tuple(replace(s, reels=_free(s.reels)) for s in plan_rules.stocks),
        waste=0.0,
    )
    plan = plan_row(row.facts, _Some(offers, np.flatnonzero(offers.end <= last[offers.start])), free)
    if not isinstance(plan, Plan):
        return None
    splices = [row.vaults[s.end].tag for s in plan.sections[:-1]]
    return [own[tag] for tag in splices if tag in own]


def _free(reels: Sequence[Reel]) -> tuple[Reel, ...]:
    return tuple(Reel(r.length) for r in reels)


def _along(survey: Survey, tags: Sequence[str], route: FeederRoute) -> FeederRoute:
    """Return the way through a survey whose ducts were cut: the same ducts, in parts."""
    legs = []
    for leg in route.legs:
        parts = [d for d in survey.ducts if d.id == leg.duct.id or d.id.startswith(f"{leg.duct.id}/")]
        legs += [Leg(part, leg.forward) for part in (parts if leg.forward else parts[::-1])]
    known = {v.tag: v for v in survey.vaults}
    return FeederRoute(tuple(known[t] for t in tags), tuple(legs), route.findings)


def room_of(duct: Duct, station: float) -> float:
    """Return how far a place on a duct is from the nearest bend or vault.

    Parameters
    ----------
    duct : Duct
        As it was before a vault was put there.
    station : float
        Along it. [m]

    Returns
    -------
    float
        0 within a bend. [m]
    """
    for low, high in _straights(duct):
        if low <= station <= high:
            return min(station - low, high - station)
    return 0.0


def _places(route: FeederRoute, rules: PlaceRules, step: float) -> Iterator[Place]:
    """Places on the straights of a route, the lead away from bends and vaults, outside of closed zones."""
    for leg in route.legs:
        duct = leg.duct
        stations = _stations(duct, rules.lead, step)
        if not stations.size:
            continue
        xyz = _points(duct, stations)
        keep = np.ones(stations.size, dtype=bool)
        if rules.keep_out is not None:
            keep = ~shapely.intersects_xy(rules.keep_out, xyz[:, 0], xyz[:, 1])
        reach = np.ones(stations.size, dtype=bool)
        if rules.access is not None:
            reach = shapely.intersects_xy(rules.access, xyz[:, 0], xyz[:, 1])
        for k in np.flatnonzero(keep).tolist():
            x, y, z = xyz[k].tolist()
            yield Place(duct.id, float(stations[k]), x, y, z, bool(reach[k]))


def _stations(duct: Duct, lead: float, step: float) -> FloatArray:
    found = []
    for begin, end in _straights(duct):
        low, high = begin + max(lead, 1e-3), end - max(lead, 1e-3)
        if low > high:
            continue
        # whole steps of the duct, so that neither a bend nor the zone before moves all that follow; and both ends
        inner = step * np.arange(np.ceil(low / step), np.floor(high / step) + 1.0)
        found.append(np.unique(np.concatenate(([low], inner[(inner > low) & (inner < high)], [high]))))
    return np.concatenate(found) if found else np.zeros(0)


def _straights(duct: Duct) -> list[tuple[float, float]]:
    """Return from where to where a duct is straight."""
    chain = duct.chain
    calm = chain.curvature < 1.0 / _STRAIGHT
    ends = np.concatenate(([0.0], chain.station))
    edges = np.flatnonzero(np.diff(np.concatenate(([0], calm.astype(np.int64), [0]))))
    return [(float(ends[a]), float(ends[b])) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _points(duct: Duct, stations: FloatArray) -> FloatArray:
    chain = duct.chain
    heading = duct.heading + np.concatenate(([0.0], np.cumsum(chain.turn)[:-1]))
    starts = np.array(duct.start) + np.vstack(
        (np.zeros(3), np.cumsum(displacement(chain, heading), axis=0)[:-1])
    )
    segment = np.minimum(np.searchsorted(chain.station, stations, side="left"), len(chain) - 1)
    fraction = np.clip(1.0 - (chain.station[segment] - stations) / chain.length[segment], 0.0, 1.0)
    some = type(chain)(
        chain.length[segment], chain.grade_in[segment], chain.grade_out[segment], chain.turn[segment]
    )
    return np.asarray(starts[segment] + displacement(some, heading[segment], 0.0, fraction))


def _in_order(route: FeederRoute, places: Sequence[Place]) -> list[Place]:
    number = {leg.duct.id: (k, 1.0 if leg.forward else -1.0) for k, leg in enumerate(route.legs)}
    return sorted(places, key=lambda p: (number[p.duct][0], number[p.duct][1] * p.station))


def _passed(route: FeederRoute, order: Sequence[Place], tags: Sequence[str]) -> tuple[str, ...]:
    """Return the tags of the row's vaults with the new ones between them."""
    own: dict[str, list[str]] = {}
    for place, tag in zip(order, tags, strict=True):
        own.setdefault(place.duct, []).append(tag)
    between = [own.get(leg.duct.id, []) for leg in route.legs]
    return (
        *itertools.chain.from_iterable([t, *b] for t, b in zip(route.tags, between, strict=False)),
        route.tags[-1],
    )


def _free_tags(taken: set[str], count: int) -> list[str]:
    tags = (f"N-{k}" for k in itertools.count(1))
    return list(itertools.islice((t for t in tags if t not in taken), count))


def _farthest(facts: RowFacts, spacing: float | None) -> IntArray:
    """Return, for each vault, the farthest that a section from it can end at with no gap above the spacing in it."""
    n = len(facts.vaults)
    if spacing is None:
        return np.full(n, n - 1)
    arrive, depart = np.array(facts.arrive), np.array(facts.depart)
    reach = np.searchsorted(arrive, depart + spacing + 1e-6, side="right") - 1
    stands = np.array([v.price == 0.0 for v in facts.vaults])
    last = reach.copy()
    # from the end of the row back: a section goes on from the last vault in reach that stands
    next_stand = np.maximum.accumulate(np.where(stands, np.arange(n), -1))
    for k in range(n - 1, -1, -1):
        stop = int(next_stand[reach[k]])
        if stop > k:
            last[k] = max(int(reach[k]), int(last[stop]))
    return last


class _Some:
    """The offers of some stretches of a row; see :class:`network.pulls.Offers`."""

    def __init__(self, offers: Offers, stretches: IntArray) -> None:
        self._offers = offers
        self._rows = np.concatenate((stretches, stretches + offers.start.size))
        self.start: IntArray = offers.start[stretches]
        self.end: IntArray = offers.end[stretches]
        self.climb: FloatArray = offers.climb[self._rows]
        self.exact = offers.exact

    @property
    def stops(self) -> IntArray:
        return np.asarray(self._offers.stops[self._rows])

    def settle(self, rows: IntArray, stops_free: bool) -> FloatArray:
        return self._offers.settle(self._rows[rows], stops_free)

    def chosen(self, rows: IntArray, most: float, stops_free: bool) -> list[PullOption]:
        return self._offers.chosen(self._rows[rows], most, stops_free)

    def by_stops(self, row: int) -> Iterator[PullOption]:
        return self._offers.by_stops(int(self._rows[row]))
