"""Which vaults to re-lubricate at: of all choices with the fewest stops, the one that loads the pull least."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, islice
from math import comb

import numpy as np

from mechanics.chain import IntArray
from network.carry import Carrier, Starts
from network.loads import loads_of
from network.way import Way

# Up to so many choices are all evaluated; more are searched by intervals.
_FEW = 500
# Choices evaluated together.
_AT_ONCE = 2000
# Loads that differ by less are the same.
_SAME = 1e-9


def least_loads(
    way: Way, carrier: Carrier, feed: IntArray, pull: IntArray, stops: IntArray
) -> list[tuple[float, tuple[int, ...]]]:
    """Return, for each pull with that number of re-lube stops, the least load and the stops that give it.

    Parameters
    ----------
    way : Way
        In its direction and numbering.
    carrier : Carrier
        Of that way.
    feed, pull, stops : ndarray of int, shape (n,)
        Vaults, and how many stops between them.

    Returns
    -------
    list of (float, tuple of int)
        The load may be above 1. Of choices that give the same load, the one with the earlier stops where all were
        evaluated.
    """
    found: list[tuple[float, tuple[int, ...]]] = [(np.inf, ())] * feed.size
    tried: list[tuple[int, tuple[int, ...]]] = []

    def evaluate() -> None:
        index = np.array([k for k, _ in tried], dtype=np.int64)
        loads = loads_of(way, feed[index], pull[index], [chosen for _, chosen in tried])
        for (k, chosen), load in zip(tried, loads.tolist(), strict=True):
            if load < found[k][0] - _SAME * max(1.0, load):
                found[k] = load, chosen
        tried.clear()

    for k in range(feed.size):
        f, p, s = int(feed[k]), int(pull[k]), int(stops[k])
        passed = f + 1 + np.flatnonzero(way.lubes[f + 1 : p])
        if carrier.exact and comb(passed.size, s) > _FEW:
            found[k] = _searched(way, carrier, f, p, s)
            continue
        choices = combinations(passed.tolist(), s)
        while lot := [(k, chosen) for chosen in islice(choices, _AT_ONCE)]:
            tried.extend(lot)
            if len(tried) >= _AT_ONCE:
                evaluate()
    if tried:
        evaluate()
    return found


def _searched(way: Way, carrier: Carrier, feed: int, pull: int, stops: int) -> tuple[float, tuple[int, ...]]:
    """Lower the limits to what the best choice so far needs, until no choice keeps within them."""
    best: tuple[float, tuple[int, ...]] = (np.inf, ())
    scale = 1.0 + _SAME
    while True:
        chosen = _within(carrier, feed, pull, stops, scale)
        if chosen is None:
            return best
        load = float(loads_of(way, np.array([feed]), np.array([pull]), [chosen])[0])
        if load < best[0]:
            best = load, chosen
        scale = min(load, scale) * (1.0 - _SAME)


def _within(carrier: Carrier, feed: int, pull: int, stops: int, scale: float) -> tuple[int, ...] | None:
    """Some choice of stops with which the pull keeps within its limits times a factor."""
    starts = Starts(np.array([feed]), np.array([pull]), np.array([scale]))
    seeds = carrier.first(starts)
    rounds = [seeds]
    for _ in range(stops):
        _, seeds = carrier.round(starts, seeds)
        seeds = carrier.worth_keeping(seeds)
        rounds.append(seeds)
    arrivals, _ = carrier.round(starts, seeds)
    there = np.flatnonzero(arrivals.pull == pull)
    if not there.size:
        return None
    label = int(arrivals.label[there].min())
    chosen: list[int] = []
    for labels in reversed(rounds[1:]):
        chosen.append(int(labels.lube[label]))
        label = int(labels.parent[label])
    return tuple(reversed(chosen))


def further(
    way: Way, carrier: Carrier, feed: int, pull: int, best: tuple[float, tuple[int, ...]]
) -> Iterator[tuple[float, tuple[int, ...]]]:
    """Yield choices with ever more stops, each of which loads the pull less than all with fewer.

    Parameters
    ----------
    way : Way
        In its direction and numbering.
    carrier : Carrier
        Of that way.
    feed, pull : int
        Vaults.
    best : tuple of (float, tuple of int)
        The least load with the fewest stops, and those.

    Yields
    ------
    tuple of (float, tuple of int)
        Load and stops.
    """
    for count in range(len(best[1]) + 1, pull - feed):
        (found,) = least_loads(way, carrier, *(np.array([n]) for n in (feed, pull, count)))
        if found[0] < best[0] - _SAME:
            best = found
            yield found
