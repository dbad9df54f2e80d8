"""Planning a feeder of many vaults against plain Python with networkx, side by side in one run, to the same plan.

A row of vaults about 130 m apart, with guides at most of them, each feed reaching about eight: all feasible pulls both
ways, and of the cheapest plans the one of least worst utilisation and then of least climb. The plain version loops over
spans and segments and gives networkx the graph; it knows flat ground alone. CPU time, so that a busy machine does not
matter. Run ``python benchmarks/plan.py [vaults]``.
"""

from __future__ import annotations

import math
import random
import sys
import time
from collections.abc import Callable
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


Segment = tuple[float, float, float, float, float]
"""Length, turn, centreline and inside radius, friction coefficient."""


def segments_of(stretches: tuple[Stretch, ...]) -> list[list[Segment]]:
    """Flat stretches as lists of numbers."""
    plain = []
    for s in stretches:
        rows = zip(s.chain.length.tolist(), s.chain.turn.tolist(), s.bores, strict=True)
        plain.append(
            [
                (
                    m,
                    abs(t),
                    m / abs(t) if t else 0.0,
                    (m / abs(t) if t else 0.0) - 0.5 * (b.inside_diameter or 0.0),
                    b.friction.lubricated,
                )
                for m, t, b in rows
            ]
        )
    return plain


def plain_candidates(
    spans: list[list[Segment]], crossings: list[list[Segment]]
) -> list[tuple[int, int, float]]:
    """Every feasible pull of flat spans, as section ends and utilisation, by loops."""
    last = len(spans)
    found = []
    for against in (False, True):
        if against:
            spans, crossings = ([s[::-1] for s in row[::-1]] for row in (spans, crossings))
        for feed in range(last):
            tension = used = 0.0
            for pull in range(feed, last):
                way = spans[pull] if pull == feed else crossings[pull - 1] + spans[pull]
                for length, turn, radius, inside, friction in way:
                    if turn == 0.0:
                        tension += friction * WEIGHT * length
                    else:
                        angle, press = friction * turn, WEIGHT * radius
                        tension = tension * math.cosh(angle) + math.sqrt(
                            tension * tension + press * press
                        ) * math.sinh(angle)
                        used = max(used, tension / inside / SIDEWALL)
                used = max(used, tension / LIMIT)
                if used > 1.0:
                    break
                found.append((last - pull - 1, last - feed, used) if against else (feed, pull + 1, used))
    return found


def plain_plan(last: int, candidates: list[tuple[int, int, float]]) -> tuple[float, float]:
    """Cost and worst utilisation of the best plan, networkx finding the ways."""
    graph = nx.DiGraph()
    for low, high, used in candidates:
        cost = COSTS.setup + (COSTS.splice if high < last else 0.0)
        edge = graph.get_edge_data(low, high)
        if edge is None or used < edge["used"]:
            graph.add_edge(low, high, cost=cost, used=used)
    gone = nx.single_source_dijkstra_path_length(graph, 0, weight="cost")
    left = nx.single_source_dijkstra_path_length(graph.reverse(copy=False), last, weight="cost")
    worst = {0: 0.0}
    for low in range(last):
        if low in worst:
            for high, edge in graph.adj[low].items():
                if high in left and gone[low] + edge["cost"] + left[high] == gone[last]:
                    worst[high] = min(worst.get(high, math.inf), max(worst[low], edge["used"]))
    return gone[last], worst[last]


def ours(row: Row) -> Plan:
    """The same by the row's pulls and the exact planner."""
    plan = plan_row(row.facts, RowPulls(row, BUNDLE, RULES).offers(), PlanRules(COSTS))
    if not isinstance(plan, Plan):
        raise SystemExit(plan.reason)
    return plan


BUNDLE = Bundle((Cable(DIAMETER, WEIGHT, conductor_area=4e-4),))
RULES = Rules(max_sidewall=SIDEWALL, overrides={"max_tension": Override(LIMIT)})


def timed(task: Callable[[], T], rounds: int = 3) -> tuple[float, T]:
    """Least CPU time of a few rounds [s], and what came of it."""
    times = []
    for _ in range(rounds):
        begin = time.process_time()
        result = task()
        times.append(time.process_time() - begin)
    return min(times), result


def main() -> None:
    """Print times and ratios."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    flat = row_of(count, hilly=False)
    # Laid end to end beforehand, as the lists of the plain version are.
    laid_out(flat)
    stretches = segments_of(flat.spans), segments_of(flat.crossings)
    first, candidates = timed(lambda: plain_candidates(*stretches), 2)
    second, (cost, worst) = timed(lambda: plain_plan(count - 1, candidates), 2)
    plain = first + second
    quick, plan = timed(lambda: ours(flat))
    if abs(plan.cost - cost) > 1e-6 or abs(plan.utilisation - worst) > 1e-7:
        raise SystemExit(f"plans differ: {plan.cost}, {plan.utilisation} and {cost}, {worst}")
    print(
        f"{count} vaults in line, {len(candidates)} feasible pulls, reach {len(candidates) / count / 2:.1f}"
    )
    print(f"plain Python: pulls                     {first * 1e3:8.0f} ms")
    print(f"plain Python: plan by networkx          {second * 1e3:8.0f} ms")
    print(f"plain Python in all, flat               {plain * 1e3:8.0f} ms   1.0")
    print(
        f"tautline, flat                          {quick * 1e3:8.0f} ms   {plain / quick:.1f} times as fast"
    )
    few = random.Random(2).sample(candidates, 100)
    single, _ = timed(partial(one_by_one, flat, few), 1)
    single *= len(candidates) / len(few)
    print(f"every pull evaluated in full (from 100) {single * 1e3:8.0f} ms   {plain / single:.4f}")
    for name, hilly, ages in (
        ("tautline, flat, friction with distance", False, True),
        ("tautline, hills, held back", True, False),
        ("tautline, hills, friction with distance", True, True),
    ):
        row = row_of(count, hilly, ages)
        laid_out(row)
        spent, _ = timed(partial(ours, row), 1)
        print(f"{name:39s} {spent * 1e3:8.0f} ms   {plain / spent:.2f}")


def one_by_one(row: Row, candidates: list[tuple[int, int, float]]) -> None:
    """Evaluate pulls with everything that is to be said about each."""
    pulls = RowPulls(row, BUNDLE, RULES)
    for low, high, _ in candidates:
        pulls.evaluate(low, high)


def laid_out(row: Row) -> None:
    """Have a row lay itself end to end."""
    if not len(row.line.chain) or not row.facts.vaults:
        raise SystemExit("an empty row")


if __name__ == "__main__":
    main()
