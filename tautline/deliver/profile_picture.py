"""Tension, sidewall pressure and elevation against station: of one pull both ways, and of the whole feeder."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from tautline.deliver.frame import Document, Pull, elevated, pulls_of, rank
from tautline.deliver.labels import text_width
from tautline.deliver.present import Units, plain
from tautline.deliver.svg import (
    FAINT,
    FONT,
    INK,
    Panel,
    element,
    number,
    path_data,
    shorten,
    tick_text,
    ticks,
)

_OTHER = "#7b3294"
_LIMIT = "#a31515"
_BEND = "#eef1f4"
_LEFT, _RIGHT, _GAP = 62.0, 16.0, 30.0


def pull_picture(p: Pull, units: Units, width: float = 620.0) -> Markup:
    """Return the chart of one pull, its other direction dashed beside it.

    Parameters
    ----------
    p : Pull
        The pull.
    units : Units
        Of the job.
    width : float, optional
        Of the picture. [px]

    Returns
    -------
    Markup
        One ``svg`` element; stations run from the feed of the pull.
    """
    d, length = p.data, max(p.data["length_m"], 1e-6)
    end = units.value("length", length)
    heights = [190.0, 120.0, *([90.0] if elevated(d["profile"]) else [])]
    panels, top = [], 62.0
    tops = [
        _top_of(units, "force", d["limits"]["max_tension_N"], d, "tension_N"),
        _top_of(units, "pressure", d["limits"]["max_sidewall_N_per_m"], d, "sidewall_N_per_m"),
    ]
    ranges = [(0.0, t) for t in tops]
    if len(heights) == 3:
        ranges.append(_elevation_range(d["profile"], units))
    for h, (low, high) in zip(heights, ranges, strict=True):
        panels.append(Panel(_LEFT, top, width - _LEFT - _RIGHT, h, 0.0, end, low, high))
        top += h + _GAP
    parts = _pull_legend(d)
    for panel in panels:
        parts += _bend_bands(p, panel, units)
    titles = [
        f"Tension, {units.label('force')}",
        f"Sidewall pressure, {units.label('pressure')}",
        f"Elevation, {units.label('length')}",
    ]
    for panel, title in zip(panels, titles, strict=False):
        parts += panel.frame(title, 12.0)
    parts += _vault_lines(p, panels, units)
    if d["reverse"]:
        back = _mirrored(d["reverse"]["profile"], length)
        parts += _curves(back, panels, units, _OTHER, dash="6 4", width="1.6", fill=False)
    parts += _curves(d["profile"], panels, units, p.band.colour, dash=None, width="2.6", fill=True)
    parts += _limit(panels[0], d["limits"]["max_tension_N"], units, "force")
    parts += _limit(panels[1], d["limits"]["max_sidewall_N_per_m"], units, "pressure")
    if len(panels) == 3:
        parts.append(
            element(
                "path",
                d=path_data(panels[2].at(_elevation(d["profile"], units))),
                stroke="#5b6770",
                stroke_width="2",
                fill="none",
            )
        )
    height = panels[-1].bottom + 44.0
    parts += _station_axis(
        panels[-1], f"station from {shorten(plain(d['feed']), 24)}, {units.label('length')}"
    )
    label = f"Tension, sidewall pressure and elevation of pull {p.number}"
    profile = d["profile"]
    read = {
        "s": [round(units.value("length", s), 2) for s in profile["station_m"]],
        "t": [round(units.value("force", t), 3) for t in profile["tension_N"]],
        "w": [round(units.value("pressure", w), 3) for w in profile["sidewall_N_per_m"]],
        "left": panels[0].left,
        "right": panels[0].right,
        "top": panels[0].top,
        "bottom": panels[-1].bottom,
        "end": end,
        "units": [units.label(kind) for kind in ("length", "force", "pressure")],
        "decimals": units.unit("force").decimals,
    }
    return _picture(parts, width, height, label, "pull-chart", json.dumps(read, separators=(",", ":")))


def feeder_picture(document: Document, width: float = 1000.0) -> Markup | None:
    """Return the chart of a whole feeder, every pull in its place and direction.

    Parameters
    ----------
    document : mapping
        A result document.
    width : float, optional
        Of the picture. [px]

    Returns
    -------
    Markup or None
        One ``svg`` element; None where the document has no feeder with stations.
    """
    units, pulls = Units.of(document), pulls_of(document)
    where = {v["tag"]: v["station_m"] for v in document["vaults"] if v["station_m"] is not None}
    placed = [p for p in pulls if p.data["feed"] in where and p.data["pull"] in where]
    if not document["feeder"] or not placed:
        return None
    end = units.value("length", document["feeder"]["length_m"])
    most = [
        max(_top_of(units, k, p.data["limits"][key], p.data, q, both=False) for p in placed)
        for k, key, q in (
            ("force", "max_tension_N", "tension_N"),
            ("pressure", "max_sidewall_N_per_m", "sidewall_N_per_m"),
        )
    ]
    lifted = [p for p in placed if elevated(p.data["profile"])]
    heights = [200.0, 120.0, *([100.0] if lifted else [])]
    ranges = [(0.0, most[0]), (0.0, most[1])]
    if lifted:
        all_z = [z for p in placed for z in p.data["profile"]["elevation_m"] if z is not None]
        ranges.append(_elevation_range({"elevation_m": all_z}, units))
    panels, top = [], 46.0
    for h, (low, high) in zip(heights, ranges, strict=True):
        panels.append(Panel(_LEFT, top, width - _LEFT - _RIGHT, h, 0.0, end, low, high))
        top += h + _GAP
    parts = list[Markup]()
    titles = [
        f"Tension, {units.label('force')}",
        f"Sidewall pressure, {units.label('pressure')}",
        f"Elevation, {units.label('length')}",
    ]
    for panel, title in zip(panels, titles, strict=False):
        parts += panel.frame(title, 12.0)
    parts.append(
        element(
            "text",
            "arrow: direction of the pull; red line: limit",
            x=width - _RIGHT,
            y=panels[0].top - 6,
            text_anchor="end",
            font_size="12",
            fill=FAINT,
        )
    )
    for p in placed:
        parts.append(element("g", *_in_place(p, where, panels, units), class_="pull", data_pull=p.number))
    parts += _feeder_vaults(document, panels, units)
    height = panels[-1].bottom + 44.0
    parts += _station_axis(
        panels[-1], f"station from {shorten(plain(document['feeder']['from']), 24)}, {units.label('length')}"
    )
    return _picture(
        parts, width, height, "Tension, sidewall pressure and elevation of the feeder", "feeder-chart"
    )


def _in_place(p: Pull, where: Mapping[str, float], panels: Sequence[Panel], units: Units) -> list[Markup]:
    d = p.data
    start, stop = where[d["feed"]], where[d["pull"]]
    scale = (stop - start) / d["length_m"]
    profile = {**d["profile"], "station_m": [start + s * scale for s in d["profile"]["station_m"]]}
    parts = [element("title", f"Pull {p.number}: {p.title}")]
    parts += _curves(profile, panels, units, p.band.colour, dash=None, width="2.2", fill=True)
    for panel, key, kind in (
        (panels[0], "max_tension_N", "force"),
        (panels[1], "max_sidewall_N_per_m", "pressure"),
    ):
        if d["limits"][key] is not None:
            y, a, b = (
                panel.y(units.value(kind, d["limits"][key])),
                panel.x(units.value("length", start)),
                panel.x(units.value("length", stop)),
            )
            parts.append(
                element("path", d=f"M{number(a)} {number(y)}H{number(b)}", stroke=_LIMIT, stroke_width="1.6")
            )
    if len(panels) == 3 and any(z is not None for z in profile["elevation_m"]):
        parts.append(
            element(
                "path",
                d=path_data(panels[2].at(_elevation(profile, units))),
                stroke="#5b6770",
                stroke_width="2",
                fill="none",
            )
        )
    a, b = panels[0].x(units.value("length", start)), panels[0].x(units.value("length", stop))
    middle, way = (a + b) / 2, 1 if b > a else -1
    half = min(abs(b - a) / 2 - 2, 16.0)
    if half < 4:
        return parts
    y = panels[0].bottom - 12
    parts.append(
        element(
            "path",
            d=f"M{number(middle - way * half)} {number(y)}H{number(middle + way * half)}M{number(middle + way * (half - 5))} {number(y - 4)}L{number(middle + way * half)} {number(y)}L{number(middle + way * (half - 5))} {number(y + 4)}",
            stroke=INK,
            stroke_width="1.6",
            fill="none",
        )
    )
    if abs(b - a) > 24:
        parts.append(
            element(
                "text",
                str(p.number),
                x=middle,
                y=y - 7,
                text_anchor="middle",
                font_size="12",
                font_weight="600",
                fill=INK,
                stroke="#ffffff",
                stroke_width="3",
                paint_order="stroke",
            )
        )
    return parts


def _feeder_vaults(document: Document, panels: Sequence[Panel], units: Units) -> list[Markup]:
    """Lines at the vaults; names under the charts where they fit, the weightiest first."""
    parts, taken = [], list[tuple[float, float]]()
    weighty = [v for v in document["vaults"] if v["station_m"] is not None]
    weighty.sort(key=lambda v: (min(rank(v["roles"]), 2), v["station_m"]))
    few = len(weighty) <= 80
    heavy = INK if few else FAINT
    for v in weighty:
        x = panels[0].x(units.value("length", v["station_m"]))
        strong = bool({"end", "splice"} & set(v["roles"]))
        if strong or few:
            for panel in panels:
                parts.append(
                    element(
                        "path",
                        d=f"M{number(x)} {number(panel.top)}V{number(panel.bottom)}",
                        stroke=heavy if strong else FAINT,
                        stroke_width="1" if strong and few else "0.6",
                        stroke_dasharray=None if strong else "2 3",
                    )
                )
        name = shorten(plain(v["tag"]), 14)
        w = text_width(name, 9.0)
        at = min(max(x, _LEFT + w / 2), panels[0].right - w / 2)
        if all(at + w / 2 + 6 < a or b + 6 < at - w / 2 for a, b in taken):
            taken.append((at - w / 2, at + w / 2))
            parts.append(
                element(
                    "text",
                    element("title", plain(v["tag"])),
                    name,
                    x=at,
                    y=panels[0].top - 24,
                    text_anchor="middle",
                    font_size="12",
                    fill=INK,
                )
            )
    return parts


def _top_of(
    units: Units, kind: str, limit: float | None, d: Mapping[str, Any], key: str, *, both: bool = True
) -> float:
    values = list(d["profile"][key])
    if both and d["reverse"]:
        values += d["reverse"]["profile"][key]
    return units.value(kind, max([*values, limit or 0.0, 1.0])) * 1.1


def _elevation_range(profile: Mapping[str, Any], units: Units) -> tuple[float, float]:
    known = [units.value("length", z) for z in profile["elevation_m"] if z is not None]
    low, high = min(known), max(known)
    pad = max((high - low) * 0.15, units.value("length", 0.5))
    return low - pad, high + pad


def _elevation(profile: Mapping[str, Any], units: Units) -> list[tuple[float, float]]:
    return [
        (units.value("length", s), units.value("length", z))
        for s, z in zip(profile["station_m"], profile["elevation_m"], strict=False)
        if z is not None
    ]


def _mirrored(profile: Mapping[str, Any], length: float) -> dict[str, Any]:
    """The other way's profile at the stations of this way: pressures belong to the stretch before a row, then after it."""
    wall = [*profile["sidewall_N_per_m"][1:], 0.0]
    return {
        "station_m": [length - s for s in reversed(profile["station_m"])],
        "tension_N": list(reversed(profile["tension_N"])),
        "sidewall_N_per_m": [0.0, *list(reversed(wall))[1:]],
        "elevation_m": [],
    }


