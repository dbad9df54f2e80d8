"""How the cable rubs on the duct: one coefficient, or two with the contact force between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from mechanics.chain import IntArray
from mechanics.errors import DomainError, FloatArray, as_numbers, in_range

SPREAD = 0.1
"""The change from one coefficient to the other is spread over this fraction of the force, either side of it."""


@dataclass(frozen=True, eq=False)
class PressedFriction:
    """Friction that depends on how hard the cable is pressed against the duct.

    Soft jackets slide better when pressed harder. Data sheets give one coefficient for light contact, one for
    hard contact, and the force per length between them. The change is taken linear from 10 % below that force to
    10 % above: with a jump, a slightly greater tension could leave a bend as a smaller one.

    Parameters
    ----------
    light, pressed : float or array_like, shape (n,)
        Weight correction times coefficient, below and above the force; each at least 0.
    force : float or array_like, shape (n,)
        Contact force per length of the whole bundle (without weight correction) between the two; above 0. [N/m]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Notes
    -----
    The step between two values is the trade's way of stating it; the linear change is a model of this project.
    """

    light: FloatArray
    pressed: FloatArray
    force: FloatArray

    def __init__(self, light: ArrayLike, pressed: ArrayLike, force: ArrayLike) -> None:
        object.__setattr__(self, "light", in_range("light", light, at_least=0.0))
        object.__setattr__(self, "pressed", in_range("pressed", pressed, at_least=0.0))
        object.__setattr__(self, "force", in_range("force", force, above=0.0))

    def at(self, contact: ArrayLike) -> FloatArray:
        """Return the coefficient (times weight correction) where the bundle's contact force is ``contact`` [N/m]."""
        return pressed_coefficient(self.light, self.pressed, self.force, as_numbers("contact", contact))


FrictionLike: TypeAlias = "ArrayLike | PressedFriction"


def pressed_coefficient(
    light: FloatArray, pressed: FloatArray, force: FloatArray, contact: FloatArray
) -> FloatArray:
    """Return the coefficient at a contact force; nothing is checked.

    Parameters
    ----------
    light, pressed : ndarray
        Weight correction times coefficient under light and under hard contact.
    force, contact : ndarray
        Contact force between the two, and the one that acts; all broadcast together. [N/m]

    Returns
    -------
    ndarray
        The coefficient.
    """
    share = np.clip((contact / force - (1.0 - SPREAD)) / (2.0 * SPREAD), 0.0, 1.0)
    return np.asarray(light + (pressed - light) * share)


def per_segment(name: str, value: ArrayLike, n: int) -> FloatArray:
    """Return a value for each segment.

    Parameters
    ----------
    name : str
        What the caller calls it.
    value : float or array_like, shape (n,)
        One for all, or one a segment.
    n : int
        Number of segments.

    Returns
    -------
    ndarray, shape (n,)
        Not to be written to.

    Raises
    ------
    DomainError
        Any other shape.
    """
    array = as_numbers(name, value)
    if array.shape not in ((), (n,)):
        raise DomainError(
            f"{name} must be a number or have shape ({n},), one a segment, got shape {array.shape}"
        )
    return np.broadcast_to(array, (n,))


def checked_friction(friction: FrictionLike, n: int) -> FrictionLike:
    """Return friction with one value a segment, or refuse it.

    Parameters
    ----------
    friction : float, array_like of shape (n,), or PressedFriction
        What a caller gave.
    n : int
        Number of segments.

    Returns
    -------
    ndarray of shape (n,) or PressedFriction
        At least 0 everywhere.

    Raises
    ------
    DomainError
        Names the first bad index and the legal range.
    """
    if isinstance(friction, PressedFriction):
        for name in ("light", "pressed", "force"):
            per_segment(f"friction.{name}", getattr(friction, name), n)
        return friction
    return per_segment("friction", in_range("friction", friction, at_least=0.0), n)


def times(factor: float, friction: FrictionLike) -> FrictionLike:
    """Return friction with every coefficient multiplied; the force between light and hard contact stays.

    Parameters
    ----------
    factor : float
        At least 0.
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.

    Returns
    -------
    ndarray or PressedFriction
        Of the same shape.
    """
    if isinstance(friction, PressedFriction):
        light, pressed = (factor * np.asarray(c) for c in (friction.light, friction.pressed))
        return PressedFriction(light, pressed, friction.force)
    return factor * np.asarray(friction)


def pick_friction(friction: FrictionLike, source: IntArray | slice) -> FrictionLike:
    """Return the friction of the pieces of cut segments: each piece has that of its segment.

    Parameters
    ----------
    friction : float, array_like of shape (n,), or PressedFriction
        Of the segments.
    source : ndarray of int, shape (k,), or slice
        Segment of each piece.

    Returns
    -------
    array_like or PressedFriction
        Of the pieces.
    """

    def pick(value: ArrayLike) -> FloatArray:
        array = np.asarray(value, dtype=np.float64)
        return array[source] if array.ndim else array

    if isinstance(friction, PressedFriction):
        return PressedFriction(pick(friction.light), pick(friction.pressed), pick(friction.force))
    return pick(friction)
