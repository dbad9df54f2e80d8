"""The last digits of a fit: Newton's method from where the fit stopped, so that they hang on the vertices alone.

A fit is stopped where its cost hardly changes, and where that is hangs on the way that led there. A flat cost, and
rounding on the way, made tenths of millimetres of it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mechanics.errors import FloatArray
from routeio.blocks import solve
from routeio.fit import Prior, System, deviations, fitted, held, impossible, judged, legs_of
from routeio.strays import FEWEST
from routeio.tangent import BoolArray, IntArray, Tangents, Traces, put, ragged_take

#: Steps at most.
_ROUNDS = 60
#: A line is done by a step after which none is left that changes a number by this part of its standard deviation, and
#: which is itself this small.
_DONE, _NEAR = 1e-12, 1e-5
#: A straight alone is done when a step changes its cost by less than this.
_CLOSE = 1e-4
#: Rounding of a cost, as a part of it, or of one.
_HAIR = 1e-11
#: Damping below which there is none, and from which a line is given up where it is.
_LEAST, _MOST = 1e-12, 1e3
#: Damping that a step which fails is tried again with at least.
_SOME = 1e-6
#: How often radii of corners that touch are fitted to each other in a step.
_SWEEPS = 30
#: An end straight of this many standard deviations of where it begins is one; of fewer its bend goes on to the end.
_TOLD = 1.0
#: Standard deviation of ln R up to which an arc is seen.
_SEEN = 0.5
#: How far beyond the end of the line such a bend is carried on unseen. [rad]
_OUT = 0.01
#: Weight of a heading that is known. [1/rad2]
_KNOWN = 1e18
#: Standard deviation of a turn before it is looked at: a straight that no vertex feels goes the way that turns least. [rad]
_WINDING = 1.0
#: A straight shorter than this part of the tangents beside it is none. [m/m]
_TOUCH = 1e-9


def converged(traces: Traces, chain: Tangents, prior: Prior) -> tuple[Tangents, FloatArray, FloatArray]:
    """Return chains fitted to the last digit, and the standard deviations of their corners.

    A straight at an end of a line that the vertices do not tell from the bend beside it is none: the bend goes on to the
    end. Its heading would hang on rounding.

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
    chain : Tangents
        Of the same straights and corners.
    turn_sd, radius_sd : ndarray, shape (s,)
        As :func:`routeio.fit.spread_of` gives them.
    """
    turn_sd, radius_sd = np.zeros(len(chain.heading)), np.ones(len(chain.heading))
    lone, bends = np.flatnonzero(chain.count == 1), np.flatnonzero(chain.count > 1)
    whole = chain
    if lone.size:
        # nothing of a straight alone is loose
        straight, _ = fitted(traces.take(lone), chain.take(lone), prior, closeness=_CLOSE)
        whole = put(whole, lone, straight)
    if bends.size:
        rows = ragged_take(chain.offsets, bends)[0]
        part, turn_sd[rows], radius_sd[rows] = _bends(traces.take(bends), chain.take(bends), prior)
        whole = put(whole, bends, part)
    return whole, turn_sd, radius_sd


def _bends(traces: Traces, chain: Tangents, prior: Prior) -> tuple[Tangents, FloatArray, FloatArray]:
    """Return what :func:`converged` does for lines with bends."""
    none = np.zeros(len(chain.heading), bool)
    cost, system = _straightened(chain, none, *judged(traces, chain, prior))
    heading_sd, turn_sd, radius_sd = deviations(chain, system, prior)
    bent = _bent_ends(traces, chain, heading_sd, radius_sd)
    if bent.any():
        # the first step is taken whatever it costs to bend ends
        cost[chain.line[bent]] = np.inf
        # what is carried on to the end is as sure as its radius; where few vertices tell it, less
        some = np.flatnonzero((np.bincount(chain.line, bent) > 0) & (np.diff(traces.offsets) >= FEWEST))
        if some.size:
            rows = ragged_take(chain.offsets, some)[0]
            part, ends = chain.take(some), bent[rows]
            _, turn, radius_sd[rows] = deviations(part, _fixed(system.take(rows), ends), prior)
            beside = ends | np.concatenate(([False], ends[:-1]))
            carried = np.where(beside & ~part.first, np.abs(part.corners.turn) * radius_sd[rows], 0.0)
            turn_sd[rows] = np.hypot(turn, carried)
    found = _walked(traces, chain, prior, cost, system, bent)
    wrong = np.bincount(chain.line, impossible(traces, found), minlength=traces.count) > 0
    lost = np.flatnonzero(wrong & (np.bincount(chain.line, bent, minlength=traces.count) > 0))
    return put(found, lost, chain.take(lost)) if lost.size else found, turn_sd, radius_sd


def _fixed(system: System, bent: BoolArray) -> System:
    """Return the equations with the headings of some straights known."""
    diagonal, beside = system.diagonal.copy(), system.beside.copy()
    diagonal[bent, 0] = diagonal[bent, :, 0] = 0.0
    diagonal[bent, 0, 0] = _KNOWN
    beside[bent, :, 0] = 0.0
    beside[1:][bent[:-1], 0] = 0.0
    return System(diagonal, beside, system.right)


def polished(traces: Traces, chain: Tangents, prior: Prior) -> Tangents:
    """Return chains fitted by their radii to the last digit, straights as they are.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Fitted with ``radii_only``.
    prior : Prior
        Of the radii.

    Returns
    -------
    Tangents
        Alike but for radii.
    """
    return _walked(
        traces, chain, prior, *_judged(traces, chain, prior, np.zeros(len(chain.heading), bool)), None
    )


def given_way(
    traces: Traces, chain: Tangents, prior: Prior, settled: BoolArray
) -> tuple[Tangents, FloatArray]:
    """Return chains fitted with some of their radii as they are, and their cost.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        With the radii that were settled on.
    prior : Prior
        Of the other radii.
    settled : ndarray of bool, shape (s,)
        Corners whose radius stays.

    Returns
    -------
    chain : Tangents
        Fitted.
    cost : ndarray, shape (m,)
        As :func:`routeio.fit.fitted` gives it, of straights no more than of bends.
    """
    chain = held(traces, chain)
    none = np.zeros(len(chain.heading), bool)
    found = _walked(traces, chain, prior, *_judged(traces, chain, prior, none), none, settled)
    return found, judged(traces, found, prior)[0]


def _walked(
    traces: Traces,
    chain: Tangents,
    prior: Prior,
    cost: FloatArray,
    system: System,
    bent: BoolArray | None,
    settled: BoolArray | None = None,
) -> Tangents:
    """Return where Newton's method leads: by radii alone, or with some end straights kept rolled, some radii settled."""
    whole, lines = chain, np.arange(traces.count)
    work, part = traces, chain
    none = np.zeros(len(chain.heading), bool)
    ends, kept = none if bent is None else bent, none if settled is None else settled
    damping, before = np.full(lines.size, _LEAST), np.full(lines.size, np.nan)
    for number in range(_ROUNDS):
        step, size = (
            _radii(part, system, damping) if bent is None else _step(part, system, damping, ends, kept)
        )
        given_up = damping > _MOST
        step[given_up[part.line]] = 0.0
        # the error that is left shrinks by its square; the first step is of Gauss's method and says nothing of that
        ahead = size * np.where(size < before, size / before, 1.0) ** 2
        done = ((ahead < _DONE) & (size < _NEAR)) | given_up
        if done.any():
            over, stay = np.flatnonzero(done), np.flatnonzero(~done)
            rows = ragged_take(part.offsets, over)[0]
            last = _moved(work.take(over), part.take(over), step[rows], ends[rows])
            whole = put(whole, lines[over], last)
            if stay.size == 0:
                return whole
            rows = ragged_take(part.offsets, stay)[0]
            system, ends, kept, step = system.take(rows), ends[rows], kept[rows], step[rows]
            lines, work, part = lines[stay], work.take(stay), part.take(stay)
            cost, damping, size = cost[stay], damping[stay], size[stay]
        trial = _moved(work, part, step, ends)
        trial_cost, trial_system = _judged(work, trial, prior, ends)
        better = (trial_cost <= cost + _HAIR * (1.0 + cost)) & np.isfinite(size)
        damping = np.where(
            better, np.where(damping > _SOME, 0.1 * damping, _LEAST), np.maximum(10.0 * damping, _SOME)
        )
        before = np.where(better & (number > 0), size, np.nan)
        if better.all():
            cost, part, system = trial_cost, trial, trial_system
            continue
        cost, node = np.where(better, trial_cost, cost), better[part.line]
        part = replace(
            part,
            heading=np.where(node, trial.heading, part.heading),
            shift=np.where(node, trial.shift, part.shift),
            log_radius=np.where(node, trial.log_radius, part.log_radius),
        )
        system = system.chosen(node, trial_system)
    return put(whole, lines, part)


