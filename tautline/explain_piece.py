"""What a hand calculation works with: one segment, what comes of it, and numbers as a person writes them."""

from __future__ import annotations

import math
from dataclasses import dataclass

FLAT = 1e-12
"""Below this a grade or a turn is none. [rad]"""
_NOTHING = 1e-10  # what is smaller is left over from rounding


@dataclass(frozen=True)
class Piece:
    """One segment of a pull as the result document has it, in metres and newtons or in any units that belong together.

    Parameters
    ----------
    length : float
        [m]
    grade_in, grade_out, turn : float
        [rad]
    weight : float
        Of the bundle on this segment. [N/m]
    friction, correction : float
        Coefficient before weight correction, and the correction.
    """

    length: float
    grade_in: float
    grade_out: float
    turn: float
    weight: float
    friction: float
    correction: float

    @property
    def c(self) -> float:
        """Friction times weight correction."""
        return self.friction * self.correction

    @property
    def radius(self) -> float | None:
        """Least radius of the centreline; None for a straight. [m]"""
        flattest = max(math.cos(self.grade_in), math.cos(self.grade_out))
        if self.grade_in * self.grade_out <= 0:
            flattest = 1.0
        curvature = math.hypot(self.grade_out - self.grade_in, self.turn * flattest) / self.length
        return None if curvature * self.length < FLAT else 1.0 / curvature

    @property
    def kind(self) -> str:
        """What it is, in words."""
        level = abs(self.grade_in) < FLAT and abs(self.grade_out) < FLAT
        steady = abs(self.grade_out - self.grade_in) < FLAT
        side = "left" if self.turn > 0 else "right"
        if abs(self.turn) < FLAT:
            if steady:
                return "level straight" if level else "straight on a grade"
            return "sag" if self.grade_out > self.grade_in else "crest"
        if level:
            return f"level bend to the {side}"
        return (
            f"bend to the {side} on a steady grade" if steady else f"bend to the {side} with changing grade"
        )


@dataclass(frozen=True)
class Worked:
    """A segment worked out.

    Parameters
    ----------
    lines : tuple of str
        Equation, numbers, result.
    tension : float
        Leaving it, before any added force. [N]
    rule : tuple of str, optional
        The equation and what all parts of one stretch have in common, for a table of them.
    row : tuple of (str, float), optional
        What a line of such a table has besides length, friction and tension; None where a line is too little.
    """

    lines: tuple[str, ...]
    tension: float
    rule: tuple[str, ...] = ()
    row: tuple[tuple[str, float], ...] | None = None


def number(value: float) -> str:
    """Return a number with the seven figures that a hand calculation carries.

    Parameters
    ----------
    value : float
        Any.

    Returns
    -------
    str
        Without exponent where a person would write none.

    Examples
    --------
    >>> number(1234.56789), number(0.0), number(-0.12345678)
    ('1234.568', '0', '-0.1234568')
    """
    if abs(value) < _NOTHING:
        return "0"
    if 1e-5 <= abs(value) < 1e7:
        digits = max(0, 6 - math.floor(math.log10(abs(value))))
        text = f"{value:.{digits}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return f"{value:.7g}"
