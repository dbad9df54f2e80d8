"""Many pulls side by side against the same pulls one by one."""

import itertools
from collections.abc import Callable

import numpy as np
import pytest

from mechanics.cable import Bundle, Cable
from mechanics.chain import Chain
from mechanics.pull import Rules, evaluate_pull
from mechanics.setting import set_up
from mechanics.track import Bore, Friction
from network.loads import loads_of
from network.row import Row, RowVault, Stretch
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


def test_a_bundle_lies_as_in_the_other_direction_segment_by_segment() -> None:
    # Three cables lie otherwise in a wide duct than in a narrow one, and so share what presses on them otherwise.
    ducts = [
        Stretch(
            Chain([60.0], [0.0], [0.0], [0.0]),
            (Bore(inside, Friction(0.2, pressed=0.3, press_force=400.0)),),
        )
        for inside in (0.11, 0.3)
    ]
    nothing = Stretch(Chain([], [], [], []), ())
    row = Row(tuple(RowVault(tag) for tag in "ABC"), tuple(ducts), (nothing,))
    bundle, rules = Bundle((Cable(0.04, 30.0, conductor_area=2e-4),) * 3), Rules()
    on = Way(row, bundle, rules, False)
    back = Way(row, bundle, rules, True, on).setting
    assert back.share[0] != back.share[1]
    anew = set_up(back.track, bundle, rules)
    for name in ("weight", "guide", "diameter", "correction", "factor", "share", "inside_curvature"):
        assert getattr(back, name).tolist() == getattr(anew, name).tolist(), name
