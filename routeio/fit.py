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
    bending,
    measure,
    put,
    ragged_take,
)

#: Steps after which a chain that still cannot be, or is far from its goal, is given up.
_HOPEFUL = 3
#: Damping of the headings of a line's first and last straight: where the line begins within an arc no vertex feels which
#: way its straight comes, and what it felt of it would be rounding.
_LOOSE = 0.1
#: A fit that need not be closer than this is a rough one.
_ROUGHLY = 0.1


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
    goal: FloatArray | None = None,
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
    goal : ndarray, shape (m,), optional
        A line that will not get below this is given up where it is.

    Returns
    -------
    chain : Tangents
        Fitted.
    cost : ndarray, shape (m,)
        Of each line: robust sum of squares in units of its scatter, and the prior; inf where the chain cannot be.
    """
    whole = halved(traces, held(traces, chain))
    lines = np.arange(traces.count)
    work, part = traces, whole
    cost, system = judged(work, part, prior)
    final = cost.copy()
    if closeness > _ROUGHLY and (part.count == 1).any():
        # a straight alone is that of least squares already
        lines = np.flatnonzero(part.count > 1)
        if lines.size == 0:
            return whole, final
        system = system.take(ragged_take(part.offsets, lines)[0])
        work, part, cost = work.take(lines), part.take(lines), cost[lines]
    damping, live = np.full(lines.size, 1e-3), np.ones(lines.size, bool)
    for number in range(rounds):
        trial = held(work, _moved(part, system, damping, radii_only))
        trial_cost, trial_system = judged(work, trial, prior)
        # a line that is done stays as it is, whatever others beside it still do
        better = live & (trial_cost <= cost)
        lost = np.isinf(trial_cost) | np.isinf(cost)
        gain = np.where(better & ~lost, cost - np.where(lost, 0.0, trial_cost), np.inf)
        damping = np.clip(damping * np.where(better, 0.2, 6.0), 1e-9, 1e9)
        cost = np.where(better, trial_cost, cost)
        hopeless = np.isinf(cost)
        if goal is not None:
            hopeless |= cost - 5.0 * np.where(np.isinf(gain), 0.0, gain) > goal[lines]
        hopeless &= number >= _HOPEFUL
        live &= ~((gain <= np.maximum(closeness, 1e-15 * cost)) | (damping > 1e6) | hopeless)
        node = better[part.line]
        part = replace(
            part,
            heading=np.where(node, trial.heading, part.heading),
            shift=np.where(node, trial.shift, part.shift),
            log_radius=np.where(node, trial.log_radius, part.log_radius),
        )
        system = system.chosen(node, trial_system)
        going = int(live.sum())
        if going < 0.75 * lines.size:
            # go on with the lines that still move
            whole = put(whole, lines, part)
            final[lines] = cost
            if going == 0:
                return whole, final
            stay = np.flatnonzero(live)
            system = system.take(ragged_take(part.offsets, stay)[0])
            lines, work, part = lines[stay], work.take(stay), part.take(stay)
            cost, damping, live = cost[stay], damping[stay], live[stay]
    final[lines] = cost
    return put(whole, lines, part), final


def _of_lines(traces: Traces, chain: Tangents, loss: FloatArray, prior: Prior) -> FloatArray:
    cost = np.bincount(traces.line, loss, minlength=traces.count)
    cost += np.bincount(chain.line, _unlike(chain, prior), minlength=traces.count)
    cost[chain.line[impossible(traces, chain)]] = np.inf
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
    return _lorentz(square, traces.weight)


def _lorentz(square: FloatArray, weight: FloatArray) -> FloatArray:
    return np.asarray(weight * OUTLYING**2 * np.log1p(square / OUTLYING**2))


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


@dataclass(frozen=True, eq=False)
class System:
    """The normal equations of one step of many chains, by heading, shift and log radius of each straight.

    Parameters
    ----------
    diagonal, beside : ndarray, shape (s, 3, 3)
        Blocks on the diagonal, and coupling of each straight with the one before.
    right : ndarray, shape (s, 3)
        Descent direction.
    """

    diagonal: FloatArray
    beside: FloatArray
    right: FloatArray

    @property
    def scale(self) -> FloatArray:
        """What to multiply the unknowns by so that the diagonal is one, shape (s, 3)."""
        return np.asarray(1.0 / np.sqrt(np.einsum("nii->ni", self.diagonal)))

    def take(self, rows: IntArray) -> System:
        """Return the equations of some straights, whole lines of them."""
        return System(self.diagonal[rows], self.beside[rows], self.right[rows])

    def chosen(self, rows: BoolArray, other: System) -> System:
        """Return these equations with those of some straights from another."""
        return System(
            np.where(rows[:, None, None], other.diagonal, self.diagonal),
            np.where(rows[:, None, None], other.beside, self.beside),
            np.where(rows[:, None], other.right, self.right),
        )

    def scaled(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return scale, diagonal and upper blocks with unit diagonal."""
        scale = self.scale
        diagonal = self.diagonal * scale[:, :, None] * scale[:, None, :]
        return scale, diagonal, self.beside[1:] * scale[:-1, :, None] * scale[1:, None, :]


