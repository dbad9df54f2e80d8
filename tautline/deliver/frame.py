"""What every deliverable sees of a result document: its pulls numbered, bends found, stations placed on the map."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

from tautline.deliver.present import Units, isolated, plain, words

Document = Mapping[str, Any]
Point = tuple[float, float]

_NEAR = 1e-3
"""Metres within which two stations of a document are one."""

_GATHERED = 30.0
"""Metres up to which sweeps that follow each other are one vertical curve, as a terrain's points are apart."""


@dataclass(frozen=True)
class Band:
    """A class of utilisation and how it is drawn, so that it is told apart without colour too.

    Parameters
    ----------
    words : str
        As the legend says it.
    top : float
        Utilisation up to which it goes.
    colour : str
        Of the palette of Okabe and Ito (2008), made for colour-blind readers.
    aci : int
        Nearest colour of a CAD program's index.
    width : float
        Line width. [px]
    dash : str
        SVG dash pattern, empty for a full line.
    """

    words: str
    top: float
    colour: str
    aci: int
    width: float
    dash: str


BANDS = (
    Band("up to 50 %", 0.5, "#0072B2", 150, 3.0, ""),
    Band("50 to 80 %", 0.8, "#009E73", 92, 4.0, "14 3"),
    Band("80 to 100 %: attention", 1.0, "#E69F00", 30, 5.5, "7 3"),
    Band("over 100 %: fails", math.inf, "#D55E00", 1, 7.0, "3 2"),
)


def band(utilisation: float, verdict: str = "pass") -> Band:
    """Return the class of a pull; one that fails is in the last whatever its utilisation.

    Parameters
    ----------
    utilisation : float
        Worst of a binding check.
    verdict : str, optional
        Of the pull.

    Returns
    -------
    Band
        One of :data:`BANDS`.
    """
    if verdict == "fail":
        return BANDS[-1]
    return next((b for b in BANDS if utilisation <= b.top), BANDS[-1])


ROLES = {
    "end": "end of the feeder",
    "splice": "splice",
    "feed": "feed",
    "pull": "pull",
    "relube": "re-lube",
    "pass": "pass-through",
    "proposed": "new vault",
}
"""What a vault does in the plan, the weightiest first, and how a person reads it."""


def rank(roles: Sequence[str]) -> int:
    """Return how weighty a vault's weightiest role is: 0 the most.

    Parameters
    ----------
    roles : sequence of str
        As the document holds them.

    Returns
    -------
    int
        Greater than all where it has no role.
    """
    return min((list(ROLES).index(r) for r in roles if r in ROLES), default=len(ROLES))


def role_words(roles: Sequence[str], changes: bool = False) -> str:
    """Return a vault's work in words; a pass-through vault and an end have none of their own.

    Parameters
    ----------
    roles : sequence of str
        As the document holds them.
    changes : bool, optional
        Whether another bundle goes on from there.

    Returns
    -------
    str
        Empty where there is nothing to do.
    """
    work = [ROLES.get(r, plain(r)) for r in roles if r not in ("pass", "end")]
    return ", ".join([*work, "bundle changes"] if changes else work)


@dataclass(frozen=True)
class Bend:
    """A curve along a pull, its pieces put together.

    Parameters
    ----------
    start, end : float
        Stations. [m]
    turn : float
        In plan, left positive. [rad]
    rise : float
        Change of grade. [rad]
    guide : bool
        Whether it is a guide at a vault.
    """

    start: float
    end: float
    turn: float
    rise: float
    guide: bool

    @property
    def angle(self) -> float:
        """Total change of direction. [rad]"""
        return math.hypot(self.turn, self.rise)

    @property
    def radius(self) -> float:
        """Centreline radius. [m]"""
        return (self.end - self.start) / self.angle

    @property
    def kind(self) -> str:
        """Guide, sag, crest or bend."""
        if self.guide:
            return "guide"
        if abs(self.turn) >= abs(self.rise):
            return "bend"
        return "sag" if self.rise > 0 else "crest"


