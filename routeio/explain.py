"""The fewest straights and tangent arcs that explain lines within their own scatter."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from mechanics.errors import FloatArray
from routeio.asdrawn import PRICES as EXACT_PRICES
from routeio.asdrawn import as_drawn
from routeio.begin import first_chain, offsets_of_pieces
from routeio.elements import laid_out
from routeio.faithful import departures
from routeio.fit import Prior, cell_costs, fitted
from routeio.newton import converged
from routeio.pieces import Division, Prices, divide
from routeio.scatter import EXACT, FLOOR, USUAL, Scatter, estimated, likely, revised, stated
from routeio.simplify import simplified
from routeio.strays import FEWEST, spiked, strays
from routeio.tangent import BoolArray, IntArray, Tangents, Traces, measure, put, ragged_take, stacked

#: A cell whose cost is this many standard deviations above what scatter would leave is explained badly.
_POOR = 4.0
#: What it costs to leave out a vertex, in units of the scatter's variance.
_STRAY = 9.0
#: And how far off a vertex lies that is left out, in standard deviations.
_FAR = 4.5
#: Scatter that a line of few vertices by itself is tried with, to see which explains it best. [m]
_TRIED = (0.02, 0.05, 0.12, 0.3)
#: Few vertices that scatter by more than this, which is more than usual, are corners, but doubtful ones. [m]
_PLAUSIBLE = 0.25
#: A line of few vertices that turns no further than this beyond what explains it is kept as drawn. [rad]
_FALSE = np.radians(0.5)
#: How far the likelihoods of the chains found with them are trusted, few vertices making few of many chains likely: what
#: is stated covers the truth in trials 95 times in 100 so.
_TRUST = 0.5
#: Scatter is estimated again until it changes by less than this.
_SETTLED = 0.1
#: Scatter that grew by more than this from being taken as correlated is looked at again without.
_GROWN = 1.5


@dataclass(frozen=True, eq=False)
class Explained:
    """Lines explained.

    Parameters
    ----------
    traces : Traces
        The lines, with the scatter used and weight 0 for vertices left out.
    chain : Tangents
        Their straights and corners.
    scatter : Scatter
        Estimated or stated.
    averaged : ndarray of bool, shape (m,)
        Lines fitted to scattered vertices; the others go through their vertices.
    sharp : ndarray of bool, shape (s,)
        Corners drawn with no arc, before each straight.
    turn_sd, radius_sd : ndarray, shape (s,)
        Standard deviation of the turn [rad] and of ln R of the corner before each straight.
    """

    traces: Traces
    chain: Tangents
    scatter: Scatter
    averaged: BoolArray
    sharp: BoolArray
    turn_sd: FloatArray
    radius_sd: FloatArray


@dataclass(frozen=True)
class Beliefs:
    """What is held of lines before they are seen.

    Parameters
    ----------
    prior : Prior
        Of the radii.
    prices : Prices
        Of pieces, where vertices scatter.
    tolerance : float
        How far an arc may lie from vertices drawn for it. [m]
    ceiling : float
        Scatter above this must be stated. [m]
    """

    prior: Prior = field(default_factory=Prior)
    prices: Prices = field(default_factory=Prices)
    tolerance: float = 0.03
    ceiling: float = 0.5


def explained(
    xy: FloatArray,
    offsets: IntArray,
    drawn: BoolArray,
    *,
    exact: BoolArray | None = None,
    sigma: float | None = None,
    beliefs: Beliefs | None = None,
) -> Explained:
    """Return straights and tangent arcs for many lines of one layer.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Vertices of all lines, each line about an origin of its own, no two neighbours alike. [m]
    offsets : ndarray of int, shape (m + 1,)
        Line k is vertices ``offsets[k]:offsets[k + 1]``, at least two.
    drawn : ndarray of bool, shape (m,)
        Lines of a format that draws arcs as arcs.
    exact : ndarray of bool, shape (m,), optional
        Lines known to be exact.
    sigma : float, optional
        Scatter of the others where stated. [m]
    beliefs : Beliefs, optional
        What is held of lines before they are seen.

    Returns
    -------
    Explained
        Every line.
    """
    beliefs = beliefs or Beliefs()
    count = len(offsets) - 1
    traces = Traces(xy, offsets, np.ones(count), np.ones(len(xy)), np.full(count, np.inf))
    known = np.zeros(count, bool) if exact is None else exact
    told = _told(traces, drawn, known, sigma, beliefs.ceiling)
    stray = strays(traces, told.sigma) & ~known[traces.line]
    if stray.any():
        traces = replace(traces, weight=np.where(stray, 0.0, 1.0))
        told = _told(traces, drawn, known, sigma, beliefs.ceiling)
    traces = replace(traces, scatter=told.effective)
    told, lots, lines = _guessed(traces, told, beliefs)
    rest = np.ones(count, bool)
    for done in lines:
        rest[done] = False
    through = np.flatnonzero(told.exact & rest)
    scattered = np.flatnonzero(~told.exact & rest)
    if through.size:
        lot = _through(traces.take(through), told.take(through), beliefs)
        # corners without number may be chords cut up further: then a fit does better
        rough = np.flatnonzero(
            (np.bincount(lot.chain.line, lot.sharp) > 0)
            & (np.diff(offsets)[through] >= FEWEST)
            & ~known[through]
        )
        if rough.size:
            floor = replace(told.take(through[rough]), sigma=np.full(rough.size, FLOOR))
            other = _averaged(replace(lot.traces.take(rough), scatter=floor.sigma), floor, beliefs, True)
            off = np.abs(measure(other.traces, other.chain, derivatives=False).off)
            most = np.maximum.reduceat(off, other.traces.offsets[:-1])
            better = (other.chain.count < 0.8 * lot.chain.count[rough]) & (most <= beliefs.tolerance)
            # chords cut up further lie within the tolerance of their arcs, and so do the arcs of them
            shape, _ = departures(other.traces, laid_out(other.traces, other.chain, other.sharp))
            better[shape[~(shape[:, 1] <= 2.0 * beliefs.tolerance), 0].astype(np.int64)] = False
            lots.append(_take(other, np.flatnonzero(better)))
            lines.append(through[rough[better]])
            stay = np.setdiff1d(np.arange(through.size), rough[better])
            lot, through = _take(lot, stay), through[stay]
        lots.append(lot)
        lines.append(through)
    if scattered.size:
        lot = _averaged(traces.take(scattered), told.take(scattered), beliefs, sigma is not None)
        sparse = _bare(lot.traces, lot.chain)
        bare = np.flatnonzero(sparse)
        if bare.size:
            lots.append(_through(lot.traces.take(bare), lot.scatter.take(bare), beliefs, beliefs.prices))
            lines.append(scattered[bare])
        lots.append(_take(lot, np.flatnonzero(~sparse)))
        lines.append(scattered[~sparse])
    return _stacked(lots, lines)


def plainer(found: Explained, lines: IntArray, beliefs: Beliefs, *, arcs: bool) -> Explained:
    """Return the lines with some of them by straights, and arcs where wanted, through their vertices.

    Parameters
    ----------
    found : Explained
        All lines.
    lines : ndarray of int
        Those to be taken as they are drawn, rising.
    beliefs : Beliefs
        As for :func:`explained`.
    arcs : bool
        Whether vertices on a circle are an arc.

    Returns
    -------
    Explained
        All lines; no vertex of those is left out.
    """
    part = found.traces.take(lines)
    part = replace(part, weight=np.ones(len(part.xy)), scatter=np.full(part.count, EXACT))
    plain = _through(
        part, found.scatter.take(lines), beliefs, None if arcs else replace(EXACT_PRICES, arc=np.inf)
    )
    rest = np.setdiff1d(np.arange(found.traces.count), lines)
    if rest.size == 0:
        return plain
    return _stacked([plain, _take(found, rest)], [lines, rest])


def straighter(found: Explained, lines: IntArray, beliefs: Beliefs) -> Explained:
    """Return the lines with some of them by straights alone, fitted to all of their scattered vertices.

    Parameters
    ----------
    found : Explained
        All lines.
    lines : ndarray of int
        Those to be explained anew, rising.
    beliefs : Beliefs
        As for :func:`explained`.

    Returns
    -------
    Explained
        All lines; no vertex of those is left out.
    """
    part = found.traces.take(lines)
    part = replace(part, weight=np.ones(len(part.xy)), most=np.full(part.count, np.inf))
    division = divide(part, replace(beliefs.prices, arc=np.inf), beliefs.prior)
    chain, _ = fitted(part, first_chain(part, division)[0], beliefs.prior, closeness=1e-4)
    chain, turn_sd, radius_sd = converged(part, chain, beliefs.prior)
    told = found.scatter.take(lines)
    straight = Explained(
        part, chain, told, np.ones(part.count, bool), np.zeros(len(turn_sd), bool), turn_sd, radius_sd
    )
    rest = np.setdiff1d(np.arange(found.traces.count), lines)
    if rest.size == 0:
        return straight
    return _stacked([straight, _take(found, rest)], [lines, rest])


def _told(traces: Traces, drawn: BoolArray, known: BoolArray, sigma: float | None, ceiling: float) -> Scatter:
    """Return the scatter of the lines: none of those known to be exact, that stated, or that estimated."""
    told = stated(traces.count, 0.0)
    rest = np.flatnonzero(~known)
    if rest.size == 0:
        return told
    own = (
        stated(rest.size, sigma) if sigma is not None else estimated(traces.take(rest), drawn[rest], ceiling)
    )
    if rest.size == traces.count:
        return own

    def spread(name: str) -> Any:
        whole = getattr(told, name).copy()
        whole[rest] = getattr(own, name)
        return whole

    return Scatter(*(spread(f.name) for f in fields(Scatter)))


def _guessed(
    traces: Traces, told: Scatter, beliefs: Beliefs
) -> tuple[Scatter, list[Explained], list[IntArray]]:
    """Return the scatter with what lines of few vertices by themselves may have, and those that it explains, with which.

    The fewest straights and bends that explain such a line leave it little to tell its scatter by, often nothing.
    """
    lone = np.flatnonzero(told.guess == USUAL)
    guess = told.guess.copy()
    guess[lone] = likely(np.zeros(1), np.zeros(1))
    # three vertices in two straights tell nothing
    lone = lone[np.diff(traces.offsets)[lone] > 3]
    if lone.size == 0:
        return replace(told, guess=guess), [], []
    part = traces.take(lone)
    chain, guess[lone], between = _weighed(part, beliefs)
    few = np.flatnonzero(~_bare(part, chain) & (guess[lone] <= _PLAUSIBLE))
    # where the vertices themselves make no more bends than that, or turn no further, they are kept
    through = as_drawn(replace(part, scatter=np.full(lone.size, EXACT)), beliefs.tolerance).chain
    few = few[chain.count[few] < through.count[few]]
    if few.size == 0:
        return replace(told, guess=guess), [], []
    part = replace(part.take(few), scatter=guess[lone[few]])
    chain, turn_sd, radius_sd = converged(part, chain.take(few), beliefs.prior)
    turn_sd = np.where(chain.first, 0.0, np.hypot(turn_sd, between[few][chain.line]))
    fits = np.flatnonzero(_turns(through)[few] > _turns(chain) + _FALSE)
    few = lone[few]
    sigma, exact = told.sigma.copy(), told.exact.copy()
    sigma[few[fits]], exact[few[fits]] = guess[few[fits]], False
    told = replace(told, sigma=sigma, exact=exact, guess=guess)
    every, sharp = np.ones(few.size, bool), np.zeros(len(turn_sd), bool)
    lot = Explained(part, chain, told.take(few), every, sharp, turn_sd, radius_sd)
    return (told, [_take(lot, fits)], [few[fits]]) if fits.size else (told, [], [])


def _weighed(traces: Traces, beliefs: Beliefs) -> tuple[Tangents, FloatArray, FloatArray]:
    """Return the likeliest chain of each line of few vertices, its scatter [m], and the deviation of its total turn [rad].

    Chains are found with several scatters. What the others, as likely as they are, say of scatter and of total turn
    counts too.
    """
    size, none = np.diff(traces.offsets), np.zeros(traces.count, bool)
    chains: list[Tangents] = []
    tried: list[tuple[FloatArray, FloatArray, FloatArray]] = []
    for scatter in _TRIED:
        some, chain = _structure(replace(traces, scatter=np.full(traces.count, scatter)), beliefs, none)
        # to the last digit, since what is stated and what is found hang on it
        chain, _, _ = converged(some, chain, beliefs.prior)
        off = measure(some, chain, derivatives=False).off
        square = np.add.reduceat(off * off, some.offsets[:-1])
        left = likely(square, np.maximum(size - 3 * chain.count + 1, 0))
        worth = size * np.log(left) + 2.0 * np.log(size) * chain.count + 0.5 * square / left**2
        chains.append(chain)
        tried.append((worth, left, _turns(chain)))
    worth, left, turn = (np.array(t) for t in zip(*tried, strict=True))
    pick = worth.argmin(axis=0)
    best = chains[0]
    for k, chain in enumerate(chains):
        own = np.flatnonzero(pick == k)
        best = put(best, own, chain.take(own))
    share = np.exp(_TRUST * (worth.min(axis=0) - worth))
    share /= share.sum(axis=0)
    picked = turn[pick, np.arange(traces.count)]
    return best, np.sqrt((share * left**2).sum(axis=0)), np.sqrt((share * (turn - picked) ** 2).sum(axis=0))


def _turns(chain: Tangents) -> FloatArray:
    """Return the total turn of each line. [rad]"""
    turn = np.where(chain.first, 0.0, np.abs(chain.corners.turn))
    return np.asarray(np.bincount(chain.line, turn, minlength=len(chain.count)))


def _bare(traces: Traces, chain: Tangents) -> BoolArray:
    """Return which lines have hardly a vertex but at corners, so that there is nothing to average.

    One bend is told by two legs, and each more by three more vertices.
    """
    return np.asarray(np.diff(traces.offsets) < 3 * chain.count - 2)


def _through(traces: Traces, told: Scatter, beliefs: Beliefs, prices: Prices | None = None) -> Explained:
    """Explain lines by straights and arcs through their vertices."""
    found = as_drawn(traces, beliefs.tolerance, prices or EXACT_PRICES)
    none = np.zeros(traces.count, bool)
    # going through the vertices does not make them exact
    sigma = np.where(told.exact, told.guess, told.sigma)
    doubt = np.maximum(sigma / traces.scatter, 1.0)[found.chain.line]
    return Explained(
        traces,
        found.chain,
        told,
        none,
        found.sharp,
        found.turn_sd * doubt,
        np.minimum(found.radius_sd * doubt, 1.0),
    )


def _averaged(traces: Traces, told: Scatter, beliefs: Beliefs, settled: bool) -> Explained:
    """Explain lines by straights and arcs fitted to their vertices, the scatter found again from the fit."""
    size = np.diff(traces.offsets)
    rough = size >= FEWEST
    traces = replace(traces, most=np.where(rough, _STRAY, np.inf))
    plain = told
    # correlated scatter, taken for none, is followed at every turn: pieces alone tell, before they are fitted
    division = divide(traces, beliefs.prices, beliefs.prior)
    for _ in range(0 if settled else 2):
        off = offsets_of_pieces(traces, division)
        again = revised(told, traces, off, 3 * np.diff(division.offsets))
        moved = np.flatnonzero((again.correlation > 0.0) & (again.effective > 1.3 * told.effective))
        if moved.size == 0:
            break
        told = told.with_lines(moved, again)
        traces = replace(traces, scatter=told.effective)
        division = divide(traces, beliefs.prices, beliefs.prior)
    kept, chain = _structure(traces, beliefs, rough, division)
    # scatter that is correlated shows only in what the fit leaves
    for _ in range(0 if settled else 3):
        again = revised(told, kept, measure(kept, chain, derivatives=False).off, 3 * chain.count - 1)
        moved = np.flatnonzero(np.abs(np.log(again.effective / told.effective)) > _SETTLED)
        if moved.size == 0:
            break
        told = told.with_lines(moved, again)
        traces = replace(traces, scatter=told.effective)
        part_traces, part = _structure(traces.take(moved), beliefs, rough[moved])
        chain = put(chain, moved, part)
        weight = kept.weight.copy()
        weight[np.isin(traces.line, moved)] = part_traces.weight
        kept = replace(traces, weight=weight)
    grown = np.flatnonzero((told.correlation > 0.0) & (told.effective > _GROWN * plain.effective))
    if grown.size:
        kept, chain, told = _as_told(kept, chain, told, plain, grown, beliefs, rough)
    off = np.abs(measure(kept, chain, derivatives=False).off) / kept.scatter[kept.line]
    far = (off > _FAR) & np.isfinite(kept.most)[kept.line]
    kept = replace(kept, weight=np.where(far, 0.0, np.where(off < _FAR, 1.0, kept.weight)))
    chain, turn_sd, radius_sd = converged(kept, chain, beliefs.prior)
    all_lines = np.ones(kept.count, bool)
    return Explained(kept, chain, told, all_lines, np.zeros(len(turn_sd), bool), turn_sd, radius_sd)


def _as_told(
    kept: Traces,
    chain: Tangents,
    told: Scatter,
    plain: Scatter,
    lines: IntArray,
    beliefs: Beliefs,
    rough: BoolArray,
) -> tuple[Traces, Tangents, Scatter]:
    """Return what was found with some lines as they are without correlation, where that explains them better.

    A poor fit leaves what looks like correlated scatter, and with more scatter the next fit is poorer still.
    """
    without = plain.take(lines)
    part = kept.take(lines)
    other, found = _structure(
        replace(part, scatter=without.effective, weight=np.ones(len(part.xy))), beliefs, rough[lines]
    )
    better = np.flatnonzero(_unlikely(other, found) < _unlikely(part, chain.take(lines)))
    if better.size == 0:
        return kept, chain, told
    lines, other, found, without = lines[better], other.take(better), found.take(better), without.take(better)
    off = measure(other, found, derivatives=False).off
    again = revised(without, other, off, 3 * found.count - 1)
    sigma, correlation = told.sigma.copy(), told.correlation.copy()
    sigma[lines], correlation[lines] = again.sigma, 0.0
    told = replace(told, sigma=sigma, correlation=correlation)
    weight = kept.weight.copy()
    weight[np.isin(kept.line, lines)] = other.weight
    return replace(kept, scatter=told.effective, weight=weight), put(chain, lines, found), told


def _unlikely(traces: Traces, chain: Tangents) -> FloatArray:
    """Return by how much chains fail to explain their lines, whatever their scatter: Schwarz's criterion.

    What each vertex adds to what the one before it tells is taken as normal.
    """
    off = measure(traces, chain, derivatives=False).off
    line, count = traces.line, traces.count
    spread = np.sqrt(np.bincount(line, off * off, minlength=count) / np.diff(traces.offsets))
    off = np.clip(off, -4.0 * spread[line], 4.0 * spread[line])
    square = np.bincount(line, off * off, minlength=count)
    pair = line[1:] == line[:-1]
    rho = np.bincount(line[1:], pair * off[1:] * off[:-1], minlength=count) / np.maximum(square, 1e-30)
    size = np.diff(traces.offsets)
    new = np.maximum(square / size * (1.0 - np.clip(rho, 0.0, 0.95) ** 2), FLOOR**2)
    return np.asarray(size * np.log(new) + 3.0 * np.log(size) * chain.count)


def _take(lot: Explained, lines: IntArray) -> Explained:
    index, _ = ragged_take(lot.chain.offsets, lines)
    return Explained(
        lot.traces.take(lines), lot.chain.take(lines), lot.scatter.take(lines), lot.averaged[lines],
        lot.sharp[index], lot.turn_sd[index], lot.radius_sd[index],
    )  # fmt: skip


def _stacked(lots: list[Explained], lines: list[IntArray]) -> Explained:
    """Return the lots as one, in the order of the lines."""
    chain, order = stacked([lot.chain for lot in lots], lines)
    by = np.argsort(np.concatenate(lines), kind="stable")
    bounds = np.concatenate(([0], np.cumsum(np.concatenate([np.diff(lot.traces.offsets) for lot in lots]))))
    index, offsets = ragged_take(bounds, by)

    def whole(name: str, rows: IntArray) -> Any:
        return np.concatenate([getattr(lot, name) for lot in lots])[rows]

    def of(part: str, name: str, rows: IntArray) -> Any:
        return np.concatenate([getattr(getattr(lot, part), name) for lot in lots])[rows]

    return Explained(
        Traces(
            of("traces", "xy", index), offsets, of("traces", "scatter", by), of("traces", "weight", index),
            of("traces", "most", by),
        ),
        chain,
        Scatter(*(of("scatter", f.name, by) for f in fields(Scatter))),
        whole("averaged", by), whole("sharp", order), whole("turn_sd", order), whole("radius_sd", order),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Try:
    """Chains found for some lines, the vertices they leave out, and what they cost all told."""

    traces: Traces
    chain: Tangents
    worth: FloatArray


def _structure(
    traces: Traces, beliefs: Beliefs, rough: BoolArray, division: Division | None = None
) -> tuple[Traces, Tangents]:
    """Return the chains of the lines, tried again where the first try explains them badly."""
    prior, prices = beliefs.prior, beliefs.prices
    found = _try(traces, prior, prices, division)
    cell = cell_costs(found.traces, found.chain, prior)
    n = np.diff(found.chain.cell)
    poor = (cell - n) / np.sqrt(2.0 * n + 4.0) > _POOR
    lines = np.unique(found.chain.line[poor])
    if lines.size:
        # long false arcs may have swallowed straights between bends
        other = _try(traces.take(lines), prior, replace(prices, arc=np.inf))
        found = _better(found, lines, other)
    for _ in range(2):
        spike = spiked(found.traces, found.chain)
        owner = traces.line
        lines = np.intersect1d(owner[spike], np.flatnonzero(rough))
        if lines.size == 0:
            break
        without = replace(found.traces, weight=np.where(spike, 0.0, found.traces.weight))
        found = _better(found, lines, _try(without.take(lines), prior, prices))
    return found.traces, found.chain


def _try(traces: Traces, prior: Prior, prices: Prices, division: Division | None = None) -> _Try:
    price = np.maximum(3.0 * np.log(np.diff(traces.offsets)), prices.line)
    chain, _, _ = first_chain(traces, division or divide(traces, prices, prior))
    chain, cost = fitted(traces, chain, prior, rounds=12, closeness=0.2)
    chain, cost = simplified(traces, chain, cost, prior, price)
    # every vertex counts here, and none for more than leaving it out
    every = replace(traces, weight=np.ones(len(traces.xy)))
    cost = np.where(
        np.isinf(cost), np.inf, np.add.reduceat(cell_costs(every, chain, prior), chain.offsets[:-1])
    )
    return _Try(traces, chain, cost + price * chain.count)


def _better(found: _Try, lines: IntArray, other: _Try) -> _Try:
    """Return what was found, with the other try of some lines where it is worth less."""
    pick = np.flatnonzero(other.worth < found.worth[lines])
    lines = lines[pick]
    owner = found.traces.line
    weight, worth = found.traces.weight.copy(), found.worth.copy()
    weight[np.isin(owner, lines)] = other.traces.take(pick).weight
    worth[lines] = other.worth[pick]
    return _Try(replace(found.traces, weight=weight), put(found.chain, lines, other.chain.take(pick)), worth)
