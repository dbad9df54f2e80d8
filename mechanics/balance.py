r"""The tension along a chain: one force balance, in closed form where there is one, integrated elsewhere.

.. math:: \frac{dT}{ds} = w\sin g + c\sqrt{(T g' - w\cos g)^2 + (T h'\cos g)^2}

for a cable that slides in contact all along; g grade, h heading, w weight per length, c weight correction times
friction coefficient. Straights, flat bends and vertical bends have closed forms; a bend on a grade has none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, friction_arrays, per_segment, pressed_coefficient
from mechanics.curve import along_curves
from mechanics.errors import DomainError, FloatArray, in_range
from mechanics.vertical import VerticalBends

Kind = Literal["straight", "flat bend", "vertical bend", "curve"]
_KINDS: tuple[Kind, ...] = ("straight", "flat bend", "vertical bend", "curve")
STRAIGHT, FLAT, VERTICAL, CURVE = range(4)
_NO_TURN = 1e-12  # a smaller turn [rad] changes no tension by more than rounding


def kinds(chain: Chain) -> tuple[Kind, ...]:
    """Return which of the four solutions each segment has.

    Parameters
    ----------
    chain : Chain
        One chain or many.

    Returns
    -------
    tuple of str
        ``straight``, ``flat bend`` and ``vertical bend`` have closed forms, ``curve`` is integrated.

    Examples
    --------
    >>> kinds(Chain(length=[9, 5, 5, 5], grade_in=[0, 0, 0, 0.1], grade_out=[0, 0, 0.1, 0.1], turn=[0, 1, 0, 1]))
    ('straight', 'flat bend', 'vertical bend', 'curve')
    """
    return tuple(_KINDS[k] for k in _kind_numbers(chain))


def _kind_numbers(chain: Chain) -> IntArray:
    turns = np.abs(chain.turn) > _NO_TURN
    steady = chain.grade_in == chain.grade_out
    level = steady & (chain.grade_in == 0.0)
    return np.where(turns, np.where(level, FLAT, CURVE), np.where(steady, STRAIGHT, VERTICAL)).astype(
        np.int64
    )


class Layout:
    """A chain, or many, set out for evaluation: the first segments of all chains, then the second ones, and so on.

    Building it costs more than one evaluation; build it once where a geometry is used again (many bundles,
    many frictions) and pass it in place of the chain.

    Parameters
    ----------
    chain : Chain
        One chain or many.
    """

    __slots__ = ("by_kind", "chain", "entries", "index", "kind", "starts")

    def __init__(self, chain: Chain) -> None:
        counts = np.diff(chain.offsets)
        longest = int(counts.max(initial=0))
        self.chain = chain
        # longest chains first, so that those with a k-th segment are always the leading ones
        order = np.argsort(-counts, kind="stable")
        widths = counts.size - np.searchsorted(np.sort(counts), np.arange(longest), side="right")
        self.starts = np.concatenate(([0], np.cumsum(widths))).astype(np.int64)
        self.entries = order[: int(widths[0]) if longest else 0]
        rank = np.arange(int(self.starts[-1])) - np.repeat(self.starts[:-1], widths)
        self.index = chain.offsets[order[rank]] + np.repeat(np.arange(longest), widths)
        self.kind = _kind_numbers(chain)[self.index]
        self.by_kind = tuple(np.flatnonzero(self.kind == k) for k in range(4))

    def __len__(self) -> int:
        """Return the number of segments, over all chains."""
        return int(self.index.size)


def tension_along(
    chain: Chain | Layout,
    weight: ArrayLike,
    friction: FrictionLike,
    entry: ArrayLike = 0.0,
    added: ArrayLike | None = None,
) -> FloatArray:
    """Return the tension leaving each segment of a cable pulled along a chain.

    The plain balance: a negative tension means that the cable must be held back (or, at the feed, that it is
    pushed); see :func:`mechanics.interval.holding_tension`.

    Parameters
    ----------
    chain : Chain or Layout
        One chain or many, n segments in all; a :class:`Layout` saves the setting out.
    weight : float or array_like, shape (n,)
        Of the bundle, at least 0. [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient, at least 0.
    entry : float or array_like, shape (m,), optional
        Tension entering each of the m chains; negative where the cable is pushed. [N]
    added : float or array_like, shape (n,), optional
        Added to the tension at the end of each segment, negative where an assist relieves the rope. [N]

    Returns
    -------
    ndarray, shape (n,)
        Tension at the end of each segment, in the order of the chain, ``added`` included. [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range; or the first segment at whose end the
        tension is beyond what a float holds.

    Notes
    -----
    Sliding contact all along, no bending stiffness, no slack. Worst error 1e-7, relative to the tension or to the
    weight of the segment, whichever is greater; closed forms are exact to rounding.

    References
    ----------
    [rifenburg1953] in docs/sources.md for the closed forms.

    Examples
    --------
    >>> chain = Chain(length=[4.71238898038469, 10.0], grade_in=[0, 0], grade_out=[0, 0], turn=[1.5707963267948966, 0])
    >>> tension_along(chain, weight=5.0, friction=0.5, entry=100.0).round(6).tolist()
    [220.299824, 245.299824]
    """
    layout = chain if isinstance(chain, Layout) else Layout(chain)
    laws = Laws.of(layout, weight, friction)
    n, m = len(layout), layout.chain.count
    start = in_range("entry", entry)
    if start.shape not in ((), (m,)):
        raise DomainError(
            f"entry must be a number or have shape ({m},), one a chain, got shape {start.shape}"
        )
    start = np.broadcast_to(start, (m,))[layout.entries]
    jumps = None if added is None else per_segment("added", in_range("added", added), n)[layout.index]
    out = np.empty(n)
    out[layout.index] = march(layout, laws, start, jumps)
    good = np.isfinite(out)
    if not good.all():
        bad = int(np.argmin(good))
        raise DomainError(f"tension at the end of segment {bad} is beyond what a float holds")
    return out


@dataclass(frozen=True, eq=False)
class Laws:
    """Weight and friction of each segment of a layout, in the layout's order.

    Parameters
    ----------
    weight : ndarray, shape (n,)
        [N/m]
    friction : ndarray, shape (n,)
        Weight correction times coefficient (under light contact); negative to travel against the pull.
    pressed : ndarray, shape (n,), or None
        The same under hard contact.
    force : ndarray, shape (n,), or None
        Contact force between the two. [N/m]
    """

    weight: FloatArray
    friction: FloatArray
    pressed: FloatArray | None = None
    force: FloatArray | None = None

    @staticmethod
    def of(layout: Layout, weight: ArrayLike, friction: FrictionLike) -> Laws:
        """Check what a caller gave and set it out."""
        n = len(layout)
        w = per_segment("weight", in_range("weight", weight, at_least=0.0), n)[layout.index]
        light, harder = friction_arrays(friction, n)
        if harder is None:
            return Laws(w, light[layout.index])
        return Laws(w, light[layout.index], harder[0][layout.index], harder[1][layout.index])

    def coefficient(self, which: IntArray, contact: FloatArray) -> FloatArray:
        """Return the coefficient of the segments ``which`` where their contact force is ``contact`` [N/m]."""
        light = self.friction[which]
        if self.pressed is None or self.force is None:
            return light
        return pressed_coefficient(light, self.pressed[which], self.force[which], contact)

    def backward(self) -> Laws:
        """Return the laws under which a reversed chain gives the entering tensions from the leaving ones."""
        pressed = None if self.pressed is None else -self.pressed
        return Laws(self.weight, -self.friction, pressed, self.force)


def march(
    layout: Layout,
    laws: Laws,
    entry: FloatArray,
    added: FloatArray | None = None,
    floor: FloatArray | None = None,
    ceiling: FloatArray | None = None,
) -> FloatArray:
    """Carry tensions along every chain of a layout at once, one segment a step; nothing is checked.

    Parameters
    ----------
    layout : Layout
        Of m chains that have segments, n segments in all.
    laws : Laws
        Weight and friction.
    entry : ndarray, shape (..., m)
        Tension entering each chain, in the layout's order. [N]
    added : ndarray, shape (n,), optional
        Added at the end of each segment. [N]
    floor, ceiling : ndarray, shape (..., n), optional
        What the tension is raised or cut to at the end of each segment, before ``added``. [N]

    Returns
    -------
    ndarray, shape (..., n)
        Tension at the end of each segment, in the layout's order. [N]
    """
    steps = _Steps(layout, laws)
    out = np.empty((*entry.shape[:-1], len(layout)))
    tension = entry
    with np.errstate(over="ignore", invalid="ignore"):
        for k in range(layout.starts.size - 1):
            here = slice(int(layout.starts[k]), int(layout.starts[k + 1]))
            tension = steps.carry(tension[..., : here.stop - here.start], k, here)
            if floor is not None:
                tension = np.maximum(tension, floor[..., here])
            if ceiling is not None:
                tension = np.minimum(tension, ceiling[..., here])
            if added is not None:
                tension = tension + added[here]
            out[..., here] = tension
    return out


class _Steps:
    """All that can be worked out before the tensions are known, for every segment at once."""

    __slots__ = ("add", "cosh", "curves", "curves_at", "laws", "layout", "press", "sinh", "turns", "vertical",
                 "vertical_at")  # fmt: skip

    def __init__(self, layout: Layout, laws: Laws) -> None:
        chain, index = layout.chain, layout.index
        straight, flat, vertical, curve = layout.by_kind
        w, c = laws.weight, laws.friction
        bends = flat, vertical
        if laws.pressed is not None:
            # where the coefficient depends on the contact, only straights keep a closed form
            differs = laws.pressed != laws.friction
            bends = tuple(b[~differs[b]] for b in bends)
            moved = np.flatnonzero(differs & (layout.kind != STRAIGHT))
            curve = np.union1d(curve, moved)
        flat, vertical = bends
        self.layout, self.laws = layout, laws
        self.add = np.zeros(len(layout))
        at = index[straight]
        rise, run = np.sin(chain.grade_in[at]), np.cos(chain.grade_in[at])
        rub = laws.coefficient(straight, w[straight] * run)
        self.add[straight] = w[straight] * chain.length[at] * (rise + rub * run)

        self.cosh, self.sinh, self.press = np.ones(len(layout)), np.zeros(len(layout)), np.zeros(len(layout))
        at = index[flat]
        curvature = np.abs(chain.turn[at]) / chain.length[at]
        angle = c[flat] * np.abs(chain.turn[at])
        grow = np.expm1(angle)
        self.cosh[flat] = 1.0 + 0.5 * grow * grow / (grow + 1.0)
        self.sinh[flat] = 0.5 * (grow + grow / (grow + 1.0))
        self.press[flat] = w[flat] / curvature
        self.turns = np.diff(np.searchsorted(flat, layout.starts)) > 0

        at = index[vertical]
        self.vertical = VerticalBends(
            chain.length[at], chain.grade_in[at], chain.grade_out[at], w[vertical], c[vertical]
        )
        self.vertical_at = vertical, np.searchsorted(vertical, layout.starts)
        self.curves = curve
        self.curves_at = np.searchsorted(curve, layout.starts)

    def carry(self, tension: FloatArray, k: int, here: slice) -> FloatArray:
        """Return the tension at the end of step ``k`` of every chain that has one."""
        if self.turns[k]:
            press = self.press[here]
            out = tension * self.cosh[here]
            out += np.sqrt(tension * tension + press * press) * self.sinh[here]
            out += self.add[here]
        else:
            out = tension + self.add[here]
        which, bounds = self.vertical_at
        if bounds[k + 1] > bounds[k]:
            bends = slice(int(bounds[k]), int(bounds[k + 1]))
            local = which[bends] - here.start
            out[..., local] = self.vertical.carry(tension[..., local], bends)
        if self.curves_at[k + 1] > self.curves_at[k]:
            curves = self.curves[self.curves_at[k] : self.curves_at[k + 1]]
            local = curves - here.start
            out[..., local] = self._integrate(tension[..., local], curves)
        return out

    def _integrate(self, tension: FloatArray, curves: IntArray) -> FloatArray:
        chain, at, laws = self.layout.chain, self.layout.index[curves], self.laws
        several = tension.size // max(curves.size, 1)

        def spread(array: FloatArray) -> FloatArray:
            return np.tile(array, several)

        return along_curves(
            tension.ravel(),
            spread(chain.length[at]),
            spread(chain.grade_in[at]),
            spread(chain.grade_out[at]),
            spread(chain.turn[at]),
            spread(laws.weight[curves]),
            spread(laws.friction[curves]),
            None if laws.pressed is None else spread(laws.pressed[curves]),
            None if laws.force is None else spread(laws.force[curves]),
        ).reshape(tension.shape)