@dataclass(frozen=True, eq=False)
class Pull:
    """One pull of the document with its number.

    Parameters
    ----------
    number : int
        From 1, in the order of the document.
    section : int
        From 1; 0 where the document has no sections.
    data : mapping
        The pull as the document holds it.
    """

    number: int
    section: int
    data: Mapping[str, Any]

    @property
    def title(self) -> str:
        """Feed and pull vault, as plain text."""
        return f"{isolated(self.data['feed'])} -> {isolated(self.data['pull'])}"

    @property
    def band(self) -> Band:
        """Class of its utilisation."""
        return band(self.data["utilisation"], self.data["verdict"])

    @cached_property
    def ends(self) -> list[float]:
        """Stations of the segment ends, 0 first. [m]"""
        out = [0.0]
        for length in self.data["segments"]["length_m"]:
            out.append(out[-1] + length)
        return out

    @cached_property
    def vaults(self) -> list[tuple[float, str]]:
        """Station and tag of the feed, every vault passed, and the pull vault."""
        passes = [(p["station_m"], isolated(p["tag"])) for p in self.data["passes"]]
        return [
            (0.0, isolated(self.data["feed"])),
            *passes,
            (self.data["length_m"], isolated(self.data["pull"])),
        ]

    def arrows(self, most: int) -> list[float]:
        """Return stations clear of the vaults where an arrow shows which way the cable goes, at most ``most``."""
        stations = [s for s, _ in self.vaults]
        gaps = sorted(((b - a, (a + b) / 2) for a, b in pairwise(stations)), reverse=True)
        return sorted(middle for _, middle in gaps[:most])

    @cached_property
    def bends(self) -> list[Bend]:
        """Curves in order; neighbouring pieces of one curvature are one bend."""
        s, found = self.data["segments"], list[Bend]()
        for k, length in enumerate(s["length_m"]):
            turn, rise = s["turn_rad"][k], s["grade_out_rad"][k] - s["grade_in_rad"][k]
            if math.hypot(turn, rise) < 1e-9:
                continue
            piece = Bend(self.ends[k], self.ends[k] + length, turn, rise, bool(s["guide"][k]))
            last = found[-1] if found else None
            if last and last.end >= piece.start - 1e-9 and _alike(last, piece):
                found[-1] = Bend(last.start, piece.end, last.turn + turn, last.rise + rise, piece.guide)
            else:
                found.append(piece)
        return found

    @cached_property
    def curves(self) -> list[tuple[Bend, ...]]:
        """Bends as a person counts them: close sags of one vertical curve, or close crests, are one."""
        found = list[tuple[Bend, ...]]()
        for b in self.bends:
            last = found[-1][-1] if found else None
            if (
                last
                and b.kind == last.kind
                and b.kind in ("sag", "crest")
                and b.start - last.end <= _GATHERED
            ):
                found[-1] = (*found[-1], b)
            else:
                found.append((b,))
        return found

    def bend_at(self, station: float) -> Bend | None:
        """Return the bend a station lies in or at the end of."""
        return next((b for b in self.bends if b.start - _NEAR <= station <= b.end + _NEAR), None)

    def place(self, station: float | None, units: Units) -> str:
        """Return a station in words: the bend it lies in, and the nearest vault."""
        if station is None:
            return ""
        found = self.bend_at(station)
        near = self.near(station, units)
        return f"{bend_words(found, units)}, {near}" if found else near

    def governing(self, units: Units) -> str:
        """Return which check governs, and where unless that is the worst sidewall pressure, the end, or all along."""
        name = str(self.data["governs"])
        if not name:
            return ""
        told = f"{words(plain(name))} governs"
        station = next((c["station_m"] for c in self.data["checks"] if c["name"] == name), None)
        hot = self.data["max_sidewall_station_m"]
        if station is None or not _NEAR < station < self.data["length_m"] - _NEAR:
            return told
        if hot is not None and self.bend_at(station) and self.bend_at(station) == self.bend_at(hot):
            return told
        return f"{told}: {self.place(station, units)}"

    def near(self, station: float, units: Units) -> str:
        """Return how far a station is from the nearest vault, in words."""
        at, tag = min(self.vaults, key=lambda v: abs(v[0] - station))
        gap = station - at
        if abs(gap) < 0.5:
            return f"at {tag}"
        return f"{units.text('length', abs(gap))} {'past' if gap > 0 else 'before'} {tag}"

    @cached_property
    def _stations(self) -> list[float]:
        """Station of every path vertex, fitted segment by segment where the document says which is which."""
        path, index = self.data["path"], self.data["segments"].get("path_index")
        if not index or len(index) != len(self.ends) or index[-1] >= len(path):
            index, ends = [0, len(path) - 1], [0.0, self.data["length_m"]]
        else:
            ends = self.ends
        out = [0.0] * len(path)
        for k in range(len(index) - 1):
            low, high = index[k], index[k + 1]
            along = [0.0]
            for a, b in zip(path[low:high], path[low + 1 : high + 1], strict=True):
                along.append(along[-1] + math.dist(_xyz(a), _xyz(b)))
            scale = (ends[k + 1] - ends[k]) / along[-1] if along[-1] > 0 else 0.0
            for j, distance in enumerate(along):
                out[low + j] = ends[k] + distance * scale
        return out

    def point(self, station: float) -> Point:
        """Return the place of a station on the map. [m]"""
        path, stations = self.data["path"], self._stations
        if len(path) < 2:
            return (path[0][0], path[0][1]) if path else (math.nan, math.nan)
        k = min(max(bisect_left(stations, station), 1), len(path) - 1)
        step = stations[k] - stations[k - 1]
        f = min(max((station - stations[k - 1]) / step, 0.0), 1.0) if step > 0 else 0.0
        (x0, y0, *_), (x1, y1, *_) = path[k - 1], path[k]
        return x0 + f * (x1 - x0), y0 + f * (y1 - y0)

    def heading(self, station: float) -> float:
        """Return the direction of travel at a station, from the x axis anticlockwise. [rad]"""
        reach = max(self.data["length_m"] * 0.005, 0.2)
        (x0, y0), (x1, y1) = self.point(station - reach), self.point(station + reach)
        return math.atan2(y1 - y0, x1 - x0)


