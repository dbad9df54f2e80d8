"""Checks that no tension changes, over all stretches of a row, against single pulls."""

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from mechanics.checks import static_checks
from mechanics.pull import Override
from mechanics.setting import set_up
from network.steady import Steady

BOUND = {
    "plain": {},
    "bends": {"bend_total": Override(3.0, True)},
    "creep": {"creep": Override(None, True)},
    "radius": {"bending_radius": Override(3.0)},
    "fill": {"fill": Override(0.2, True)},
    "not the radius": {
        "bending_radius": Override(None, False),
        "bending_radius_pulling": Override(None, False),
    },
}


@pytest.mark.parametrize("bound", list(BOUND))
@pytest.mark.parametrize("reel", [None, 300.0])
def test_stretches_are_judged_as_single_pulls_are(
    random_case: Callable[..., Any], bound: str, reel: float | None
) -> None:
    for seed in range(6):
        case = random_case(seed, 5, hilly=seed % 2 == 1)
        rules = replace(case.rules, reel=reel, slack=3.0, overrides={**case.rules.overrides, **BOUND[bound]})
        steady = Steady(case.row, case.bundle, rules)
        pairs = list(itertools.combinations(range(6), 2))
        used = steady.used(*np.array(pairs).T, np.zeros(len(pairs)))
        for (low, high), found in zip(pairs, used, strict=True):
            for feed, pull in ((low, high), (high, low)):
                checks = list(static_checks(set_up(case.row.track(feed, pull), case.bundle, rules)))
                single = max(c.utilisation or 0.0 for c in checks if c.strains)
                assert found == pytest.approx(single, rel=1e-9), (seed, low, high)
                passes = all(c.verdict != "fail" for c in checks)
                assert (high <= steady.farthest[low]) == passes, (seed, low, high)


def test_what_is_known_from_elsewhere_counts(random_case: Callable[..., Any]) -> None:
    case = random_case(1, 3, hilly=False)
    steady = Steady(case.row, case.bundle, case.rules)
    assert steady.used(np.array([0]), np.array([2]), np.array([77.0])).tolist() == [77.0]
