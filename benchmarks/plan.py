"""Planning a feeder of many vaults against plain Python with networkx, side by side in one run, to the same plan.

A row of vaults about 130 m apart, bends on guides at two vaults of three, each feed reaching about eight of them. Both
sides are given the row (ours as arrays, the plain one as lists of numbers), the cable and the prices, and both give the
same plan: sections, reels' worth of cable, which way each is pulled, cost and worst utilisation; the run stops where they
differ. Both do this work, counted in checks for every pull in both directions as far as it gets:

- what a job settles once: friction's and curvature's part in every segment, inside radii, limits as tensions;
- tension, carried on from span to span (a pull over one span more goes on from where the shorter one ended), against its
  limit; sidewall pressure in every bend; bending radius as it stays and while it is pulled, in every bend; clearance in
  every duct; length on a reel with slack; what is allowed at the vaults where it is fed and drawn out;
- cost of each section, spliced where splicing is allowed; of the cheapest plans the one of least worst utilisation, and of
  those the one with the earlier ends and feeds. Nothing climbs on the flat, and friction that does not age needs no re-lube stops:
  neither side has any to find.

The plain side is written as one would write it for speed: local variables, hyperbolic functions once a bend and not once a
pull, what no tension changes once a span. It knows flat ground and steady friction alone; hills and friction with distance
are shown for ours beside it. What the same loops cost where every pull is worked out from its feed on is shown too.

Growth: what a pull costs at three lengths of row and two reaches, which stays about the same where cost grows in
proportion to vaults times reach. CPU time, so that a busy machine matters little.
Run ``python benchmarks/plan.py [vaults]``.
"""

from __future__ import annotations

import math
import random
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TypeVar

import networkx as nx

from mechanics.cable import Bundle, Cable
from mechanics.chain import Chain
from mechanics.pull import Override, Rules
from mechanics.track import Bore, Friction
from network import Costs, Plan, PlanRules, Row, RowPulls, RowVault, Stretch, plan_row

T = TypeVar("T")
DIAMETER, WEIGHT, FRICTION = 0.06, 60.0, 0.25
RADIUS, LIMIT, SIDEWALL = 7.62, 45_000.0, 20_000.0
DUCT = Bore(0.15, Friction(FRICTION))
GUIDES = Bore(None, Friction(0.12), guide=True)
COSTS = Costs()
REEL, SLACK = 2000.0, 5.0
BENDING, BENDING_PULLED = 12 * DIAMETER, 12 * DIAMETER
CLEARANCE = 0.00635


def row_of(count: int, hilly: bool, ages: bool = False) -> Row:
    """Spans of straights and two bends, bends on guides at two vaults of three; on hills crests and sags as well."""
    rng = random.Random(1)
    duct = Bore(0.15, Friction(FRICTION, 0.45, 300.0)) if ages else DUCT
    spans, crossings, grade = [], [], 0.0
    for _ in range(count - 1):
        segments = []
        for kind in ("straight", "bend", "straight", "bend", "straight"):
            if kind == "bend":
                turn = rng.choice([0.0982, 0.1963]) * rng.choice([-1, 1])
                segments.append((RADIUS * abs(turn), grade, grade, turn))
            else:
                segments.append((rng.uniform(20.0, 60.0), grade, grade, 0.0))
                if hilly and rng.random() < 0.3:
                    new = rng.uniform(-0.15, 0.15)
                    segments.append((60.0 * abs(new - grade) + 0.1, grade, new, 0.0))
                    grade = new
        spans.append(_stretch(duct, segments))
        turn = rng.choice([0.0, 0.1, 0.2])
        crossings.append(_stretch(GUIDES, [(0.9144 * turn, grade, grade, turn)] if turn else []))
    return Row(tuple(RowVault(f"V{k}") for k in range(count)), tuple(spans), tuple(crossings[:-1]))


def _stretch(bore: Bore, segments: list[tuple[float, float, float, float]]) -> Stretch:
    columns = [list(c) for c in zip(*segments, strict=True)] or [[]] * 4
    return Stretch(Chain(*columns), (bore,) * len(segments))


Segment = tuple[float, float, float, float, bool]
"""Length, turn, inside diameter of the duct, friction coefficient, whether on guides."""
Piece = tuple[bool, float, float, float, float]
"""Whether a bend; what a straight adds; or cosh, sinh, squared weight on the radius; most tension allowed in it."""
Pull = tuple[int, int, float]
"""Feed, pull vault, worst utilisation."""


def segments_of(stretches: tuple[Stretch, ...]) -> list[list[Segment]]:
    """Flat stretches as lists of numbers."""
    plain = []
    for s in stretches:
        rows = zip(s.chain.length.tolist(), s.chain.turn.tolist(), s.bores, strict=True)
        plain.append(
            [(m, abs(t), b.inside_diameter or 0.0, b.friction.lubricated, b.guide) for m, t, b in rows]
        )
    return plain


