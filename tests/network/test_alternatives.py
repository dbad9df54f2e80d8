"""Alternatives and runners-up against enumeration of every plan of a small row."""

import itertools
import random
from collections.abc import Callable
from typing import Any

import pytest

from network.alternatives import alternatives, runners_up
from network.plan import Costs, NoPlan, Plan, PlanRules, PullOption, plan_row
from network.pulls import Listed
from network.reach import RowPulls
from network.row import RowFacts, RowVault


def small_row(seed: int) -> tuple[RowFacts, list[PullOption], PlanRules]:
    rng = random.Random(seed)
    n = rng.randint(2, 5)
    facts = RowFacts(
        tuple(RowVault(f"V{k}") for k in range(n + 1)),
        tuple(100.0 * k for k in range(n + 1)),
        tuple(100.0 * k for k in range(n + 1)),
    )
    options = []
    for feed, pull in itertools.permutations(range(n + 1), 2):
        between = list(range(min(feed, pull) + 1, max(feed, pull)))
        load = rng.randint(8, 20)
        if rng.random() < 0.2:
            continue
        for count in range(rng.randint(0, 1) if between else 0, len(between) + 1):
            stops = tuple(sorted(rng.sample(between, count), reverse=pull < feed))
            options.append(PullOption(feed, pull, stops, load / 20, 1.0))
            load -= rng.randint(0, 3)
            if load < 1 or rng.random() < 0.3:
                break
    costs = Costs(rng.choice([2.0, 10.0]), 3.0, rng.choice([0.0, 0.5, 1.0]))
    return facts, options, PlanRules(costs, middle_feed=rng.random() < 0.3)


def every_plan(
    facts: RowFacts, options: list[PullOption], rules: PlanRules
) -> list[tuple[float, float, tuple[tuple[int, int], ...]]]:
    """Cost, worst utilisation and stretches of every plan."""
    last = len(facts.vaults) - 1
    plans = []
    for count in range(last):
        for cuts in itertools.combinations(range(1, last), count):
            stretches = tuple(itertools.pairwise([0, *cuts, last]))
            ways = []
            for low, high in stretches:
                single: list[tuple[PullOption, ...]] = [
                    (o,) for o in options if {o.feed, o.pull} == {low, high}
                ]
                if rules.middle_feed:
                    single += [
                        (a, b)
                        for a in options
                        for b in options
                        if a.feed == b.feed and low < a.feed < high and a.pull == low and b.pull == high
                    ]
                ways.append(single)
            for chosen in itertools.product(*ways):
                pulls = [p for s in chosen for p in s]
                c = rules.costs
                cost = c.splice * count + c.setup * len(pulls) + c.relube * sum(len(p.relube) for p in pulls)
                plans.append((round(cost, 9), max(p.utilisation for p in pulls), stretches))
    return plans


def test_alternatives_are_all_that_nothing_beats() -> None:
    longest = 0
    for seed in range(150):
        facts, options, rules = small_row(seed)
        front: list[tuple[float, float]] = []
        for cost, used, _ in sorted(every_plan(facts, options, rules)):
            if not front or used < front[-1][1]:
                front.append((cost, used))
        found = alternatives(facts, Listed(options), rules, 50)
        assert [(a.plan.cost, a.plan.utilisation) for a in found] == front, seed
        assert sum(a.knee for a in found) <= 1
        longest = max(longest, len(front))
    assert longest >= 4


def test_runners_up_are_the_best_without_each_section() -> None:
    for seed in range(150):
        facts, options, rules = small_row(seed)
        plan = plan_row(facts, Listed(options), rules)
        if isinstance(plan, NoPlan):
            continue
        plans = every_plan(facts, options, rules)
        for runner in runners_up(facts, Listed(options), rules, plan):
            section = plan.sections[runner.section]
            left = [p[:2] for p in plans if (section.start, section.end) not in p[2]]
            if not left:
                assert runner.extra_cost is None
                continue
            assert isinstance(runner.plan, Plan)
            assert (runner.plan.cost, runner.plan.utilisation) == min(left), seed
            assert runner.extra_cost == pytest.approx(min(left)[0] - plan.cost)


@pytest.mark.parametrize("seeds", [(347,), pytest.param((399, 495), marks=pytest.mark.slow)])
def test_alternatives_of_a_real_row(random_case: Callable[..., Any], seeds: tuple[int, ...]) -> None:
    """Each costs more than the one before and strains less, by pulls that pass with the utilisation told."""
    longest = 0
    for seed in seeds:
        case = random_case(seed, 5, hilly=seed % 2 == 1)
        pulls = RowPulls(case.row, case.bundle, case.rules)
        found = alternatives(case.row.facts, pulls.offers(), PlanRules(Costs()), 10)
        longest = max(longest, len(found))
        for one, other in itertools.pairwise(a.plan for a in found):
            assert one.cost < other.cost
            assert one.utilisation > other.utilisation
        for plan in (a.plan for a in found):
            for p in (p for s in plan.sections for p in s.pulls):
                result = pulls.evaluate(p.feed, p.pull, p.relube)
                assert result.verdict == "pass"
                assert result.utilisation == pytest.approx(p.utilisation, rel=1e-7)
    assert longest >= 3


def test_the_knee_is_where_margin_becomes_dear() -> None:
    facts = RowFacts(tuple(RowVault(t) for t in "ABCD"), (0.0, 1.0, 2.0, 3.0), (0.0, 1.0, 2.0, 3.0))
    options = [
        PullOption(0, 3, (), 0.95, 0.0),
        PullOption(0, 3, (1,), 0.55, 0.0),
        PullOption(0, 3, (1, 2), 0.5, 0.0),
        PullOption(0, 1, (), 0.45, 0.0),
        PullOption(1, 3, (), 0.45, 0.0),
    ]
    found = alternatives(facts, Listed(options), PlanRules(Costs()), 10)
    assert [a.plan.cost for a in found] == [3.0, 4.0, 5.0, 16.0]
    assert [a.knee for a in found] == [False, False, True, False]
    assert [a.knee for a in alternatives(facts, Listed(options), PlanRules(Costs()), 3)] == [
        False,
        True,
        False,
    ]
