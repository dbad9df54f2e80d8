"""Where there is no plan: for each span in the way, the smallest change that would let a pull through it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from mechanics.errors import DomainError
from mechanics.pull import PullResult, Rules
from network.changed import bends_of, roomiest, with_friction, with_sweep, with_vault
from network.market import permitted
from network.plan import plan_row
from network.reach import RowPulls
from network.row import Row
from network.terms import NoPlan, Plan, PlanRules

Kind = Literal["friction", "radius", "vault", "pusher", "reel", "allow"]

# Changes are looked for up to these, and told in these steps.
_LEAST_FRICTION, _FRICTION_STEP = 0.02, 0.001
_GREATEST_RADIUS, _RADIUS_STEP = 100.0, 0.05
_GREATEST_FORCE, _FORCE_STEP = 50e3, 10.0
_REEL_STEP = 0.1
# Places in each straight at which a new vault is tried.
_PLACES = (0.1, 0.3, 0.5, 0.7, 0.9)


@dataclass(frozen=True)
class Remedy:
    """A change that lets a pull through a span, the smallest of its kind.

    Parameters
    ----------
    kind : {"friction", "radius", "vault", "pusher", "reel", "allow"}
        A lower friction in the span's ducts; a larger sweep in one of its bends; a new vault in it; a pusher at the feed;
        a longer reel; leave to splice, feed and pull at a vault.
    low, high : int
        The span, by its vaults.
    value : float
        Lubricated friction coefficient to reach [-]; centreline radius [m]; station of the vault from ``low`` [m]; force
        [N]; length of cable on the reel [m]; for ``allow`` the vault's number.
    where : str
        Id of the bend's segment, or tag of the vault; empty where there is nothing to name.
    utilisation : float or None
        Worst of a binding check once that is done; None where it does not depend on it.
    feed, pull : int or None
        The pull that then passes; None where it takes two.
    """

    kind: Kind
    low: int
    high: int
    value: float
    where: str = ""
    utilisation: float | None = None
    feed: int | None = None
    pull: int | None = None


def advise(pulls: RowPulls, rules: PlanRules, none: NoPlan) -> tuple[Remedy, ...]:
    """Return what would let a plan through where there is none.

    Parameters
    ----------
    pulls : RowPulls
        Of the row.
    rules : PlanRules
        Reel, slack.
    none : NoPlan
        What is in the way.

    Returns
    -------
    tuple of Remedy
        For each blocked span what makes a pull through it pass, each enough on its own for that span; and changes each
        of which on its own gives a plan: leave at one vault, a longer reel.
    """
    found: list[Remedy] = []
    for low, high in none.blocked:
        need = pulls.row.length(low, high) + 2.0 * rules.slack
        if need > rules.longest:
            found.append(Remedy("reel", low, high, need))
            found += _new_vault(pulls, low, rules)
        elif not any(r.verdict == "pass" for _, r in _both_ways(pulls.row, pulls, low)):
            found += remedies(pulls, low)
            found += _new_vault(pulls, low, rules)
    found += _leave(pulls, rules, none)
    if not any(r.kind == "reel" for r in found):
        found += _longer_reel(pulls, rules, none)
    return tuple(found)


def remedies(pulls: RowPulls, span: int) -> tuple[Remedy, ...]:
    """Return the smallest changes that each let a pull through one span, vaults apart.

    Parameters
    ----------
    pulls : RowPulls
        Of the row.
    span : int
        From vault ``span`` to the next.

    Returns
    -------
    tuple of Remedy
        A lower friction, a larger sweep in the bend that is pressed hardest or is too tight, a pusher: those that help.
    """
    return (*_friction(pulls, span), *_radius(pulls, span), *_pusher(pulls, span))


def _both_ways(
    row: Row, pulls: RowPulls, span: int, rules: Rules | None = None
) -> list[tuple[tuple[int, int], PullResult]]:
    """Evaluate one span in the directions that its vaults allow, alone."""
    alone = Row(row.vaults[span : span + 2], row.spans[span : span + 1], (), row.feed_guide, row.pull_guide)
    owner = RowPulls(alone, pulls.bundle, rules or pulls.rules)
    feed, pull = (permitted(row.facts, what) for what in ("feed", "pull"))
    ways = [(a, b) for a, b in ((0, 1), (1, 0)) if feed[span + a] and pull[span + b]]
    return [((span + a, span + b), owner.evaluate(a, b)) for a, b in ways]


def _passing(
    row: Row, pulls: RowPulls, span: int, rules: Rules | None = None
) -> tuple[tuple[int, int], PullResult] | None:
    """The better direction in which a span passes, if any."""
    good = [(way, r) for way, r in _both_ways(row, pulls, span, rules) if r.verdict == "pass"]
    return min(good, key=lambda one: one[1].utilisation, default=None)


def _least(passes: Callable[[float], bool], low: float, high: float, step: float) -> float | None:
    """The least multiple of ``step`` found to pass between a value that fails and the most that is looked at.

    In strides that double, then by halving the last one: too much of a thing may fail again.
    """
    fails, most = math.floor(low / step), math.floor(high / step)
    good, stride = fails, 1
    while not (good > fails and passes(good * step)):
        if good >= most:
            return None
        fails, good, stride = good, min(good + stride, most), 2 * stride
    while good - fails > 1:
        middle = (good + fails) // 2
        if passes(middle * step):
            good = middle
        else:
            fails = middle
    return good * step


def _friction(pulls: RowPulls, span: int) -> Iterator[Remedy]:
    own = pulls.row.spans[span].bores[0].friction.lubricated

    def changed(coefficient: float) -> Row:
        return with_friction(pulls.row, lambda f: f * coefficient / own)

    # Counted downward from what it is, so that the least change is found.
    drop = _least(
        lambda d: _passing(changed(own - d), pulls, span) is not None,
        0.0,
        own - _LEAST_FRICTION,
        _FRICTION_STEP,
    )
    if drop is not None:
        way, result = _passing(changed(own - drop), pulls, span) or ((span, span), None)
        if result is not None:
            yield Remedy("friction", span, span + 1, own - drop, "", result.utilisation, *way)


def _radius(pulls: RowPulls, span: int) -> Iterator[Remedy]:
    """Of the bends that may be in the way, the one that has to change least."""
    row = pulls.row
    chain = row.spans[span].chain
    bends = bends_of(row, span)
    if not bends:
        return
    asked = {max(bends, key=lambda k: float(chain.curvature[k]))}
    ids = row.spans[span].ids
    head = 0 if row.feed_guide is None else len(row.feed_guide.chain)
    for (feed, pull), result in _both_ways(row, pulls, span):
        segment = int(result.source_segment[int(np.argmax(result.sidewall))]) - head
        segment = segment if feed < pull else len(chain) - 1 - segment
        if segment in bends:
            asked.add(segment)
    best: tuple[float, Remedy] | None = None
    for bend in sorted(asked):
        now = 1.0 / float(chain.curvature[bend])

        def changed(radius: float, bend: int = bend) -> tuple[tuple[int, int], PullResult] | None:
            try:
                return _passing(with_sweep(row, span, bend, radius), pulls, span)
            except DomainError:
                return None

        room = roomiest(row, span, bend, _GREATEST_RADIUS)
        radius = _least(lambda r, at=changed: at(r) is not None, now, room, _RADIUS_STEP)  # type: ignore[misc]
        found = None if radius is None else changed(radius)
        if radius is not None and found is not None:
            where = ids[bend] if ids else ""
            remedy = Remedy("radius", span, span + 1, radius, where, found[1].utilisation, *found[0])
            if best is None or radius / now < best[0]:
                best = radius / now, remedy
    if best is not None:
        yield best[1]


def _pusher(pulls: RowPulls, span: int) -> Iterator[Remedy]:
    def found(force: float) -> tuple[tuple[int, int], PullResult] | None:
        return _passing(pulls.row, pulls, span, replace(pulls.rules, pusher=force))

    force = _least(lambda f: found(f) is not None, pulls.rules.pusher, _GREATEST_FORCE, _FORCE_STEP)
    if force is not None:
        way, result = found(force) or ((span, span), None)
        if result is not None:
            yield Remedy(
                "pusher", span, span + 1, force, pulls.row.vaults[way[0]].tag, result.utilisation, *way
            )


def _new_vault(pulls: RowPulls, span: int, rules: PlanRules) -> Iterator[Remedy]:
    """One more vault, in a straight, with which both halves pass and fit their reels: where it leaves the best margin."""
    row = pulls.row
    chain = row.spans[span].chain
    bends = bends_of(row, span)
    best: Remedy | None = None
    for segment in range(len(chain)):
        if segment in bends:
            continue
        begin = float(chain.station[segment] - chain.length[segment])
        for place in _PLACES:
            station = begin + place * float(chain.length[segment])
            longer = max(station, chain.total_length - station) + 2.0 * rules.slack
            if longer > rules.longest:
                continue
            changed = with_vault(row, span, station)
            halves = [_passing(changed, pulls, half) for half in (span, span + 1)]
            used = max((h[1].utilisation for h in halves if h is not None), default=math.inf)
            if None not in halves and (best is None or used < (best.utilisation or 0.0)):
                best = Remedy("vault", span, span + 1, station, "", used)
    if best is not None:
        yield best


def _leave(pulls: RowPulls, rules: PlanRules, none: NoPlan) -> Iterator[Remedy]:
    """Vaults at which leave to do everything would on its own give a plan, nearest to the first gap first."""
    offers = pulls.offers()
    vaults = pulls.row.vaults
    closed = [
        k for k in range(1, len(vaults) - 1) if not (vaults[k].splice and vaults[k].feed and vaults[k].pull)
    ]
    for k in sorted(closed, key=lambda k: abs(k - none.reached)):
        opened = replace(vaults[k], splice=True, feed=True, pull=True)
        facts = replace(pulls.row.facts, vaults=(*vaults[:k], opened, *vaults[k + 1 :]))
        plan = plan_row(facts, offers, rules)
        if isinstance(plan, Plan):
            yield Remedy("allow", none.reached, none.resumes, float(k), vaults[k].tag, plan.utilisation)


def _longer_reel(pulls: RowPulls, rules: PlanRules, none: NoPlan) -> Iterator[Remedy]:
    """The shortest reel with which there is a plan."""
    if not math.isfinite(rules.longest):
        return
    facts = pulls.row.facts
    offers = RowPulls(pulls.row, pulls.bundle, replace(pulls.rules, reel=None)).offers()

    def plan(length: float) -> Plan | NoPlan:
        return plan_row(facts, offers, replace(rules, reel=length, reels=()))

    longest = facts.length(0, len(facts.vaults) - 1) + 2.0 * rules.slack + _REEL_STEP
    length = _least(lambda m: isinstance(plan(m), Plan), rules.longest, longest, _REEL_STEP)
    if length is not None:
        yield Remedy("reel", none.reached, none.resumes, length)
