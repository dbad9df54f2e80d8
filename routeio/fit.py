"""Least squares for tangent chains: Levenberg and Marquardt's method, each line with a damping of its own."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from mechanics.errors import FloatArray
from routeio.blocks import solve, variances
from routeio.tangent import (
    LARGEST_TURN,
    OUTLYING,
    BoolArray,
    Corners,
    IntArray,
    Tangents,
    Traces,
    corners_of,
    measure,
    put,
)


@dataclass(frozen=True)
class Prior:
    """What is thought of a corner's radius before the vertices are looked at: log-normal, broad.

    Parameters
    ----------
    radius : float
        Median. [m]
    spread : float
        Standard deviation of ln R.
    """

    radius: float = 8.0
    spread: float = 1.5


def fitted(
    traces: Traces,
    chain: Tangents,
    prior: Prior,
    *,
    rounds: int = 40,
    closeness: float = 1e-3,
    radii_only: bool = False,
) -> tuple[Tangents, FloatArray]:
    """Return the chain that lies nearest the vertices, starting from the given one, and its cost.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Where to start.
    prior : Prior
        Of the radii.
    rounds : int
        Steps at most.
    closeness : float
        A line is done when a step changes its cost by less than this (or by 1e-15 of it).
    radii_only : bool
        Leave the straights where they are.

    Returns
    -------
    chain : Tangents
        Fitted.
    cost : ndarray, shape (m,)
        Of each line: robust sum of squares in units of its scatter, and the prior; inf where the chain cannot be.
    """
    damping = np.full(traces.count, 1e-3)
    chain = halved(traces, held(traces, chain))
    cost = cost_of(traces, chain, prior)
    live = np.flatnonzero(np.diff(chain.offsets) > 0)
    whole, final = chain, cost.copy()
    for _ in range(rounds):
        if live.size == 0:
            break
        part_traces, part = (
            (traces, whole) if live.size == traces.count else (traces.take(live), whole.take(live))
        )
        trial = held(part_traces, _step(part_traces, part, prior, damping[live], radii_only))
        trial_cost = cost_of(part_traces, trial, prior)
        better = trial_cost <= final[live]
        lost = np.isinf(trial_cost) | np.isinf(final[live])
        gain = np.where(better & ~lost, final[live] - np.where(lost, 0.0, trial_cost), np.inf)
        damping[live] = np.clip(damping[live] * np.where(better, 0.2, 6.0), 1e-9, 1e9)
        taken = live[better]
        whole = put(whole, taken, trial.take(np.flatnonzero(better)))
        final[taken] = trial_cost[better]
        done = (gain <= np.maximum(closeness, 1e-15 * final[live])) | (damping[live] > 1e6)
        live = live[~done]
    return whole, final


def cost_of(traces: Traces, chain: Tangents, prior: Prior) -> FloatArray:
    """Return what a fit makes least, of each line: a robust sum of squares, and the prior.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their chains.
    prior : Prior
        Of the radii.

    Returns
    -------
    ndarray, shape (m,)
        In units of the scatter's variance; inf where the chain cannot be.
    """
    cell = sums(losses(traces, chain), chain.cell) + _unlike(chain, prior)
    cost = np.add.reduceat(cell, chain.offsets[:-1])
    cost[np.logical_or.reduceat(impossible(traces, chain), chain.offsets[:-1])] = np.inf
    return np.asarray(cost)


def cell_costs(traces: Traces, chain: Tangents, prior: Prior) -> FloatArray:
    """Return the cost about each corner by which chains are compared: no vertex costs more than leaving it out.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their chains.
    prior : Prior
        Of the radii.

    Returns
    -------
    ndarray, shape (s,)
        In units of the scatter's variance.
    """
    loss = np.minimum(losses(traces, chain), traces.most[traces.line])
    return sums(loss, chain.cell) + _unlike(chain, prior)


def losses(traces: Traces, chain: Tangents) -> FloatArray:
    """Return what each vertex costs, robustly.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their chains.

    Returns
    -------
    ndarray, shape (n,)
        In units of the scatter's variance.
    """
    off = measure(traces, chain, derivatives=False).off
    square = (off / traces.scatter[traces.line]) ** 2
    return np.asarray(traces.weight * OUTLYING**2 * np.log1p(square / OUTLYING**2))


def _unlike(chain: Tangents, prior: Prior) -> FloatArray:
    unlike = ((chain.log_radius - np.log(prior.radius)) / prior.spread) ** 2
    return np.where(chain.first, 0.0, unlike)


def sums(values: FloatArray, bounds: IntArray) -> FloatArray:
    """Return the sums of values between neighbouring bounds, 0 where there are none.

    Parameters
    ----------
    values : ndarray, shape (n,) or (n, k)
        What to sum.
    bounds : ndarray of int, shape (s + 1,)
        Rising from 0 to n.

    Returns
    -------
    ndarray, shape (s,) or (s, k)
        Sums.
    """
    out = np.zeros((len(bounds) - 1, *values.shape[1:]))
    some = np.flatnonzero(np.diff(bounds) > 0)
    if some.size:
        out[some] = np.add.reduceat(values, bounds[some], axis=0)
    return out


def normal(traces: Traces, chain: Tangents, prior: Prior) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the normal equations of one step: diagonal blocks, couplings, right-hand side.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their chains.
    prior : Prior
        Of the radii.

    Returns
    -------
    diagonal : ndarray, shape (s, 3, 3)
        By heading, shift and log radius of each straight.
    upper : ndarray, shape (s - 1, 3, 3)
        Coupling of each straight with the next.
    right : ndarray, shape (s, 3)
        Descent direction.
    """
    seen = measure(traces, chain)
    scatter = traces.scatter[traces.line]
    square = (seen.off / scatter) ** 2
    weight = traces.weight / (1.0 + square / OUTLYING**2) / scatter**2
    lever = np.ascontiguousarray(seen.lever.T)
    weighted = lever * weight
    count = len(chain.heading)
    block = np.zeros((count, 5, 5))
    for i in range(5):
        for j in range(i, 5):
            block[:, i, j] = block[:, j, i] = sums(weighted[i] * lever[j], chain.cell)
    pull = np.stack([sums(weighted[i] * seen.off, chain.cell) for i in range(5)], axis=-1)
    diagonal = np.zeros((count, 3, 3))
    diagonal[:, :, :] = block[:, 2:, 2:]
    diagonal[:-1, :2, :2] += block[1:, :2, :2]
    upper = np.zeros((max(count - 1, 0), 3, 3))
    upper[:, :2, :] = block[1:, :2, 2:]
    right = np.zeros((count, 3))
    right -= pull[:, 2:]
    right[:-1, :2] -= pull[1:, :2]
    inner = ~chain.first
    diagonal[:, 2, 2] += np.where(inner, prior.spread**-2, 1.0)
    right[:, 2] -= np.where(inner, (chain.log_radius - np.log(prior.radius)) / prior.spread**2, 0.0)
    # a straight that no vertex feels stays where it is
    diagonal[:, 0, 0] += 1e-6
    diagonal[:, 1, 1] += 1e-6
    return diagonal, upper, right