def normal(traces: Traces, chain: Tangents, prior: Prior) -> System:
    """Return the normal equations at a chain.

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
    System
        Of one step.
    """
    return judged(traces, chain, prior)[1]


def judged(traces: Traces, chain: Tangents, prior: Prior, whole: bool = False) -> tuple[FloatArray, System]:
    """Return the cost of each line and the equations of the next step.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their chains.
    prior : Prior
        Of the radii.
    whole : bool
        Whether the equations are of Newton's method, second derivatives included; otherwise of Gauss's, which lead down
        from anywhere.

    Returns
    -------
    cost : ndarray, shape (m,)
        As :func:`fitted` gives it.
    system : System
        Of one step.
    """
    seen = measure(traces, chain, fine=whole)
    scatter = traces.scatter[traces.line]
    square = (seen.off / scatter) ** 2
    cost = _of_lines(traces, chain, _lorentz(square, traces.weight), prior)
    far = square / OUTLYING**2
    weight = traces.weight / ((1.0 + far) * scatter**2)
    drawn = weight * seen.off
    if whole:
        weight *= (1.0 - far) / (1.0 + far)
    count = len(chain.heading)

    # vertices on arcs feel five numbers: heading and shift of the straight before, of that after, and the radius
    arc = seen.arc
    at, lever = seen.corner[arc], seen.lever
    weighted = lever * weight[arc]
    zero = np.zeros(count)
    some = len(arc) > 0
    block = [
        [np.bincount(at, weighted[i] * lever[j], minlength=count) if some else zero for j in range(i, 5)]
        for i in range(5)
    ]
    pull = [np.bincount(at, w * drawn[arc], minlength=count) if some else zero for w in lever]
    if whole:
        more = bending(traces, chain, seen, drawn)
        block = [[b + more[:, i, i + j] for j, b in enumerate(row)] for i, row in enumerate(block)]
    # all others feel two, heading and shift of their straight, by minus their distance along it and minus one
    weight[arc] = drawn[arc] = 0.0
    along = weight * seen.along
    on = seen.straight
    diagonal = np.empty((count, 3, 3))
    diagonal[:, 0, 0] = np.bincount(on, along * seen.along, minlength=count) + block[2][0]
    diagonal[:, 0, 1] = np.bincount(on, along, minlength=count) + block[2][1]
    diagonal[:, 1, 1] = np.bincount(on, weight, minlength=count) + block[3][0]
    if whole:
        diagonal[:, 0, 0] -= np.bincount(on, drawn * (seen.off + chain.shift[on]), minlength=count)
    diagonal[:, 0, 2], diagonal[:, 1, 2], diagonal[:, 2, 2] = block[2][2], block[3][1], block[4][0]
    diagonal[:-1, 0, 0] += block[0][0][1:]
    diagonal[:-1, 0, 1] += block[0][1][1:]
    diagonal[:-1, 1, 1] += block[1][0][1:]
    beside = np.zeros((count, 3, 3))
    for j in range(3):
        beside[:, 0, j], beside[:, 1, j] = block[0][2 + j], block[1][1 + j]
    right = np.empty((count, 3))
    right[:, 0] = np.bincount(on, drawn * seen.along, minlength=count) - pull[2]
    right[:, 1] = np.bincount(on, drawn, minlength=count) - pull[3]
    right[:, 2] = -pull[4]
    right[:-1, 0] -= pull[0][1:]
    right[:-1, 1] -= pull[1][1:]

    inner = ~chain.first
    diagonal[:, 2, 2] += np.where(inner, prior.spread**-2, 1.0)
    right[:, 2] -= np.where(inner, (chain.log_radius - np.log(prior.radius)) / prior.spread**2, 0.0)
    # a straight that no vertex feels stays where it is
    diagonal[:, 0, 0] += 1e-6
    diagonal[:, 1, 1] += 1e-6
    for i, j in ((0, 1), (0, 2), (1, 2)):
        diagonal[:, j, i] = diagonal[:, i, j]
    return cost, System(diagonal, beside, right)


