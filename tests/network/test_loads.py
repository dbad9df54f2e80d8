"""Many pulls side by side against the same pulls one by one."""

import itertools
from collections.abc import Callable

import numpy as np
import pytest

from mechanics.pull import evaluate_pull
from network.loads import loads_of
from network.way import Way

BY_TENSION = {
    "max_tension", "conductor_tension", "eye_tension", "grip_tension", "max_sidewall", "puller_tension",
    "restart_tension", "restart_sidewall",
}  # fmt: skip


@pytest.mark.parametrize(
    "seed", [*range(4), *(pytest.param(k, marks=pytest.mark.slow) for k in range(4, 16))]
)
@pytest.mark.parametrize("extras", [False, True])
def test_loads_are_those_of_single_pulls(random_case: Callable, seed: int, extras: bool) -> None:
    case = random_case(seed, 3 + seed % 2, hilly=seed % 3 > 0, ages=seed % 4 > 0, extras=extras)
    for against in (False, True):
        way = Way(case.row, case.bundle, case.rules, against)
        pulls = [
            (feed, pull, stops)
            for feed, pull in itertools.combinations(range(way.spans + 1), 2)
            for count in range(pull - feed)
            for stops in itertools.combinations(range(feed + 1, pull), count)
        ]
        feed, pull = np.array([p[0] for p in pulls]), np.array([p[1] for p in pulls])
        used = loads_of(way, feed, pull, [p[2] for p in pulls])
        for (f, p, stops), load in zip(pulls, used, strict=True):
            track = case.row.track(way.vault(f), way.vault(p))
            result = evaluate_pull(track, case.bundle, case.rules, [v - f - 1 for v in stops])
            single = max(
                c.utilisation
                for c in result.checks
                if c.binding and c.utilisation is not None and c.name in BY_TENSION
            )
            assert load == pytest.approx(single, rel=1e-7), (seed, against, f, p, stops)