def _curves(
    profile: Mapping[str, Any],
    panels: Sequence[Panel],
    units: Units,
    colour: str,
    *,
    dash: str | None,
    width: str,
    fill: bool,
) -> list[Markup]:
    stations = [units.value("length", s) for s in profile["station_m"]]
    tension = [(s, units.value("force", t)) for s, t in zip(stations, profile["tension_N"], strict=True)]
    line = panels[0].at(tension)
    parts = []
    if fill:
        area = [*line, (line[-1][0], panels[0].bottom), (line[0][0], panels[0].bottom)]
        parts.append(element("path", d=path_data(area) + "Z", fill=colour, fill_opacity="0.13"))
    parts.append(
        element(
            "path",
            d=path_data(line),
            stroke=colour,
            stroke_width=width,
            stroke_dasharray=dash,
            fill="none",
            class_="this-way" if fill else "other-way",
        )
    )
    for k in range(1, len(stations)):
        pressure = profile["sidewall_N_per_m"][k]
        if pressure <= 0:
            continue
        a, b = sorted((panels[1].x(stations[k - 1]), panels[1].x(stations[k])))
        wide = max(b - a, 3.0)
        y = panels[1].y(units.value("pressure", pressure))
        box = {"x": (a + b) / 2 - wide / 2, "y": y, "width": wide, "height": max(panels[1].bottom - y, 0.5)}
        if fill:
            parts.append(element("rect", **box, fill=colour, fill_opacity="0.75"))
        else:
            parts.append(
                element("rect", **box, fill="none", stroke=colour, stroke_width="1.2", stroke_dasharray="3 2")
            )
    return parts


