r"""The force balance integrated along curves that have no closed form: a bend on a grade, a compound sweep.

Gragg's modified midpoint rule with 10, 8, 6, 4 and 2 steps side by side, extrapolated to order 10, over many curves at
once; each curve has its own step, shortened where the contact force nearly vanishes and its direction swings round
[hairer1993].
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from mechanics.contact import pressed_coefficient
from mechanics.errors import FloatArray

TOLERANCE = 1e-10  # of a step, relative to the tension or to the weight on the step, whichever is greater
_COUNTS = (10, 8, 6, 4, 2)  # falling, so that those still going are always the first
_TURN = 1.2  # greatest angle of a first step [rad]
_LEAST = 1e-250  # error [N] that never matters, where neither tension nor weight gives a measure
_SHORTEST = 1e-9  # a step this short (as a fraction of the curve) is taken as it is
_BLOCK = 8192  # curves at a time, so that the working arrays stay in cache


def _weights(left_out: int) -> FloatArray:
    """Return the weights that extrapolate the midpoint results, but for the first few, to step length zero."""
    squares = [1.0 / (n * n) for n in _COUNTS[left_out:]]
    weights = np.zeros(len(_COUNTS))
    for i, own in enumerate(squares, left_out):
        weights[i] = np.prod([other / (other - own) for other in squares if other != own])
    return weights


# The result and two views of its error: what the finest rule changes, and, in small part, what the next one does. Beside
# a change of side the first may vanish by chance; where the slopes are smooth the second is far too great.
_RESULT = np.array([_weights(0), _weights(0) - _weights(1), 1e-2 * (_weights(1) - _weights(2))])[..., None]
# all places within a step that any of the rules looks at, and at which of them each that is still going is in each round
_PLACES = sorted({Fraction(k, n) for n in _COUNTS for k in range(n + 1)})
_NODES = np.array([float(p) for p in _PLACES])[:, None]
_AT: list[IntArray] = [
    np.array([_PLACES.index(Fraction(k, n)) for n in _COUNTS if n >= k]) for k in range(_COUNTS[0] + 1)
]
_SHARE = 1.0 / np.array(_COUNTS)[:, None]


@dataclass(frozen=True, eq=False)
class _Curves:
    """Constants of some curves, each of shape (k,); position runs from 0 to 1 along each curve."""

    grade: FloatArray
    sweep: FloatArray
    turn: FloatArray
    weigh: FloatArray  # weight of the whole curve
    friction: FloatArray
    pressed: FloatArray | None
    force: FloatArray | None  # between the two coefficients, times the length of the curve

    def some(self, pick: NDArray[np.bool_]) -> _Curves:
        """Return the picked curves."""
        return _Curves(
            self.grade[pick],
            self.sweep[pick],
            self.turn[pick],
            self.weigh[pick],
            self.friction[pick],
            None if self.pressed is None else self.pressed[pick],
            None if self.force is None else self.force[pick],
        )

    def step(self, at: FloatArray, size: FloatArray, tension: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the tension one step on, and the estimated error."""
        steady = not self.sweep.any()
        grade = self.grade if steady else self.grade + self.sweep * (at + size * _NODES)
        cosine = np.cos(grade)
        press, sideways, climb = self.weigh * cosine, self.turn * cosine, self.weigh * np.sin(grade)
        if steady:
            press *= press

        def rate(places: IntArray, here: FloatArray) -> FloatArray:
            """Tension gained per curve, not per metre."""
            across = here * (sideways if steady else sideways[places])
            across *= across
            if steady:
                across += press
            else:
                upright = here * self.sweep
                upright -= press[places]
                upright *= upright
                across += upright
            contact = np.sqrt(across, out=across)
            if self.pressed is None or self.force is None:
                contact *= self.friction
            else:
                contact *= pressed_coefficient(self.friction, self.pressed, self.force, contact)
            contact += climb if steady else climb[places]
            return contact

        h = size * _SHARE
        rise = np.empty_like(h)
        before = np.broadcast_to(tension, h.shape)
        here = tension + h * rate(_AT[0][:1], tension[None])
        for k in range(1, _COUNTS[0] + 1):
            slope = rate(_AT[k], here)
            going = len(_AT[k + 1]) if k < _COUNTS[0] else 0
            # Gragg's smoothing of those that are through, written as a gain so that rounding scales with the step
            through = slice(going, len(slope))
            rise[through] = 0.5 * ((here - tension) + (before - tension) + h[: len(slope)] * slope)[through]
            before, here = here[:going], before[:going] + 2.0 * h[:going] * slope[:going]
        # not a matrix product, whose last digit depends on how many curves there are
        gain, finest, next_finest = (_RESULT * rise).sum(axis=1)
        return tension + gain, np.maximum(np.abs(finest), np.abs(next_finest))


