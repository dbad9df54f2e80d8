"""What charts along a pull and along a feeder share: scales, curves, axes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from tautline.deliver.labels import text_width
from tautline.deliver.present import Units
from tautline.deliver.svg import (
    FAINT,
    FONT,
    Panel,
    element,
    number,
    path_data,
    tick_text,
    ticks,
)

OTHER = "#7b3294"
LIMIT = "#a31515"
BEND = "#eef1f4"
LEFT, RIGHT, GAP = 62.0, 16.0, 30.0


def top_of(
    units: Units, kind: str, limit: float | None, d: Mapping[str, Any], key: str, *, both: bool = True
) -> float:
    """Return the top of a scale, a tenth above the greatest value and the limit.

    The other direction may stretch the scale, but not so far that the way that is meant is squeezed flat.

    Parameters
    ----------
    units : Units
        Of the job.
    kind : str
        Kind of quantity.
    limit : float or None
        In SI.
    d : mapping
        A pull of the document.
    key : str
        Which of its profile's rows.
    both : bool, optional
        Whether the other direction is drawn too.

    Returns
    -------
    float
        In the job's unit.
    """
    own = 1.1 * units.value(kind, max([*d["profile"][key], limit or 0.0, 1.0]))
    if not both or not d["reverse"]:
        return own
    other = 1.1 * units.value(kind, max(d["reverse"]["profile"][key], default=0.0))
    return max(own, other) if other <= 1.6 * own else 1.25 * own


def below(points: Sequence[tuple[float, float]], top: float) -> list[list[tuple[float, float]]]:
    """Return the parts of a line of values that lie at or under ``top``.

    Parameters
    ----------
    points : sequence of (float, float)
        In order.
    top : float
        Value.

    Returns
    -------
    list of list of (float, float)
        One list a part, its ends on ``top`` where it was cut.
    """
    runs: list[list[tuple[float, float]]] = [[]]
    for k, (x, y) in enumerate(points):
        if k and (points[k - 1][1] > top) != (y > top):
            x0, y0 = points[k - 1]
            crossing = (x0 + (x - x0) * (top - y0) / (y - y0), top)
            runs[-1].append(crossing)
            if y > top:
                runs.append([])
        if y <= top:
            runs[-1].append((x, y))
    return [run for run in runs if len(run) > 1]


def elevation_range(profile: Mapping[str, Any], units: Units) -> tuple[float, float]:
    """Return the scale of elevations in the job's unit.

    Parameters
    ----------
    profile : mapping
        A profile of the document.
    units : Units
        Of the job.

    Returns
    -------
    (float, float)
        Lower and upper end, some room included.
    """
    known = [units.value("length", z) for z in profile["elevation_m"] if z is not None]
    low, high = min(known), max(known)
    pad = max((high - low) * 0.15, units.value("length", 0.5))
    return low - pad, high + pad


def elevation(profile: Mapping[str, Any], units: Units) -> list[tuple[float, float]]:
    """Return station and elevation in the job's unit, where known.

    Parameters
    ----------
    profile : mapping
        A profile of the document.
    units : Units
        Of the job.

    Returns
    -------
    list of (float, float)
        In order of station.
    """
    return [
        (units.value("length", s), units.value("length", z))
        for s, z in zip(profile["station_m"], profile["elevation_m"], strict=False)
        if z is not None
    ]


def curves(
    profile: Mapping[str, Any],
    panels: Sequence[Panel],
    units: Units,
    colour: str,
    *,
    dash: str | None,
    width: str,
    fill: bool,
) -> list[Markup]:
    """Return tension as a line and sidewall pressure as bars; filled for the way that is meant.

    Parameters
    ----------
    profile : mapping
        A profile of the document.
    panels : sequence of Panel
        Of tension and of sidewall pressure, in this order.
    units : Units
        Of the job.
    colour : str
        Of line and bars.
    dash : str or None
        Of the line.
    width : str
        Of the line. [px]
    fill : bool
        Whether it is the way that is meant.

    Returns
    -------
    list of Markup
        Elements.
    """
    stations = [units.value("length", s) for s in profile["station_m"]]
    tension = [(s, units.value("force", t)) for s, t in zip(stations, profile["tension_N"], strict=True)]
    line = panels[0].at(tension)
    runs = [panels[0].at(run) for run in below(tension, panels[0].y1)]
    parts = []
    if fill:
        area = [*line, (line[-1][0], panels[0].bottom), (line[0][0], panels[0].bottom)]
        parts.append(element("path", d=path_data(area) + "Z", fill=colour, fill_opacity="0.13"))
    parts.append(
        element(
            "path",
            d="".join(path_data(run) for run in runs),
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
        y = panels[1].y(min(units.value("pressure", pressure), panels[1].y1))
        box = {"x": (a + b) / 2 - wide / 2, "y": y, "width": wide, "height": max(panels[1].bottom - y, 0.5)}
        if fill:
            parts.append(element("rect", **box, fill=colour, fill_opacity="0.75"))
        else:
            parts.append(
                element("rect", **box, fill="none", stroke=colour, stroke_width="1.2", stroke_dasharray="3 2")
            )
    return parts


def station_axis(panel: Panel, title: str) -> list[Markup]:
    """Return ticks and title under the lowest panel.

    Parameters
    ----------
    panel : Panel
        The lowest.
    title : str
        What the stations are counted from, and their unit.

    Returns
    -------
    list of Markup
        Elements.
    """
    values = ticks(panel.x0, panel.x1, max(3, int(panel.width / 95)))
    parts = []
    for v in values:
        x = panel.x(v)
        parts.append(element("path", d=f"M{number(x)} {number(panel.bottom)}v5", stroke=FAINT))
        text = tick_text(v, values)
        at = min(x, panel.right + RIGHT - text_width(text, 9.0) / 2)
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


def picture(
    parts: Sequence[Markup], width: float, height: float, label: str, kind: str, read: str | None = None
) -> Markup:
    """Return the whole chart as one element.

    Parameters
    ----------
    parts : sequence of Markup
        What is in it.
    width : float
        [px]
    height : float
        [px]
    label : str
        What it shows, for those who do not see it.
    kind : str
        Its class.
    read : str, optional
        JSON from which values are read off at the pointer.

    Returns
    -------
    Markup
        One ``svg`` element.
    """
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
