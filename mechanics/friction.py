r"""Friction along a track: lubricant that wears off with distance, jackets that slide better when pressed.

While the distance d slid since the last lubrication is at most the hold, friction is the lubricated one; beyond,

.. math:: \mu = \mu_{dry} - (\mu_{dry} - \mu_{lub})\,e^{-(d - hold)/hold} .

An engineering model, not a published one; it takes no account of how much lubricant there is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mechanics.balance import tension_along
from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, PressedFriction
from mechanics.errors import DomainError, FloatArray, in_range, instance, wholes
from mechanics.pieces import cut
from mechanics.track import Bore, Friction, Track

STEP = 0.01
"""Greatest relative change of friction across a piece."""

_FLATTEST = 0.05  # least cosine of the grade by which waviness is divided
_ROUNDS = 60  # of the search for a constant coefficient; it is left as soon as the tensions agree


@dataclass(frozen=True, eq=False)
class Prepared:
    """A track cut so finely that one coefficient serves for each piece.

    Parameters
    ----------
    chain : Chain
        The pieces, one chain; the waviness of the ducts is in their turns.
    source_segment : ndarray of int, shape (n,)
        Segment of the track each piece belongs to.
    friction : ndarray, shape (n,)
        Coefficient before weight correction, at the middle of the piece; under light contact where that matters.
    distance : ndarray, shape (n,)
        Slid since the last lubrication, at the middle of the piece. [m]
    pressed : ndarray, shape (n,)
        Coefficient under hard contact; the same as ``friction`` where it does not matter.
    press_force : ndarray, shape (n,)
        Contact force per length of one cable between the two; infinite where it does not matter. [N/m]
    """

    chain: Chain
    source_segment: IntArray
    friction: FloatArray
    distance: FloatArray
    pressed: FloatArray
    press_force: FloatArray

    def rubbing(self, correction: ArrayLike, share: ArrayLike = 1.0) -> FrictionLike:
        """Return what :func:`mechanics.balance.tension_along` takes as friction.

        Parameters
        ----------
        correction : float or array_like, shape (n,)
            Weight correction of each piece.
        share : float or array_like, shape (n,), optional
            Part of the bundle's contact force that presses on one cable, see :class:`mechanics.setting.Setting`.

        Returns
        -------
        ndarray or PressedFriction
            An array where no coefficient depends on the contact force.
        """
        matters = np.isfinite(self.press_force)
        light, pressed = np.asarray(correction) * self.friction, np.asarray(correction) * self.pressed
        if not matters.any():
            return light
        return PressedFriction(light, pressed, np.where(matters, self.press_force, 1.0) / np.asarray(share))


def friction_after(friction: Friction, distance: ArrayLike) -> FloatArray:
    """Return the coefficient after a distance slid since the last lubrication.

    Parameters
    ----------
    friction : Friction
        The model; constant where it gives no dry value or no hold.
    distance : float or array_like
        At least 0. [m]

    Returns
    -------
    ndarray
        Before weight correction, shaped like ``distance``.

    Raises
    ------
    DomainError
        No :class:`Friction`, or a negative distance.

    Notes
    -----
    A model of this project, not a published one.

    Examples
    --------
    >>> friction_after(Friction(0.2, dry=0.5, hold=450.0), [0.0, 450.0, 900.0]).round(6).tolist()
    [0.2, 0.2, 0.389636]
    """
    lubricated, dry, hold = _model(instance("friction", friction, Friction))
    d = in_range("distance", distance, at_least=0.0)
    if hold is None:
        return np.full(d.shape, lubricated)
    return np.asarray(dry - (dry - lubricated) * np.exp(-np.maximum(d - hold, 0.0) / hold))


def prepare(track: Track, relube: Sequence[int] = ()) -> Prepared:
    """Cut a track into pieces across which friction changes by at most 1 %, each with its value at the middle.

    Parameters
    ----------
    track : Track
        In the direction of the pull.
    relube : sequence of int, optional
        Which of ``track.vaults`` add lubricant; distance counts anew from the end of their crossings.

    Returns
    -------
    Prepared
        The pieces and their coefficients.

    Raises
    ------
    DomainError
        A vault that does not exist.

    Notes
    -----
    Distance is along the 3-D centreline, crossings of vaults included; guides do not age the lubricant. Waviness
    becomes turn added to each segment, in the sense in which it turns, divided by the cosine of its grade so that
    the curvature is as stated; in runs within 3° of the vertical it is less.

    Examples
    --------
    >>> chain = Chain(length=[1000.0], grade_in=[0], grade_out=[0], turn=[0])
    >>> worn = prepare(Track(chain, np.array([0]), (Bore(0.1, Friction(0.2, dry=0.4, hold=900.0)),)))
    >>> len(worn.chain), worn.friction[0].round(6).item(), worn.friction[-1].round(6).item()
    (12, 0.2, 0.220978)
    """
    n = len(instance("track", track, Track).chain)
    stops = []
    for k in wholes("relube", relube):
        if not 0 <= k < len(track.vaults):
            raise DomainError(
                f"relube must be indices of the {len(track.vaults)} pass-through vaults, got {k}"
            )
        stops.append(track.vaults[k][1])
    return worn(track, np.array([stop for stop in stops if stop < n], dtype=np.int64))


def worn(track: Track, fresh: IntArray) -> Prepared:
    """Cut a track into pieces as :func:`prepare` does, with lubricant added at any segments; nothing is checked.

    Parameters
    ----------
    track : Track
        In the direction of the pull.
    fresh : ndarray of int
        Segments from whose start on distance counts anew, rising.

    Returns
    -------
    Prepared
        The pieces and their coefficients.
    """
    chain, n, guide = track.chain, len(track.chain), track.guide
    slid_end = np.cumsum(np.where(guide, 0.0, chain.length))
    slid_start = np.concatenate(([0.0], slid_end[:-1]))
    since = np.zeros(n)
    since[fresh] = slid_start[fresh]
    since = np.maximum.accumulate(since)
    start, end = slid_start - since, slid_end - since

    segments, fractions = [], []
    for k, bore in enumerate(track.bores):
        edges = _edges(bore)
        if edges.size:
            own = np.flatnonzero((track.bore == k) & (end > edges[0]))
            low = np.searchsorted(edges, start[own], side="right")
            count = np.searchsorted(edges, end[own], side="left") - low
            segment = np.repeat(own, count)
            at = np.arange(segment.size) - np.repeat(np.cumsum(count) - count, count) + np.repeat(low, count)
            segments.append(segment)
            fractions.append((edges[at] - start[segment]) / (end[segment] - start[segment]))
    none = np.zeros(0)
    pieces, source = cut(
        chain, np.concatenate([none.astype(np.int64), *segments]), np.concatenate([none, *fractions])
    )
    middle = 0.5 * pieces.length
    if source.size > n:
        begin = pieces.station - pieces.length
        middle += begin - begin[np.searchsorted(source, source)]
    middle = start[source] + np.where(guide[source], 0.0, middle)
    friction, pressed, force = np.empty(source.size), np.empty(source.size), np.full(source.size, np.inf)
    wave = np.zeros(source.size)
    for k, bore in enumerate(track.bores):
        own = np.flatnonzero(track.bore[source] == k)
        law = bore.friction
        friction[own] = law.lubricated if bore.guide else friction_after(law, middle[own])
        pressed[own] = friction[own]
        if law.pressed is not None and law.press_force is not None and not bore.guide:
            pressed[own] *= law.pressed / law.lubricated
            force[own] = law.press_force
        wave[own] = 0.0 if bore.guide else bore.waviness
    return Prepared(_waved(pieces, wave), source, friction, middle, pressed, force)


def constant_friction(
    chain: Chain, weight: ArrayLike, friction: PressedFriction, entering: ArrayLike, leaving: ArrayLike
) -> FloatArray:
    """Return for each segment the one coefficient that gives the same leaving tension.

    With it a reader can work a pull out again without knowing how friction depends on the contact force.

    Parameters
    ----------
    chain : Chain
        One chain of n segments.
    weight : float or array_like, shape (n,)
        [N/m]
    friction : PressedFriction
        By which the tensions were found.
    entering, leaving : array_like, shape (n,)
        Tension at the two ends of each segment, before anything is added at its end. [N]

    Returns
    -------
    ndarray, shape (n,)
        Weight correction times coefficient, between the light and the pressed one.

    Raises
    ------
    DomainError
        Names the argument and the legal range.

    Examples
    --------
    >>> bend = Chain(length=[5.0], grade_in=[0.0], grade_out=[0.0], turn=[1.0])
    >>> law = PressedFriction(light=0.4, pressed=0.2, force=250.0)
    >>> out = tension_along(bend, 20.0, law, 1000.0)
    >>> same = constant_friction(bend, 20.0, law, [1000.0], out)
    >>> bool(0.2 < same[0] < 0.4), bool(abs(tension_along(bend, 20.0, same, 1000.0) - out)[0] < 1e-6)
    (True, True)
    """
    n = len(chain)
    alone = Chain(chain.length, chain.grade_in, chain.grade_out, chain.turn, np.arange(n + 1))
    start, target = in_range("entering", entering), in_range("leaving", leaving)
    low = np.broadcast_to(np.minimum(friction.light, friction.pressed), (n,)).copy()
    high = np.broadcast_to(np.maximum(friction.light, friction.pressed), (n,)).copy()
    miss_low = tension_along(alone, weight, low, start) - target
    miss_high = tension_along(alone, weight, high, start) - target
    c = low
    for _ in range(_ROUNDS):
        with np.errstate(divide="ignore", invalid="ignore"):
            c = high - miss_high * (high - low) / (miss_high - miss_low)
        c = np.where((c >= low) & (c <= high), c, 0.5 * (low + high))
        miss = tension_along(alone, weight, c, start) - target
        if np.all((np.abs(miss) <= 1e-12 * np.abs(target)) | (high - low <= 1e-15)):
            break
        under = miss < 0.0
        # halving the miss at an end that stays keeps both ends moving (the Illinois rule)
        miss_high = np.where(under, 0.5 * miss_high, miss)
        miss_low = np.where(under, miss, 0.5 * miss_low)
        low, high = np.where(under, c, low), np.where(under, high, c)
    return c


def _waved(pieces: Chain, wave: FloatArray) -> Chain:
    if not wave.any():
        return pieces
    cosine = np.cos(0.5 * (pieces.grade_in + pieces.grade_out))
    extra = wave * pieces.length / np.maximum(cosine, _FLATTEST)
    turn = pieces.turn + np.where(pieces.turn < 0.0, -extra, extra)
    return Chain(pieces.length, pieces.grade_in, pieces.grade_out, turn)


def _edges(bore: Bore) -> FloatArray:
    """Return the distances at which a bore's friction has grown by one more step; none where it never grows."""
    lubricated, dry, hold = _model(bore.friction)
    if bore.guide or hold is None or dry == lubricated:
        return np.zeros(0)
    steps = np.arange(np.ceil(np.log(dry / lubricated) / np.log1p(STEP)))
    values = lubricated * (1.0 + STEP) ** steps
    return np.asarray(hold - hold * np.log((dry - values) / (dry - lubricated)))


def _model(friction: Friction) -> tuple[float, float, float | None]:
    """Return lubricated, dry and hold; hold is None where friction is constant."""
    if friction.dry is None or friction.hold is None:
        return friction.lubricated, friction.lubricated, None
    return friction.lubricated, friction.dry, friction.hold
