"""Tension, sidewall pressure and elevation along a whole feeder, every pull in its place and direction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from tautline.deliver.chart import (
    GAP,
    LEFT,
    LIMIT,
    RIGHT,
    curves,
    elevation,
    elevation_range,
    picture,
    station_axis,
    top_of,
)
from tautline.deliver.frame import Document, Pull, elevated, pulls_of, rank
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
        max(top_of(units, k, p.data["limits"][key], p.data, q, both=False) for p in placed)
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
        ranges.append(elevation_range({"elevation_m": all_z}, units))
    panels, top = [], 46.0
    for h, (low, high) in zip(heights, ranges, strict=True):
        panels.append(Panel(LEFT, top, width - LEFT - RIGHT, h, 0.0, end, low, high))
        top += h + GAP
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
            "arrow: direction of the pull; line across the top: limit",
            x=width - RIGHT,
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
    parts += station_axis(
        panels[-1],
        f"station from {shorten(isolated(document['feeder']['from']), 24)}, {units.label('length')}",
    )
    return picture(
        parts, width, height, "Tension, sidewall pressure and elevation of the feeder", "feeder-chart"
    )


def _in_place(p: Pull, where: Mapping[str, float], panels: Sequence[Panel], units: Units) -> list[Markup]:
    d = p.data
    start, stop = where[d["feed"]], where[d["pull"]]
    scale = (stop - start) / d["length_m"]
    profile = {**d["profile"], "station_m": [start + s * scale for s in d["profile"]["station_m"]]}
    parts = [element("title", f"Pull {p.number}: {p.title}")]
    parts += curves(profile, panels, units, p.band.colour, dash=None, width="2.2", fill=True)
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
                element("path", d=f"M{number(a)} {number(y)}H{number(b)}", stroke=LIMIT, stroke_width="1.6")
            )
    if len(panels) == 3 and any(z is not None for z in profile["elevation_m"]):
        parts.append(
            element(
                "path",
                d=path_data(panels[2].at(elevation(profile, units))),
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
        name = shorten(isolated(v["tag"]), 14)
        w = text_width(name, 9.0)
        at = min(max(x, LEFT + w / 2), panels[0].right - w / 2)
        if all(at + w / 2 + 6 < a or b + 6 < at - w / 2 for a, b in taken):
            taken.append((at - w / 2, at + w / 2))
            parts.append(
                element(
                    "text",
                    element("title", isolated(v["tag"])),
                    name,
                    x=at,
                    y=panels[0].top - 24,
                    text_anchor="middle",
                    font_size="12",
                    fill=INK,
                )
            )
    return parts