def _limit(panel: Panel, limit: float | None, units: Units, kind: str) -> list[Markup]:
    if limit is None:
        return []
    y = panel.y(units.value(kind, limit))
    line = element(
        "path",
        d=f"M{number(panel.left)} {number(y)}H{number(panel.right)}",
        stroke=_LIMIT,
        stroke_width="1.8",
    )
    text = element(
        "text",
        f"limit {units.text(kind, limit)}",
        x=panel.right - 6,
        y=y + 14,
        text_anchor="end",
        font_size="12",
        fill=_LIMIT,
        stroke="#ffffff",
        stroke_width="3",
        paint_order="stroke",
    )
    return [line, text]


def _bend_bands(p: Pull, panel: Panel, units: Units) -> list[Markup]:
    parts = []
    for b in p.bends:
        x0, x1 = panel.x(units.value("length", b.start)), panel.x(units.value("length", b.end))
        wide = max(x1 - x0, 2.0)
        told = element("title", f"{math.degrees(b.angle):.0f}° {b.kind}")
        parts.append(
            element(
                "rect", told, x=(x0 + x1 - wide) / 2, y=panel.top, width=wide, height=panel.height, fill=_BEND
            )
        )
    return parts


def _vault_lines(p: Pull, panels: Sequence[Panel], units: Units) -> list[Markup]:
    parts = []
    relube = {plain(v) for v in p.data["relube"]}
    last = panels[0].left
    names = p.vaults
    for k, (station, tag) in enumerate(names):
        x = panels[0].x(units.value("length", station))
        inner = 0 < k < len(names) - 1
        if inner:
            for panel in panels:
                parts.append(
                    element(
                        "path",
                        d=f"M{number(x)} {number(panel.top)}V{number(panel.bottom)}",
                        stroke=FAINT,
                        stroke_dasharray="2 3",
                    )
                )
        text = shorten(tag, 18) + (" (re-lube)" if tag in relube else "")
        w = text_width(text, 9.0)
        anchor, left = ("start", x) if k == 0 else ("end", x - w) if not inner else ("middle", x - w / 2)
        right_edge = panels[0].right - (text_width(shorten(names[-1][1], 18), 9.0) + 10 if inner else 0)
        crowded = left < last + (8 if k else 0) or (inner and left + w > right_edge)
        if crowded and inner:
            continue
        last = left + w
        parts.append(
            element(
                "text",
                element("title", tag),
                text,
                x=x,
                y=panels[0].top - 24,
                text_anchor=anchor,
                font_size="12",
                font_weight="600",
                fill=INK,
            )
        )
    return parts