def along_curves(
    tension: FloatArray,
    length: FloatArray,
    grade_in: FloatArray,
    grade_out: FloatArray,
    turn: FloatArray,
    weight: FloatArray,
    friction: FloatArray,
    pressed: FloatArray | None = None,
    force: FloatArray | None = None,
) -> FloatArray:
    """Return the tension leaving each curve; every argument has shape (k,), nothing is checked.

    Parameters
    ----------
    tension : ndarray
        Entering each curve. [N]
    length, grade_in, grade_out, turn : ndarray
        The curves, as in :class:`mechanics.chain.Chain`. [m, rad]
    weight : ndarray
        [N/m]
    friction : ndarray
        Weight correction times coefficient; negative to travel against the pull.
    pressed, force : ndarray, optional
        Coefficient under hard contact and the contact force between [-, N/m]; see
        :class:`mechanics.contact.PressedFriction`.

    Returns
    -------
    ndarray, shape (k,)
        Not finite where the entering tension is not, or where it grows beyond what a float holds. [N]

    Notes
    -----
    Worst error over random curves 1e-9 of the tension or of the weight of the curve, whichever is greater.

    References
    ----------
    [hairer1993] in docs/sources.md.
    """
    out = np.empty_like(tension)
    # Those of one grade are quicker by themselves: what does not change along them is worked out once.
    level = grade_in == grade_out
    groups: list[IntArray | None] = [None]
    if level.any() and not level.all():
        groups = [np.flatnonzero(level), np.flatnonzero(~level)]
    for b in _lots(groups, tension.size):
        curves = _Curves(
            grade_in[b],
            grade_out[b] - grade_in[b],
            turn[b],
            weight[b] * length[b],
            friction[b],
            None if pressed is None else pressed[b],
            None if force is None else force[b] * length[b],
        )
        out[b] = _march(curves, tension[b])
    return out


def _lots(groups: list[IntArray | None], size: int) -> Iterator[IntArray | slice]:
    """Part groups of curves, or all of them where there is one, so that the working arrays stay in cache."""
    for group in groups:
        for begin in range(0, size if group is None else group.size, _BLOCK):
            yield slice(begin, begin + _BLOCK) if group is None else group[begin : begin + _BLOCK]


def _march(curves: _Curves, tension: FloatArray) -> FloatArray:
    """Carry ``tension`` from one end of each curve to the other with a step of its own."""
    out = tension.copy()
    angle = np.abs(curves.sweep) + np.abs(curves.turn)
    size = 1.0 / np.maximum(1.0, np.ceil(angle / _TURN))
    at = np.zeros_like(out)
    active = np.arange(out.size)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        while True:
            new, error = curves.step(at, size, tension)
            scale = _LEAST + TOLERANCE * np.maximum(
                np.maximum(np.abs(tension), np.abs(new)), curves.weigh * size
            )
            fits = (error <= scale) | (size <= _SHORTEST) | ~np.isfinite(new)
            done = fits & ((at + size >= 1.0) | ~np.isfinite(new))
            if done.all():
                out[active] = new
                return out
            out[active[done]] = new[done]
            # the error estimate falls with the ninth power of the step
            change = np.clip(0.9 * (scale / np.maximum(error, 1e-300)) ** (1.0 / 9.0), 0.1, 4.0)
            at = np.where(fits, at + size, at)[~done]
            tension = np.where(fits, new, tension)[~done]
            rest = 1.0 - at
            grown = (size * change)[~done]
            # a remainder that one step nearly covers is halved rather than left as a sliver
            size = np.where(grown >= rest, rest, np.where(2.0 * grown > rest, 0.5 * rest, grown))
            active = active[~done]
            curves = curves.some(~done)