def plain_pieces(
    stretches: list[list[Segment]], limit: float
) -> tuple[list[list[Piece]], list[float], list[float]]:
    """What a job settles once for each stretch: its pieces, its worst utilisation by what no tension changes, its length."""
    pieces, steady, lengths = [], [], []
    for segments in stretches:
        own: list[Piece] = []
        used = total = 0.0
        for length, turn, inside, friction, guide in segments:
            total += length
            if not guide:
                used = max(used, CLEARANCE / (inside - DIAMETER))
            if turn == 0.0:
                own.append((False, friction * WEIGHT * length, 0.0, 0.0, 0.0))
                continue
            radius = length / turn
            free, angle, press = radius - 0.5 * inside, friction * turn, WEIGHT * radius
            used = max(used, BENDING_PULLED / free)
            if not guide:
                used = max(used, BENDING / free)
            own.append((True, math.cosh(angle), math.sinh(angle), press * press, min(SIDEWALL * free, limit)))
        pieces.append(own)
        steady.append(used)
        lengths.append(total)
    return pieces, steady, lengths


def plain_pulls(
    spans: list[list[Segment]], crossings: list[list[Segment]], vaults: tuple[RowVault, ...], limit: float
) -> list[Pull]:
    """Every feasible pull of flat spans, both ways, by loops."""
    last = len(spans)
    ducts, duct_used, duct_length = plain_pieces(spans, limit)
    turns, turn_used, turn_length = plain_pieces(crossings, limit)
    found = []
    for against in (False, True):
        if against:
            ducts, turns = ([s[::-1] for s in row[::-1]] for row in (ducts, turns))
            duct_used, turn_used, duct_length, turn_length = (
                row[::-1] for row in (duct_used, turn_used, duct_length, turn_length)
            )
            vaults = vaults[::-1]
        fed = [v.feed for v in vaults[:-1]]
        drawn = [v.pull for v in vaults[1:-1]] + [True]
        fed[0] = True
        for feed in range(last):
            if not fed[feed]:
                continue
            tension = used = 0.0
            length = 2.0 * SLACK
            for pull in range(feed, last):
                if pull > feed:
                    length += turn_length[pull - 1]
                    if turn_used[pull - 1] > used:
                        used = turn_used[pull - 1]
                    way = turns[pull - 1] + ducts[pull]
                else:
                    way = ducts[pull]
                length += duct_length[pull]
                if duct_used[pull] > used:
                    used = duct_used[pull]
                for bend, cosh, sinh, press, most in way:
                    if bend:
                        tension = tension * cosh + math.sqrt(tension * tension + press) * sinh
                        if tension > most * used:
                            used = tension / most
                    else:
                        tension += cosh
                if tension > limit * used:
                    used = tension / limit
                if used > 1.0 or length > REEL:
                    break
                if drawn[pull]:
                    ends = (last - feed, last - pull - 1) if against else (feed, pull + 1)
                    found.append((*ends, used))
    return found


def plain_plan(vaults: tuple[RowVault, ...], pulls: list[Pull]) -> tuple[float, float, list[tuple[int, int]]]:
    """Cost, worst utilisation, and feed and pull vault of each section of the best plan, networkx finding the ways."""
    last = len(vaults) - 1
    splice = [v.splice for v in vaults]
    splice[0] = splice[last] = True
    on: dict[tuple[int, int], float] = {}
    back: dict[tuple[int, int], float] = {}
    for feed, pull, used in pulls:
        if splice[feed] and splice[pull]:
            if feed < pull:
                on[feed, pull] = used
            else:
                back[pull, feed] = used
    price = COSTS.setup + COSTS.splice
    graph = nx.DiGraph()
    graph.add_weighted_edges_from(
        ((*way, price if way[1] < last else COSTS.setup) for way in on | back), "cost"
    )
    gone = nx.single_source_dijkstra_path_length(graph, 0, weight="cost")
    left = nx.single_source_dijkstra_path_length(graph.reverse(copy=False), last, weight="cost")
    total = gone[last]
    ahead = {last: 0.0}
    for low in range(last - 1, -1, -1):
        if low in gone:
            for high, edge in graph.adj[low].items():
                if high in ahead and gone[low] + edge["cost"] + left[high] == total:
                    used = min(on.get((low, high), math.inf), back.get((low, high), math.inf))
                    ahead[low] = min(ahead.get(low, math.inf), max(ahead[high], used))
    worst = ahead[0]
    sections, here = [], 0
    while here < last:
        here, feed = min(
            (high, here if on.get((here, high), math.inf) <= worst else high)
            for high, edge in graph.adj[here].items()
            if ahead.get(high, math.inf) <= worst
            and min(on.get((here, high), math.inf), back.get((here, high), math.inf)) <= worst
            and gone[here] + edge["cost"] + left[high] == total
        )
        sections.append((here, feed))
    return total, worst, sections


def from_the_feed(ducts: list[list[Piece]], turns: list[list[Piece]], few: list[Pull]) -> None:
    """The same loops with every pull worked out by itself."""
    for feed, pull, _ in few:
        tension = used = 0.0
        low, high = min(feed, pull), max(feed, pull)
        for k in range(low, high):
            for bend, cosh, sinh, press, most in (turns[k - 1] if k > low else []) + ducts[k]:
                if bend:
                    tension = tension * cosh + math.sqrt(tension * tension + press) * sinh
                    used = max(used, tension / most)
                else:
                    tension += cosh
            used = max(used, tension / LIMIT)


