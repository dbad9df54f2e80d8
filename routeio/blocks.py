"""Symmetric block-tridiagonal systems of 3 by 3 blocks, many at once: solution and variances.

Rows of any number of systems stand one after another, with zero coupling from one system to the next, so that ten
thousand short lines and one long one cost the same. Every second row is eliminated, then every second of the rest
(cyclic reduction): a handful of array operations a level, and as many levels as the logarithm of the rows.
"""

from __future__ import annotations

import numpy as np

from mechanics.errors import FloatArray


def solve(diagonal: FloatArray, upper: FloatArray, right: FloatArray) -> FloatArray:
    """Return the solution of the systems.

    Parameters
    ----------
    diagonal : ndarray, shape (n, 3, 3)
        Symmetric positive definite together with ``upper``.
    upper : ndarray, shape (n - 1, 3, 3)
        Coupling of each row with the next.
    right : ndarray, shape (n, 3)
        Right-hand side.

    Returns
    -------
    ndarray, shape (n, 3)
        The solution.
    """
    if len(diagonal) == 1:
        return np.asarray(np.einsum("nij,nj->ni", inverse(diagonal), right))
    inner, left, after = _halved(diagonal, upper)
    odd = right[1::2]
    fewer = right[::2].copy()
    fewer[: len(odd)] -= _apply(left, odd, inner)
    fewer[1:] -= _apply(np.swapaxes(after, 1, 2), odd[: len(after)], inner[: len(after)])
    even = solve(*_reduced(diagonal, inner, left, after), fewer)
    rest = odd - np.einsum("nji,nj->ni", left, even[: len(left)])
    rest[: len(after)] -= np.einsum("nij,nj->ni", after, even[1:])
    solution = np.empty_like(right)
    solution[::2] = even
    solution[1::2] = np.einsum("nij,nj->ni", inner, rest)
    return solution


def variances(diagonal: FloatArray, upper: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the blocks of the inverse on the diagonal and beside it.

    Parameters
    ----------
    diagonal, upper : ndarray
        As in :func:`solve`.

    Returns
    -------
    on : ndarray, shape (n, 3, 3)
        Blocks (i, i) of the inverse.
    beside : ndarray, shape (n - 1, 3, 3)
        Blocks (i, i + 1).
    """
    if len(diagonal) == 1:
        return inverse(diagonal), upper[:0]
    inner, left, after = _halved(diagonal, upper)
    on_even, beside_even = variances(*_reduced(diagonal, inner, left, after))
    # an eliminated row is minus (to_left, to_right) times its two neighbours, plus noise of its own
    k, m = len(inner), len(after)
    to_left = inner @ np.swapaxes(left, 1, 2)
    to_right = np.zeros_like(to_left)
    to_right[:m] = inner[:m] @ after
    a = on_even[:k]
    b = np.zeros_like(a)
    b[:m] = on_even[1:]
    ab = np.zeros_like(a)
    ab[:m] = beside_even
    with_left = -(to_left @ a + to_right @ np.swapaxes(ab, 1, 2))
    with_right = -(to_left @ ab + to_right @ b)
    on = np.empty_like(diagonal)
    on[::2] = on_even
    on[1::2] = inner - with_left @ np.swapaxes(to_left, 1, 2) - with_right @ np.swapaxes(to_right, 1, 2)
    beside = np.empty_like(upper)
    beside[::2] = np.swapaxes(with_left, 1, 2)
    beside[1::2] = with_right[:m]
    return on, beside


def inverse(matrix: FloatArray) -> FloatArray:
    """Return the inverses of symmetric 3 by 3 matrices, by cofactors (a library call a matrix costs ten times that).

    Parameters
    ----------
    matrix : ndarray, shape (n, 3, 3)
        Symmetric, not singular.

    Returns
    -------
    ndarray, shape (n, 3, 3)
        Symmetric.
    """
    a, b, c = matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 0, 2]
    d, e, f = matrix[:, 1, 1], matrix[:, 1, 2], matrix[:, 2, 2]
    out = np.empty_like(matrix)
    out[:, 0, 0] = d * f - e * e
    out[:, 0, 1] = out[:, 1, 0] = c * e - b * f
    out[:, 0, 2] = out[:, 2, 0] = b * e - c * d
    out[:, 1, 1] = a * f - c * c
    out[:, 1, 2] = out[:, 2, 1] = b * c - a * e
    out[:, 2, 2] = a * d - b * b
    determinant = a * out[:, 0, 0] + b * out[:, 0, 1] + c * out[:, 0, 2]
    out /= determinant[:, None, None]
    return out


def _halved(diagonal: FloatArray, upper: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Inverses of the odd rows, and their couplings with the row before and the row after."""
    return inverse(diagonal[1::2]), upper[::2], upper[1::2]


def _reduced(
    diagonal: FloatArray, inner: FloatArray, left: FloatArray, after: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the system of the even rows."""
    m = len(after)
    fewer = diagonal[::2].copy()
    through = left @ inner
    fewer[: len(left)] -= through @ np.swapaxes(left, 1, 2)
    fewer[1:] -= np.swapaxes(after, 1, 2) @ inner[:m] @ after
    return fewer, -(through[:m] @ after)


def _apply(coupling: FloatArray, right: FloatArray, inner: FloatArray) -> FloatArray:
    """Return coupling times inner times right, for each row."""
    return np.asarray(np.einsum("nij,nj->ni", coupling, np.einsum("nij,nj->ni", inner, right)))