def _moved(chain: Tangents, system: System, damping: FloatArray, radii_only: bool) -> Tangents:
    """Return the chain after one step."""
    if radii_only:
        move = system.right[:, 2] / (system.diagonal[:, 2, 2] * (1.0 + damping[chain.line]))
        return replace(chain, log_radius=chain.log_radius + np.clip(move, -1.0, 1.0))
    scale, diagonal, upper = system.scaled()
    extra = damping[chain.line]
    for i in range(3):
        diagonal[:, i, i] += extra
    diagonal[chain.first | np.concatenate((chain.first[1:], [True])), 0, 0] += _LOOSE
    step = solve(diagonal, upper, system.right * scale) * scale
    return replace(
        chain,
        heading=chain.heading + np.clip(step[:, 0], -0.5, 0.5),
        shift=chain.shift + step[:, 1],
        log_radius=chain.log_radius + np.clip(step[:, 2], -1.0, 1.0),
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
    _, turn, radius = deviations(chain, normal(traces, chain, prior), prior)
    return turn, radius


def deviations(chain: Tangents, system: System, prior: Prior) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return standard deviations of each heading, and of each corner's turn and log radius, as the equations have them.

    Parameters
    ----------
    chain : Tangents
        Fitted.
    system : System
        Of its next step.
    prior : Prior
        Of the radii.

    Returns
    -------
    heading, turn : ndarray, shape (s,)
        The turn is 0 for the first straight of a line. [rad]
    log_radius : ndarray, shape (s,)
        Of ln R.
    """
    scale, diagonal, upper = system.scaled()
    on, beside = variances(diagonal, upper)
    heading = on[:, 0, 0] * scale[:, 0] ** 2
    both = beside[:, 0, 0] * scale[:-1, 0] * scale[1:, 0]
    turn = np.zeros(len(heading))
    turn[1:] = heading[1:] + heading[:-1] - 2.0 * both
    turn[chain.first] = 0.0
    # rounding may leave less than nothing where nothing is told: the prior's, then
    radius = on[:, 2, 2] * scale[:, 2] ** 2
    radius = np.where(radius > 0.0, np.minimum(radius, prior.spread**2), prior.spread**2)
    return np.sqrt(np.maximum(heading, 0.0)), np.sqrt(np.maximum(turn, 0.0)), np.sqrt(radius)


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
    corner = chain.corners
    leg, inner = legs_of(chain, corner)
    asked = np.zeros_like(leg)
    asked[:-1] = corner.tangent[:-1] + corner.tangent[1:]
    share = np.where(inner & (leg > 0.0), np.minimum(1.0, leg / np.maximum(asked, 1e-12)), 1.0)
    before = np.concatenate(([1.0], share[:-1]))
    cut = np.where(chain.first, 1.0, np.minimum(share, before))
    if not (cut < 1.0).any():
        return chain
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
    corner = chain.corners
    leg, inner = legs_of(chain, corner)
    k = np.flatnonzero(inner & (leg > 0.0))
    if k.size == 0:
        return chain
    count = len(chain.heading)
    middle = 0.5 * (
        corner.apex[k]
        + corner.apex[k + 1]
        + (corner.tangent[k] - corner.tangent[k + 1])[:, None] * corner.along[k]
    )
    # how far along each straight its middle is, from its foot; of those that have none no vertex is past it
    late_from, early_to = np.full(count, np.inf), np.full(count, -np.inf)
    late_from[k] = early_to[k] = np.einsum("ni,ni->n", middle - chain.foot[k], corner.along[k])
    seen = measure(traces, chain, derivatives=False)
    on_arc = np.zeros(len(traces.xy), bool)
    on_arc[seen.arc] = True
    late = ~on_arc & ~seen.early & (seen.along > late_from[seen.straight])
    early = ~on_arc & seen.early & (seen.along < early_to[seen.straight])
    moved = np.bincount(seen.straight[early], minlength=count) - np.bincount(
        seen.straight[late], minlength=count
    )
    bounds = chain.cell.copy()
    bounds[k + 1] += moved[k]
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
    corner = chain.corners
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
