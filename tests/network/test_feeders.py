"""Whole plans against enumeration: all ways to cut a feeder, feed it, and re-lubricate it, every pull evaluated."""

import itertools
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from mechanics.pull import evaluate_pull
from network.loads import loads_of
from network.plan import Costs, NoPlan, Plan, PlanRules, plan_row
from network.reach import RowPulls
from network.row import Row

Pull = tuple[int, int, tuple[int, ...]]
STEP = 1e-9


def all_pulls(spans: int) -> Iterator[Pull]:
    for feed, pull in itertools.permutations(range(spans + 1), 2):
        step = 1 if pull > feed else -1
        between = range(feed + step, pull, step)
        for count in range(len(between) + 1):
            for stops in itertools.combinations(between, count):
                yield feed, pull, stops


def utilisations(case: Any, singly: bool) -> dict[Pull, float]:
    """Worst utilisation of every pull that passes: one by one, or side by side with the tensions alone."""
    row: Row = case.row
    pulls = list(all_pulls(len(row.spans)))
    if singly:
        used = {}
        for feed, pull, stops in pulls:
            step = 1 if pull > feed else -1
            relube = [step * (v - feed) - 1 for v in stops]
            result = evaluate_pull(row.track(feed, pull), case.bundle, case.rules, relube)
            if result.verdict == "pass":
                used[feed, pull, stops] = result.utilisation
        return used
    owner = RowPulls(row, case.bundle, case.rules)
    used = {}
    for against in (False, True):
        way, _ = owner.way(against)
        own = [p for p in pulls if (p[0] > p[1]) == against]
        feed, pull = (way.numbered(np.array([p[k] for p in own])) for k in (0, 1))
        loads = loads_of(way, feed, pull, [[way.vault(v) for v in p[2]] for p in own])
        for (f, p, stops), load in zip(own, loads.tolist(), strict=True):
            if load <= 1.0:
                ends = np.array([min(f, p)]), np.array([max(f, p)])
                used[f, p, stops] = float(owner.steady.used(*ends, np.array([load]))[0])
    return used


def best_plan(row: Row, used: dict[Pull, float], rules: PlanRules) -> tuple[Any, ...] | None:
    """The first of all plans in the order of plans, by enumeration of cuts and of the pulls of each section."""
    last = len(row.spans)
    allowed = {p: u for p, u in used.items() if row.vaults[p[0]].feed and row.vaults[p[1]].pull}
    price = {k: Fraction(str(v)) for k, v in vars(rules.costs).items()}

    def sections(low: int, high: int) -> list[tuple[Fraction, int, int, tuple[Pull, ...]]]:
        if rules.reel is not None and row.length(low, high) + 2 * rules.slack > rules.reel + 1e-6:
            return []
        ways: list[tuple[Pull, ...]] = [(p,) for p in allowed if {p[0], p[1]} == {low, high}]
        if rules.middle_feed:
            back = [p for p in allowed if p[1] == low and low < p[0] < high]
            ways += [(p, q) for p in back for q in allowed if q[0] == p[0] and q[1] == high]
        return [
            (
                price["setup"] * len(w)
                + price["relube"] * sum(len(p[2]) for p in w)
                + price["middle_feed"] * (len(w) - 1),
                max(round(allowed[p] / STEP) for p in w),
                sum(round(row.climb(p[0], p[1]) * 1e6) for p in w),
                w,
            )
            for w in ways
        ]

    plans = []
    for count in range(last):
        for cuts in itertools.combinations([k for k in range(1, last) if row.vaults[k].splice], count):
            bounds = [0, *cuts, last]
            choices = [sections(a, b) for a, b in itertools.pairwise(bounds)]
            if not all(choices):
                continue
            # Of one section only the cheapest ways can be part of a cheapest plan.
            choices = [[c for c in s if c[0] == min(x[0] for x in s)] for s in choices]
            for plan in itertools.product(*choices):
                cost = sum(c[0] for c in plan) + price["splice"] * count
                plans.append((cost, max(c[1] for c in plan), sum(c[2] for c in plan), bounds[1:], plan))
    return min(plans, key=lambda p: p[:4]) if plans else None