def _step(traces: Traces, chain: Tangents, prior: Prior, damping: FloatArray, radii_only: bool) -> Tangents:
    diagonal, upper, right = normal(traces, chain, prior)
    if radii_only:
        move = right[:, 2] / (diagonal[:, 2, 2] * (1.0 + damping[chain.line]))
        return replace(chain, log_radius=chain.log_radius + np.clip(move, -1.0, 1.0))
    scale = 1.0 / np.sqrt(np.einsum("nii->ni", diagonal))
    diagonal = diagonal * scale[:, :, None] * scale[:, None, :]
    upper = upper * scale[:-1, :, None] * scale[1:, None, :]
    extra = damping[chain.line]
    for i in range(3):
        diagonal[:, i, i] += extra
    move = solve(diagonal, upper, right * scale) * scale
    return replace(
        chain,
        heading=chain.heading + np.clip(move[:, 0], -0.5, 0.5),
        shift=chain.shift + move[:, 1],
        log_radius=chain.log_radius + np.clip(move[:, 2], -1.0, 1.0),
    )


def spread_of(traces: Traces, chain: Tangents, prior: Prior) -> tuple[FloatArray, FloatArray]:
    """Return standard deviations of each corner's turn and log radius.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Fitted.
    prior : Prior
        Of the radii.

    Returns
    -------
    turn : ndarray, shape (s,)
        0 for the first straight of a line. [rad]
    log_radius : ndarray, shape (s,)
        Of ln R.
    """
    diagonal, upper, _ = normal(traces, chain, prior)
    scale = 1.0 / np.sqrt(np.einsum("nii->ni", diagonal))
    on, beside = variances(
        diagonal * scale[:, :, None] * scale[:, None, :], upper * scale[:-1, :, None] * scale[1:, None, :]
    )
    heading = on[:, 0, 0] * scale[:, 0] ** 2
    both = beside[:, 0, 0] * scale[:-1, 0] * scale[1:, 0]
    turn = np.zeros(len(heading))
    turn[1:] = heading[1:] + heading[:-1] - 2.0 * both
    turn[chain.first] = 0.0
    return np.sqrt(np.maximum(turn, 0.0)), np.sqrt(on[:, 2, 2]) * scale[:, 2]