def _moved(traces: Traces, chain: Tangents, step: FloatArray, bent: BoolArray) -> Tangents:
    """Return the chains after a step."""
    moved = replace(
        chain,
        heading=chain.heading + np.clip(step[:, 0], -0.1, 0.1),
        shift=chain.shift + step[:, 1],
        log_radius=chain.log_radius + np.clip(step[:, 2], -0.5, 0.5),
    )
    return held(traces, _rolled(traces, moved, bent))


def _judged(traces: Traces, chain: Tangents, prior: Prior, bent: BoolArray) -> tuple[FloatArray, System]:
    return _straightened(chain, bent, *judged(traces, chain, prior, whole=True))


def _straightened(
    chain: Tangents, bent: BoolArray, cost: FloatArray, system: System
) -> tuple[FloatArray, System]:
    """Return cost and equations with what turns cost, but for those whose straight at the end is kept rolled.

    That is next to nothing, but of shapes that explain a line alike the straighter is meant.
    """
    counts = ~(chain.first | bent | np.concatenate(([False], bent[:-1])))
    turn = np.where(counts, chain.corners.turn / _WINDING, 0.0)
    once = np.where(counts, _WINDING**-2, 0.0)
    diagonal, beside, right = system.diagonal.copy(), system.beside.copy(), system.right.copy()
    right[:, 0] -= turn / _WINDING
    right[:-1, 0] += turn[1:] / _WINDING
    diagonal[:, 0, 0] += once
    diagonal[:-1, 0, 0] += once[1:]
    beside[:, 0, 0] -= once
    return cost + np.add.reduceat(turn * turn, chain.offsets[:-1]), System(diagonal, beside, right)


