"""The one error this floor raises for a value it cannot work with, and the one place where values are looked at."""

from __future__ import annotations

import math
import numbers
from collections.abc import Callable, Collection, Sequence
from decimal import Decimal
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
_Kind = TypeVar("_Kind")


class DomainError(ValueError):
    """A value outside the range in which a formula or a model holds.

    The message names the argument, the first bad index (for arrays) and the legal range.
    """


def as_numbers(name: str, value: object) -> FloatArray:
    """Return ``value`` as float64; NaN and infinities pass.

    Words, truth values, complex numbers and None are no numbers, though numpy would make one of each; nor is a
    quantity with a unit, of which numpy would drop the unit.

    Parameters
    ----------
    name : str
        What the caller calls this argument.
    value : array_like
        Any shape.

    Returns
    -------
    ndarray of float64
        The same shape as ``value``.

    Raises
    ------
    DomainError
        Names the first element that is no real number.

    Examples
    --------
    >>> as_numbers("length", [1.0, "2"])
    Traceback (most recent call last):
    ...
    mechanics.errors.DomainError: length[1] must be a real number, got '2'
    """
    if hasattr(value, "magnitude"):  # numpy would drop the unit
        raise DomainError(f"{name} must be plain numbers in SI units, got {_short(value)}")
    if isinstance(value, np.ma.MaskedArray) and np.ma.is_masked(value):  # numpy would drop the mask
        gap = tuple(int(i) for i in np.argwhere(np.ma.getmaskarray(value))[0])
        raise DomainError(f"{_place(name, gap)} must be a real number, got a masked one")
    try:
        array = np.asarray(value)
        if array.dtype.kind not in "fiu":
            array = np.asarray(value, dtype=object)
    except (TypeError, ValueError) as error:
        raise DomainError(f"{name} must be numbers in rows of one length, got {_short(value)}") from error
    if array.dtype.kind == "O":
        for at, element in np.ndenumerate(array):
            if isinstance(element, bool) or not isinstance(element, numbers.Real | Decimal):
                raise DomainError(f"{_place(name, at)} must be a real number, got {_short(element)}")
    try:
        return array.astype(np.float64, copy=False)
    except OverflowError as error:
        raise DomainError(f"{name} must be numbers that a float holds, got {_short(value)}") from error


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
    array = as_numbers(name, value)
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
        raise DomainError(
            f"{_place(name, bad)} must be {' and '.join(bounds) or 'finite'}, got {float(array[bad])!r}"
        )
    return array


def number(
    name: str,
    value: object,
    *,
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
    at_most: float | None = None,
) -> float:
    """Return ``value`` as one number, or raise as :func:`in_range` does.

    Parameters
    ----------
    name : str
        What the caller calls this argument.
    value : object
        What was given.
    above, at_least, below, at_most : float, optional
        Bounds; NaN and infinities always fail.

    Returns
    -------
    float
        The number.

    Raises
    ------
    DomainError
        Not one real number, or outside the bounds.

    Examples
    --------
    >>> number("weight", [20.0, 30.0], above=0.0)
    Traceback (most recent call last):
    ...
    mechanics.errors.DomainError: weight must be one number, got [20.0, 30.0]
    """
    if (
        type(value) is float  # most are: a look without numpy
        and -math.inf < value < math.inf
        and (above is None or value > above)
        and (at_least is None or value >= at_least)
        and (below is None or value < below)
        and (at_most is None or value <= at_most)
    ):
        return value
    array = as_numbers(name, value)
    if array.ndim:
        raise DomainError(f"{name} must be one number, got {_short(value)}")
    return float(in_range(name, array, above=above, at_least=at_least, below=below, at_most=at_most))


def point(name: str, value: object) -> FloatArray:
    """Return ``value`` as three finite numbers: x, y and z.

    Parameters
    ----------
    name : str
        What the caller calls this argument.
    value : object
        What was given.

    Returns
    -------
    ndarray, shape (3,)
        The numbers.

    Raises
    ------
    DomainError
        Names the first bad index, or the shape.
    """
    array = in_range(name, as_numbers(name, value))
    if array.shape != (3,):
        raise DomainError(f"{name} must have shape (3,), got {array.shape}")
    return array


def whole(name: str, value: object, *, at_least: int | None = None, at_most: int | None = None) -> int:
    """Return ``value`` as a whole number.

    Parameters
    ----------
    name : str
        What the caller calls this argument.
    value : object
        What was given.
    at_least, at_most : int, optional
        Bounds.

    Returns
    -------
    int
        The number.

    Raises
    ------
    DomainError
        Not a whole number, or outside the bounds.

    Examples
    --------
    >>> whole("conductors", 1.5, at_least=1)
    Traceback (most recent call last):
    ...
    mechanics.errors.DomainError: conductors must be a whole number, got 1.5
    """
    if not isinstance(value, int | np.integer) or isinstance(value, bool):
        raise DomainError(f"{name} must be a whole number, got {_short(value)}")
    return int(in_range(name, value, at_least=at_least, at_most=at_most))


