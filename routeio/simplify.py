"""Backward elimination: corners and straights go while the fit loses less by it than they are worth."""

from __future__ import annotations

import numpy as np

from mechanics.errors import FloatArray
from routeio.fit import Prior, cell_costs, fitted, impossible, legs_of, spread_of
from routeio.tangent import (
    LARGEST_TURN,
    BoolArray,
    Corners,
    IntArray,
    Tangents,
    Traces,
    put,
    ragged_take,
    stacked,
)

#: A removal predicted to lose more than this many times its price is not tried, by kind: the first is foretold well.
_WORTH_TRYING = np.array([2.0, 4.0, 4.0])
#: Candidates this near each other, in straights, are not tried together.
_APART = 4


def simplified(
    traces: Traces, chain: Tangents, cost: FloatArray, prior: Prior, price: FloatArray
) -> tuple[Tangents, FloatArray]:
    """Return the chains without the corners and straights that are not worth their price.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Fitted.
    cost : ndarray, shape (m,)
        Of each line.
    prior : Prior
        Of the radii.
    price : ndarray, shape (m,)
        What a corner, or a straight between two bends of one sense, is worth in each line.

    Returns
    -------
    chain : Tangents
        Fitted again.
    cost : ndarray, shape (m,)
        Of each line.
    """
    out, final = chain, cost.copy()
    live = np.flatnonzero(chain.count > 1)
    part = chain.take(live)
    some = traces.take(live)
    tried = np.zeros((3, len(part.heading)), bool)
    while live.size:
        best, kind = _promising(some, part, prior, price[live], tried)
        # a line that has nothing left to try is done
        busy = np.bincount(part.line, np.isfinite(best), minlength=live.size) > 0
        if not busy.all():
            rows = busy[part.line]
            tried, best, kind = tried[:, rows], best[rows], kind[rows]
            live, part, some, out = _without(~busy, live, part, some, out)
        if live.size:
            part, final[live], tried = _round(some, part, final[live], prior, price[live], tried, best, kind)
        several = part.count > 1
        if not several.all():
            tried = tried[:, several[part.line]]
            live, part, some, out = _without(~several, live, part, some, out)
    return out, final


def _without(
    done: BoolArray, live: IntArray, part: Tangents, some: Traces, out: Tangents
) -> tuple[IntArray, Tangents, Traces, Tangents]:
    """Return the lines that go on, their chains and traces, and all chains with those that are done put in."""
    over, going = np.flatnonzero(done), np.flatnonzero(~done)
    return live[going], part.take(going), some.take(going), put(out, live[over], part.take(over))


def _promising(
    traces: Traces, chain: Tangents, prior: Prior, price: FloatArray, tried: BoolArray
) -> tuple[FloatArray, IntArray]:
    """Return the least that a removal at each straight is thought to cost, inf where none is worth a try, and its kind."""
    loss = _predicted(traces, chain, prior)
    loss[tried | ~(loss <= _WORTH_TRYING[:, None] * price[chain.line])] = np.inf
    return loss.min(axis=0), loss.argmin(axis=0)