def uncovered(document: Document) -> set[frozenset[str]]:
    """Return the spans that no section gets through, by the tags at their ends.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    set of frozenset of str
        Empty where there is a plan.
    """
    missing = (document.get("no_plan") or {}).get("missing") or ()
    return {frozenset(span) for stretch in missing for span in stretch["spans"]}


def bend_words(bend: Bend, units: Units) -> str:
    """Return a bend in words: angle, kind and radius.

    Parameters
    ----------
    bend : Bend
        The bend.
    units : Units
        Of the job.

    Returns
    -------
    str
        Such as ``90° bend R 12.5 ft``.
    """
    radius = units.text("size" if bend.radius < 3.0 else "length", bend.radius)
    return f"{math.degrees(bend.angle):.0f}° {bend.kind} R {radius}"


def curve_words(curve: Sequence[Bend], units: Units) -> str:
    """Return a curve of one bend or more in words.

    Parameters
    ----------
    curve : sequence of Bend
        In order.
    units : Units
        Of the job.

    Returns
    -------
    str
        Such as ``17° sag, 6 sweeps over 98.4 ft, R 65.6 ft or more``.
    """
    if len(curve) == 1:
        return bend_words(curve[0], units)
    angle, radius = sum(b.angle for b in curve), min(b.radius for b in curve)
    over = units.text("length", curve[-1].end - curve[0].start)
    least = units.text("size" if radius < 3.0 else "length", radius)
    return f"{math.degrees(angle):.0f}° {curve[0].kind}, {len(curve)} sweeps over {over}, R {least} or more"


