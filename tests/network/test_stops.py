"""The choice of re-lube vaults: fewest stops and least load, against all choices evaluated."""

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from network import stops as choosing
from network.carry import Carrier
from network.loads import loads_of
from network.way import Way

# Random rows of five spans, on the flat and in hills, in which stops make pulls possible, up to three of them.
TELLING = (302, 305, 320, 337, 338, 347, 348, 399, 407, 429, 446, 495, 504, 556, 558, 603, 606, 610)

Found = dict[tuple[int, int, int], tuple[float, tuple[int, ...]]]


def all_choices(way: Way) -> Found:
    """Least load and first choice that has it, for each feed, pull and number of stops."""
    pulls = [
        (feed, pull, chosen)
        for feed, pull in itertools.combinations(range(way.spans + 1), 2)
        for count in range(pull - feed)
        for chosen in itertools.combinations(range(feed + 1, pull), count)
    ]
    loads = loads_of(
        way, np.array([p[0] for p in pulls]), np.array([p[1] for p in pulls]), [p[2] for p in pulls]
    )
    best: Found = {}
    for (feed, pull, chosen), load in zip(pulls, loads.tolist(), strict=True):
        key = feed, pull, len(chosen)
        if key not in best or load < best[key][0] * (1 - 1e-9):
            best[key] = load, chosen
    return best


@pytest.mark.parametrize("against", [False, True])
@pytest.mark.parametrize("extras", [False, True])
def test_fewest_stops_of_every_pull(random_case: Callable[..., Any], against: bool, extras: bool) -> None:
    """By intervals, as by evaluating all choices; with assists and the like never more than it takes."""
    with_stops = 0
    for seed in TELLING[1 if extras else 0 :: 2]:
        case = random_case(seed, 5, hilly=seed % 2 == 1, extras=extras)
        way = Way(case.row, case.bundle, case.rules, against)
        carrier = Carrier(way)
        fewest: dict[tuple[int, int], int] = {}
        loads = {}
        for (feed, pull, count), (load, _) in sorted(all_choices(way).items()):
            if load <= 1.0:
                fewest.setdefault((feed, pull), count)
                loads.setdefault((feed, pull), load)
        feeds = np.arange(way.spans)
        met = carrier.reached(feeds, np.full(way.spans, way.spans))
        found = dict(
            zip(zip(met.start.tolist(), met.pull.tolist(), strict=True), met.stops.tolist(), strict=True)
        )
        if carrier.exact:
            assert found == fewest, seed
            for start, pull, load in zip(
                met.start.tolist(), met.pull.tolist(), met.load.tolist(), strict=True
            ):
                assert np.isnan(load) or load == pytest.approx(loads[start, pull], rel=1e-9), seed
        else:
            assert all(found[key] <= count for key, count in fewest.items()), seed
        with_stops += sum(count > 0 for count in fewest.values())
    assert with_stops > (2 if extras else 12)


@pytest.mark.parametrize("seeds", [(338, 399), pytest.param((347, 348, 407, 429), marks=pytest.mark.slow)])
def test_searched_stops_are_the_best_of_all(
    random_case: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, seeds: tuple[int, ...]
) -> None:
    """Too many choices to evaluate are searched by lowering the limits: made to do so on small rows."""
    monkeypatch.setattr(choosing, "_FEW", 0)
    tried = 0
    for seed in seeds:
        case = random_case(seed, 6, hilly=seed % 2 == 1)
        way = Way(case.row, case.bundle, case.rules, False)
        carrier = Carrier(way)
        for (feed, pull, count), (load, _) in all_choices(way).items():
            if count == 0 or load > 1.0 or (pull - feed) < 4 or count > 3:
                continue
            ((found, chosen),) = choosing.least_loads(
                way, carrier, *(np.array([k]) for k in (feed, pull, count))
            )
            assert found == pytest.approx(load, rel=1e-8), (seed, feed, pull, count)
            assert len(chosen) == count
            tried += 1
    assert tried > 10


@pytest.mark.parametrize("seeds", [TELLING[:3], pytest.param(TELLING[3:], marks=pytest.mark.slow)])
def test_more_stops_are_given_only_where_they_help(
    random_case: Callable[..., Any], seeds: tuple[int, ...]
) -> None:
    for seed in seeds:
        case = random_case(seed, 5, hilly=seed % 2 == 1)
        way = Way(case.row, case.bundle, case.rules, False)
        best = all_choices(way)
        first = best[0, 5, 0]
        expected = [first[0]]
        for count in range(1, 5):
            if best[0, 5, count][0] < expected[-1] * (1 - 1e-9):
                expected.append(best[0, 5, count][0])
        more = choosing.further(way, Carrier(way), 0, 5, first)
        assert [first[0], *(load for load, _ in more)] == pytest.approx(expected, rel=1e-9)
