"""Where the friction of a segment comes from: worn with distance, or changed by how hard the cable is pressed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from tautline.document import Document
from tautline.explain_piece import Piece, number
from tautline.explain_units import Units

_SAME = 1e-6  # relative
_SPREAD = 0.1  # of the force about which friction changes with pressing, either way


@dataclass(frozen=True)
class Slid:
    """How far a cable has slid since its last lubrication, segment by segment.

    Parameters
    ----------
    middle : tuple of float
        At the middle of each segment; guides do not count. [m]
    since : tuple of str
        The vault where that was.
    """

    middle: tuple[float, ...]
    since: tuple[str, ...]


def slid(pull: Document) -> Slid:
    """Return how far the cable of a pull has slid since its last lubrication.

    Parameters
    ----------
    pull : dict
        A pull of a result document.

    Returns
    -------
    Slid
        One entry a segment.
    """
    segments, station = pull["segments"], pull["profile"]["station_m"]
    fresh = [(p["station_m"], p["tag"]) for p in pull["passes"] if p["tag"] in pull["relube"]]
    middle, since = [], []
    distance, tag = 0.0, pull["feed"]
    for i, length in enumerate(segments["length_m"]):
        guide = segments["guide"][i]
        # lubricant added at a vault counts from the end of its crossing on
        if fresh and not _in_vault(segments, i) and station[i] >= fresh[0][0] - 1e-6:
            distance, tag = 0.0, fresh.pop(0)[1]
        middle.append(distance + (0.0 if guide else 0.5 * length))
        since.append(tag)
        distance += 0.0 if guide else length
    return Slid(tuple(middle), tuple(since))


def _in_vault(segments: Document, i: int) -> bool:
    return bool(segments["guide"][i]) or segments["how"][i] in ("guide", "vault")


def common_friction(segments: Document, i: int, way: Slid, units: Units) -> tuple[str, ...] | None:
    """Say how the friction of a segment comes about in words that hold for others lubricated at the same place too.

    Parameters
    ----------
    segments : dict
        Of a pull.
    i : int
        Which.
    way : Slid
        How far the cable has slid.
    units : Units
        Of the hand calculation.

    Returns
    -------
    tuple of str, or None
        Nothing where friction is constant; None where it has to be worked for the segment alone.
    """
    if "law" not in segments:
        return ()
    law = segments["laws"][segments["law"][i]]
    light, hold, dry, since = law["lubricated"], law["hold_m"], law["dry"], way.since[i]
    used, said = light, tuple[str, ...]()
    if hold is not None and dry is not None:
        d = f"d [{units.length_name}] from {since} to the middle of each part"
        said = (
            f"f = {number(light)}: lubricated at {since}, and the lubricant holds for {units.told_length(hold)}; {d}",
        )
        if way.middle[i] > hold:
            used = dry - (dry - light) * math.exp(-(way.middle[i] - hold) / hold)
            said = (
                f"f = dry - (dry - lubricated) e^(-(d - hold)/hold), {d}",
                f"  = {number(dry)} - ({number(dry)} - {number(light)}) e^(-(d - {units.length(hold)}) / {units.length(hold)})",
            )
    if law["pressed"] is not None:
        said += (
            f"pressed too lightly for the {number(law['pressed'] / law['lubricated'])} times that of hard contact",
        )
    return said if math.isclose(segments["friction"][i], used, rel_tol=_SAME) else None


def friction_lines(
    segments: Document, i: int, way: Slid, units: Units, piece: Piece, ends: tuple[float, float]
) -> Iterator[str]:
    """Say how the friction of a segment comes about, with the numbers put in.

    Parameters
    ----------
    segments : dict
        Of a pull.
    i : int
        Which.
    way : Slid
        How far the cable has slid.
    units : Units
        Of the hand calculation.
    piece : Piece
        The segment in those units.
    ends : tuple of float
        Tension entering and leaving it, in the page's unit.

    Yields
    ------
    str
        Nothing where friction is constant.
    """
    if "law" not in segments:
        return
    law = segments["laws"][segments["law"][i]]
    used = segments["friction"][i]
    light = law["lubricated"]
    if law["hold_m"] is not None and law["dry"] is not None:
        hold, dry, d = law["hold_m"], law["dry"], way.middle[i]
        at, since = units.told_length(d), way.since[i]
        if d <= hold:
            yield f"f = {number(light)}: lubricated, {at} from {since}, and the lubricant holds for {units.told_length(hold)}"
        else:
            light = dry - (dry - light) * math.exp(-(d - hold) / hold)
            yield (
                f"f = dry - (dry - lubricated) e^(-(d - hold)/hold), d = {at} from {since}, hold {units.told_length(hold)}"
            )
            yield (
                f"  = {number(dry)} - ({number(dry)} - {number(law['lubricated'])}) "
                f"e^(-({units.length(d)} - {units.length(hold)}) / {units.length(hold)}) = {number(light)}"
            )
    if law["pressed"] is not None:
        yield from _pressed(law, light, used, segments["sidewall_factor"][i], units, piece, ends)
    elif not math.isclose(used, light, rel_tol=_SAME):
        yield f"taken: {number(used)}, that at the middle of the stretch of which this is a part"


def _pressed(
    law: Document,
    light: float,
    used: float,
    share: float,
    units: Units,
    piece: Piece,
    ends: tuple[float, float],
) -> Iterator[str]:
    """Say how hard one cable is pressed, and what that makes of the friction."""
    hard = light * law["pressed"] / law["lubricated"]
    force = law["press_force_N_per_m"] * units.length_unit / units.force_unit
    low, high = (1 - _SPREAD) * force, (1 + _SPREAD) * force
    one, other = (
        share * contact(piece, g, tension)
        for g, tension in zip((piece.grade_in, piece.grade_out), ends, strict=True)
    )
    yield (
        f"one cable is pressed with q N of {number(one)} {units.force_name}/{units.length_name} entering, {number(other)} leaving; "
        f"f is {number(light)} where that is below {number(low)}, {number(hard)} where above {number(high)}, and between "
        "them in a straight line"
    )
    if not math.isclose(used, light, rel_tol=_SAME):
        yield f"taken: {number(used)}, which all along the segment gives the same T2 as what changes on its way"


def contact(piece: Piece, grade: float, tension: float) -> float:
    """Return how hard a bundle is pressed against its duct.

    Parameters
    ----------
    piece : Piece
        A segment.
    grade : float
        At the place in question. [rad]
    tension : float
        There. [N]

    Returns
    -------
    float
        By length. [N/m]

    Examples
    --------
    >>> contact(Piece(3.0, 0.0, 0.0, 1.0, 20.0, 0.2, 1.0), 0.0, 45.0)  # level, R 3: weight and 45/3 across it
    25.0
    """
    turn, rate = piece.turn / piece.length, (piece.grade_out - piece.grade_in) / piece.length
    return math.hypot(tension * rate - piece.weight * math.cos(grade), tension * turn * math.cos(grade))
