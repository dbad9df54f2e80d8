"""What the first and the last leg of a line hide: a chord shows half of the turn that the duct makes along it.

Between other vertices what one leg hides the next one shows. Beyond the ends there is no next one.
"""

from __future__ import annotations

import numpy as np

from mechanics.errors import FloatArray
from routeio.elements import Elements
from routeio.strays import FEWEST
from routeio.tangent import Traces

#: How far from a leg a duct may pass before a person digitising it sets a vertex there: common practice, no source. [m]
LEFT = 1.0


def hidden_turn(turn: float, leg: float, radius: float) -> float:
    """Return how far a turn at the vertex beside an end leg may be off, because a chord hides part of it.

    With the vertex in the middle of an arc of the radius, half of the turn is made on the end leg. Where it takes the
    share f of the leg, the chord's direction is short of the duct's by f / 2 of it.

    Parameters
    ----------
    turn : float
        At the vertex. [rad]
    leg : float
        The end leg. [m]
    radius : float
        Of the arc. [m]

    Returns
    -------
    float
        [rad]

    Examples
    --------
    >>> round(hidden_turn(0.8, 50.0, 5.0), 3), round(hidden_turn(0.8, 1.0, 5.0), 3)
    (0.008, 0.2)
    """
    half = 0.5 * abs(turn)
    return 0.5 * half * min(1.0, radius * half / leg)


def shared_turn(before: FloatArray, after: FloatArray, leg: FloatArray) -> FloatArray:
    """Return how far each of two turns at the ends of a leg may be off, because one bend between them looks like two.

    The duct may make both turns within the leg, its straights meeting beside it: then the leg's direction, half way
    between theirs, is that of no part of the duct. It may do so as far as a person would leave a bend without a vertex.

    Parameters
    ----------
    before, after : ndarray, shape (k,)
        Turns at the two ends of each leg. [rad]
    leg : ndarray, shape (k,)
        Its length. [m]

    Returns
    -------
    ndarray, shape (k,)
        The deviation of either turn, the other way of the other's; 0 where they are of opposite sense. [rad]

    Examples
    --------
    >>> shared_turn(np.array([0.3, 0.3, 0.3]), np.array([0.2, -0.2, 0.2]), np.array([5.0, 5.0, 50.0])).round(2)
    array([0.1 , 0.  , 0.02])
    """
    least = np.minimum(np.abs(before), np.abs(after))
    return np.where(before * after > 0.0, np.minimum(0.5 * least, LEFT / leg), 0.0)


def beyond_ends(traces: Traces, elements: Elements) -> FloatArray:
    """Return how far the turn of arcs that reach the ends of lines of few vertices may be off.

    Such an arc is carried on over an end leg, of which the vertices show one half of the turn. Half of the other half
    is the deviation.

    Parameters
    ----------
    traces : Traces
        The lines.
    elements : Elements
        Their shapes.

    Returns
    -------
    ndarray, shape (e,)
        One an element; 0 where nothing is carried on. [rad]
    """
    out = np.zeros(len(elements.length))
    first, last = elements.offsets[:-1], elements.offsets[1:] - 1
    begin, end = traces.offsets[:-1], traces.offsets[1:] - 1
    some = np.flatnonzero((last > first) & (np.diff(traces.offsets) < FEWEST))
    xy, length = traces.xy, elements.length
    for straight, arc, a, b in (
        (first[some], first[some] + 1, begin[some], begin[some] + 1),
        (last[some], last[some] - 1, end[some], end[some] - 1),
    ):
        leg = np.hypot(*(xy[a] - xy[b]).T)
        on_arc = np.clip(leg - length[straight], 0.0, length[arc])
        out[arc] += 0.25 * np.abs(elements.turn[arc]) * on_arc / np.maximum(length[arc], 1e-9)
    return out
