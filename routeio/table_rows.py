"""Rows of a bend schedule as segments: straights, bends, rises, drops and offsets, each from what it is stated by."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from mechanics.errors import DomainError

#: What people write in the column ``kind``, and what it is.
KINDS = {
    word: kind
    for kind, words in {
        "vault": ("vault", "manhole", "handhole", "pull box", "chamber", "structure", "mh"),
        "straight": ("straight", "run", "tangent", "straight run"),
        "bend": ("bend", "elbow", "sweep", "curve", "arc"),
        "rise": ("rise",),
        "drop": ("drop", "fall", "dip"),
        "offset": ("offset", "kick", "jog"),
        "end": ("end",),
    }.items()
    for word in words
}
#: What people write in the column ``direction``, and what it is.
DIRECTIONS = {
    word: way
    for way, words in {
        "left": ("left", "l", "lt", "lh"),
        "right": ("right", "r", "rt", "rh"),
        "up": ("up", "u"),
        "down": ("down", "d", "dn"),
    }.items()
    for word in words
}
#: Sideways bends are stated by their turn in plan up to this grade. [rad]
_STEEP = math.radians(60.0)
#: Lengths beyond this are no span's. [m]
_LONGEST = 1e5


@dataclass(frozen=True)
class Segment:
    """Four numbers of a chain.

    Parameters
    ----------
    length : float
        [m]
    grade_in, grade_out : float
        [rad]
    turn : float
        Left positive. [rad]
    """

    length: float
    grade_in: float
    grade_out: float
    turn: float = 0.0


def segments(kind: str, direction: str, values: Mapping[str, float], grade: float) -> list[Segment]:
    """Return the segments a row stands for.

    Parameters
    ----------
    kind : str
        ``straight``, ``bend``, ``rise``, ``drop`` or ``offset``.
    direction : str
        ``left``, ``right``, ``up`` or ``down``; rises and drops need none.
    values : mapping of str to float
        Of ``length``, ``angle``, ``radius``, ``offset`` those that are stated. [m, rad]
    grade : float
        At which the row before it ended. [rad]

    Returns
    -------
    list of Segment
        One, or the bends and the straight between them of an offset.

    Raises
    ------
    DomainError
        Something is missing, or no duct runs so.

    Examples
    --------
    >>> [(round(s.length, 2), s.turn) for s in segments("bend", "left", {"angle": 0.5, "radius": 4.0}, 0.0)]
    [(2.0, 0.5)]
    """
    if kind == "straight":
        _without(kind, values, "angle", "radius", "offset")
        return [Segment(_length(_need(kind, values, "length", "120 ft")), grade, grade)]
    if kind == "bend":
        _without(kind, values, "offset")
        return [_bend(_way(kind, direction), values, grade)]
    way = {"rise": "up", "drop": "down"}.get(kind) or _way(kind, direction)
    if kind != "offset" and direction and direction != way:
        raise DomainError(f"a {kind} goes {way}; direction says {direction!r}")
    return _shifted(kind, way, values, grade)


def _need(kind: str, values: Mapping[str, float], name: str, example: str) -> float:
    value = values.get(name)
    if value is None:
        raise DomainError(f"the {kind} has no {name}; write it, such as {example}")
    if not value > 0.0:
        raise DomainError(f"{name} of the {kind} must be above 0, got {value:g}")
    return value


def _length(value: float) -> float:
    if not value < _LONGEST:
        raise DomainError(f"a length of {value:g} m is no duct's; check its unit")
    return value


def _without(kind: str, values: Mapping[str, float], *names: str) -> None:
    for name in names:
        if values.get(name):
            raise DomainError(f"a {kind} has no {name}; write another row for it")


def _way(kind: str, direction: str) -> str:
    if direction not in ("left", "right", "up", "down"):
        raise DomainError(
            f"direction of the {kind} must be left, right, up or down, got {direction!r}; where the side is not known, "
            "left will do: tension and pressure are the same"
        )
    return direction


def _bend(way: str, values: Mapping[str, float], grade: float) -> Segment:
    angle = _need("bend", values, "angle", "45 deg")
    if not angle <= math.radians(360.0):
        raise DomainError(f"a bend of {math.degrees(angle):.0f} degrees is none; check its unit")
    if "radius" in values:
        length = _length(_need("bend", values, "radius", "12.5 ft") * angle)
        stated = values.get("length")
        if stated is not None and not abs(stated - length) <= 0.02 * length + 0.005:
            raise DomainError(
                f"angle and radius make the bend {length:.3f} m ({length / 0.3048:.2f} ft) long, and its length says "
                f"{stated:.3f} m ({stated / 0.3048:.2f} ft); leave one of the three out"
            )
    elif "length" in values:
        length = _length(_need("bend", values, "length", "9.8 ft"))
    else:
        raise DomainError("the bend has no radius; write it, such as 12.5 ft (to the middle of the duct)")
    return _turned(way, angle, length, grade)


def _turned(way: str, angle: float, length: float, grade: float) -> Segment:
    if way in ("up", "down"):
        after = grade + (angle if way == "up" else -angle)
        if not abs(after) <= math.pi / 2 + 1e-6:
            raise DomainError(
                f"the bend {way} leads beyond upright, to {math.degrees(after):+.1f} degrees; check the bends before it"
            )
        after = min(max(after, -math.pi / 2), math.pi / 2)
        return Segment(length, grade, 0.0 if abs(after) < 1e-9 else after)
    if not abs(grade) <= _STEEP:
        raise DomainError(
            f"the duct is at {math.degrees(grade):+.0f} degrees there, where left and right say too little; bend it level "
            "first"
        )
    # the bend turns the duct by its angle: in plan, by more where the duct is inclined
    turn = angle / math.cos(grade)
    return Segment(length, grade, grade, turn if way == "left" else -turn)


def _shifted(kind: str, way: str, values: Mapping[str, float], grade: float) -> list[Segment]:
    """Return two equal bends, one back from the other, that shift the duct, with the straight between them."""
    shift = _need(kind, values, "offset", "3 ft")
    radius = _need(kind, values, "radius", "12.5 ft")
    if "angle" in values and "length" in values:
        raise DomainError(f"the {kind} has an angle and a length; state one of them, the other follows")
    if "angle" in values:
        angle = _need(kind, values, "angle", "22.5 deg")
        if not angle <= math.pi / 2:
            raise DomainError(
                f"angle of the {kind} must be at most 90 degrees, got {math.degrees(angle):.1f}"
            )
        between = (shift - 2.0 * radius * (1.0 - math.cos(angle))) / math.sin(angle)
        if not between >= -1e-9:
            most = 2.0 * radius * (1.0 - math.cos(angle))
            raise DomainError(
                f"two bends of that radius and angle shift the duct by {most:.3f} m ({most / 0.3048:.2f} ft), more than "
                "stated; state a smaller angle or radius"
            )
    elif "length" in values:
        length = _length(_need(kind, values, "length", "40 ft"))
        angle = _angle_over(shift, radius, length)
        between = length - 2.0 * radius * angle
    else:
        if not shift <= 2.0 * radius:
            raise DomainError(
                f"the {kind} is more than two bends of that radius shift; state an angle as well"
            )
        angle, between = math.acos(1.0 - shift / (2.0 * radius)), 0.0
    back = {"up": "down", "down": "up", "left": "right", "right": "left"}[way]
    first = _turned(way, angle, _length(radius * angle), grade)
    last = _turned(back, angle, radius * angle, first.grade_out)
    if way in ("up", "down"):
        last = Segment(last.length, last.grade_in, grade)
    if between > 1e-6:
        return [first, Segment(_length(between), first.grade_out, first.grade_out), last]
    return [first, last]


def _angle_over(shift: float, radius: float, length: float) -> float:
    """Return the angle of the two bends where the whole takes a stated length along the duct."""

    def reached(angle: float) -> float:
        return 2.0 * radius * (1.0 - math.cos(angle)) + (length - 2.0 * radius * angle) * math.sin(angle)

    low, high = 0.0, min(length / (2.0 * radius), math.pi / 2)
    if not reached(high) >= shift:
        raise DomainError(
            f"bends of that radius cannot shift the duct so far over {length:.3f} m ({length / 0.3048:.2f} ft); state a "
            "greater length or a smaller radius"
        )
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if reached(middle) < shift else (low, middle)
    return high