def ours(row: Row, limit: float = LIMIT) -> Plan:
    """The same by the row's pulls and the exact planner."""
    rules = replace(RULES, overrides={"max_tension": Override(limit)})
    plan = plan_row(
        row.facts, RowPulls(row, BUNDLE, rules).offers(), PlanRules(COSTS, reel=REEL, slack=SLACK)
    )
    if not isinstance(plan, Plan):
        raise SystemExit(plan.reason)
    return plan


BUNDLE = Bundle((Cable(DIAMETER, WEIGHT, conductor_area=4e-4),))
RULES = Rules(max_sidewall=SIDEWALL, slack=SLACK, reel=REEL)


def timed(task: Callable[[], T]) -> tuple[float, T]:
    """CPU time [s], and what came of it."""
    begin = time.process_time()
    result = task()
    return time.process_time() - begin, result


def compare(count: int) -> float:
    """Print both sides for a flat row, and return what the plain one spends [s]."""
    flat = row_of(count, hilly=False)
    # Laid end to end beforehand, as the lists of the plain version are.
    laid_out(flat)
    lists = segments_of(flat.spans), segments_of(flat.crossings)
    first = second = quick = math.inf
    for _ in range(4):  # by turns, so that a busy spell hits both
        spent, pulls = timed(lambda: plain_pulls(*lists, flat.vaults, LIMIT))
        first = min(first, spent)
        spent, (cost, worst, sections) = timed(partial(plain_plan, flat.vaults, pulls))
        second = min(second, spent)
        spent, plan = timed(partial(ours, flat))
        quick = min(quick, spent)
    plain = first + second
    chosen = [(s.end, s.pulls[0].feed) for s in plan.sections]
    if abs(plan.cost - cost) > 1e-6 or abs(plan.utilisation - worst) > 1e-7 or chosen != sections:
        raise SystemExit(f"plans differ: {plan.cost}, {plan.utilisation} and {cost}, {worst}")
    print(f"{count} vaults in line, {len(pulls)} feasible pulls, reach {len(pulls) / count / 2:.1f}")
    print(f"plain Python: pulls                     {first * 1e3:8.0f} ms")
    print(f"plain Python: plan by networkx          {second * 1e3:8.0f} ms")
    print(f"plain Python in all, flat               {plain * 1e3:8.0f} ms   1.0")
    print(
        f"tautline, flat                          {quick * 1e3:8.0f} ms   {plain / quick:.1f} times as fast"
    )
    few = random.Random(2).sample(pulls, 2000)
    once, pieces = timed(lambda: [plain_pieces(row, LIMIT)[0] for row in lists])
    each = min(timed(lambda: from_the_feed(*pieces, few))[0] for _ in range(3))
    alone = once + each * len(pulls) / len(few) + second
    print(f"plain, each pull from its feed on       {alone * 1e3:8.0f} ms   {plain / alone:.2f}")
    single, _ = timed(partial(one_by_one, flat, few[:100]))
    single *= len(pulls) / 100
    print(f"every pull evaluated in full (from 100) {single * 1e3:8.0f} ms   {plain / single:.4f}")
    return plain


def main() -> None:
    """Print times and ratios."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    plain = compare(count)
    for name, hilly, ages in (
        ("tautline, flat, friction with distance", False, True),
        ("tautline, hills, held back", True, False),
        ("tautline, hills, friction with distance", True, True),
    ):
        row = row_of(count, hilly, ages)
        laid_out(row)
        spent, _ = timed(partial(ours, row))
        print(f"{name:39s} {spent * 1e3:8.0f} ms   {plain / spent:.2f}")
    print("growth, flat: vaults, reach, ms, us for each vault and vault reached, plain Python's")
    for limit in (10_000.0, LIMIT):
        for size in (count // 4, count // 2, count):
            row = row_of(size, hilly=False)
            laid_out(row)
            lists = segments_of(row.spans), segments_of(row.crossings)
            quick = min(timed(partial(ours, row, limit))[0] for _ in range(4))
            slow, pulls = timed(partial(plain_pulls, *lists, row.vaults, limit))
            slow += timed(partial(plain_plan, row.vaults, pulls))[0]
            each = len(pulls) / 2
            print(
                f"{size:6d} {each / size:5.1f} {quick * 1e3:7.1f} {quick / each * 1e6:6.2f} {slow / each * 1e6:6.2f}"
            )


def one_by_one(row: Row, some: list[Pull]) -> None:
    """Evaluate pulls with everything that is to be said about each."""
    pulls = RowPulls(row, BUNDLE, replace(RULES, overrides={"max_tension": Override(LIMIT)}))
    for feed, pull, _ in some:
        pulls.evaluate(feed, pull)


def laid_out(row: Row) -> None:
    """Have a row lay itself end to end."""
    if not len(row.line.chain) or not row.facts.vaults:
        raise SystemExit("an empty row")


if __name__ == "__main__":
    main()