def wholes(name: str, value: object) -> tuple[int, ...]:
    """Return ``value`` as whole numbers.

    Parameters
    ----------
    name : str
        What the caller calls this argument.
    value : object
        What was given.

    Returns
    -------
    tuple of int
        The numbers.

    Raises
    ------
    DomainError
        Not a sequence; or names the first element that is no whole number.
    """
    return tuple(whole(f"{name}[{k}]", element) for k, element in enumerate(several(name, value, object)))


def flag(name: str, value: object) -> bool:
    """Return ``value`` as yes or no; a word or a number is neither.

    Parameters
    ----------
    name : str
        What the caller calls this argument.
    value : object
        What was given.

    Returns
    -------
    bool
        As given.

    Raises
    ------
    DomainError
        Neither True nor False.

    Examples
    --------
    >>> flag("flooded", "no")
    Traceback (most recent call last):
    ...
    mechanics.errors.DomainError: flooded must be True or False, got 'no'
    """
    if value is True or value is False:
        return value
    if not isinstance(value, np.bool_):
        raise DomainError(f"{name} must be True or False, got {_short(value)}")
    return bool(value)


def one_of(name: str, value: object, words: Collection[str]) -> str:
    """Return ``value`` if it is one of some words.

    Parameters
    ----------
    name : str
        What the caller calls this argument.
    value : object
        What was given.
    words : collection of str
        Those there are.

    Returns
    -------
    str
        As given.

    Raises
    ------
    DomainError
        Names the words.
    """
    if not isinstance(value, str) or value not in words:
        raise DomainError(f"{name} must be one of {', '.join(words)}, got {_short(value)}")
    return value


def instance(name: str, value: object, kind: type[_Kind]) -> _Kind:
    """Return ``value`` if it is of a kind.

    Parameters
    ----------
    name : str
        What the caller calls this argument.
    value : object
        What was given.
    kind : type
        What it has to be.

    Returns
    -------
    object
        As given.

    Raises
    ------
    DomainError
        Names the kind.

    Examples
    --------
    >>> instance("label", 5, str)
    Traceback (most recent call last):
    ...
    mechanics.errors.DomainError: label must be a str, got 5
    """
    if not isinstance(value, kind):
        raise DomainError(f"{name} must be a {kind.__name__}, got {_short(value)}")
    return value


def several(name: str, value: object, kind: type[_Kind]) -> tuple[_Kind, ...]:
    """Return ``value`` as a tuple of things of a kind.

    Parameters
    ----------
    name : str
        What the caller calls this argument.
    value : object
        What was given.
    kind : type
        What each has to be.

    Returns
    -------
    tuple
        Of the same things.

    Raises
    ------
    DomainError
        Not a sequence; or names the first element that is of another kind.

    Examples
    --------
    >>> several("assumed", "all of it", str)
    Traceback (most recent call last):
    ...
    mechanics.errors.DomainError: assumed must be a sequence of str, got 'all of it'
    """
    if not isinstance(value, tuple | list) and (
        isinstance(value, str | bytes)
        or not isinstance(value, Sequence | np.ndarray)
        or (isinstance(value, np.ndarray) and value.ndim == 0)
    ):
        raise DomainError(f"{name} must be a sequence of {kind.__name__}, got {_short(value)}")
    return tuple(instance(f"{name}[{k}]", element, kind) for k, element in enumerate(value))


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


def settle(owner: object, called: str, **checks: Callable[[str, object], object]) -> None:
    """Check the fields of a frozen dataclass as it is made, and keep what the checks return.

    Parameters
    ----------
    owner : object
        The instance.
    called : str
        Its name in messages, such as ``friction``.
    **checks : callable
        By field: takes what the field is called and its value, returns the value to keep.
    """
    for field, check in checks.items():
        object.__setattr__(owner, field, check(f"{called}.{field}", getattr(owner, field)))


def optional(
    check: Callable[..., object], *rest: object, **bounds: object
) -> Callable[[str, object], object]:
    """Return a check that lets None pass.

    Parameters
    ----------
    check : callable
        For what is stated.
    *rest, **bounds : object
        What it takes beside name and value.

    Returns
    -------
    callable
        Takes name and value.
    """
    return lambda name, value: None if value is None else check(name, value, *rest, **bounds)


def stated(check: Callable[..., object], *rest: object, **bounds: object) -> Callable[[str, object], object]:
    """Return a check with its bounds.

    Parameters
    ----------
    check : callable
        Such as :func:`number`.
    *rest, **bounds : object
        What it takes beside name and value.

    Returns
    -------
    callable
        Takes name and value.
    """
    return lambda name, value: check(name, value, *rest, **bounds)


def _place(name: str, index: tuple[int, ...]) -> str:
    return f"{name}[{', '.join(map(str, index))}]" if index else name


def _short(value: object) -> str:
    """Return what was given, as far as a message needs it."""
    said = repr(value)
    return said if len(said) <= 80 else f"{said[:77]}..."