def held(traces: Traces, chain: Tangents) -> Tangents:
    """Return the chain with radii cut down where the tangents of two corners overlap on a straight.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their chains.

    Returns
    -------
    Tangents
        Alike but for radii.
    """
    corner = corners_of(chain)
    leg, inner = legs_of(chain, corner)
    asked = np.zeros_like(leg)
    asked[:-1] = corner.tangent[:-1] + corner.tangent[1:]
    share = np.where(inner & (leg > 0.0), np.minimum(1.0, leg / np.maximum(asked, 1e-12)), 1.0)
    before = np.concatenate(([1.0], share[:-1]))
    cut = np.where(chain.first, 1.0, np.minimum(share, before))
    # a hair less, so that rounding does not make the sum longer than the straight
    return replace(
        chain, log_radius=np.where(cut < 1.0, chain.log_radius + np.log(cut) - 1e-12, chain.log_radius)
    )


def halved(traces: Traces, chain: Tangents) -> Tangents:
    """Return the chain with the vertices of each straight parted in its middle between the corners at its ends.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their chains.

    Returns
    -------
    Tangents
        Alike but for cells.
    """
    corner = corners_of(chain)
    leg, inner = legs_of(chain, corner)
    k = np.flatnonzero(inner & (leg > 0.0))
    if k.size == 0:
        return chain
    count = len(chain.heading)
    middle = np.zeros((count, 2))
    middle[k] = 0.5 * (
        corner.apex[k]
        + corner.apex[k + 1]
        + (corner.tangent[k] - corner.tangent[k + 1])[:, None] * corner.along[k]
    )
    part = measure(traces, chain, derivatives=False).part
    cell = np.repeat(np.arange(count), np.diff(chain.cell))
    straight = np.where(part == 2, cell, np.maximum(cell - 1, 0))
    along = np.einsum("ni,ni->n", traces.xy - middle[straight], corner.along[straight])
    moved = np.zeros(count, bool)
    moved[k] = True
    late = np.bincount(straight, moved[straight] & (part == 2) & (along > 0.0), minlength=count)
    early = np.bincount(straight, moved[straight] & (part == 0) & (along < 0.0), minlength=count)
    bounds = chain.cell.copy()
    bounds[k + 1] += (early - late)[k].astype(np.int64)
    return replace(chain, cell=np.maximum.accumulate(np.minimum(bounds, bounds[-1])))


def legs_of(chain: Tangents, corner: Corners) -> tuple[FloatArray, np.ndarray]:
    """Return the length of each straight from apex to apex, and which straights have two.

    Parameters
    ----------
    chain : Tangents
        Any.
    corner : Corners
        Its corners.

    Returns
    -------
    leg : ndarray, shape (s,)
        0 for the first and the last straight of a line. [m]
    inner : ndarray of bool, shape (s,)
        Neither first nor last.
    """
    first = chain.first
    last = np.concatenate((first[1:], [True]))
    inner = ~first & ~last
    leg = np.zeros(len(chain.heading))
    leg[:-1] = np.einsum("ni,ni->n", corner.along[:-1], corner.apex[1:] - corner.apex[:-1])
    leg[~inner] = 0.0
    return leg, inner


def impossible(traces: Traces, chain: Tangents) -> BoolArray:
    """Return where a chain cannot be: corners out of order, turns too large, a line's end inside the first bend.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their chains.

    Returns
    -------
    ndarray of bool, shape (s,)
        One a straight.
    """
    corner = corners_of(chain)
    leg, inner = legs_of(chain, corner)
    bad = (inner & ~(leg > 0.0)) | (~chain.first & ~(np.abs(corner.turn) < LARGEST_TURN))
    first, last = chain.first, np.concatenate((chain.first[1:], [True]))
    line = chain.line
    # the first vertex lies before the middle of the first corner, the last vertex after that of the last
    k = np.flatnonzero(np.concatenate(([False], first[:-1])) & ~first)
    middle = corner.along[k - 1] + corner.along[k]
    start = traces.xy[traces.offsets[:-1]][line[k]]
    bad[k] |= np.einsum("ni,ni->n", middle, start - corner.apex[k]) > 0.0
    k = np.flatnonzero(last & ~first)
    middle = corner.along[k - 1] + corner.along[k]
    end = traces.xy[traces.offsets[1:] - 1][line[k]]
    bad[k] |= np.einsum("ni,ni->n", middle, end - corner.apex[k]) < 0.0
    return np.asarray(bad)