def _radii(chain: Tangents, system: System, damping: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the next step of the radii alone, and its size for each line in standard deviations."""
    stiff = system.diagonal[:, 2, 2]
    told = (stiff > 1.0) & ~chain.first
    stiff = np.where(told, stiff * (1.0 + damping[chain.line]), 1.0)
    move = _in_room(chain, np.where(told, system.right[:, 2] / stiff, 0.0), stiff)
    step = np.zeros_like(system.right)
    step[:, 2] = move
    return step, np.maximum.reduceat(np.abs(move) * np.sqrt(stiff), chain.offsets[:-1])


def _in_room(chain: Tangents, move: FloatArray, stiff: FloatArray) -> FloatArray:
    """Return the best change of ln R that keeps corners which touch from overlapping: Hildreth's method."""
    full = np.flatnonzero(_full(chain))
    if full.size == 0:
        return move
    move, tangent = move.copy(), chain.corners.tangent
    share = np.zeros(full.size)
    for number in range(_SWEEPS):
        half = np.arange(number % 2, full.size, 2)
        a, b = full[half], full[half] + 1
        give = tangent[a] ** 2 / stiff[a] + tangent[b] ** 2 / stiff[b]
        over = tangent[a] * move[a] + tangent[b] * move[b]
        more = np.maximum(over / give, -share[half])
        share[half] += more
        move[a] -= more * tangent[a] / stiff[a]
        move[b] -= more * tangent[b] / stiff[b]
    return move


def _step(
    chain: Tangents, system: System, damping: FloatArray, bent: BoolArray, kept: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Return the next step, and its size for each line in standard deviations of the numbers by themselves."""
    diagonal, beside, right = system.diagonal, system.beside, system.right
    full = _full(chain)
    # where two corners touch there is no room for their radii
    still = kept | full | np.concatenate(([False], full[:-1]))
    if bent.any() or still.any():
        fixed = np.zeros(right.shape, bool)
        fixed[:, 0], fixed[:, 2] = bent, still
        free = ~fixed
        right = np.where(fixed, 0.0, right)
        diagonal = diagonal * (free[:, :, None] & free[:, None, :])
        beside = beside.copy()
        beside[1:] *= free[:-1, :, None] & free[1:, None, :]
        for i in (0, 2):
            diagonal[fixed[:, i], i, i] = 1.0
    scale = 1.0 / np.sqrt(np.maximum(np.abs(np.einsum("nii->ni", diagonal)), 1e-12))
    diagonal = diagonal * (scale[:, :, None] * scale[:, None, :])
    extra = damping[chain.line]
    for i in range(3):
        diagonal[:, i, i] += extra
    upper = beside[1:] * (scale[:-1, :, None] * scale[1:, None, :])
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        step = solve(diagonal, upper, right * scale)
        most = np.abs(step)
        most = np.maximum.reduceat(
            np.maximum(np.maximum(most[:, 0], most[:, 1]), most[:, 2]), chain.offsets[:-1]
        )
        # equations that say nothing are tried again with more damping
        most = np.where(np.isfinite(most), most, np.inf)
        step = np.where(np.isfinite(most)[chain.line, None], step * scale, 0.0)
    return step, most


def _full(chain: Tangents) -> BoolArray:
    """Return which straights have no length, as the corners at their ends touch."""
    corner = chain.corners
    leg, inner = legs_of(chain, corner)
    asked = np.zeros_like(leg)
    asked[:-1] = corner.tangent[:-1] + corner.tangent[1:]
    return np.asarray(inner & ~(leg - asked > _TOUCH * leg))


def _bent_ends(traces: Traces, chain: Tangents, heading_sd: FloatArray, radius_sd: FloatArray) -> BoolArray:
    """Return which first and last straights are so short that the vertices do not tell them from the bend beside them."""
    corner = chain.corners
    bent = np.zeros(len(heading_sd), bool)
    for k, straight, vertex in _ends(traces, chain):
        u, way = corner.along[straight], np.where(straight < k, 1.0, -1.0)
        length = way * np.einsum("ni,ni->n", u, corner.apex[k] - traces.xy[vertex]) - corner.tangent[k]
        turned = length / corner.radius[k]
        bent[straight] = (turned < _TOLD * heading_sd[straight]) & (turned > -0.9 * np.abs(corner.turn[k]))
        # a bend of which no arc is seen goes no further than it must
        bent[straight] &= radius_sd[k] < _SEEN
    return bent


def _ends(traces: Traces, chain: Tangents) -> list[tuple[IntArray, IntArray, IntArray]]:
    """Return corners beside the ends of lines that bend, with their end straights and the vertices there."""
    some = np.flatnonzero(chain.count > 1)
    first, last = chain.offsets[:-1][some], chain.offsets[1:][some] - 1
    return [(first + 1, first, traces.offsets[:-1][some]), (last, last, traces.offsets[1:][some] - 1)]


def _rolled(traces: Traces, chain: Tangents, bent: BoolArray) -> Tangents:
    """Return the chains with some end straights rolled along the arcs beside them, to touch them where the line ends.

    They touch them a little further out, so that the end lies on the arc for sure.
    """
    if not bent.any():
        return chain
    corner = chain.corners
    heading, shift = chain.heading.copy(), chain.shift.copy()
    for k, straight, vertex in _ends(traces, chain):
        some = bent[straight]
        at, s = k[some], straight[some]
        sense = np.sign(corner.turn[at])
        out = traces.xy[vertex[some]] - corner.hub[at]
        normal = -sense[:, None] * out / np.maximum(np.hypot(*out.T), 1e-12)[:, None]
        away = np.where(s < at, -1.0, 1.0) * sense * _OUT
        c, d = np.cos(away), np.sin(away)
        normal = np.stack((c * normal[:, 0] - d * normal[:, 1], d * normal[:, 0] + c * normal[:, 1]), axis=-1)
        heading[s] += _turn(corner.along[s], np.stack((normal[:, 1], -normal[:, 0]), axis=-1))
        foot = corner.hub[at] - (sense * corner.radius[at])[:, None] * normal
        shift[s] = np.einsum("ni,ni->n", normal, foot - chain.foot[s])
    return replace(chain, heading=heading, shift=shift)


def _turn(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], np.einsum("ni,ni->n", a, b)))
