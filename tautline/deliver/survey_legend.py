"""What the signs in the picture of a survey mean, and its findings by number."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Mapping

from markupsafe import Markup

from routeio.summary import Kind, Summary
from routeio.survey import How
from tautline.deliver.present import plain
from tautline.deliver.svg import FAINT, INK, element, number

Style = Mapping[str, str]

DUCT: Style = {"stroke": "#2b5c8a", "stroke_width": "1.8", "stroke_linejoin": "round"}
VERTEX: Style = {"stroke": "#b9c0c7", "stroke_width": "4.5", "stroke_linecap": "round"}
LOOSE: Style = {"fill": "#ffffff", "stroke": "#a31515", "stroke_width": "1.6"}
#: By where a bend comes from. Dashes tell them apart without colour.
BENDS: Mapping[str, Style] = {
    "drawn": {"stroke": "#1b7837", "stroke_width": "3.6"},
    "fitted": {"stroke": "#c45500", "stroke_width": "3.6"},
    "swept": {"stroke": "#8e3a9d", "stroke_width": "3.6", "stroke_dasharray": "5 2"},
    "stated": {"stroke": "#1b1f24", "stroke_width": "3.6", "stroke_dasharray": "2 2"},
}
_HOW = {
    "drawn": "bend as drawn",
    "fitted": "bend recovered from vertices (≈: the vertices leave its radius open)",
    "swept": "sharp corner given a bend",
    "stated": "bend stated",
}
SEVERE: Mapping[str, Style] = {
    "error": {"stroke": "#a31515", "stroke_width": "2.2"},
    "warning": {"stroke": "#9a6200", "stroke_width": "1.8"},
    "info": {"stroke": "#667079", "stroke_width": "1"},
}
_LINE = 17.0
_LETTER = 5.9
"""Usual width of a letter of the legend, for breaking lines. [px]"""
_MOST = 40  # kinds of finding told


def legend(
    summary: Summary,
    bends: Collection[How],
    numbers: Mapping[str, int],
    unplaced: Collection[str],
    unwritten: Mapping[str, int],
    width: float,
    top: float,
) -> tuple[Markup, float]:
    """Return the legend and its height.

    Parameters
    ----------
    summary : Summary
        Of the survey.
    bends : collection of {"drawn", "fitted", "swept", "stated"}
        Where the bends on the map come from.
    numbers : mapping of str to int
        By which the findings of a code are marked on the map.
    unplaced : collection of str
        Codes that have no place on the map.
    unwritten : mapping of str to int
        How many names of each kind had no room.
    width : float
        Of the picture. [px]
    top : float
        Where it begins. [px]

    Returns
    -------
    (Markup, float)
        One element, and how tall it is. [px]
    """
    parts, y = _signs(summary, bends, width, top)
    if any(unwritten.values()):
        told = ", ".join(f"{n:,} {what}" for what, n in unwritten.items() if n)
        text = f"Not written, most of it for want of room: {told}. Point at them to read them; inspect --json has all."
        parts.append(element("text", text, x=16.0, y=y, fill=FAINT))
        y += _LINE
    y += 6.0
    head = (
        "Findings, by number; a ring marks the place, without a number for notes that are many"
        if summary.kinds
        else "No findings"
    )
    parts.append(element("text", head, x=16.0, y=y, font_weight="600", fill=INK))
    y += _LINE + 2.0
    for kind in summary.kinds[:_MOST]:
        rows, y = _finding(kind, numbers[kind.code], kind.code in unplaced, width, y)
        parts += rows
    if len(summary.kinds) > _MOST:
        parts.append(element("text", f"and {len(summary.kinds) - _MOST} more kinds", x=44.0, y=y, fill=FAINT))
        y += _LINE
    return element("g", *parts, class_="legend"), y - top + 4.0


def _signs(summary: Summary, bends: Collection[How], width: float, top: float) -> tuple[list[Markup], float]:
    """Return a sample of each sign that is on the map, in rows, and where the next row begins."""
    line = "M0 0H34"
    samples = [("duct", element("path", d=line, fill="none", **DUCT))]
    for how, style in BENDS.items():
        if how in bends:
            samples.append((_HOW[how], element("path", d=line, fill="none", **style)))
    dots = element("path", d="M4 0h.01M17 0h.01M30 0h.01", fill="none", **VERTEX)
    samples.append(("vertices as in the file", dots))
    box = {"y": -3.5, "width": 7.0, "height": 7.0, "fill": "#ffffff", "stroke": INK, "stroke_width": "1.4"}
    samples.append(("vault", element("rect", x=14.0, **box)))
    if summary.isolated:
        ring = {"fill": "#ffffff", "stroke": "#8a939b", "stroke_width": "1.4", "stroke_dasharray": "2 1.5"}
        samples.append(("vault that no duct meets", element("circle", cx=17.0, r=3.5, **ring)))
    if summary.loose:
        samples.append(("loose end", element("circle", cx=17.0, r=3.0, **LOOSE)))
    for severity, style in SEVERE.items():
        if summary.count(severity):  # type: ignore[arg-type]
            radius = 3.5 if severity == "info" else 6.5
            samples.append((severity, element("circle", cx=17.0, r=radius, fill="none", **style)))
    parts, x, y = list[Markup](), 16.0, top + 8.0
    for words, sample in samples:
        wide = 44.0 + _LETTER * len(words) + 20.0
        if x + wide > width and x > 16.0:
            x, y = 16.0, y + 20.0
        parts.append(element("g", sample, transform=f"translate({number(x)} {number(y)})"))
        parts.append(element("text", words, x=x + 44.0, y=y + 4.0, fill=INK))
        x += wide
    return parts, y + 28.0


def _finding(kind: Kind, index: int, unplaced: bool, width: float, y: float) -> tuple[list[Markup], float]:
    first = kind.first
    many = f" ({kind.count:,})" if kind.count > 1 else ""
    place = ", ".join(
        plain(x) for x in (first.where.layer and f"layer {first.where.layer}", first.where.id) if x
    )
    text = f"{kind.severity} {kind.code}{many}: {plain(first.message)}{f' ({place})' if place else ''}"
    if first.remedy and first.remedy != "none needed":
        text += f"; {plain(first.remedy)}"
    if unplaced:
        text += " [no place on the map]"
    ink = SEVERE[kind.severity]["stroke"]
    parts = [element("text", str(index), x=36.0, y=y, text_anchor="end", font_weight="700", fill=ink)]
    for row in textwrap.wrap(text, max(20, int((width - 60.0) / _LETTER))):
        parts.append(element("text", row, x=44.0, y=y, fill=INK))
        y += _LINE
    return parts, y
