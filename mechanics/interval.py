"""Which entry tensions serve: taut everywhere, nowhere above a limit; and the entry tension for a given exit tension."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mechanics.balance import march
from mechanics.chain import Chain
from mechanics.contact import FrictionLike, checked_friction, per_segment, pick_friction
from mechanics.errors import DomainError, FloatArray, as_numbers, in_range, instance, number, together
from mechanics.level import contact_force, cut_at_level, slope
from mechanics.passage import Passage, backward_laws, reversing

__all__ = [
    "Passage",
    "carry_interval",
    "contact_force",
    "cut_at_level",
    "entry_for",
    "greatest_entry",
    "holding_tension",
    "pick_friction",
    "slope",
]


def holding_tension(
    chain: Chain, weight: ArrayLike, friction: FrictionLike, added: ArrayLike | None = None
) -> float:
    """Return the least entry tension, at least 0, that keeps the cable taut everywhere, inside segments too.

    Where gravity would run the cable ahead of the rope the reel is braked, and the brake acts at the feed.

    Parameters
    ----------
    chain : Chain
        One chain of n segments.
    weight : float or array_like, shape (n,)
        Of the bundle. [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    added : float or array_like, shape (n,), optional
        Added to the tension at the end of each segment. [N]

    Returns
    -------
    float
        [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> chain = Chain(length=[4.712389, 300.0], grade_in=[0, -0.5235988], grade_out=[0, -0.5235988], turn=[1.5707963, 0])
    >>> round(holding_tension(chain, weight=20.0, friction=0.35), 1)
    680.8
    """
    held = Passage(_single(chain), weight, friction, added=added).least()[0]
    return number("holding tension", held)  # NaN where tensions are beyond what a float holds


def greatest_entry(
    chain: Chain,
    weight: ArrayLike,
    friction: FrictionLike,
    upper: ArrayLike,
    added: ArrayLike | None = None,
) -> float:
    """Return the greatest entry tension that passes no limit anywhere, or NaN where none serves.

    Parameters
    ----------
    chain : Chain
        One chain of n segments.
    weight : float or array_like, shape (n,)
        Of the bundle. [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    upper : float or array_like, shape (n,)
        Greatest tension allowed anywhere in each segment; above 0. [N]
    added : float or array_like, shape (n,), optional
        Added to the tension at the end of each segment. [N]

    Returns
    -------
    float
        NaN where no entry tension keeps the cable both taut and within the limits. [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> chain = Chain(length=[100.0], grade_in=[0.0], grade_out=[0.0], turn=[0.0])
    >>> greatest_entry(chain, weight=20.0, friction=0.35, upper=1000.0)
    300.0
    """
    return float(Passage(_single(chain), weight, friction, upper, added).entering()[1])


def carry_interval(
    chain: Chain,
    weight: ArrayLike,
    friction: FrictionLike,
    low: ArrayLike,
    high: ArrayLike,
    upper: ArrayLike = np.inf,
    added: ArrayLike | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Return the leaving tensions that an interval of entering tensions gives: :meth:`Passage.leaving` in one call.

    Parameters
    ----------
    chain : Chain
        m chains, n segments in all.
    weight : float or array_like, shape (n,)
        Of the bundle. [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    low, high : float or array_like, shape (m,) or, for a single chain, any
        Entering tensions; ``high`` may be infinite. NaN in both, or low above high, is the empty interval. [N]
    upper : float or array_like, shape (n,), optional
        Greatest tension allowed anywhere in each segment; above 0. [N]
    added : float or array_like, shape (n,), optional
        Added to the tension at the end of each segment. [N]

    Returns
    -------
    low, high : ndarray, shape (m,) or as given
        NaN in both where no entering tension keeps the cable taut and within ``upper``. [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> down = Chain(length=[100.0], grade_in=[-1.0], grade_out=[-1.0], turn=[0.0])
    >>> low, high = carry_interval(down, weight=20.0, friction=0.35, low=0.0, high=2000.0, upper=9000.0)
    >>> float(low), round(float(high), 1)
    (0.0, 695.3)
    """
    ends = as_numbers("low", low), as_numbers("high", high)
    together(low=ends[0], high=ends[1])
    half = np.atleast_1d(np.isnan(ends[0]) != np.isnan(ends[1]))
    if half.any():
        bad = tuple(int(k) for k in np.argwhere(half)[0])
        raise DomainError(
            f"low and high must be numbers, or both NaN for an empty interval, got one NaN at {list(bad)}"
        )
    return Passage(chain, weight, friction, upper, added).leaving(*ends)


def entry_for(
    chain: Chain,
    weight: ArrayLike,
    friction: FrictionLike,
    exit_tension: ArrayLike,
    added: ArrayLike | None = None,
) -> FloatArray:
    """Return the entry tension that leaves a chain as a given exit tension: the plain balance the other way.

    Parameters
    ----------
    chain : Chain
        m chains, n segments in all.
    weight : float or array_like, shape (n,)
        Of the bundle. [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    exit_tension : float or array_like, shape (m,)
        Tension leaving each chain, ``added`` included. [N]
    added : float or array_like, shape (n,), optional
        Added to the tension at the end of each segment. [N]

    Returns
    -------
    ndarray, shape (m,)
        May be negative. [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range; or the first chain whose entry tension is beyond
        what a float holds.

    Examples
    --------
    >>> chain = Chain(length=[4.712389], grade_in=[0], grade_out=[0], turn=[1.5707963267948966])
    >>> entry_for(chain, weight=5.0, friction=0.5, exit_tension=220.299824).round(3).tolist()
    [100.0]
    """
    n, m = len(instance("chain", chain, Chain)), chain.count
    tension = in_range("exit_tension", exit_tension)
    if tension.shape not in ((), (m,)):
        raise DomainError(f"exit_tension must be a number or have shape ({m},), got shape {tension.shape}")
    w = per_segment("weight", in_range("weight", weight, at_least=0.0), n)
    jump = per_segment("added", in_range("added", 0.0 if added is None else added), n)
    ends = np.broadcast_to(tension, (m,)).copy()
    used = np.diff(chain.offsets) > 0
    if not used.any():
        return ends
    order = reversing(chain)
    layout, laws = backward_laws(chain, w, checked_friction(friction, n))
    before = np.zeros(
        n
    )  # going back, what the segment before this one added is taken off at this one's start
    first = chain.offsets[:-1][used]
    before[1:] = -jump[:-1]
    before[first] = 0.0
    ends[used] -= jump[chain.offsets[1:][used] - 1]
    stepped = march(layout, laws, ends[layout.entries], before[order][layout.index])
    in_order = np.empty(n)
    in_order[layout.index] = stepped
    ends[used] = in_order[chain.offsets[1:][used] - 1]
    if not np.isfinite(ends).all():
        raise DomainError(
            f"entry tension of chain {int(np.argmin(np.isfinite(ends)))} is beyond what a float holds"
        )
    return ends


def _single(chain: Chain) -> Chain:
    if instance("chain", chain, Chain).count != 1:
        raise DomainError(f"chain must be a single chain, got {chain.count}; use Passage for many")
    return chain
