"""Where the friction of a segment comes from: worn with distance, or changed by how hard the cable is pressed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from tautline.document import Document
from tautline.explain_segment import number
from tautline.explain_units import Units

_SAME = 1e-6  # relative


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


def friction_lines(segments: Document, i: int, way: Slid, units: Units) -> Iterator[str]:
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
        pressed = light * law["pressed"] / law["lubricated"]
        yield (
            f"f between {number(light)} and {number(pressed)}, where one cable is pressed with more than "
            f"{units.told_per_length(law['press_force_N_per_m'])}: {number(used)} gives the same T2"
        )
    elif not math.isclose(used, light, rel_tol=_SAME):
        yield f"taken: {number(used)}, that at the middle of the stretch of which this is a part"
