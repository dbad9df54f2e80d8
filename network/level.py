"""Short stretches of straights and flat bends, set out place by place, through which many tensions are carried."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, PressedFriction
from mechanics.errors import FloatArray

# A bend that turns less is left to the general way, which knows when to take it for a straight. [rad]
_CLEAR_TURN = 1e-6


@dataclass(frozen=True, eq=False)
class _Place:
    """The pieces at one place in each stretch; a stretch that is shorter has one that changes nothing.

    What bends do, shape (3, m): squared weight on the radius, hyperbolic sine and cosine; and what straights add,
    shape (m,); each None where no piece is of that kind. The tension at the end is held against ``bound``, shape (m,).
    """

    bends: FloatArray | None
    add: FloatArray | None
    bound: FloatArray


class Level:
    """Stretches in which a tension is a closed form of the one before, and never falls.

    Parameters
    ----------
    chain : Chain
        One chain a stretch, of straights and of bends on the flat; see :meth:`serves`.
    weight, rub : ndarray, shape (n,)
        Of each piece: weight [N/m], weight correction times coefficient.
    first : ndarray of int, shape (m,)
        First piece of each stretch.
    count : ndarray of int, shape (m,)
        How many it has; may be 0.
    head : ndarray, shape (n,)
        Most tension allowed in each piece. [N]
    bound : ndarray, shape (n,)
        Most tension allowed at the end of each piece. [N]
    """

    def __init__(
        self,
        chain: Chain,
        weight: FloatArray,
        rub: FloatArray,
        first: IntArray,
        count: IntArray,
        head: FloatArray,
        bound: FloatArray,
    ) -> None:
        flat = chain.turn != 0.0
        turn = np.abs(chain.turn)
        radius = chain.length / np.where(flat, turn, 1.0)
        angle = rub * turn
        add = weight * rub * (chain.length * np.cos(chain.grade_in))
        if chain.grade_in.any():
            add += weight * (chain.length * np.sin(chain.grade_in))
        add[flat] = 0.0
        bends = np.zeros((3, turn.size))
        bends[2] = 1.0
        bends[:, flat] = weight[flat] ** 2 * radius[flat] ** 2, np.sinh(angle[flat]), np.cosh(angle[flat])
        self._head = np.full(count.size, np.inf)
        filled = count > 0
        self._head[filled] = head[first[filled]]
        self._places = []
        for place in range(int(count.max(initial=0))):
            there = count > place
            at = first[there] + place
            adds, bounds = np.zeros(count.size), np.full(count.size, np.inf)
            adds[there], bounds[there] = add[at], bound[at]
            curved = None
            if flat[at].any():
                curved = np.zeros((3, count.size))
                curved[2] = 1.0
                curved[:, there] = bends[:, at]
            self._places.append(_Place(curved, None if flat[at].all() else adds, bounds))

    @staticmethod
    def serves(chain: Chain, rub: FrictionLike) -> bool:
        """Return whether a chain has nothing but straights and bends on the flat, of one friction each."""
        if isinstance(rub, PressedFriction) or np.any(chain.grade_in != chain.grade_out):
            return False
        turn = np.abs(chain.turn)
        sloped = (chain.grade_in != 0.0) & (turn > 0.0)
        return not (np.any(sloped) or np.any((turn > 0.0) & (turn < _CLEAR_TURN)))

    def carry(self, stretch: IntArray, entering: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Carry tensions, each through one of the stretches.

        Parameters
        ----------
        stretch : ndarray of int, shape (n,)
            Which one.
        entering : ndarray, shape (n,)
            [N]

        Returns
        -------
        tuple of two ndarrays, shape (n,)
            Tension leaving [N], and the greatest part of a limit on the way.
        """
        with np.errstate(over="ignore", invalid="ignore"):
            tension = entering
            worst = entering / self._head.take(stretch)
            for place in self._places:
                before = tension
                if place.bends is not None:
                    press, sinh, cosh = place.bends.take(stretch, axis=1)
                    tension = before * before
                    tension += press
                    np.sqrt(tension, out=tension)
                    tension *= sinh
                    cosh *= before
                    tension += cosh
                if place.add is not None:
                    tension = tension + place.add.take(stretch)
                np.maximum(worst, tension / place.bound.take(stretch), out=worst)
        return tension, worst
