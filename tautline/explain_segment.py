"""One segment worked by hand: which equation holds, the numbers put in, what comes out."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

_FLAT = 1e-12  # rad; below this a grade or a turn is none
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
        return None if curvature * self.length < _FLAT else 1.0 / curvature

    @property
    def kind(self) -> str:
        """What it is, in words."""
        level = abs(self.grade_in) < _FLAT and abs(self.grade_out) < _FLAT
        steady = abs(self.grade_out - self.grade_in) < _FLAT
        side = "left" if self.turn > 0 else "right"
        if abs(self.turn) < _FLAT:
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
    """

    lines: tuple[str, ...]
    tension: float


def work(piece: Piece, entry: float) -> Worked:
    """Work out one segment.

    Parameters
    ----------
    piece : Piece
        The segment.
    entry : float
        Tension entering it. [N]

    Returns
    -------
    Worked
        The equation used with its numbers, and the tension leaving the segment.

    Notes
    -----
    Straights, level bends, sags and crests have closed forms; a sag is worked in parts where the cable changes
    sides in the duct. Bends on a grade have none: they are integrated by the classical fourth-order rule in few
    enough steps to be followed by hand, and many enough to be right to seven figures. Before it stands what the
    level bend's form makes of them (:func:`bend_estimate`), for a pocket calculator.

    References
    ----------
    [rifenburg1953] in docs/sources.md for the level bend.

    Examples
    --------
    >>> quarter = Piece(3.0 * math.pi / 2, 0.0, 0.0, math.pi / 2, 5.0, 0.5, 1.0)
    >>> round(work(quarter, 100.0).tension, 4)
    220.2998
    """
    kind = piece.kind
    if "straight" in kind:
        return _straight(piece, entry)
    if kind in ("sag", "crest"):
        return _vertical(piece, entry)
    # the closed form of the level bend holds for a cable under tension
    if kind.startswith("level") and entry >= 0:
        return _level_bend(piece, entry)
    return _stepwise(piece, entry)


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


def _straight(p: Piece, entry: float) -> Worked:
    g, c = p.grade_in, p.c
    out = entry + p.weight * p.length * (math.sin(g) + c * math.cos(g))
    if abs(g) < _FLAT:
        return Worked(
            (
                "T2 = T1 + c w L",
                f"   = {number(entry)} + {number(c)} x {number(p.weight)} x {number(p.length)}",
            ),
            out,
        )
    return Worked(
        (
            "T2 = T1 + w L (sin g + c cos g)",
            f"   = {number(entry)} + {number(p.weight)} x {number(p.length)} x "
            f"(sin {number(g)} + {number(c)} cos {number(g)})",
        ),
        out,
    )


def _level_bend(p: Piece, entry: float) -> Worked:
    angle, c = abs(p.turn), p.c
    radius = p.length / angle
    wr = p.weight * radius
    out = entry * math.cosh(c * angle) + math.hypot(entry, wr) * math.sinh(c * angle)
    ct = number(c * angle)
    return Worked(
        (
            "T2 = T1 cosh(c a) + sqrt(T1^2 + (w R)^2) sinh(c a)",
            f"   with a = {number(angle)}, R = L/a = {number(radius)}, w R = {number(wr)}, c a = {ct}",
            f"   = {number(entry)} cosh({ct}) + sqrt({number(entry)}^2 + {number(wr)}^2) sinh({ct})",
        ),
        out,
    )


