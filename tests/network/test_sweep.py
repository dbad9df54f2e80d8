"""Level rows: all feeds swept together, in small lots too, against the same carried on one by one."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from network import sweep
from network.pulls import ends_of
from network.reach import RowOffers, RowPulls


def loads_of(pulls: RowPulls, feeds: range) -> dict[tuple[int, int], float]:
    offers = RowOffers(pulls, feeds)
    rows = np.flatnonzero(offers.stops >= 0)
    feed, pull = (ends.tolist() for ends in ends_of(offers, rows))
    used = offers.settle(rows, False).tolist()
    return dict(zip(zip(feed, pull, strict=True), used, strict=True))


@pytest.mark.parametrize("seed", range(8))
def test_swept_pulls_are_those_carried_on_one_by_one(
    random_case: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    case = random_case(seed, 9, hilly=False, ages=False, extras=seed % 3 == 2)
    rules = replace(case.rules, reel=None if seed % 2 else 500.0)
    pulls = RowPulls(case.row, case.bundle, rules)
    assert sweep.Sweep.serves(pulls.way(False)[0])
    whole = loads_of(pulls, range(10))
    monkeypatch.setattr(sweep, "_BLOCK", 3)
    monkeypatch.setattr(sweep, "_STEPS", 1)
    assert loads_of(replace(pulls), range(10)) == whole
    some = loads_of(replace(pulls), range(4, 7))
    assert some == {ends: load for ends, load in whole.items() if 4 <= ends[0] < 7}
    monkeypatch.setattr(sweep.Sweep, "serves", staticmethod(lambda way: False))
    carried = loads_of(replace(pulls), range(10))
    assert carried.keys() == whole.keys()
    assert list(carried.values()) == pytest.approx([whole[ends] for ends in carried], rel=1e-9)
