"""Cutting segments into shorter pieces of the same shape."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mechanics.chain import Chain, IntArray
from mechanics.errors import DomainError, in_range

_CLOSEST = 1e-9  # cuts nearer than this fraction of the segment to its end, or to another, are left out


def cut(chain: Chain, segment: ArrayLike, fraction: ArrayLike) -> tuple[Chain, IntArray]:
    """Cut segments of a chain, or of many, at fractions of their length.

    Parameters
    ----------
    chain : Chain
        One chain or many.
    segment : array_like of int, shape (k,)
        Which segment each cut falls on; any order, repeats allowed.
    fraction : array_like, shape (k,)
        Where on that segment, from 0 to 1; 0 and 1 cut nothing.

    Returns
    -------
    Chain
        The same shape in more pieces, chains kept apart as before.
    ndarray of int, shape (pieces,)
        The segment of ``chain`` that each piece belongs to.

    Raises
    ------
    DomainError
        A fraction outside 0 to 1, a segment that does not exist, or shapes that differ.

    Examples
    --------
    >>> sweep = Chain(length=[10.0], grade_in=[0.0], grade_out=[0.2], turn=[1.0])
    >>> pieces, source = cut(sweep, [0], [0.25])
    >>> pieces.length.tolist(), pieces.grade_out.tolist(), source.tolist()
    ([2.5, 7.5], [0.05, 0.2], [0, 0])
    """
    n = len(chain)
    where = in_range("fraction", fraction, at_least=0.0, at_most=1.0)
    which = np.asarray(segment)
    if which.size == 0:
        which = which.astype(np.int64)
    if not np.issubdtype(which.dtype, np.integer) or which.ndim != 1 or which.shape != where.shape:
        raise DomainError(f"segment must be a row of integers like fraction, got shape {which.shape}")
    if which.size and not (which.min() >= 0 and which.max() < n):
        raise DomainError(f"segment must be from 0 to {n - 1}, got {which.min()} to {which.max()}")
    if not which.size:
        return chain, np.arange(n)
    if np.any((which[1:] < which[:-1]) | ((which[1:] == which[:-1]) & (where[1:] < where[:-1]))):
        order = np.lexsort((where, which))
        which, where = which[order], where[order]
    # Each segment begins with itself, and its cuts follow.
    cuts = which + np.arange(1, which.size + 1)
    owner, start = np.empty(n + which.size, dtype=np.int64), np.zeros(n + which.size)
    begins = np.ones(owner.size, dtype=bool)
    begins[cuts] = False
    owner[begins], owner[cuts], start[cuts] = np.arange(n), which, where
    far_from_last = np.ones(owner.size, dtype=bool)
    far_from_last[1:] = (owner[1:] != owner[:-1]) | (start[1:] - start[:-1] > _CLOSEST)
    keep = far_from_last & (start < 1.0 - _CLOSEST)
    owner, start = owner[keep], start[keep]
    stop = np.ones(owner.size)
    same = owner[1:] == owner[:-1]
    stop[:-1][same] = start[1:][same]
    grade_in, grade_out = chain.grade_in[owner], chain.grade_out[owner]
    sweep = grade_out - grade_in
    pieces_before = np.concatenate(([0], np.cumsum(np.bincount(owner, minlength=n))))
    pieces = Chain(
        chain.length[owner] * (stop - start),
        np.where(start == 0.0, grade_in, grade_in + sweep * start),
        np.where(stop == 1.0, grade_out, grade_in + sweep * stop),
        chain.turn[owner] * (stop - start),
        pieces_before[chain.offsets],
    )
    return pieces, owner.astype(np.int64)
