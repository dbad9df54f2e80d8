r"""The force balance in a vertical bend (no turn), in closed form between changes of the contact side.

With grade g, vertical curvature k = dg/ds (positive in a sag) and :math:`N = Tk - w\cos g`, positive where the cable
rides on the crown of the duct and negative where it rides on the floor, the balance is linear on either side:

.. math:: dT/ds = w\sin g + c\sigma N, \qquad \sigma = \operatorname{sign} N .

Where N = 0, :math:`dN/ds = 2wk\sin g`: on one side of the level the contact can change only one way, so that a bend cut
at grade 0 has at most one change in each half, and that one is found where the closed form of N passes zero.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from mechanics.errors import FloatArray

_ROUNDS = 60  # of the bracketed search for the change of side; it is left as soon as all are found


class Branch(NamedTuple):
    """Leaving tension = growth x entering tension + gain, while the cable keeps to one side."""

    growth: FloatArray
    gain: FloatArray


def branch(
    length: FloatArray, grade_in: FloatArray, grade_out: FloatArray, weight: FloatArray, rub: FloatArray
) -> Branch:
    """Return the closed form on one contact side.

    Parameters
    ----------
    length, grade_in, grade_out : ndarray, shape (k,)
        Pieces of vertical bends. [m, rad]
    weight : ndarray, shape (k,)
        [N/m]
    rub : ndarray, shape (k,)
        Friction (times weight correction) on the crown, minus it on the floor.

    Returns
    -------
    Branch
        Growth [-] and gain [N], each of shape (k,).

    Notes
    -----
    The usual form, A e^(cσg) - wR[(1-c²)cos g + 2cσ sin g]/(1+c²) with A fitted at entry, subtracts numbers of the
    size of wR, which is useless for nearly straight pieces. Written with expm1(a)/a and sin(x)/x it does not, and
    becomes w (sin g + c cos g) L for a straight one.
    """
    sweep = grade_out - grade_in
    a = rub * sweep
    middle = 0.5 * (grade_in + grade_out)
    one_minus, one_plus = 1.0 - rub * rub, 1.0 + rub * rub
    start = (one_minus * np.cos(grade_in) + 2.0 * rub * np.sin(grade_in)) / one_plus
    chord = (2.0 * rub * np.cos(middle) - one_minus * np.sin(middle)) / one_plus
    tiny = np.abs(a) < 1e-12
    slope = np.where(tiny, 1.0, np.expm1(a) / np.where(tiny, 1.0, a))
    return Branch(np.exp(a), weight * length * (rub * start * slope - np.sinc(sweep / (2.0 * np.pi)) * chord))


class VerticalBends:
    """Vertical bends ready to carry tensions: both contact sides of both halves worked out beforehand.

    Parameters
    ----------
    length, grade_in, grade_out : ndarray, shape (k,)
        Whole bends; the grade may pass zero. [m, rad]
    weight : ndarray, shape (k,)
        [N/m]
    friction : ndarray, shape (k,)
        Weight correction times coefficient; negative to travel against the pull.
    """

    __slots__ = ("first", "second", "straddles")

    def __init__(
        self,
        length: FloatArray,
        grade_in: FloatArray,
        grade_out: FloatArray,
        weight: FloatArray,
        friction: FloatArray,
    ) -> None:
        self.straddles = grade_in * grade_out < 0.0
        middle = np.where(self.straddles, 0.0, grade_out)
        share = np.where(self.straddles, grade_in / (grade_in - grade_out), 1.0)
        self.first = _Halves(length * share, grade_in, middle, weight, friction)
        self.second = _Halves(length * (1.0 - share), middle, grade_out, weight, friction)

    def carry(self, tension: FloatArray, bends: slice) -> FloatArray:
        """Return the tension leaving the bends of a slice; ``tension`` has shape (..., width of the slice)."""
        out = self.first.carry(tension, bends)
        over = self.straddles[bends]
        if over.any():
            pick = np.flatnonzero(over) + (bends.start or 0)
            out[..., over] = self.second.carry(out[..., over], pick)
        return out


class _Halves:
    """Pieces of vertical bends that do not pass the level."""

    __slots__ = ("crown", "curvature", "floor", "friction", "grade_in", "grade_out", "length", "press_in", "press_out",
                 "tie", "weight")  # fmt: skip

    def __init__(
        self,
        length: FloatArray,
        grade_in: FloatArray,
        grade_out: FloatArray,
        weight: FloatArray,
        friction: FloatArray,
    ) -> None:
        self.length, self.grade_in, self.grade_out = length, grade_in, grade_out
        self.weight, self.friction = weight, friction
        with np.errstate(divide="ignore", invalid="ignore"):
            self.curvature = np.where(length > 0.0, (grade_out - grade_in) / length, 0.0)
        self.press_in = weight * np.cos(grade_in)
        self.press_out = weight * np.cos(grade_out)
        self.crown = branch(length, grade_in, grade_out, weight, friction)
        self.floor = branch(length, grade_in, grade_out, weight, -friction)
        # where contact is lost just at entry, the side it goes to
        self.tie = np.where(self.curvature * (grade_in + grade_out) > 0.0, 1.0, -1.0)

    def carry(self, tension: FloatArray, pick: slice | np.ndarray) -> FloatArray:
        enter = tension * self.curvature[pick] - self.press_in[pick]
        side = np.where(enter == 0.0, self.tie[pick], np.sign(enter))
        crown = side > 0.0
        growth = np.where(crown, self.crown.growth[pick], self.floor.growth[pick])
        gain = np.where(crown, self.crown.gain[pick], self.floor.gain[pick])
        out = tension * growth + gain
        leave = out * self.curvature[pick] - self.press_out[pick]
        change = leave * side < 0.0
        if change.any():
            which = np.nonzero(change)
            place = np.arange(self.length.size)[pick][which[-1]]
            out[which] = self._changing(tension[which], side[which], enter[which], place)
        return out

    def _changing(
        self, tension: FloatArray, side: FloatArray, enter: FloatArray, place: np.ndarray
    ) -> FloatArray:
        """Return the leaving tension of pieces in which the cable goes over to the other side of the duct."""
        length, weight = self.length[place], self.weight[place]
        begin, end = self.grade_in[place], self.grade_out[place]
        rub = side * self.friction[place]
        grade = _change_grade(begin, end, weight, rub, enter, side)
        share = (grade - begin) / (end - begin)
        before = branch(length * share, begin, grade, weight, rub)
        after = branch(length * (1.0 - share), grade, end, weight, -rub)
        return np.asarray((tension * before.growth + before.gain) * after.growth + after.gain)


def _change_grade(
    begin: FloatArray,
    end: FloatArray,
    weight: FloatArray,
    rub: FloatArray,
    enter: FloatArray,
    side: FloatArray,
) -> FloatArray:
    """Return the grade at which the contact force vanishes, by Newton's method kept within a bracket.

    A small error in it hardly matters: both branches have the same slope there.
    """
    scale = 2.0 * weight / (1.0 + rub * rub)

    def pressed(grade: FloatArray) -> FloatArray:
        return np.asarray(scale * (np.cos(grade) + rub * np.sin(grade)))

    total = enter + pressed(begin)
    low, high = begin.copy(), end.copy()
    grade = 0.5 * (low + high)
    for _ in range(_ROUNDS):
        whole = total * np.exp(rub * (grade - begin))
        force = whole - pressed(grade)
        same = force * side > 0.0
        low = np.where(same, grade, low)
        high = np.where(same, high, grade)
        slope = rub * whole + scale * (np.sin(grade) - rub * np.cos(grade))
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = grade - force / slope
        inside = (newton - low) * (newton - high) < 0.0
        new = np.where(inside, newton, 0.5 * (low + high))
        if np.all(np.abs(new - grade) <= 1e-13):
            break
        grade = new
    return grade
