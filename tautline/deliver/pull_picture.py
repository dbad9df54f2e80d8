"""Tension, sidewall pressure and elevation along one pull, both ways."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from tautline.deliver.chart import (
    BEND,
    GAP,
    LEFT,
    LIMIT,
    OTHER,
    RIGHT,
    curves,
    elevation,
    elevation_range,
    picture,
    station_axis,
    top_of,
)
from tautline.deliver.frame import Pull, elevated
from tautline.deliver.labels import text_width
from tautline.deliver.present import Units, isolated
from tautline.deliver.svg import (
    FAINT,
    INK,
    Panel,
    element,
    number,
    path_data,
    shorten,
)


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
        top_of(units, "force", d["limits"]["max_tension_N"], d, "tension_N"),
        top_of(units, "pressure", d["limits"]["max_sidewall_N_per_m"], d, "sidewall_N_per_m"),
    ]
    ranges = [(0.0, t) for t in tops]
    if len(heights) == 3:
        ranges.append(elevation_range(d["profile"], units))
    for h, (low, high) in zip(heights, ranges, strict=True):
        panels.append(Panel(LEFT, top, width - LEFT - RIGHT, h, 0.0, end, low, high))
        top += h + GAP
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
        parts += curves(back, panels, units, OTHER, dash="6 4", width="1.6", fill=False)
        parts += _beyond(panels[0], d["reverse"]["max_tension_N"], units, "force")
        parts += _beyond(panels[1], d["reverse"]["max_sidewall_N_per_m"], units, "pressure")
    parts += curves(d["profile"], panels, units, p.band.colour, dash=None, width="2.6", fill=True)
    parts += _limit(panels[0], d["limits"]["max_tension_N"], units, "force")
    parts += _limit(panels[1], d["limits"]["max_sidewall_N_per_m"], units, "pressure")
    if len(panels) == 3:
        parts.append(
            element(
                "path",
                d=path_data(panels[2].at(elevation(d["profile"], units))),
                stroke="#5b6770",
                stroke_width="2",
                fill="none",
            )
        )
    height = panels[-1].bottom + 44.0
    parts += station_axis(
        panels[-1], f"station from {shorten(isolated(d['feed']), 24)}, {units.label('length')}"
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
    return picture(parts, width, height, label, "pull-chart", json.dumps(read, separators=(",", ":")))


def _mirrored(profile: Mapping[str, Any], length: float) -> dict[str, Any]:
    """The other way's profile at the stations of this way: pressures belong to the stretch before a row, then after it."""
    wall = [*profile["sidewall_N_per_m"][1:], 0.0]
    return {
        "station_m": [length - s for s in reversed(profile["station_m"])],
        "tension_N": list(reversed(profile["tension_N"])),
        "sidewall_N_per_m": [0.0, *list(reversed(wall))[1:]],
        "elevation_m": [],
    }


def _limit(panel: Panel, limit: float | None, units: Units, kind: str) -> list[Markup]:
    if limit is None:
        return []
    y = panel.y(units.value(kind, limit))
    line = element(
        "path",
        d=f"M{number(panel.left)} {number(y)}H{number(panel.right)}",
        stroke=LIMIT,
        stroke_width="1.8",
    )
    text = element(
        "text",
        f"limit {units.text(kind, limit)}",
        x=panel.right - 6,
        y=y + 14,
        text_anchor="end",
        font_size="12",
        fill=LIMIT,
        stroke="#ffffff",
        stroke_width="3",
        paint_order="stroke",
    )
    return [line, text]


def _beyond(panel: Panel, greatest: float, units: Units, kind: str) -> list[Markup]:
    """Say how far the other way goes where the scale ends before it."""
    if units.value(kind, greatest) <= panel.y1:
        return []
    text = f"the other way reaches {units.text(kind, greatest)}"
    return [
        element(
            "text",
            text,
            x=panel.left + 6,
            y=panel.top + 14,
            font_size="12",
            fill=OTHER,
            stroke="#ffffff",
            stroke_width="3",
            paint_order="stroke",
        )
    ]


def _bend_bands(p: Pull, panel: Panel, units: Units) -> list[Markup]:
    parts = []
    for b in p.bends:
        x0, x1 = panel.x(units.value("length", b.start)), panel.x(units.value("length", b.end))
        wide = max(x1 - x0, 2.0)
        told = element("title", f"{math.degrees(b.angle):.0f}° {b.kind}")
        parts.append(
            element(
                "rect", told, x=(x0 + x1 - wide) / 2, y=panel.top, width=wide, height=panel.height, fill=BEND
            )
        )
    return parts


def _vault_lines(p: Pull, panels: Sequence[Panel], units: Units) -> list[Markup]:
    parts = []
    relube = {isolated(v) for v in p.data["relube"]}
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
            element("path", d="M170 12H200", stroke=OTHER, stroke_width="1.6", stroke_dasharray="6 4"),
            element("text", "the other way", x=206.0, y=16.0, font_size="12", fill=INK),
        ]
    parts += [
        element("path", d="M310 12H340", stroke=LIMIT, stroke_width="1.8"),
        element("text", "limit", x=346.0, y=16.0, font_size="12", fill=INK),
        element("rect", x=396.0, y=4.0, width="18", height="15", fill=BEND, stroke=FAINT),
        element("text", "bend", x=420.0, y=16.0, font_size="12", fill=INK),
    ]
    return parts