def _round(
    traces: Traces,
    chain: Tangents,
    cost: FloatArray,
    prior: Prior,
    price: FloatArray,
    tried: BoolArray,
    best: FloatArray,
    kind: IntArray,
) -> tuple[Tangents, FloatArray, BoolArray]:
    """Try the most promising removals that do not touch each other; keep those that pay."""
    line = chain.line
    chosen = _apart(best, line)
    kind = kind[chosen]
    tried = tried.copy()
    # what cannot be from the start is not tried
    trial, new_of = _removed(traces, chain, chosen, kind)
    broken = _broken(traces, trial, new_of, chosen, line)
    tried[kind[broken], chosen[broken]] = True
    chosen, kind = chosen[~broken], kind[~broken]
    lines = np.unique(line[chosen])
    if lines.size == 0:
        return chain, cost, tried
    if lines.size == traces.count:
        return _attempt(traces, chain, cost, prior, price, tried, chosen, kind)
    # lines with nothing to try this time stay as they are
    rest = np.setdiff1d(np.arange(traces.count), lines)
    rows = _of(chain, lines)
    number = np.full(len(line), -1)
    number[rows] = np.arange(rows.size)
    part, part_cost, part_tried = _attempt(
        traces.take(lines), chain.take(lines), cost[lines], prior, price[lines], tried[:, rows], number[chosen], kind
    )  # fmt: skip
    out, order = stacked([part, chain.take(rest)], [lines, rest])
    cost = cost.copy()
    cost[lines] = part_cost
    return out, cost, np.concatenate((part_tried, tried[:, _of(chain, rest)]), axis=1)[:, order]


def _attempt(
    traces: Traces,
    chain: Tangents,
    cost: FloatArray,
    prior: Prior,
    price: FloatArray,
    tried: BoolArray,
    chosen: IntArray,
    kind: IntArray,
) -> tuple[Tangents, FloatArray, BoolArray]:
    """Return the chains without those of the chosen straights that pay, some in each line."""
    line = chain.line
    trial, new_of = _removed(traces, chain, chosen, kind)
    goal = cost + 1.5 * np.bincount(line[chosen], price[line[chosen]], minlength=traces.count)
    trial, trial_cost = fitted(traces, trial, prior, rounds=10, closeness=0.2, goal=goal)
    # each cell counts for the nearest removal of its line
    region = _nearest(chosen, line)
    alive = new_of >= 0
    lost = _counted(cell_costs(traces, trial, prior), region[alive], len(chosen))
    lost -= _counted(cell_costs(traces, chain, prior), region, len(chosen))
    lost[_broken(traces, trial, new_of, chosen, line)] = np.inf
    keep = lost < price[line[chosen]]
    tried[kind[~keep], chosen[~keep]] = True
    # what was tried beside a removal that is kept may be tried again
    for shift in (-2, -1, 0, 1, 2):
        near = np.clip(chosen[keep] + shift, 0, len(line) - 1)
        tried[:, near[line[near] == line[chosen[keep]]]] = False
    if keep.all():
        return trial, trial_cost, tried[:, alive]
    # lines of which every removal pays have their chain; of which none does keep theirs; the rest are done again
    none, some = np.zeros(traces.count, bool), np.zeros(traces.count, bool)
    none[line[chosen[~keep]]] = True
    some[line[chosen[keep]]] = True
    all_pay, mixed = np.flatnonzero(some & ~none), np.flatnonzero(some & none)
    rest = np.flatnonzero(~some)
    lots = [trial.take(all_pay), chain.take(rest)]
    parts = [tried[:, alive][:, _of(trial, all_pay)], tried[:, _of(chain, rest)]]
    cost = cost.copy()
    cost[all_pay] = trial_cost[all_pay]
    if mixed.size:
        number = np.full(len(line), -1)
        rows = _of(chain, mixed)
        number[rows] = np.arange(rows.size)
        again = keep & (number[chosen] >= 0)
        few = traces.take(mixed)
        other, new_of = _removed(few, chain.take(mixed), number[chosen[again]], kind[again])
        other, cost[mixed] = fitted(few, other, prior, rounds=10, closeness=0.2)
        lots.append(other)
        parts.append(tried[:, rows][:, new_of >= 0])
    out, order = stacked(lots, [all_pay, rest, mixed][: len(lots)])
    return out, cost, np.concatenate(parts, axis=1)[:, order]


def _of(chain: Tangents, lines: IntArray) -> IntArray:
    """Return the straights of the given lines."""
    return ragged_take(chain.offsets, lines)[0]


