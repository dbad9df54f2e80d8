"""Scatter: how far digitised vertices lie from the duct, told from the vertices alone.

Third divided differences across the line vanish on straights and (nearly) on arcs, so what they hold is scatter.
Their median bears bends, corners and stray vertices. A line of few vertices says little: lines of one layer are
pooled. Scatter that is correlated along the line hides from differences; :func:`revised` finds it in what a first fit
leaves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from mechanics.errors import FloatArray
from routeio.course import wrap
from routeio.tangent import BoolArray, IntArray, Traces

#: Digitised vertices are never trusted further than this: curves are drawn by chords. [m]
FLOOR = 0.01
#: Vertices that scatter less than this are exact, but for rounding. [m]
EXACT = 0.001
#: Median of |x| of the standard normal distribution.
_MEDIAN = 0.67449
#: Standard deviation of it cut off at so many of its deviations: sqrt(1 - 2 x phi(x) / (2 Phi(x) - 1)).
_TRIMMED, _OF_TRIMMED = 3.0, 0.98658
#: Windows from which a line, or a layer, speaks for itself.
_ENOUGH, _ENOUGH_POOLED = 12, 30
#: Least share of neighbouring turns of opposite sign: 0.73 for white scatter (1/2 + asin(2/3)/pi, the turns being
#: second differences), 0.67 for scatter correlated by 0.8, less where arcs are among them, 0 within an arc.
_ALTERNATING = 0.33
#: The share from which scatter may be more than the ceiling, and how much of the legs it may then be. [m/m]
_WHITE_ALTERNATING, _OF_LEGS = 0.5, 0.15
#: Least share of neighbouring third differences of opposite sign on smooth lines, and their scatter beside legs. [m/m]
_TO_AND_FRO, _OF_SMOOTH_LEG = 0.6, 0.015
#: Scatter of a lone short line above this share of its legs is no scatter but corners; the second from this many
#: windows on, which tell a little more. [m/m]
_OF_LEG, _OF_LEG_MORE, _MORE = 0.04, 0.05, 3
#: Scatter of digitised vertices before they are looked at: log-normal, median and standard deviation of its logarithm.
#: Half of what is digitised lies between 5 and 18 cm; common practice, no source. [m]
USUAL, _USUAL_SPREAD = 0.1, 0.9
#: Below this the correlation between neighbours is taken as none.
_WHITE = 0.2


@dataclass(frozen=True, eq=False)
class Scatter:
    """Scatter of each line.

    Parameters
    ----------
    sigma : ndarray, shape (m,)
        Standard deviation of a vertex, across the line; at least ``FLOOR``, for exact lines ``EXACT``. [m]
    correlation : ndarray, shape (m,)
        Of the scatter of neighbouring vertices.
    exact : ndarray of bool, shape (m,)
        Whether the vertices are as good as exact, and what they do is the duct's doing.
    guess : ndarray, shape (m,)
        What a line of few vertices, taken as exact for want of evidence, may have for scatter; :data:`USUAL` where what
        its vertices themselves tell is not counted in yet; 0 elsewhere. [m]
    """

    sigma: FloatArray
    correlation: FloatArray
    exact: BoolArray
    guess: FloatArray

    @property
    def effective(self) -> FloatArray:
        """Standard deviation of white scatter that would leave a mean as uncertain, shape (m,). [m]"""
        return np.asarray(self.sigma * np.sqrt((1.0 + self.correlation) / (1.0 - self.correlation)))

    def take(self, lines: IntArray) -> Scatter:
        """Return that of the given lines alone."""
        return Scatter(self.sigma[lines], self.correlation[lines], self.exact[lines], self.guess[lines])

    def with_lines(self, lines: IntArray, other: Scatter) -> Scatter:
        """Return this with sigma and correlation of the given lines from another."""
        sigma, correlation = self.sigma.copy(), self.correlation.copy()
        sigma[lines], correlation[lines] = other.sigma[lines], other.correlation[lines]
        return replace(self, sigma=sigma, correlation=correlation)


def stated(count: int, sigma: float) -> Scatter:
    """Return the scatter stated for all lines.

    Parameters
    ----------
    count : int
        Lines.
    sigma : float
        Standard deviation of a vertex, >= 0. [m]

    Returns
    -------
    Scatter
        Uncorrelated.
    """
    none = np.zeros(count)
    exact = sigma < EXACT
    return Scatter(np.full(count, EXACT if exact else max(sigma, FLOOR)), none, np.full(count, exact), none)


def estimated(traces: Traces, drawn: BoolArray, ceiling: float) -> Scatter:
    """Return the scatter of each line, lines of few vertices from the whole layer.

    Parameters
    ----------
    traces : Traces
        The lines of one layer; vertices of weight 0 are left out.
    drawn : ndarray of bool, shape (m,)
        Lines of a format that draws arcs as arcs: short ones are taken as exact.
    ceiling : float
        Scatter above this is not told from the shape of the line; such lines are taken as exact. [m]

    Returns
    -------
    Scatter
        Of each line, not correlated.
    """
    count = traces.count
    value, line = third_differences(traces)
    windows = np.bincount(line, minlength=count)
    sigma = _medians(np.abs(value), line, count) / _MEDIAN
    swaps, pairs = _alternations(traces)
    own = windows >= _ENOUGH
    # above the ceiling only what goes to and fro as scatter does, and is small beside the legs
    white = swaps >= _WHITE_ALTERNATING * pairs
    most = np.where(white, np.clip(_OF_LEGS * mean_legs(traces), ceiling, 2.0 * ceiling), ceiling)
    exact = ~((sigma > EXACT) & (sigma < most)) | (
        (swaps < _ALTERNATING * pairs) & ~_smooth(traces, value, line, sigma)
    )
    guess = np.zeros(count)

    # the layer as one: what the short lines are told
    pool = (~own | ~exact)[line]
    short = np.flatnonzero(~own)
    if pool.sum() >= _ENOUGH_POOLED:
        pooled = float(np.median(np.abs(value[pool]))) / _MEDIAN
        loose = ~own | ~exact
        digitised = EXACT < pooled < ceiling and swaps[loose].sum() >= _ALTERNATING * pairs[loose].sum()
        exact[short] = not digitised
        sigma[short] = pooled
        if pooled >= ceiling and swaps[loose].sum() >= _ALTERNATING * pairs[loose].sum():
            # bends in most of so few vertices hide what scatter there is: corners, but doubtful ones
            guess[short] = np.where(drawn[short], 0.0, likely(np.zeros(1), np.zeros(1)))
        near = np.abs(np.log(np.maximum(sigma, 1e-12) / max(pooled, 1e-12))) < np.log(2.0)
        # what a line says alone of being exact counts less than a layer that scatters alike
        exact &= ~(own & digitised & near)
        some = own & ~exact & digitised & near
        share = windows / (windows + _ENOUGH_POOLED)
        sigma[some] = (sigma[some] ** share[some]) * pooled ** (1.0 - share[some])
    else:
        straight, leg = _straightness(traces, short)
        ratio = straight / np.maximum(np.where(np.isnan(sigma[short]), straight, sigma[short]), 1e-12)
        limit = np.minimum(np.where(windows[short] < _MORE, _OF_LEG, _OF_LEG_MORE) * leg, ceiling)
        plain = (windows[short] >= 1) & ~drawn[short] & (straight <= limit) & (ratio < 3.0)
        sigma[short] = straight
        exact[short] = ~plain | (straight <= EXACT)
        # rougher than scatter may be: corners, but doubtful ones
        guess[short] = np.where(~plain & ~drawn[short], USUAL, 0.0)
    sigma = np.where(exact, EXACT, np.maximum(np.nan_to_num(sigma), FLOOR))
    return Scatter(sigma, np.zeros(count), exact, guess)


def likely(square: FloatArray, free: FloatArray) -> FloatArray:
    """Return the standard deviation of a vertex as far as few residuals tell, and what is usual where they do not.

    The scatter itself is known by a distribution, what is usual times what the residuals say. The root of its mean
    square is the deviation of a vertex, much as Student's t is wider than the normal distribution.

    Parameters
    ----------
    square : ndarray, shape (m,)
        Sum of the squared residuals. [m2]
    free : ndarray, shape (m,)
        Degrees of freedom, >= 0; at 0 what is usual is returned.

    Returns
    -------
    ndarray, shape (m,)
        [m]

    Examples
    --------
    >>> likely(np.array([0.0, 8 * 0.02**2, 8 * 0.3**2]), np.array([0, 8, 8])).round(3)
    array([0.224, 0.027, 0.31 ])
    """
    log = np.linspace(np.log(EXACT), np.log(4.0), 160)
    weight = -0.5 * ((log - np.log(USUAL)) / _USUAL_SPREAD) ** 2 - free[:, None] * log
    weight = weight - 0.5 * square[:, None] * np.exp(-2.0 * log)
    weight = np.exp(weight - weight.max(axis=1, keepdims=True))
    return np.asarray(np.sqrt((weight * np.exp(2.0 * log)).sum(axis=1) / weight.sum(axis=1)))


def revised(scatter: Scatter, traces: Traces, off: FloatArray, parameters: IntArray) -> Scatter:
    """Return the scatter and its correlation as a fit leaves them.

    Parameters
    ----------
    scatter : Scatter
        As used for the fit.
    traces : Traces
        The lines.
    off : ndarray, shape (n,)
        Distance of each vertex from its fitted chain. [m]
    parameters : ndarray of int, shape (m,)
        How many numbers were fitted to each line.

    Returns
    -------
    Scatter
        Unchanged for exact lines and for those with too few vertices to tell.
    """
    count = traces.count
    kept = np.flatnonzero(traces.weight > 0.0)
    line = traces.line[kept]
    r = off[kept]
    size = np.bincount(line, minlength=count)
    free = np.maximum(size - parameters, 1)
    spread = _medians(np.abs(r), line, count) / _MEDIAN
    # the median tells what is far off, the root mean square of the rest is nearer the truth
    near = np.abs(r) <= _TRIMMED * spread[line]
    spread = np.sqrt(
        np.bincount(line, near * r * r, minlength=count) / np.maximum(np.bincount(line, near, minlength=count), 1)
    ) / _OF_TRIMMED  # fmt: skip
    r = np.clip(r, -4.0 * spread[line], 4.0 * spread[line])
    # neighbours along the same line; fitting takes about parameters/size out of the correlation
    pair = line[1:] == line[:-1]
    square = np.bincount(line, r * r, minlength=count)
    both = np.bincount(line[1:], pair * r[1:] * r[:-1], minlength=count)
    rho = both / np.maximum(square, 1e-30) + parameters / np.maximum(size, 1)
    tell = ~scatter.exact & (free >= 20)
    rho = np.where(tell & (rho > _WHITE + 1.0 / np.sqrt(free)), np.minimum(rho, 0.9), 0.0)
    sigma = np.where(tell, np.maximum(spread * np.sqrt(size / free), FLOOR), scatter.sigma)
    return Scatter(sigma, np.where(tell, rho, scatter.correlation), scatter.exact, scatter.guess)


def mean_legs(traces: Traces) -> FloatArray:
    """Return the mean leg of each line. [m]

    Parameters
    ----------
    traces : Traces
        The lines.

    Returns
    -------
    ndarray, shape (m,)
        Over all vertices.
    """
    step = np.diff(traces.xy, axis=0)
    leg = np.concatenate(([0.0], np.hypot(step[:, 0], step[:, 1])))
    leg[traces.offsets[:-1]] = 0.0
    return np.asarray(np.add.reduceat(leg, traces.offsets[:-1]) / (np.diff(traces.offsets) - 1))


def third_differences(traces: Traces) -> tuple[FloatArray, IntArray]:
    """Return third divided differences across the line, scaled to the variance of one vertex, and their lines.

    Parameters
    ----------
    traces : Traces
        The lines.

    Returns
    -------
    value : ndarray, shape (w,)
        Of windows in which no leg is more than three times another. [m]
    line : ndarray of int, shape (w,)
        Which line each window is on.
    """
    kept = traces.weight > 0.0
    line = traces.line[kept]
    xy = traces.xy[kept]
    n = len(xy) - 3
    if n < 1:
        return np.zeros(0), np.zeros(0, np.int64)
    points = [xy[i : i + n] for i in range(4)]
    legs = [np.hypot(*(points[i + 1] - points[i]).T) for i in range(3)]
    shortest, longest = np.minimum.reduce(legs), np.maximum.reduce(legs)
    good = (line[:n] == line[3:]) & (longest < 3.0 * shortest)
    points = [p[good] for p in points]
    at = np.cumsum([np.zeros(int(good.sum())), *(leg[good] for leg in legs)], axis=0)
    chord = points[3] - points[0]
    unit = chord / np.maximum(np.hypot(*chord.T), 1e-12)[:, None]
    value = np.zeros(len(unit))
    square = np.zeros(len(unit))
    for i in range(4):
        weight = np.ones(len(unit))
        for j in range(4):
            if j != i:
                weight /= at[i] - at[j]
        rel = points[i] - points[0]
        value += weight * (unit[:, 0] * rel[:, 1] - unit[:, 1] * rel[:, 0])
        square += weight * weight
    return value / np.sqrt(square), line[:n][good]


def _medians(value: FloatArray, line: IntArray, count: int) -> FloatArray:
    """Return the median of each line's values, which stand line after line; NaN where it has none."""
    size = np.bincount(line, minlength=count)
    start = np.concatenate(([0], np.cumsum(size)[:-1]))
    out = np.full(count, np.nan)
    # lines of as many values at once: sorting them all in one row takes many times as long
    for many in np.unique(size[size > 0]).tolist():
        rows = np.flatnonzero(size == many)
        of = np.sort(value[start[rows, None] + np.arange(many)], axis=1)
        out[rows] = 0.5 * (of[:, (many - 1) // 2] + of[:, many // 2])
    return out


def _alternations(traces: Traces) -> tuple[FloatArray, FloatArray]:
    """Return how many neighbouring turns of each line are of opposite sign, and how many there are."""
    kept = traces.weight > 0.0
    line = traces.line[kept]
    step = np.diff(traces.xy[kept], axis=0)
    turn = wrap(np.diff(np.arctan2(step[:, 1], step[:, 0])))
    pair = (line[:-3] == line[3:]) & (np.abs(turn[:-1]) > 1e-7) & (np.abs(turn[1:]) > 1e-7)
    swap = pair & (turn[:-1] * turn[1:] < 0.0)
    owner = line[:-3]
    return (
        np.bincount(owner, swap, minlength=traces.count).astype(np.float64),
        np.bincount(owner, pair, minlength=traces.count).astype(np.float64),
    )


def _smooth(traces: Traces, value: FloatArray, line: IntArray, sigma: FloatArray) -> BoolArray:
    """Return which lines are smooth but for a little scatter, which turns all one way along large arcs hide.

    What is left across the line when arcs are taken out goes to and fro (0.77 of neighbours for white scatter:
    1/2 + asin(3/4)/pi), and it is small beside the legs.
    """
    count = traces.count
    pair = line[1:] == line[:-1]
    pairs = np.bincount(line[1:], pair, minlength=count)
    swaps = np.bincount(line[1:], pair & (value[1:] * value[:-1] < 0.0), minlength=count)
    small = np.nan_to_num(sigma, nan=np.inf) < _OF_SMOOTH_LEG * mean_legs(traces)
    return np.asarray((pairs >= _ENOUGH_POOLED) & (swaps >= _TO_AND_FRO * pairs) & small)


def _straightness(traces: Traces, lines: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return the scatter each line would have if it were one straight, and its median leg."""
    spread, leg = np.zeros(len(lines)), np.ones(len(lines))
    for i, k in enumerate(lines):
        xy = traces.xy[traces.offsets[k] : traces.offsets[k + 1]]
        leg[i] = float(np.median(np.hypot(*np.diff(xy, axis=0).T)))
        if len(xy) > 2:
            least = np.linalg.eigvalsh(np.cov(xy.T))[0] * (len(xy) - 1)
            spread[i] = float(np.sqrt(max(least, 0.0) / (len(xy) - 2)))
    return spread, leg
