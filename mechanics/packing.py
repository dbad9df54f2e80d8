"""The smallest round duct that takes given cables at all: circles of any sizes packed in a circle.

Up to three circles there is a closed form, and equal ones are known. For others a way to lay them is looked for: each
circle in turn, largest first, touches two of what is there already. What is found is a packing, so that the cables do
fit; that they do not fit in less is not proved by it.
"""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mechanics.errors import DomainError, FloatArray, in_range, number

ENCLOSING = (
    1.0,
    2.0,
    1.0 + 2.0 / math.sqrt(3.0),
    1.0 + math.sqrt(2.0),
    1.0 + 1.0 / math.sin(math.pi / 5),
    3.0,
    3.0,
    1.0 + 1.0 / math.sin(math.pi / 7),
)
"""Diameter of the smallest circle around one to eight equal circles of diameter 1."""
EXACT = 3
"""Up to so many circles of any sizes, the smallest circle around them is known."""
_ALIKE = 1e-9
_ROUNDS = 20  # halvings of the search
_LOOKS = 300  # circles placed in vain before a duct counts as too small
_TOUCH = 1e-9


def enclosing(diameters: ArrayLike) -> float:
    r"""Return the diameter of a circle around circles that do not overlap: the smallest, or the smallest found.

    .. math::
        d_1 + d_2 \qquad\text{or, where the third stands out of that circle,}\qquad
        \frac{2}{2\sqrt{k_1 k_2 + k_2 k_3 + k_3 k_1} - k_1 - k_2 - k_3}, \qquad k_i = \frac{2}{d_i}

    Parameters
    ----------
    diameters : array_like, shape (n,)
        One to eight. [m]

    Returns
    -------
    float
        The smallest there is, for up to three or for equal circles; else the smallest in which a packing was found. [m]

    Raises
    ------
    DomainError
        Not above 0, or too few or too many.

    Notes
    -----
    Three circles that touch each other and the one around them: Descartes' theorem. Equal circles: known packings, proved.

    Examples
    --------
    >>> round(enclosing([50.0, 50.0, 50.0]), 2), enclosing([50.0, 20.0, 15.0])
    (107.74, 70.0)
    """
    return _enclosing(tuple(sorted(_row(diameters).tolist(), reverse=True)))


def packed(inside_diameter: float, diameters: ArrayLike) -> NDArray[np.complex128] | None:
    """Lay circles in a circle so that none overlap.

    Parameters
    ----------
    inside_diameter : float
        Of the circle around them. [m]
    diameters : array_like, shape (n,)
        Largest first. [m]

    Returns
    -------
    ndarray of complex, shape (n,), or None
        The centres, about that of the circle; None where no way was found. [m]

    Raises
    ------
    DomainError
        Not above 0, or too few or too many.
    """
    around = 0.5 * number("inside_diameter", inside_diameter, above=0.0)
    radii = 0.5 * _row(diameters)
    if radii[0] > around:
        return None
    looks = iter(range(_LOOKS))
    centres = np.zeros(radii.size, dtype=np.complex128)
    centres[0] = -1j * (around - radii[0])

    def lay(k: int) -> bool:
        if k == radii.size:
            return True
        for place in _places(around, centres[:k], radii[: k + 1]):
            if next(looks, None) is None:
                return False
            centres[k] = place
            if lay(k + 1):
                return True
        return False

    return centres if lay(1) else None


def _row(diameters: ArrayLike) -> FloatArray:
    sizes = in_range("diameters", diameters, above=0.0)
    if sizes.ndim != 1 or not 1 <= sizes.size <= len(ENCLOSING):
        raise DomainError(f"diameters must be one to {len(ENCLOSING)}, got shape {sizes.shape}")
    return sizes


def _places(around: float, centres: NDArray[np.complex128], radii: FloatArray) -> NDArray[np.complex128]:
    """Return where the last of some circles can lie, touching two of the others or of the circle around."""
    new, others = radii[-1], radii[:-1]
    about = np.concatenate(([0.0], centres))
    reach = np.concatenate(([around - new], others + new))
    i, j = np.triu_indices(about.size, 1)
    apart = about[j] - about[i]
    long = np.abs(apart)
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (reach[i] ** 2 - reach[j] ** 2 + long**2) / (2.0 * long)
        across2 = reach[i] ** 2 - along**2
        across = np.sqrt(np.where(across2 > -_TOUCH * around**2, np.maximum(across2, 0.0), np.nan))
        way = apart / long
    found = np.concatenate([about[i] + way * (along + s * 1j * across) for s in (1.0, -1.0)])
    room = np.abs(found) <= around - new + _TOUCH * around
    clear = np.abs(found[:, None] - centres) >= others + new - _TOUCH * around
    return np.asarray(found[room & clear.all(axis=1)])


@functools.lru_cache(maxsize=1024)
def _enclosing(sizes: tuple[float, ...]) -> float:
    n = len(sizes)
    if sizes[0] <= sizes[-1] * (1 + _ALIKE):
        return ENCLOSING[n - 1] * sizes[0]
    if n <= EXACT:
        two = sizes[0] + sizes[1]
        first, second = 2.0 / sizes[0], 2.0 / sizes[1]
        if n == 2 or 2.0 / sizes[2] >= first + second - 2.0 / two:
            return two
        third = 2.0 / sizes[2]
        root = math.sqrt(first * second + second * third + third * first)
        return 2.0 / (2.0 * root - first - second - third)
    low = max(_enclosing(sizes[:EXACT]), math.sqrt(sum(d * d for d in sizes)))
    high = ENCLOSING[n - 1] * sizes[0]
    for _ in range(_ROUNDS):
        middle = 0.5 * (low + high)
        if packed(middle, sizes) is None:
            low = middle
        else:
            high = middle
    return high