def _broken(traces: Traces, trial: Tangents, new_of: IntArray, chosen: IntArray, line: IntArray) -> BoolArray:
    """Return the removals near which the trial cannot be."""
    region = _nearest(chosen, line)[new_of >= 0]
    bad = impossible(traces, trial) & (region >= 0)
    return np.bincount(region[bad], minlength=len(chosen)) > 0


def _counted(cost: FloatArray, region: IntArray, count: int) -> FloatArray:
    """Return the cost of all cells that count for each removal."""
    some = region >= 0
    return np.bincount(region[some], cost[some], minlength=count).astype(np.float64)


def _predicted(traces: Traces, chain: Tangents, prior: Prior) -> FloatArray:
    """Return about what each kind of removal would cost: see :func:`_removed`."""
    corner = chain.corners
    leg, inner = legs_of(chain, corner)
    turn_sd, radius_sd = spread_of(traces, chain, prior)
    straighten = np.where(chain.first, np.inf, (corner.turn / np.maximum(turn_sd, 1e-12)) ** 2)
    drop, pair = np.full(len(leg), np.inf), np.full(len(leg), np.inf)
    s = np.flatnonzero(inner)
    both = corner.turn[s] + corner.turn[s + 1]
    alike = corner.turn[s] * corner.turn[s + 1] > 0.0
    gap = np.maximum(leg[s] - corner.tangent[s] - corner.tangent[s + 1], 0.0)
    gap_var = (corner.tangent[s] * radius_sd[s]) ** 2 + (corner.tangent[s + 1] * radius_sd[s + 1]) ** 2
    apart = chain.log_radius[s + 1] - chain.log_radius[s]
    apart_var = radius_sd[s] ** 2 + radius_sd[s + 1] ** 2
    unlike = gap**2 / np.maximum(gap_var, 1e-12) + apart**2 / np.maximum(apart_var, 1e-12)
    drop[s] = np.where(alike & (np.abs(both) < LARGEST_TURN), unlike, np.inf)
    # straightening one of two opposite turns alone leaves straights that meet anywhere, or nowhere
    pair[s] = np.where(alike, np.inf, both**2 / np.maximum(turn_sd[s] ** 2 + turn_sd[s + 1] ** 2, 1e-24))
    return np.stack((straighten, drop, pair))


def _apart(loss: FloatArray, line: IntArray) -> IntArray:
    """Return the candidates of least loss among all that are too near them."""
    near = loss.copy()
    for shift in range(1, _APART + 1):
        for a, b in ((slice(shift, None), slice(None, -shift)), (slice(None, -shift), slice(shift, None))):
            other = np.where(line[a] == line[b], loss[b], np.inf)
            # of two alike the first goes
            if a.start:
                other = np.where(other == loss[a], -np.inf, other)
            near[a] = np.minimum(near[a], other)
    return np.flatnonzero(np.isfinite(loss) & (near >= loss))


def _nearest(chosen: IntArray, line: IntArray) -> IntArray:
    """Return for each straight the number of the nearest chosen one of its line, -1 where there is none."""
    here = np.arange(len(line))
    after = np.searchsorted(chosen, here)
    before = np.maximum(after - 1, 0)
    after = np.minimum(after, len(chosen) - 1)
    far = len(line) + 1
    to_before = np.where(line[chosen[before]] == line, np.abs(here - chosen[before]), far)
    to_after = np.where(line[chosen[after]] == line, np.abs(here - chosen[after]), far)
    nearest = np.where(to_before <= to_after, before, after)
    return np.where(np.minimum(to_before, to_after) < far, nearest, -1)


