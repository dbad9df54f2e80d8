r"""The tension along a chain: one force balance, in closed form where there is one, integrated elsewhere.

.. math:: \frac{dT}{ds} = w\sin g + c\sqrt{(T g' - w\cos g)^2 + (T h'\cos g)^2}

for a cable that slides in contact all along; g grade, h heading, w weight per length, c weight correction times
friction coefficient. Straights, flat bends and vertical bends have closed forms; a bend on a grade has none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, PressedFriction, per_segment, pressed_coefficient
from mechanics.curve import along_curves
from mechanics.errors import DomainError, FloatArray, in_range, instance
from mechanics.layout import FLAT, LANES, STRAIGHT, Layout, Step, kinds
from mechanics.vertical import VerticalBends

__all__ = ["Laws", "Layout", "Ready", "kinds", "march", "tension_along"]

_CHUNK = 4096  # segments whose coefficients are worked out together


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
    whole = chain.chain if isinstance(chain, Layout) else instance("chain", chain, Chain)
    n, m = len(whole), whole.count
    start = in_range("entry", entry)
    if start.shape not in ((), (m,)):
        raise DomainError(
            f"entry must be a number or have shape ({m},), one a chain, got shape {start.shape}"
        )
    start = np.broadcast_to(start, (m,))
    jumps = None if added is None else per_segment("added", in_range("added", added), n)
    laws = Laws.checked(n, weight, friction)
    if isinstance(chain, Layout):
        out = _along(chain, laws, start, jumps)
    else:
        out = np.empty(n)  # set out part by part: what is used once had better stay in cache
        for begin in range(0, m, LANES):
            some = chain.chains(begin, min(begin + LANES, m))
            rows = slice(int(chain.offsets[begin]), int(chain.offsets[begin + some.count]))
            added_here = None if jumps is None else jumps[rows]
            out[rows] = _along(
                Layout(some), laws.of_rows(rows), start[begin : begin + some.count], added_here
            )
    if not np.isfinite(out.sum()) and not np.isfinite(out).all():  # the sum is the quicker look
        bad = int(np.argmin(np.isfinite(out)))
        raise DomainError(f"tension at the end of segment {bad} is beyond what a float holds")
    return out


def _along(layout: Layout, laws: Laws, entry: FloatArray, added: FloatArray | None) -> FloatArray:
    """Return the tensions of a whole layout in the order of its chain, from laws and forces in that order."""
    jumps = None if added is None else added[layout.index]
    return march(layout, laws.of_rows(layout.index), entry[layout.entries], jumps, chain_order=True)


@dataclass(frozen=True, eq=False)
class Laws:
    """Weight and friction of each segment.

    Parameters
    ----------
    weight : ndarray, shape () or (n,)
        [N/m]
    friction : ndarray, shape () or (n,)
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
        """Check what a caller gave, one for all or one a segment, and set it out in the layout's order."""
        return Laws.checked(len(layout), weight, friction).of_rows(layout.index)

    @staticmethod
    def checked(n: int, weight: ArrayLike, friction: FrictionLike) -> Laws:
        """Check what a caller gave for ``n`` segments."""

        def check(name: str, value: ArrayLike) -> FloatArray:
            array = in_range(name, value, at_least=0.0)
            per_segment(name, array, n)
            return array

        w = check("weight", weight)
        if not isinstance(friction, PressedFriction):
            return Laws(w, check("friction", friction))
        return Laws(
            w,
            check("friction.light", friction.light),
            per_segment("friction.pressed", friction.pressed, n),
            per_segment("friction.force", friction.force, n),
        )

    def of_rows(self, rows: IntArray | slice) -> Laws:
        """Return the laws of some of the segments, or of all in another order."""
        return Laws(
            _pick(self.weight, rows),
            _pick(self.friction, rows),
            None if self.pressed is None else self.pressed[rows],
            None if self.force is None else self.force[rows],
        )

    def coefficient(self, which: IntArray | slice, contact: FloatArray) -> FloatArray:
        """Return the coefficient of the segments ``which`` where their contact force is ``contact`` [N/m]."""
        light = _pick(self.friction, which)
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
    chain_order: bool = False,
    ready: Ready | None = None,
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
    chain_order : bool, optional
        Give the tensions in the order of the chain rather than in the layout's.
    ready : Ready, optional
        What :class:`Ready` has worked out for the same layout and laws, where they are used again.

    Returns
    -------
    ndarray, shape (..., n)
        Tension at the end of each segment. [N]
    """
    out = np.empty((*entry.shape[:-1], len(layout)))
    bends = _Bends(layout, laws) if ready is None else ready.bends
    lane, k = 0, 0
    known_before = None if ready is None else iter(ready.coefficients)
    with np.errstate(over="ignore", invalid="ignore"):
        for block in layout.blocks:
            first, stop = block[0][0].start, block[-1][-1].stop
            part = np.empty((*entry.shape[:-1], stop - first))
            for group in block:
                tension = entry[..., lane : lane + group[0].stop - group[0].start]
                lane += tension.shape[-1]
                for chunk in _chunks(group):
                    known = _Coefficients(layout, laws, chunk) if known_before is None else next(known_before)
                    for step in chunk:
                        before = tension[..., : step.stop - step.start]
                        tension = part[..., step.start - first : step.stop - first]
                        known.carry(before, tension, step)
                        bends.carry(before, tension, k, step.start)
                        here = slice(step.start, step.stop)
                        if floor is not None:
                            np.maximum(tension, floor[..., here], out=tension)
                        if ceiling is not None:
                            np.minimum(tension, ceiling[..., here], out=tension)
                        if added is not None:
                            tension += added[here]
                        k += 1
            rows = slice(first, stop)
            if chain_order:
                np.take(part, layout.inverse[rows], axis=-1, out=out[..., rows], mode="clip")
            else:
                out[..., rows] = part
    return out


class Ready:
    """What a layout's segments do to a tension, worked out once for many uses.

    Parameters
    ----------
    layout : Layout
        Which segments.
    laws : Laws
        Weight and friction, in the layout's order.
    """

    __slots__ = ("bends", "coefficients")

    def __init__(self, layout: Layout, laws: Laws) -> None:
        self.bends = _Bends(layout, laws)
        self.coefficients = [
            _Coefficients(layout, laws, chunk)
            for block in layout.blocks
            for group in block
            for chunk in _chunks(group)
        ]


def _chunks(group: list[Step]) -> Iterator[list[Step]]:
    """Group steps: few segments are better reckoned together, many in parts that stay in cache."""
    chunk: list[Step] = []
    for step in group:
        if chunk and step.stop - chunk[0].start > _CHUNK:
            yield chunk
            chunk = []
        chunk.append(step)
    if chunk:
        yield chunk


class _Coefficients:
    """What straights and flat bends of some steps do to a tension, worked out before it is known."""

    __slots__ = ("add", "cosh", "press", "sinh", "start")

    def __init__(self, layout: Layout, laws: Laws, steps: list[Step]) -> None:
        rows = slice(steps[0].start, steps[-1].stop)
        self.start = rows.start
        weight, friction = _pick(laws.weight, rows), _pick(laws.friction, rows)
        straight, flat = any(step.straight for step in steps), any(step.flat for step in steps)
        along, other = layout.along[rows], layout.other[rows]
        self.add = self.cosh = self.sinh = self.press = along
        bends = layout.kind[rows] == FLAT if straight and flat else None
        if flat:
            angle = friction * along
            self.press = weight * weight * other
            if bends is not None:
                angle *= bends
                self.press *= bends
            self.cosh, self.sinh = np.cosh(angle), np.sinh(angle)
        if straight:
            if laws.pressed is not None:
                friction = laws.coefficient(rows, weight * np.cos(layout.chain.grade_in[layout.index[rows]]))
            self.add = weight * friction * along
            self.add += weight * other
            if bends is not None:
                self.add *= ~bends

    def carry(self, before: FloatArray, after: FloatArray, step: Step) -> None:
        """Write the tensions after a step; those of vertical bends and curves are left to be written over."""
        here = slice(step.start - self.start, step.stop - self.start)
        if step.flat:
            np.multiply(before, before, out=after)
            after += self.press[here]
            np.sqrt(after, out=after)
            after *= self.sinh[here]
            after += before * self.cosh[here]
            if step.straight:
                after += self.add[here]
        elif step.straight:
            np.add(before, self.add[here], out=after)


class _Bends:
    """Vertical bends and curves of a layout."""

    __slots__ = ("curves", "curves_at", "measures", "pressing", "rows", "rows_at", "vertical")

    def __init__(self, layout: Layout, laws: Laws) -> None:
        rows, curves = layout.vertical, layout.curves
        if laws.pressed is not None:
            # where the coefficient depends on the contact, only straights keep a closed form
            differs = laws.pressed != laws.friction
            rows = rows[~differs[rows]]
            curves = np.union1d(curves, np.flatnonzero(differs & (layout.kind != STRAIGHT)))
        self.rows, self.curves = rows, curves
        chain, index = layout.chain, layout.index[rows]
        self.vertical = VerticalBends(
            chain.length[index],
            chain.grade_in[index],
            chain.grade_out[index],
            np.broadcast_to(_pick(laws.weight, rows), rows.shape),
            np.broadcast_to(_pick(laws.friction, rows), rows.shape),
        )
        index = layout.index[curves]
        self.measures = (
            chain.length[index],
            chain.grade_in[index],
            chain.grade_out[index],
            chain.turn[index],
            np.broadcast_to(_pick(laws.weight, curves), curves.shape),
            np.broadcast_to(_pick(laws.friction, curves), curves.shape),
        )
        self.pressing: tuple[FloatArray, FloatArray] | None = None
        if laws.pressed is not None and laws.force is not None:
            self.pressing = laws.pressed[curves], laws.force[curves]
        self.rows_at = np.searchsorted(rows, layout.bounds).tolist()
        self.curves_at = np.searchsorted(curves, layout.bounds).tolist()

    def carry(self, before: FloatArray, after: FloatArray, k: int, start: int) -> None:
        """Write into ``after`` the tensions leaving the vertical bends and curves of step ``k``."""
        begin, end = self.rows_at[k], self.rows_at[k + 1]
        if end > begin:
            lanes = self.rows[begin:end] - start
            after[..., lanes] = self.vertical.carry(before[..., lanes], slice(begin, end))
        begin, end = self.curves_at[k], self.curves_at[k + 1]
        if end > begin:
            lanes = self.curves[begin:end] - start
            after[..., lanes] = self._integrate(before[..., lanes], slice(begin, end))

    def _integrate(self, tension: FloatArray, some: slice) -> FloatArray:
        several = tension.size // (some.stop - some.start)

        def spread(values: FloatArray) -> FloatArray:
            return np.tile(values[some], several) if several > 1 else values[some]

        pressing = (None, None) if self.pressing is None else tuple(map(spread, self.pressing))
        return along_curves(tension.ravel(), *map(spread, self.measures), *pressing).reshape(tension.shape)


def _pick(values: FloatArray, rows: IntArray | slice) -> FloatArray:
    """Return a value a row, or the one that holds for all."""
    return values if values.ndim == 0 else values[rows]
