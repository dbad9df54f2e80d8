"""The one error this floor raises for a value it cannot work with."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


class DomainError(ValueError):
    """A value outside the range in which a formula or a model holds.

    The message names the argument, the first bad index (for arrays) and the legal range.
    """


def in_range(
    name: str,
    value: ArrayLike,
    *,
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
    at_most: float | None = None,
) -> FloatArray:
    """Return ``value`` as float64, or raise naming the first element outside the range.

    Parameters
    ----------
    name : str
        What the caller calls this argument.
    value : array_like
        Any shape.
    above, at_least, below, at_most : float, optional
        Bounds; NaN and infinities always fail.

    Returns
    -------
    ndarray of float64
        The same shape as ``value``.

    Raises
    ------
    DomainError
        Not numeric, not finite, or outside the bounds.

    Examples
    --------
    >>> float(in_range("length", 2.0, above=0.0))
    2.0
    >>> in_range("length", [1.0, -2.0], above=0.0)
    Traceback (most recent call last):
    ...
    mechanics.errors.DomainError: length[1] must be above 0, got -2.0
    """
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise DomainError(f"{name} must be numbers, got {value!r}") from error
    good = np.isfinite(array)
    bounds = []
    if above is not None:
        good &= array > above
        bounds.append(f"above {above:g}")
    if at_least is not None:
        good &= array >= at_least
        bounds.append(f"at least {at_least:g}")
    if below is not None:
        good &= array < below
        bounds.append(f"below {below:g}")
    if at_most is not None:
        good &= array <= at_most
        bounds.append(f"at most {at_most:g}")
    if not good.all():
        bad = tuple(int(i) for i in np.argwhere(~good)[0])
        place = f"{name}[{', '.join(map(str, bad))}]" if bad else name
        raise DomainError(f"{place} must be {' and '.join(bounds) or 'finite'}, got {float(array[bad])!r}")
    return array


def together(**values: FloatArray) -> None:
    """Refuse arrays that do not go together: each must be one number or have the shape of the others.

    Parameters
    ----------
    **values : ndarray
        By the names that the caller gives them.

    Raises
    ------
    DomainError
        Names all of them with their shapes.

    Examples
    --------
    >>> together(entry=np.zeros(3), weight=np.float64(5.0))
    >>> together(entry=np.zeros(3), weight=np.zeros(2))
    Traceback (most recent call last):
    ...
    mechanics.errors.DomainError: entry and weight must be numbers or of shapes that go together, got (3,) and (2,)
    """
    try:
        np.broadcast_shapes(*(np.shape(value) for value in values.values()))
    except ValueError as error:
        names, shapes = " and ".join(values), " and ".join(str(np.shape(v)) for v in values.values())
        raise DomainError(f"{names} must be numbers or of shapes that go together, got {shapes}") from error
