"""Offers that turn out worse than they looked, and bundles that do not fit."""

import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from mechanics.cable import Bundle, Cable
from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from network.plan import Costs, NoPlan, Plan, PlanRules, PullOption, plan_row
from network.pulls import Listed, ends_of
from network.reach import RowPulls
from network.row import RowFacts, RowVault


class Hopeful(Listed):
    """Says of every pull that it takes no stops, and offers some that are impossible, until asked to settle."""

    exact = False

    def __init__(self, options: list[PullOption], impossible: set[tuple[int, int]]) -> None:
        super().__init__(options)
        self.true_stops = self.stops.copy()
        self.stops = np.minimum(self.stops, 0)
        self.impossible = impossible
        self.settled = 0

    def settle(self, rows: IntArray, stops_free: bool) -> FloatArray:
        self.settled += rows.size
        self.stops[rows] = self.true_stops[rows]
        used = super().settle(rows, stops_free)
        for k, ends in enumerate(zip(*ends_of(self, rows), strict=True)):
            if ends in self.impossible:
                used[k] = np.inf
        self.stops[rows[used == np.inf]] = -1
        return used


def test_hopeful_offers_give_the_plan_of_true_ones() -> None:
    solved = 0
    for seed in range(200):
        rng = random.Random(seed)
        n = rng.randint(3, 9)
        facts = RowFacts(
            tuple(RowVault(f"V{k}") for k in range(n + 1)),
            tuple(100.0 * k for k in range(n + 1)),
            tuple(100.0 * k for k in range(n + 1)),
        )
        options, impossible = [], set()
        for feed in range(n + 1):
            for pull in range(n + 1):
                if 0 < abs(feed - pull) <= 4 and rng.random() < 0.8:
                    between = list(range(min(feed, pull) + 1, max(feed, pull)))
                    stops = sorted(rng.sample(between, rng.randint(0, len(between))), reverse=pull < feed)
                    options.append(
                        PullOption(
                            feed, pull, tuple(stops), rng.randint(5, 20) / 20, float(rng.randint(0, 3))
                        )
                    )
                    if rng.random() < 0.2:
                        impossible.add((feed, pull))
        rules = PlanRules(
            Costs(rng.choice([1.0, 10.0]), 3.0, rng.choice([0.5, 2.0])), middle_feed=rng.random() < 0.5
        )
        possible = Listed(o for o in options if (o.feed, o.pull) not in impossible)
        offers = Hopeful(options, impossible)
        found, true = plan_row(facts, offers, rules), plan_row(facts, possible, rules)
        assert found == true, seed
        solved += isinstance(found, Plan)
    assert solved > 100


def test_only_what_may_be_chosen_is_settled(random_case: Callable[..., Any]) -> None:
    facts = RowFacts(
        tuple(RowVault(f"V{k}") for k in range(9)), tuple(map(float, range(9))), tuple(map(float, range(9)))
    )
    options = [PullOption(a, b, (), 0.5, 0.0) for a in range(9) for b in range(9) if 0 < b - a <= 4]
    offers = Hopeful(options, set())
    plan = plan_row(facts, offers, PlanRules(Costs()))
    assert isinstance(plan, Plan)
    assert [s.end for s in plan.sections] == [4, 8]
    assert offers.settled == 2


def test_bundle_too_large_for_a_duct_is_no_plan_and_no_crash(random_case: Callable[..., Any]) -> None:
    case = random_case(2, 4, hilly=True)
    for diameter in (0.07, 0.125, 0.2):
        bundle = Bundle((Cable(diameter, 60.0, conductor_area=4e-4),) * 3)
        pulls = RowPulls(case.row, bundle, replace(case.rules, slack=0.0))
        found = plan_row(case.row.facts, pulls.offers(), PlanRules(Costs()))
        assert isinstance(found, NoPlan)
        assert found.reached == 0
        assert found.blocked == ((0, 1), (1, 2), (2, 3), (3, 4))
        assert pulls.best(0, 2)[1].verdict == "fail"


@pytest.mark.parametrize("seeds", [(495,), pytest.param((347, 399), marks=pytest.mark.slow)])
def test_best_gives_stops_where_they_are_needed(
    random_case: Callable[..., Any], seeds: tuple[int, ...]
) -> None:
    seen = 0
    for seed in seeds:
        case = random_case(seed, 5, hilly=seed % 2 == 1)
        pulls = RowPulls(case.row, case.bundle, case.rules)
        for feed in range(6):
            for option in pulls(feed):
                relube, result = pulls.best(option.feed, option.pull)
                assert relube == option.relube
                assert result.verdict == "pass"
                seen += bool(relube)
    assert seen > 2