def _vertical(p: Piece, entry: float) -> Worked:
    """Work a sag or a crest by its closed form, in parts where the contact changes sides."""
    rising = p.grade_out > p.grade_in
    radius = p.length / abs(p.grade_out - p.grade_in)
    wr, name = p.weight * radius, "sag" if rising else "crest"
    rule = (
        "k = c where T > w R cos g, else -c; P = -w R (1 - k^2)/(1 + k^2), Q = -2 k w R/(1 + k^2)"
        if rising
        else "k = -c where T > -w R cos g, else c; P = w R (1 - k^2)/(1 + k^2), Q = 2 k w R/(1 + k^2)"
    )
    lines = [
        "T(g) = A e^(k g) + P cos g + Q sin g, A = (T1 - P cos g0 - Q sin g0) e^(-k g0)",
        f"   with {rule}",
        f"   R = L/|g1 - g0| = {number(radius)}, w R = {number(wr)}, g0 = {number(p.grade_in)}, g1 = {number(p.grade_out)}",
    ]
    tension, grade = entry, p.grade_in
    for _ in range(4):  # the contact changes sides twice at most
        side = _side(rising, tension, wr, grade)
        k, cosine, sine = _form(rising, side, p.c, wr)
        constant = (tension - cosine * math.cos(grade) - sine * math.sin(grade)) / math.exp(k * grade)

        def along(
            g: float, a: float = constant, k: float = k, cos: float = cosine, sin: float = sine
        ) -> float:
            return a * math.exp(k * g) + cos * math.cos(g) + sin * math.sin(g)

        end = _change(along, rising, side, wr, grade, p.grade_out)
        where = "on the inside of the bend" if side > 0 else "on the outside of the bend"
        lines.append(
            f"   cable {where}, k = {number(k)}, P = {number(cosine)}, Q = {number(sine)}, A = {number(constant)}: "
            f"T({number(end)}) = {number(along(end))}"
        )
        tension, grade = along(end), end
        if grade == p.grade_out:
            break
        tension = (wr if rising else -wr) * math.cos(grade)  # not a rounding to either side of it
        lines.append(f"   there it presses on neither side of the {name}, and changes over")
    return Worked(tuple(lines), tension)


def _side(rising: bool, tension: float, wr: float, grade: float) -> int:
    """Return +1 where the cable is pressed to the inside of the bend, else -1."""
    pressed = tension - wr * math.cos(grade) if rising else tension + wr * math.cos(grade)
    if pressed == 0:
        # on the edge: the way it goes next, by how T and w R cos g change with the grade
        drift = wr * math.sin(grade) * 2 if rising else -2 * wr * math.sin(grade)
        return 1 if drift * (1 if rising else -1) >= 0 else -1
    return 1 if pressed > 0 else -1


def _form(rising: bool, side: int, c: float, wr: float) -> tuple[float, float, float]:
    """Return k, P and Q of T = A e^(k g) + P cos g + Q sin g."""
    if rising:
        k = c * side
        return k, -wr * (1 - k * k) / (1 + k * k), -2 * k * wr / (1 + k * k)
    k = -c * side
    return k, wr * (1 - k * k) / (1 + k * k), 2 * k * wr / (1 + k * k)


def _change(
    along: Callable[[float], float], rising: bool, side: int, wr: float, start: float, stop: float
) -> float:
    """Return the grade at which the contact changes sides, or the end of the bend."""

    def pressed(g: float) -> float:
        return side * (along(g) - wr * math.cos(g) if rising else along(g) + wr * math.cos(g))

    steps = 64
    edges = [start + (stop - start) * i / steps for i in range(steps + 1)]
    edges[-1] = stop
    slack = 1e-9 * max(1.0, wr)
    for low, high in itertools.pairwise(edges):
        if pressed(high) < -slack:
            for _ in range(80):
                middle = 0.5 * (low + high)
                low, high = (middle, high) if pressed(middle) > 0 else (low, middle)
            return low if low != start else high
    return stop


@dataclass(frozen=True)
class Estimate:
    """A bend on a grade, by the form of the level bend.

    Parameters
    ----------
    angle, radius, climb, press : float
        Whole angle in space [rad], radius of the bend [m], rise over its length [m], weight across the duct times
        radius [N].
    tension : float
        Leaving it, about. [N]
    """

    angle: float
    radius: float
    climb: float
    press: float
    tension: float


