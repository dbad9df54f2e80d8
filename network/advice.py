"""Where there is no plan: for each stretch that no section covers, the smallest changes that would let one through."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from mechanics.errors import DomainError, in_range
from mechanics.pull import Rules
from network.changed import (
    hardest_bend,
    part_of,
    roomiest,
    tightest,
    with_friction,
    with_part,
    with_sweep,
    with_vault,
)
from network.leave import leaves, opened
from network.market import FITS
from network.mixed import Pulls
from network.plan import plan_row
from network.row import Row
from network.stretch import MissingSection, Passing, missing_sections
from network.terms import NoPlan, Plan, PlanRules, Reel

Kind = Literal["friction", "radius", "vault", "pusher", "assist", "reel", "allow"]

# Changes are looked for up to these.
_LEAST_FRICTION = 0.02
_GREATEST_RADIUS = 100.0
_GREATEST_FORCE = 50e3
# How far a new vault stays from the ends of a straight: 10 ft, less where it is short; and where in what is left one is tried.
_AWAY, _AWAY_IN_SHORT = 3.048, 0.1
_PLACES = (0.0, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True)
class Steps:
    """The steps in which changes are looked for: round figures of the units that a person reads.

    Parameters
    ----------
    friction : float, optional
        Of a coefficient.
    radius : float, optional
        Of a bend. [m]
    force : float, optional
        Of a pusher or an assist. [N]
    length : float, optional
        Of the cable on a reel. [m]
    place : float, optional
        Of the station of a new vault. [m]

    Raises
    ------
    DomainError
        A step that is not above 0.
    """

    friction: float = 0.001
    radius: float = 0.05
    force: float = 10.0
    length: float = 0.1
    place: float = 0.1

    def __post_init__(self) -> None:
        for name in ("friction", "radius", "force", "length", "place"):
            in_range(f"steps.{name}", getattr(self, name), above=0.0)


@dataclass(frozen=True)
class Remedy:
    """A change that lets a section through, the smallest of its kind.

    Parameters
    ----------
    kind : {"friction", "radius", "vault", "pusher", "assist", "reel", "allow"}
        A lower friction in the ducts between ``low`` and ``high``; a larger sweep in one bend, or in all bends that are
        tighter; a new vault; a pusher at the feed; an assist at a vault that is passed; a longer reel; leave to
        splice, feed and pull at a vault.
    low, high : int
        The stretch, by its vaults.
    value : float
        Lubricated friction coefficient to reach [-]; centreline radius [m]; station of the new vault from vault ``span``
        [m]; force [N]; length of cable on the reel [m]; for ``allow`` the number of the vault, or of the first.
    where : str
        Id of the bend's segment, or tag of the vault; empty where there is nothing to name, for all bends, for several vaults.
    utilisation : float or None
        Worst of a binding check once that is done; None where it does not depend on it.
    feed, pull : int or None
        The pull that then passes; None where it takes two.
    now : float or None
        What the friction or the radius is before.
    span : int or None
        In which span of the row the bend or the new vault lies.
    segment : int or None
        Which segment of that span the bend is.
    plan : Plan or None
        Of the whole row once that is done and nothing else; None where it takes more, or was not looked for.
    leave : tuple of (int, tuple of str)
        The vaults, each with which of ``splice``, ``feed`` and ``pull`` must be allowed there, besides the change or, for
        ``allow``, alone.
    reel : float or None
        Where the cable of the stretch is longer than a reel holds: what one must hold besides the change. [m]
    """

    kind: Kind
    low: int
    high: int
    value: float
    where: str = ""
    utilisation: float | None = None
    feed: int | None = None
    pull: int | None = None
    now: float | None = None
    span: int | None = None
    segment: int | None = None
    plan: Plan | None = None
    leave: tuple[tuple[int, tuple[str, ...]], ...] = ()
    reel: float | None = None


def advise(
    pulls: Pulls, rules: PlanRules, none: NoPlan, steps: Steps | None = None, most: int | None = None
) -> tuple[Remedy, ...]:
    """Return what would let a plan through where there is none.

    Parameters
    ----------
    pulls : RowPulls or MixedPulls
        Of the row.
    rules : PlanRules
        Reel, slack.
    none : NoPlan
        What is in the way.
    steps : Steps, optional
        How finely to look.
    most : int, optional
        For how many stretches to look, the first ones; all by default.

    Returns
    -------
    tuple of Remedy
        For each stretch that wants a section what makes a pull through it pass, each enough on its own for that stretch;
        then changes that give a plan of the whole row: leave at one vault, and what all stretches need of friction,
        reel or pusher.
    """
    steps = steps or Steps()
    stretches = missing_sections(pulls, none)
    looked = stretches[:most]
    tags = [v.tag for v in pulls.row.vaults]
    found = [r for s in looked for r in remedies(s, rules.within(tags, s.low, s.high), steps)]
    if len(stretches) == 1:
        found = [replace(r, plan=_whole(pulls, rules, r)) for r in found]
    found += _leave(pulls, rules, none, found)
    if len(stretches) > 1 and len(looked) == len(stretches):
        found += _together(pulls, rules, found, len(stretches))
    if not any(r.kind == "reel" and r.plan for r in found):
        found += _longer_reel(pulls, rules, none, steps)
    return tuple(found)


def remedies(stretch: MissingSection, rules: PlanRules, steps: Steps) -> tuple[Remedy, ...]:
    """Return the smallest changes that each let a section through one stretch.

    Parameters
    ----------
    stretch : MissingSection
        Between vaults where splicing is allowed.
    rules : PlanRules
        Reel, slack.
    steps : Steps
        How finely to look.

    Returns
    -------
    tuple of Remedy
        Those that help, each enough on its own.
    """
    need = stretch.row.length(0, stretch.last) + 2.0 * rules.slack
    passes = stretch.passing()
    vault = tuple(_new_vault(stretch, rules, steps))
    if need > rules.longest + FITS:
        length = steps.length * math.ceil(need / steps.length - FITS)
        if passes is not None:
            return (_remedy(stretch, "reel", length, passes), *vault)
        return vault or tuple(replace(r, reel=length) for r in _changes(stretch, steps))
    if passes is not None:
        return vault
    return (*_changes(stretch, steps), *(vault if stretch.mendable or not any(stretch.tried()) else ()))


def _changes(stretch: MissingSection, steps: Steps) -> Iterator[Remedy]:
    """What lets a pull through from end to end, each on its own, whatever a reel holds."""
    yield from _other_way(stretch, steps)
    if stretch.mendable:
        for sought in (_radius, _friction, _pusher, _assist):
            yield from sought(stretch, steps)


def _remedy(
    stretch: MissingSection,
    kind: Kind,
    value: float,
    passing: Passing,
    where: str = "",
    now: float | None = None,
    bend: tuple[int, int] | None = None,
) -> Remedy:
    low = stretch.low
    feed, pull, used = low + passing.feed, low + passing.pull, passing.result.utilisation
    span, segment = (None, None) if bend is None else (low + bend[0], bend[1])
    return Remedy(kind, low, stretch.high, value, where, used, feed, pull, now, span, segment)


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


def _sought(
    trial: Callable[[float], Passing | None], low: float, high: float, step: float
) -> tuple[float, Passing] | None:
    """The least value that passes, with what passes at it."""
    value = _least(lambda v: trial(v) is not None, low, high, step)
    passing = None if value is None else trial(value)
    return None if value is None or passing is None else (value, passing)


def _friction(stretch: MissingSection, steps: Steps) -> Iterator[Remedy]:
    own = stretch.row.spans[0].bores[0].friction.lubricated

    def lower(drop: float) -> Passing | None:
        factor = (own - drop) / own
        return stretch.passing(with_friction(stretch.row, lambda f: f * factor))

    # Counted downward from what it is, so that the least change is found.
    found = _sought(lower, 0.0, own - _LEAST_FRICTION, steps.friction)
    if found is not None:
        yield _remedy(stretch, "friction", own - found[0], found[1], now=own)


def _radius(stretch: MissingSection, steps: Steps) -> Iterator[Remedy]:
    """Of the bends that may be in the way, the one that has to change least; or all that are tight, where one is not enough."""
    row = stretch.row
    bends = tightest(row)
    if not bends:
        return
    asked = {(bends[0][1], bends[0][2])}
    for way in stretch.tried():
        pressed = hardest_bend(row, way.feed, way.pull, way.result)
        if pressed is not None:
            asked.add(pressed)
    best: tuple[float, Remedy] | None = None
    for span, bend in sorted(asked):
        now = 1.0 / float(row.spans[span].chain.curvature[bend])

        def swept(radius: float, span: int = span, bend: int = bend) -> Passing | None:
            return stretch.passing(with_sweep(row, span, bend, radius))

        found = _sought(swept, now, roomiest(row, span, bend, _GREATEST_RADIUS), steps.radius)
        if found is not None and (best is None or found[0] / now < best[0]):
            ids = row.spans[span].ids
            radius, passing = found
            where = ids[bend] if ids else ""
            best = radius / now, _remedy(stretch, "radius", radius, passing, where, now, (span, bend))
    if best is not None:
        yield best[1]
        return

    def all_swept(radius: float) -> Passing | None:
        try:
            return stretch.passing(all_at_least(row, radius))
        except DomainError:
            return None

    found = _sought(all_swept, bends[0][0], _GREATEST_RADIUS, steps.radius)
    if found is not None:
        yield _remedy(stretch, "radius", found[0], found[1], now=bends[0][0])


def all_at_least(row: Row, radius: float) -> Row:
    """Return a row in which no bend in a duct is tighter than a radius.

    Parameters
    ----------
    row : Row
        As it is.
    radius : float
        Of the centreline, above 0. [m]

    Returns
    -------
    Row
        As it would be.

    Raises
    ------
    DomainError
        No room for one of the bends.
    """
    for now, span, bend in tightest(row):
        if now < radius:
            row = with_sweep(row, span, bend, radius)
    return row


def _pusher(stretch: MissingSection, steps: Steps) -> Iterator[Remedy]:
    def pushed(force: float) -> Passing | None:
        return stretch.passing(rules=replace(stretch.rules, pusher=force))

    found = _sought(pushed, stretch.rules.pusher, _GREATEST_FORCE, steps.force)
    if found is not None:
        force, passing = found
        yield _remedy(stretch, "pusher", force, passing, stretch.row.vaults[passing.feed].tag)


def _assist(stretch: MissingSection, steps: Steps) -> Iterator[Remedy]:
    """Of the vaults that are passed, the one where the weakest assist does."""
    best: tuple[float, Passing, str] | None = None
    for vault in stretch.row.vaults[1:-1]:
        now = stretch.rules.assists.get(vault.tag, 0.0)

        def helped(force: float, tag: str = vault.tag) -> Passing | None:
            return stretch.passing(rules=assisted(stretch.rules, tag, force))

        most = _GREATEST_FORCE if best is None else best[0]
        found = _sought(helped, now, most, steps.force)
        if found is not None and (best is None or found[0] < best[0]):
            best = found[0], found[1], vault.tag
    if best is not None:
        force, passing, tag = best
        yield _remedy(stretch, "assist", force, passing, tag)


def assisted(rules: Rules, tag: str, force: float) -> Rules:
    """Return rules with an assist at one vault more, or another one there.

    Parameters
    ----------
    rules : Rules
        As they are.
    tag : str
        Of the vault.
    force : float
        Above 0. [N]

    Returns
    -------
    Rules
        As they would be.
    """
    return replace(rules, assists={**rules.assists, tag: force})


def _other_way(stretch: MissingSection, steps: Steps) -> Iterator[Remedy]:
    """Leave to feed and to pull at the ends, with which a pull passes; where none may be made at all, with what else it takes."""
    vaults = stretch.row.vaults
    for feed, pull in ((0, stretch.last), (stretch.last, 0)):
        wanting = {
            k: (what,)
            for k, what, may in ((feed, "feed", vaults[feed].feed), (pull, "pull", vaults[pull].pull))
            if not may
        }
        if not wanting:
            continue
        wide = replace(stretch, row=replace(stretch.row, vaults=opened(vaults, wanting)))
        first = min(wanting)
        leave = tuple((stretch.low + k, wanting[k]) for k in sorted(wanting))
        passes = wide.passing()
        if passes is not None:
            where = vaults[first].tag if len(wanting) == 1 else ""
            yield replace(_remedy(stretch, "allow", float(stretch.low + first), passes, where), leave=leave)
        elif not any(stretch.tried()) and wide.mendable:
            for sought in (_radius, _friction, _pusher, _assist):
                yield from (replace(r, leave=leave) for r in sought(wide, steps))


def _new_vault(stretch: MissingSection, rules: PlanRules, steps: Steps) -> Iterator[Remedy]:
    """One more vault, in a straight, with which both halves pass and fit their reels: where it leaves the best margin.

    Among places of the same margin, where the longer half is shortest.
    """
    best: tuple[tuple[float, float], Remedy] | None = None
    # As near to either end as the cable of the other half lets it be.
    most = rules.longest + FITS - 2.0 * rules.slack
    reach = (stretch.row.length(0, stretch.last) - most, most)
    for span, segment, station in _places(stretch.row, steps, reach):
        changed = with_vault(stretch.row, span, station)
        middle, end = span + 1, stretch.last + 1
        longer = max(changed.length(0, middle), changed.length(middle, end)) + 2.0 * rules.slack
        if longer > rules.longest + FITS:
            continue
        halves = [stretch.passing(changed, ends=ends) for ends in ((0, middle), (middle, end))]
        used = max((h.result.utilisation for h in halves if h is not None), default=math.inf)
        rank = (round(used, 9) if math.isfinite(used) else used, longer)
        if None not in halves and (best is None or rank < best[0]):
            low = stretch.low
            best = (
                rank,
                Remedy("vault", low, stretch.high, station, "", used, span=low + span, segment=segment),
            )
    if best is not None:
        yield best[1]


def _places(row: Row, steps: Steps, reach: tuple[float, float]) -> Iterator[tuple[int, int, float]]:
    """Span, segment and station of the places in straights, at round figures, at which a new vault is tried.

    No nearer to the row's first vault and no farther from it than ``reach`` says. [m]
    """
    bends = {at[1:] for at in tightest(row)}
    for span, stretch in enumerate(row.spans):
        chain = stretch.chain
        before = row.facts.depart[span] - row.facts.depart[0]
        for segment in range(len(chain)):
            end = float(chain.station[segment])
            begin = end - float(chain.length[segment])
            if (span, segment) in bends:
                continue
            away = min(_AWAY, _AWAY_IN_SHORT * (end - begin))
            low, high = max(begin + away, reach[0] - before), min(end - away, reach[1] - before)
            if not low <= high:
                continue
            first, last = math.ceil(low / steps.place), math.floor(high / steps.place)
            yield from (
                (span, segment, steps.place * number)
                for number in sorted({round(first + place * (last - first)) for place in _PLACES})
                if first <= number <= last
            )


def _whole(pulls: Pulls, rules: PlanRules, remedy: Remedy) -> Plan | None:
    """The plan of the whole row with one thing changed, if that is enough."""
    low, high, value = remedy.low, remedy.high, remedy.value
    row = replace(pulls.row, vaults=opened(pulls.row.vaults, dict(remedy.leave)))
    part = part_of(row, low, high)
    if remedy.kind == "friction" and remedy.now is not None:
        factor = value / remedy.now
        row = with_part(row, low, with_friction(part, lambda f: f * factor))
    elif remedy.kind == "radius" and remedy.span is not None and remedy.segment is not None:
        row = with_sweep(row, remedy.span, remedy.segment, value)
    elif remedy.kind == "radius":
        row = with_part(row, low, all_at_least(part, value))
    elif remedy.kind == "vault" and remedy.span is not None:
        row = with_vault(row, remedy.span, value)
    elif remedy.kind == "pusher":
        pulls = pulls.ruled(lambda how: replace(how, pusher=value))
    elif remedy.kind == "assist":
        pulls = pulls.ruled(lambda how: assisted(how, remedy.where, value))
    reel = value if remedy.kind == "reel" else remedy.reel
    if reel is not None:
        tags = [v.tag for v in row.vaults]
        pulls = pulls.ruled(lambda how: replace(how, reel=reel), low)
        rules = _with_reel(rules, reel, (tags, low))
    found = plan_row(row.facts, pulls.on(row).offers(), rules)
    return found if isinstance(found, Plan) else None


def _with_reel(rules: PlanRules, length: float, at: tuple[Sequence[str], int] | None = None) -> PlanRules:
    """Rules with longer reels to be had; where sizes have prices, at the price of the longest there is.

    Where cable comes on several kinds of reels, all that are shorter are longer then, or that of a section which begins
    at one of the row's vaults.
    """
    stocks = []
    elsewhere = False
    for stock in rules.stocks:
        here = at is None or at[0].index(stock.first) <= at[1] < at[0].index(stock.last)
        elsewhere = elsewhere or (at is not None and here)
        reel, reels = _longer(stock.reel, stock.reels, length) if here else (stock.reel, stock.reels)
        stocks.append(replace(stock, reel=reel, reels=reels))
    reel, reels = (rules.reel, rules.reels) if elsewhere else _longer(rules.reel, rules.reels, length)
    return replace(rules, reel=reel, reels=reels, stocks=tuple(stocks))


def _longer(
    reel: float | None, reels: tuple[Reel, ...], length: float
) -> tuple[float | None, tuple[Reel, ...]]:
    """Reels of which the longest holds at least so much."""
    if not reels:
        return (None if reel is None else max(reel, length)), ()
    longest = max(reels, key=lambda r: r.length)
    return (None, reels) if longest.length >= length else (None, (*reels, Reel(length, longest.cost)))


def _together(pulls: Pulls, rules: PlanRules, found: list[Remedy], stretches: int) -> Iterator[Remedy]:
    """What all stretches need of one thing: the lowest friction, the longest reel, the strongest pusher."""
    last = len(pulls.row.spans)
    for kind, extreme in (("friction", min), ("reel", max), ("pusher", max)):
        own = [r for r in found if r.kind == kind]
        if len({r.low for r in own}) == stretches:
            worst = extreme(own, key=lambda r: r.value / (r.now or 1.0))
            remedy = replace(worst, low=0, high=last, where="", feed=None, pull=None, utilisation=None)
            plan = _whole(pulls, rules, remedy)
            if plan is not None:
                yield replace(remedy, utilisation=plan.utilisation, plan=plan)


def _leave(pulls: Pulls, rules: PlanRules, none: NoPlan, told: Sequence[Remedy]) -> Iterator[Remedy]:
    """Leave that would on its own give a plan of the row, beside what was found for its stretches."""
    tags = [v.tag for v in pulls.row.vaults]
    known = {r.leave for r in told if r.plan is not None}
    for leave in leaves(pulls.row.facts, pulls.offers(), rules, none.reached):
        vault, where = (leave.at[0][0], tags[leave.at[0][0]]) if len(leave.at) == 1 else (none.reached, "")
        if leave.at not in known:
            used = leave.plan.utilisation
            yield Remedy(
                "allow",
                none.reached,
                none.resumes,
                float(vault),
                where,
                used,
                plan=leave.plan,
                leave=leave.at,
            )


def _longer_reel(pulls: Pulls, rules: PlanRules, none: NoPlan, steps: Steps) -> Iterator[Remedy]:
    """The shortest reel with which there is a plan."""
    facts = pulls.row.facts
    tags = [v.tag for v in facts.vaults]
    shortest = min(rules.at(tags, low).longest for low in (0, *pulls.changes))
    if not math.isfinite(shortest):
        return
    offers = pulls.ruled(lambda how: replace(how, reel=None)).offers()

    def plan(length: float) -> Plan | NoPlan:
        return plan_row(facts, offers, _with_reel(rules, length))

    longest = facts.length(0, len(facts.vaults) - 1) + 2.0 * rules.slack + steps.length
    length = _least(lambda m: isinstance(plan(m), Plan), shortest, longest, steps.length)
    found = None if length is None else plan(length)
    if length is not None and isinstance(found, Plan):
        yield Remedy("reel", none.reached, none.resumes, length, utilisation=found.utilisation, plan=found)
