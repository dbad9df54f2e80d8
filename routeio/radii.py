"""Radii that the vertices do not tell: the stated sweep or a standard radius, where they allow it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from mechanics.errors import FloatArray
from routeio.explain import Explained
from routeio.fit import Prior, legs_of, losses, normal, sums
from routeio.newton import given_way
from routeio.tangent import BoolArray, Tangents, Traces, put, ragged_take

#: Standard deviation of ln R above which vertices do not tell a radius.
UNTOLD = 0.2
#: Cost by which a radius may fall short of the best one and still be allowed: two standard deviations where no arc can
#: be seen, one where one can: a radius far from the best one takes metres off the length of the duct, or adds them.
_ALLOWED, _ALLOWED_SEEN = 4.0, 1.0
#: Cost of no arc at all from which one is seen: one standard deviation.
_SEEN = 1.0


@dataclass(frozen=True, eq=False)
class Radii:
    """Corners with the radii that were settled on.

    Parameters
    ----------
    chain : Tangents
        With those radii.
    sharp : ndarray of bool, shape (s,)
        Corners that want a sweep: no arc can be seen, and no standard one fits.
    assumed : ndarray of bool, shape (s,)
        Corners given a standard radius, or the stated sweep.
    least, most : ndarray, shape (s,)
        The smallest and the greatest radius tried that the vertices allow; 0 elsewhere. [m]
    """

    chain: Tangents
    sharp: BoolArray
    assumed: BoolArray
    least: FloatArray
    most: FloatArray


def settle_radii(found: Explained, prior: Prior, standard: tuple[float, ...], sweep: float | None) -> Radii:
    """Return the radii, standard ones where the vertices do not tell them.

    Parameters
    ----------
    found : Explained
        The lines; those that go through their vertices keep their radii.
    prior : Prior
        As for the fit.
    standard : tuple of float
        Radii that are made. [m]
    sweep : float or None
        Radius of sharp corners, preferred where allowed and no arc can be seen. [m]

    Returns
    -------
    Radii
        One entry a straight, for the corner before it.
    """
    chain, traces = found.chain, found.traces
    none = np.zeros(len(chain.heading))
    untold = ~chain.first & found.averaged[chain.line] & (found.radius_sd > UNTOLD)
    if not untold.any():
        return Radii(chain, found.sharp, none.astype(bool), none, none)
    lines = np.unique(chain.line[untold])
    rows = ragged_take(chain.offsets, lines)[0]
    work, best = traces.take(lines), chain.take(lines)
    part = _settled(
        work, best, untold[rows], found.radius_sd[rows], prior,
        np.array(sorted({*standard, *(() if sweep is None else (sweep,))})), sweep,
    )  # fmt: skip
    part = _given_way(work, best, part, prior)
    sharp = found.sharp.copy()
    assumed, least, most = none.astype(bool), none.copy(), none.copy()
    assumed[rows], least[rows], most[rows] = part.assumed, part.least, part.most
    sharp[rows] |= part.sharp
    return Radii(put(chain, lines, part.chain), sharp, assumed, least, most)


def _given_way(traces: Traces, chain: Tangents, radii: Radii, prior: Prior) -> Radii:
    """Return the radii with the straights about them where they go with those radii, where they have to give way.

    A corner told by hardly a vertex lies far out with a large radius and near with a small one.
    """
    more = sums(losses(traces, radii.chain) - losses(traces, chain), chain.cell)
    strained = radii.assumed & (more > _ALLOWED)
    if not strained.any():
        return radii
    lines = np.unique(chain.line[strained])
    rows = ragged_take(chain.offsets, lines)[0]
    work, best = traces.take(lines), chain.take(lines)
    part, cost = given_way(work, radii.chain.take(lines), prior, radii.assumed[rows])
    before = np.bincount(work.line, losses(work, best), minlength=lines.size)
    lost = np.bincount(work.line, losses(work, part), minlength=lines.size) - before
    # straights that do not give way show that the radius is not allowed after all
    many = np.bincount(part.line, radii.assumed[rows], minlength=lines.size)
    kept = np.isfinite(cost) & (lost <= _ALLOWED * many)
    assumed = radii.assumed.copy()
    assumed[rows] &= kept[part.line]
    part = put(part, np.flatnonzero(~kept), best.take(np.flatnonzero(~kept)))
    return replace(radii, chain=put(radii.chain, lines, part), assumed=assumed)


def _settled(
    traces: Traces,
    chain: Tangents,
    untold: BoolArray,
    radius_sd: FloatArray,
    prior: Prior,
    tried: FloatArray,
    sweep: float | None,
) -> Radii:
    best = sums(losses(traces, chain), chain.cell)
    # straights are held fast here; they would give way, and the cost be less, in this proportion
    system = normal(traces, chain, Prior(prior.radius, 1e6))
    give = np.minimum(1.0, 1.0 / np.maximum(system.diagonal[:, 2, 2] * radius_sd**2, 1e-12))
    cost = np.array([give * (_cost(traces, chain, r) - best) for r in tried]).reshape(len(tried), len(best))
    cost[~(tried[:, None] <= _room(traces, chain))] = np.inf
    none = give * (_cost(traces, chain, 1e-6) - best)
    seen = none > _SEEN
    allowed = untold & (cost <= np.where(seen, _ALLOWED_SEEN, _ALLOWED))
    assumed: BoolArray = np.logical_or.reduce(allowed, axis=0)
    log_radius = chain.log_radius
    if len(tried):
        away = np.where(allowed, np.abs(np.log(tried)[:, None] - chain.log_radius), np.inf)
        if sweep is not None:
            at = int(np.flatnonzero(tried == sweep)[0])
            away[at] = np.where(allowed[at] & ~seen, -1.0, away[at])
        log_radius = np.where(assumed, np.log(tried)[away.argmin(axis=0)], chain.log_radius)
    # no arc to be seen and none that is made fits: drawn sharp
    bare = untold & ~assumed & ~seen
    least = np.where(assumed, np.where(allowed, tried[:, None], np.inf).min(axis=0, initial=np.inf), 0.0)
    most = np.where(assumed, np.where(allowed, tried[:, None], 0.0).max(axis=0, initial=0.0), 0.0)
    return Radii(replace(chain, log_radius=log_radius), bare, assumed, least, most)


def _cost(traces: Traces, chain: Tangents, radius: float) -> FloatArray:
    """Return the cost about each corner if all corners had this radius."""
    every = replace(chain, log_radius=np.full(len(chain.heading), np.log(radius)))
    return sums(losses(traces, every), chain.cell)


def _room(traces: Traces, chain: Tangents) -> FloatArray:
    """Return the greatest radius each corner has room for, its neighbours as they are. [m]"""
    corner = chain.corners
    leg, _ = legs_of(chain, corner)
    line = chain.line
    first, last = chain.first, np.concatenate((chain.first[1:], [True]))
    before, after = np.zeros(len(leg)), np.zeros(len(leg))
    k = np.flatnonzero(~first)
    head = traces.xy[traces.offsets[:-1]][line[k]]
    tail = traces.xy[traces.offsets[1:] - 1][line[k]]
    to_head = np.einsum("ni,ni->n", corner.along[k - 1], corner.apex[k] - head)
    to_tail = np.einsum("ni,ni->n", corner.along[k], tail - corner.apex[k])
    following = np.minimum(k + 1, len(leg) - 1)
    before[k] = np.where(first[k - 1], to_head, leg[k - 1] - corner.tangent[k - 1])
    after[k] = np.where(last[k], to_tail, leg[k] - corner.tangent[following])
    return np.minimum(before, after) / np.tan(0.5 * np.abs(corner.turn))