def _pull_legend(d: Mapping[str, Any]) -> list[Markup]:
    parts = [
        element("path", d="M62 12H92", stroke=INK, stroke_width="2.6"),
        element("text", "this way", x=98.0, y=16.0, font_size="12", fill=INK),
    ]
    if d["reverse"]:
        parts += [
            element("path", d="M170 12H200", stroke=_OTHER, stroke_width="1.6", stroke_dasharray="6 4"),
            element("text", "the other way", x=206.0, y=16.0, font_size="12", fill=INK),
        ]
    parts += [
        element("path", d="M310 12H340", stroke=_LIMIT, stroke_width="1.8"),
        element("text", "limit", x=346.0, y=16.0, font_size="12", fill=INK),
        element("rect", x=396.0, y=4.0, width="18", height="15", fill=_BEND, stroke=FAINT),
        element("text", "bend", x=420.0, y=16.0, font_size="12", fill=INK),
    ]
    return parts


def _station_axis(panel: Panel, title: str) -> list[Markup]:
    values = ticks(panel.x0, panel.x1, max(3, int(panel.width / 95)))
    parts = []
    for v in values:
        x = panel.x(v)
        parts.append(element("path", d=f"M{number(x)} {number(panel.bottom)}v5", stroke=FAINT))
        text = tick_text(v, values)
        at = min(x, panel.right + _RIGHT - text_width(text, 9.0) / 2)
        parts.append(
            element("text", text, x=at, y=panel.bottom + 18, text_anchor="middle", font_size="12", fill=FAINT)
        )
    parts.append(
        element(
            "text",
            title,
            x=panel.left + panel.width / 2,
            y=panel.bottom + 36,
            text_anchor="middle",
            font_size="12",
            fill=FAINT,
        )
    )
    return parts


def _picture(
    parts: Sequence[Markup], width: float, height: float, label: str, kind: str, read: str | None = None
) -> Markup:
    return element(
        "svg",
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        class_=f"chart {kind}",
        font_family=FONT,
        role="img",
        aria_label=label,
        data_read=read,
    )