def check(random_case: Callable[..., Any], seed: int, spans: int, singly: bool, extras: bool) -> str:
    case = random_case(seed, spans, hilly=seed % 2 == 1, ages=seed % 8 > 0, extras=extras)
    rng = np.random.default_rng(seed)
    rules = PlanRules(
        Costs(
            splice=float(rng.choice([0.5, 10.0])),
            relube=float(rng.choice([0.0, 0.1, 1.0, 1.0])),
            middle_feed=float(rng.choice([0.0, 1.0])),
        ),
        reel=rng.choice([None, 400.0]),
        slack=5.0,
        middle_feed=bool(rng.random() < 0.5),
    )
    pulls = RowPulls(case.row, case.bundle, case.rules, further_stops=rules.costs.relube == 0.0)
    found = plan_row(case.row.facts, pulls.offers(), rules)
    used = utilisations(case, singly)
    best = best_plan(case.row, used, rules)
    if best is None:
        assert isinstance(found, NoPlan), seed
        return "none"
    assert isinstance(found, Plan), seed
    cost, worst, climb, ends, _ = best
    assert Fraction(str(round(found.cost, 9))) == cost, seed
    assert abs(round(found.utilisation / STEP) - worst) <= 1, seed
    chosen = [p for s in found.sections for p in s.pulls]
    assert abs(sum(round(p.climb * 1e6) for p in chosen) - climb) <= 1, seed
    assert [s.end for s in found.sections] == ends, seed
    for p in chosen:
        assert used[p.feed, p.pull, p.relube] == pytest.approx(p.utilisation, rel=1e-8), seed
        assert pulls.evaluate(p.feed, p.pull, p.relube).verdict == "pass", seed
    return "stops" if found.relubes else "plain"


def test_plans_of_random_feeders(random_case: Callable[..., Any]) -> None:
    """A hundred feeders, half of them hilly, some with assists, a pusher, a winch and the like."""
    spans = (3, 2, 4, 2, 3, 3)
    kinds = [
        check(random_case, seed, spans[seed % 6], singly=seed >= 92, extras=seed % 5 == 4)
        for seed in range(100)
    ]
    assert kinds.count("stops") > 5
    assert kinds.count("plain") > 40
    assert kinds.count("none") > 5


@pytest.mark.slow
def test_plans_of_a_thousand_random_feeders(random_case: Callable[..., Any]) -> None:
    kinds = [
        check(random_case, seed, 3 + seed % 4, singly=seed % 10 == 0, extras=seed % 5 == 4)
        for seed in range(1000, 2000)
    ]
    assert kinds.count("stops") > 50


@pytest.mark.parametrize("seeds", [range(4), pytest.param(range(4, 24), marks=pytest.mark.slow)])
def test_pulls_of_one_feed_are_those_offered(random_case: Callable[..., Any], seeds: range) -> None:
    """Given one feed at a time, the planner finds the same plan; options come with the fewest stops first."""
    for seed in seeds:
        case = random_case(seed, 5, hilly=seed % 2 == 1)
        pulls = RowPulls(case.row, case.bundle, case.rules, further_stops=True)
        rules = PlanRules(Costs(relube=0.5), middle_feed=True)
        whole, one_by_one = (plan_row(case.row.facts, given, rules) for given in (pulls.offers(), pulls))
        assert type(whole) is type(one_by_one)
        if isinstance(whole, Plan) and isinstance(one_by_one, Plan):
            chosen = [
                [(p.feed, p.pull, p.relube) for s in plan.sections for p in s.pulls]
                for plan in (whole, one_by_one)
            ]
            assert chosen[0] == chosen[1]
            assert whole.utilisation == pytest.approx(one_by_one.utilisation, rel=1e-9)
        for option, following in itertools.pairwise(pulls(2)):
            if (option.feed, option.pull) == (following.feed, following.pull):
                assert len(option.relube) < len(following.relube)
                assert option.utilisation > following.utilisation
