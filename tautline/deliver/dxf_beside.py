"""What stands under the plan of a drawing: the schedule of pulls, the legend, and a profile of every pull."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tautline.deliver.bundles import cables_in
from tautline.deliver.chart import below
from tautline.deliver.dxf_pen import WIDTHS, Pen
from tautline.deliver.frame import BANDS, ROLES, Document, Pull, elevated
from tautline.deliver.labels import text_width
from tautline.deliver.present import Units, count, plain, used, words
from tautline.deliver.svg import shorten, tick_text, ticks
from tautline.document import bundle_of

_FIGURES = (0, 3, 4, 5, 6, 7, 8)
"""Columns of the schedule that hold figures."""
MOST = 120
"""Pulls up to which a drawing holds their profiles."""
_WIDE, _HIGH, _LOW = 90.0, 22.0, 12.0
"""Width of a profile, height of its tension panel and of the others, in letter heights."""


@dataclass(frozen=True)
class Corner:
    """Where to draw, and how large.

    Parameters
    ----------
    x, y : float
        Upper left corner.
    h : float
        Height of a letter.
    """

    x: float
    y: float
    h: float


def rows_in_a_block(pulls: int) -> int:
    """Return how many rows of a schedule stand under each other before it goes on beside itself.

    Parameters
    ----------
    pulls : int
        How many there are.

    Returns
    -------
    int
        At least 30.
    """
    return max(30, math.ceil(math.sqrt(8.0 * pulls)))


def draw_schedule(pen: Pen, document: Document, pulls: Sequence[Pull], at: Corner) -> tuple[float, float]:
    """Draw the table of pulls.

    Parameters
    ----------
    pen : Pen
        What draws.
    document : mapping
        A result document.
    pulls : sequence of Pull
        Its pulls.
    at : Corner
        Where.

    Returns
    -------
    (float, float)
        Its right and lower edges.
    """
    units, h, x = Units.of(document), at.h, at.x
    heads = [
        "no",
        "feed",
        "pull",
        units.label("length"),
        f"exit {units.label('force')}",
        "limit",
        f"sidewall {units.label('pressure')}",
        "limit",
        "use",
        "verdict",
        "re-lube",
    ]
    body = [_row(p, units) for p in pulls]
    if document.get("other_bundles"):
        heads.append("cables")
        body = [
            [*row, cables_in(bundle_of(document, p.data), units)] for row, p in zip(body, pulls, strict=True)
        ]
    tall = rows_in_a_block(len(body))
    blocks = [body[k : k + tall] for k in range(0, len(body), tall)] or [[]]
    wide = [max(text_width(r[k], h) for r in (heads, *body)) + 2 * h for k in range(len(heads))]
    verdict = document["verdict"].replace("-", " ").upper()
    title = f"{plain(document['job']['name'])}: {verdict}, {count(len(pulls), 'pull')}"
    pen.text(title, x, at.y + h, "SCHEDULE", 1.4 * h)
    for block in blocks:
        _table(pen, [heads, *block], wide, Corner(x, at.y, h))
        x += sum(wide) + 4 * h
    return x, at.y - 2.0 * h * (min(tall, len(body)) + 1)


def _row(p: Pull, units: Units) -> list[str]:
    return [
        str(p.number),
        plain(p.data["feed"]),
        plain(p.data["pull"]),
        units.figure("length", p.data["length_m"]),
        units.figure("force", p.data["exit_tension_N"]),
        units.figure("force", p.data["limits"]["max_tension_N"]),
        units.figure("pressure", p.data["max_sidewall_N_per_m"]),
        units.figure("pressure", p.data["limits"]["max_sidewall_N_per_m"]),
        used(p.data),
        p.data["verdict"],
        ", ".join(plain(v) for v in p.data["relube"]),
    ]


def _table(pen: Pen, rows: Sequence[Sequence[str]], wide: Sequence[float], at: Corner) -> None:
    h, step = at.h, 2.0 * at.h
    edges = [at.x + sum(wide[:k]) for k in range(len(wide) + 1)]
    for k in range(len(rows) + 1):
        pen.line(edges[0], at.y - k * step, edges[-1], at.y - k * step, "SCHEDULE")
    for edge in edges:
        pen.line(edge, at.y, edge, at.y - step * len(rows), "SCHEDULE")
    for j, row in enumerate(rows):
        for k, cell in enumerate(row):
            if cell:
                right = j > 0 and k in _FIGURES
                x = edges[k + 1] - h if right else edges[k] + h
                pen.text(cell, x, at.y - (j + 1) * step + 0.5 * h, "SCHEDULE", h, right=right)


def draw_legend(pen: Pen, document: Document, at: Corner) -> tuple[float, float]:
    """Draw line classes, marks, unit and source; return the right and lower edges.

    Parameters
    ----------
    pen : Pen
        What draws.
    document : mapping
        A result document.
    at : Corner
        Where.

    Returns
    -------
    (float, float)
        Its right and lower edges.
    """
    x, y, h = at.x, at.y, at.h
    pen.text("Pulls by utilisation (worst binding check)", x, y + h, "LEGEND", 1.2 * h)
    for k, b in enumerate(BANDS):
        y -= 2.0 * h
        line = [(x, y + 0.5 * h), (x + 8 * h, y + 0.5 * h)]
        pen.polyline(line, f"PULL-{k + 1}", width=h * WIDTHS[k])
        pen.text(b.words, x + 10 * h, y, "LEGEND", h)
    y -= h
    for role, meaning in ROLES.items():
        y -= 3.4 * h
        pen.vault(role, x + 4 * h, y + 0.5 * h, h)
        pen.text(meaning if role == "end" else f"{meaning} vault", x + 10 * h, y, "LEGEND", h)
    y -= 2 * h
    notes = [
        "X: worst sidewall pressure of a pull; arrows: direction of the pull",
        f"drawing unit: {words(plain(document['ground']['unit']))}; coordinates as in "
        f"{plain(document['source']['file'])}",
        f"crs: {plain(document['crs'] or 'not known')[:80]}",
        f"sha256 of the source {document['source']['sha256'][:16]}",
        "The cable maker's data, local codes and licensed practice go before this drawing.",
    ]
    for note in notes:
        y -= 2.0 * h
        pen.text(note, x, y, "LEGEND", h)
    return x + max(text_width(n, h) for n in notes), y


def draw_profiles(pen: Pen, document: Document, pulls: Sequence[Pull], at: Corner) -> None:
    """Draw a profile of every pull, some in a row.

    Parameters
    ----------
    pen : Pen
        What draws.
    document : mapping
        A result document.
    pulls : sequence of Pull
        Its pulls.
    at : Corner
        Where.
    """
    units, h = Units.of(document), at.h
    if len(pulls) > MOST:
        pen.text(
            f"Profiles are drawn for {MOST} pulls at most; the report has them all.",
            at.x,
            at.y,
            "PROFILE-TEXT",
            h,
        )
        return
    across = max(2, math.ceil(math.sqrt(len(pulls) / 2.0)))
    step = (_WIDE + 24.0) * h
    deep = (_HIGH + 2 * _LOW + 24.0) * h
    for k, p in enumerate(pulls):
        corner = Corner(at.x + (k % across) * step, at.y - (k // across) * deep, h)
        _profile(pen, p, units, corner)


def _profile(pen: Pen, p: Pull, units: Units, at: Corner) -> None:
    """One pull: tension with its limit, sidewall pressure, elevation."""
    d, h = p.data, at.h
    section = f"Section {p.section}, pull" if p.section else "Pull"
    x0 = at.x + 10 * h  # room for the figures of the scales
    # words between the names, since no arrow: a CAD program may draw one to the wrong side of names from right to left
    pen.text(f"{section} {p.number}: {d['feed']} to {d['pull']}", x0, at.y, "PROFILE-TEXT", 1.2 * h)
    stations = [units.value("length", s) for s in d["profile"]["station_m"]]
    end = stations[-1] or 1.0
    tension = [units.value("force", t) for t in d["profile"]["tension_N"]]
    wall = [units.value("pressure", w) for w in d["profile"]["sidewall_N_per_m"]]
    y = at.y - 6 * h
    names = [(units.value("length", s), tag) for s, tag in p.vaults]
    panels: list[tuple[str, str, list[float], float | None, float]] = [
        (f"tension, {units.label('force')}", "TENSION", tension, d["limits"]["max_tension_N"], _HIGH),
        (f"sidewall, {units.label('pressure')}", "SIDEWALL", wall, d["limits"]["max_sidewall_N_per_m"], _LOW),
    ]
    for title, layer, values, limit, high in panels:
        kind = "force" if layer == "TENSION" else "pressure"
        most = None if limit is None else units.value(kind, limit)
        top = 1.1 * max([*values, most or 0.0, 1e-9])
        frame = _Frame(pen, Corner(x0, y, h), end, 0.0, top, high * h)
        frame.draw(title)
        if layer == "TENSION":
            frame.curve(list(zip(stations, values, strict=True)), "PROFILE-TENSION")
        else:
            for k in range(1, len(stations)):
                if values[k] > 0:
                    frame.bar(stations[k - 1], stations[k], values[k], "PROFILE-SIDEWALL")
        if most is not None:
            frame.curve([(0.0, most), (end, most)], "PROFILE-LIMIT")
        frame.uprights(names)
        y -= (high + 4.0) * h
    if elevated(d["profile"]):
        known = [(s, z) for s, z in zip(stations, d["profile"]["elevation_m"], strict=True) if z is not None]
        heights = [(s, units.value("length", z)) for s, z in known]
        low, high_z = min(z for _, z in heights), max(z for _, z in heights)
        pad = max(0.15 * (high_z - low), 0.5)
        frame = _Frame(pen, Corner(x0, y, h), end, low - pad, high_z + pad, _LOW * h)
        frame.draw(f"elevation, {units.label('length')}")
        frame.curve(heights, "PROFILE-ELEVATION")
        frame.uprights(names)
        y -= (_LOW + 4.0) * h
    _under(pen, names, end, Corner(x0, y + 2.0 * h, h), units)


def _under(pen: Pen, names: Sequence[tuple[float, str]], end: float, at: Corner, units: Units) -> None:
    """Vault names where they fit, both ends always, and the stations."""
    h, room = at.h, list[tuple[float, float]]()
    inner = list(range(1, len(names) - 1))
    for k in [0, len(names) - 1, *inner]:
        station, tag = names[k]
        text = shorten(f"{tag} {units.figure('length', station * units.unit('length').scale)}", 26)
        wide = text_width(text, h)
        left = at.x + station / end * _WIDE * h
        left = left if k == 0 else left - wide if k == len(names) - 1 else left - wide / 2
        if k in inner and any(left < b + h and a < left + wide + h for a, b in room):
            continue
        room.append((left, left + wide))
        pen.text(text, left, at.y - h, "PROFILE-TEXT", h)


class _Frame:
    """A panel of a profile: a rectangle with its scales, y upward."""

    def __init__(self, pen: Pen, at: Corner, end: float, low: float, high: float, tall: float) -> None:
        self.pen, self.at, self.end, self.low, self.high, self.tall = pen, at, end, low, high, tall

    def spot(self, station: float, value: float) -> tuple[float, float]:
        x = self.at.x + station / self.end * _WIDE * self.at.h
        return x, self.at.y - self.tall + (value - self.low) / (self.high - self.low) * self.tall

    def draw(self, title: str) -> None:
        at, pen = self.at, self.pen
        right, bottom = at.x + _WIDE * at.h, at.y - self.tall
        box = [(at.x, at.y), (right, at.y), (right, bottom), (at.x, bottom)]
        pen.polyline(box, "PROFILE", close=True)
        pen.text(title, at.x, at.y + 0.6 * at.h, "PROFILE-TEXT", at.h)
        values = ticks(self.low, self.high, max(2, int(self.tall / at.h / 4)))
        for v in values:
            _, y = self.spot(0.0, v)
            pen.line(at.x - 0.6 * at.h, y, at.x, y, "PROFILE")
            pen.text(tick_text(v, values), at.x - at.h, y - 0.5 * at.h, "PROFILE-TEXT", at.h, right=True)

    def curve(self, points: Sequence[tuple[float, float]], layer: str) -> None:
        for run in below(points, self.high):
            self.pen.polyline([self.spot(s, v) for s, v in run], layer)

    def bar(self, start: float, stop: float, value: float, layer: str) -> None:
        (x0, y0), (x1, y1) = self.spot(start, 0.0), self.spot(stop, value)
        if x1 - x0 < 0.3 * self.at.h:
            self.pen.line((x0 + x1) / 2, y0, (x0 + x1) / 2, y1, layer)
        else:
            self.pen.polyline([(x0, y0), (x0, y1), (x1, y1), (x1, y0)], layer, close=True)

    def uprights(self, names: Sequence[tuple[float, str]]) -> None:
        for station, _ in names[1:-1]:
            (x, y0), (_, y1) = self.spot(station, self.low), self.spot(station, self.high)
            self.pen.line(x, y0, x, y1, "PROFILE")