def bend_estimate(p: Piece, entry: float) -> Estimate:
    """Estimate a bend on a grade as a level bend of the same angle in space, its climb halfway.

    Parameters
    ----------
    p : Piece
        The segment; it turns.
    entry : float
        Tension entering it, at least 0. [N]

    Returns
    -------
    Estimate
        What is put in and what comes out.

    Notes
    -----
    Engineering judgement, no source: the weight counts across the plane of the bend, as in a level one, and what the
    climb adds halfway is multiplied by the other half of the bend. A check on the integration, never in its place.

    Examples
    --------
    >>> quarter = Piece(1.5 * math.pi / math.cos(0.1), 0.1, 0.1, math.pi / 2, 20.0, 0.35, 1.0)
    >>> round(bend_estimate(quarter, 1000.0).tension / work(quarter, 1000.0).tension, 3)
    1.0
    """
    middle = 0.5 * (p.grade_in + p.grade_out)
    angle = math.hypot(p.grade_out - p.grade_in, p.turn * math.cos(middle))
    radius, climb = p.length / angle, p.length * math.sin(middle)
    press = p.weight * radius * math.cos(middle)
    bend = p.c * angle
    tension = entry * math.cosh(bend) + math.hypot(entry, press) * math.sinh(bend)
    return Estimate(angle, radius, climb, press, tension + p.weight * climb * math.exp(0.5 * bend))


def _estimated(p: Piece, entry: float, exact: float) -> tuple[str, ...]:
    """Write the estimate of a bend on a grade, and how far it is from the integration."""
    if entry < 0:
        return ()
    found = bend_estimate(p, entry)
    ct, gm = number(p.c * found.angle), number(0.5 * (p.grade_in + p.grade_out))
    apart = found.tension - exact
    part = f" ({100 * abs(apart) / exact:.2g} %)" if exact > abs(apart) else ""
    side = "above" if apart > 0 else "below"
    return (
        "by hand, about: T2 = T1 cosh(c a) + sqrt(T1^2 + (w R cos gm)^2) sinh(c a) + w L sin gm e^(c a/2)",
        f"   with gm = {gm} the mean grade, a = sqrt((g1 - g0)^2 + (turn cos gm)^2) = {number(found.angle)},",
        f"   R = L/a = {number(found.radius)}, w R cos gm = {number(found.press)}, c a = {ct}, "
        f"L sin gm = {number(found.climb)}",
        f"   = {number(entry)} cosh({ct}) + sqrt({number(entry)}^2 + {number(found.press)}^2) sinh({ct}) "
        f"+ {number(p.weight)} x {number(found.climb)} e^({ct}/2)",
        f"   = {number(found.tension)}, {number(abs(apart))} {side} the integration{part}, which stands:",
    )


def _stepwise(p: Piece, entry: float) -> Worked:
    """Work a bend on a grade by the classical fourth-order rule."""
    turn, rate = p.turn / p.length, (p.grade_out - p.grade_in) / p.length

    def slope(s: float, tension: float) -> float:
        g = p.grade_in + rate * s
        across = math.hypot(tension * rate - p.weight * math.cos(g), tension * turn * math.cos(g))
        return p.weight * math.sin(g) + p.c * across

    def march(steps: int) -> list[tuple[float, float, float, float, float, float]]:
        size, tension, rows = p.length / steps, entry, []
        for i in range(steps):
            s = i * size
            k1 = slope(s, tension)
            k2 = slope(s + size / 2, tension + size / 2 * k1)
            k3 = slope(s + size / 2, tension + size / 2 * k2)
            k4 = slope(s + size, tension + size * k3)
            tension += size / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
            rows.append((k1, k2, k3, k4, s + size, tension))
        return rows

    steps, rows = 1, march(1)
    while steps < 64:
        finer = march(2 * steps)
        settled = abs(finer[-1][-1] - rows[-1][-1]) <= 1e-7 * max(1.0, abs(finer[-1][-1]))
        steps, rows = 2 * steps, finer
        if settled:
            break
    lines = [
        *_estimated(p, entry, rows[-1][-1]),
        "dT/ds = w sin g + c sqrt((T g' - w cos g)^2 + (T h' cos g)^2)",
        f"   with g from {number(p.grade_in)} to {number(p.grade_out)}, g' = {number(rate)}, h' = {number(turn)}",
        f"   {steps} steps of {number(p.length / steps)}, T2 = T1 + step/6 (k1 + 2 k2 + 2 k3 + k4):",
    ]
    lines += [
        f"   k = {number(k1)}, {number(k2)}, {number(k3)}, {number(k4)}: T({number(s)}) = {number(t)}"
        for k1, k2, k3, k4, s, t in rows
    ]
    return Worked(tuple(lines), rows[-1][-1])