def pulls_of(document: Document) -> tuple[Pull, ...]:
    """Return every pull of a document, numbered; of the best partial plan where there is no plan.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    tuple of Pull
        In the document's order.
    """
    if document["command"] == "check":
        return tuple(Pull(k, 0, p) for k, p in enumerate(document["pulls"], 1))
    sections = sections_of(document)
    each = [(s, p) for s, section in enumerate(sections, 1) for p in section["pulls"]]
    return tuple(Pull(k, s, p) for k, (s, p) in enumerate(each, 1))


def sections_of(document: Document) -> Sequence[Mapping[str, Any]]:
    """Return the sections of a plan, or of the best partial plan where there is none.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    sequence of mapping
        Empty for a check.
    """
    sections: Sequence[Mapping[str, Any]] = document.get("sections") or []
    if not sections and document.get("no_plan"):
        return list(document["no_plan"]["partial"])
    return sections


def elevated(profile: Mapping[str, Any]) -> bool:
    """Say whether a profile has elevations that tell anything.

    Parameters
    ----------
    profile : mapping
        A profile of the document.

    Returns
    -------
    bool
        Whether more than one is known and they differ.
    """
    known = [z for z in profile["elevation_m"] if z is not None]
    return len(known) > 1 and max(known) - min(known) > 0.01


def arcs(item: Mapping[str, Any], turns: Sequence[float]) -> list[tuple[float, float, float]] | None:
    """Return (x, y, bulge) of a path whose segments are known, or None where they are not.

    A segment that is straight or a circular arc in plan becomes one vertex; any other keeps its chords.

    Parameters
    ----------
    item : mapping
        A pull or a span of the route.
    turns : sequence of float
        Turn of each of its segments, left positive. [rad]

    Returns
    -------
    list of (float, float, float) or None
        In metres; the bulge is that of the leg that begins there.
    """
    path, index = item["path"], item.get("path_index") or item.get("segments", {}).get("path_index")
    if not index or len(index) != len(turns) + 1 or index[-1] >= len(path):
        return None
    out: list[tuple[float, float, float]] = []
    for k, turn in enumerate(turns):
        low, high = index[k], index[k + 1]
        if low == high:
            continue
        if abs(turn) < 1e-9:
            out.append((path[low][0], path[low][1], 0.0))
        elif _circular(path[low : high + 1], turn):
            out.append((path[low][0], path[low][1], math.tan(turn / 4)))
        else:
            out.extend((p[0], p[1], 0.0) for p in path[low:high])
    out.append((path[index[-1]][0], path[index[-1]][1], 0.0))
    return out


def _circular(points: Sequence[Sequence[float]], turn: float) -> bool:
    """Whether chords lie on the arc of their end points and ``turn``, within a hundredth of its sagitta or 5 mm."""
    if abs(turn) < 1e-9 or abs(turn) > math.pi or len(points) < 3:
        return False
    (x0, y0, *_), (x1, y1, *_) = points[0], points[-1]
    chord = math.hypot(x1 - x0, y1 - y0)
    if chord == 0:
        return False
    radius = chord / (2 * math.sin(abs(turn) / 2))
    # the centre lies left of the chord for a left turn
    offset = math.copysign(radius * math.cos(turn / 2), turn)
    cx = (x0 + x1) / 2 - (y1 - y0) / chord * offset
    cy = (y0 + y1) / 2 + (x1 - x0) / chord * offset
    slack = max(0.005, 0.01 * radius * (1 - math.cos(turn / 2)))
    return all(abs(math.hypot(p[0] - cx, p[1] - cy) - radius) <= slack for p in points)


def _alike(a: Bend, b: Bend) -> bool:
    la, lb = a.end - a.start, b.end - b.start
    near = [
        abs(p / la - q / lb) <= 1e-4 * max(abs(p / la), abs(q / lb), 1e-4)
        for p, q in ((a.turn, b.turn), (a.rise, b.rise))
    ]
    return a.guide == b.guide and all(near)


def _xyz(point: Sequence[float | None]) -> tuple[float, float, float]:
    return point[0] or 0.0, point[1] or 0.0, point[2] or 0.0