def _removed(traces: Traces, chain: Tangents, chosen: IntArray, kind: IntArray) -> tuple[Tangents, IntArray]:
    """Return the chains without what was chosen, and where each straight went, -1 for those that are gone.

    Kind 0 straightens a corner, kind 1 drops a straight between two corners, kind 2 straightens two corners.
    """
    corner = chain.corners
    heading, foot, shift = chain.heading.copy(), chain.foot.copy(), chain.shift.copy()
    log_radius, cell = chain.log_radius.copy(), chain.cell.copy()
    alive = np.ones(len(heading), bool)
    alive[chosen] = False
    k = chosen[kind != 1]
    if k.size:
        last = k + (kind[kind != 1] == 2)
        alive[last] = False
        a, b, split = _straightened(traces, chain, corner, k, last)
        run = b - a
        heading[k - 1] = np.arctan2(run[:, 1], run[:, 0])
        foot[k - 1] = 0.5 * (a + b)
        shift[k - 1] = 0.0
        # a corner gone: its vertices go to the corners on its two sides, or all to the straight that is left
        end = chain.cell[last + 1]
        lone = chain.count[chain.line[k]] == 2 + last - k
        cell[k] = cell[last] = split
        cell[last + 1] = np.where(lone, end, split)
    s = chosen[kind == 1]
    if s.size:
        leg, _ = legs_of(chain, corner)
        gap = np.maximum(leg[s] - corner.tangent[s] - corner.tangent[s + 1], 0.0)
        arcs = corner.radius * np.abs(corner.turn)
        log_radius[s + 1] = np.log(
            (arcs[s] + arcs[s + 1] + gap) / np.abs(corner.turn[s] + corner.turn[s + 1])
        )
        cell[s + 1] = cell[s]
    counts = np.bincount(chain.line[alive], minlength=traces.count)
    offsets = np.concatenate(([0], np.cumsum(counts)))
    # the cell of what is gone is empty now, so the bounds that remain are those of what is left
    bounds = np.concatenate((cell[:-1][alive], cell[-1:]))
    bounds[offsets[:-1]] = traces.offsets[:-1]
    second = offsets[:-1] + 1
    several = counts > 1
    bounds[second[several]] = traces.offsets[:-1][several]
    fewer = Tangents(offsets, heading[alive], foot[alive], shift[alive], log_radius[alive], bounds)
    return fewer, np.where(alive, np.cumsum(alive) - 1, -1)


def _straightened(
    traces: Traces, chain: Tangents, corner: Corners, k: IntArray, last: IntArray
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return the ends of the straights that take the place of corners k to last, and where to part their vertices.

    Such a straight runs from the end of the arc before to the start of the arc after.
    """
    first, line = chain.first, chain.line
    final = np.concatenate((first[1:], [True]))
    u1, u2 = corner.along[k - 1], corner.along[last]
    base1 = chain.foot[k - 1] + chain.shift[k - 1, None] * np.stack((-u1[:, 1], u1[:, 0]), -1)
    base2 = chain.foot[last] + chain.shift[last, None] * np.stack((-u2[:, 1], u2[:, 0]), -1)
    head = traces.xy[traces.offsets[line[k]]]
    tail = traces.xy[traces.offsets[line[k] + 1] - 1]
    a = base1 + np.einsum("ni,ni->n", u1, head - base1)[:, None] * u1
    b = base2 + np.einsum("ni,ni->n", u2, tail - base2)[:, None] * u2
    before, after = ~first[k - 1], ~final[last]
    following = np.minimum(last + 1, len(first) - 1)
    a[before] = (corner.apex[k - 1] + corner.tangent[k - 1, None] * u1)[before]
    b[after] = (corner.apex[following] - corner.tangent[following, None] * u2)[after]
    whole = np.hypot(*(b - a).T)
    arc = corner.radius[k] * np.abs(corner.turn[k])
    reach = np.abs(np.einsum("ni,ni->n", b - corner.apex[last], u2))
    share = np.clip((0.5 * arc + reach) / np.maximum(whole + arc, 1e-9), 0.0, 1.0)
    begin, end = chain.cell[k], chain.cell[last + 1]
    split = begin + np.rint(share * (end - begin)).astype(np.int64)
    return a, b, np.where(before & after, split, np.where(before, end, begin))
