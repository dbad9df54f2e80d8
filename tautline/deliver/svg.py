"""Scalable pictures as text: elements with everything escaped, scales, round ticks."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from tautline.deliver.present import columns

INK = "#1b1f24"
FAINT = "#667079"
GRID = "#dfe3e8"
FONT = "system-ui, 'Segoe UI', Roboto, 'Liberation Sans', Arial, sans-serif"


def element(name: str, *children: object, **attributes: object) -> Markup:
    """Return one element.

    Parameters
    ----------
    name : str
        Of the element.
    *children : object
        Markup as it is, anything else as escaped text.
    **attributes : object
        Underscores stand for hyphens, a trailing one is dropped; None is left out; floats are shortened.

    Returns
    -------
    Markup
        Safe to put in a page.

    Examples
    --------
    >>> element("text", "<MH-1>", x=1.25, class_="tag")
    Markup('<text x="1.25" class="tag">&lt;MH-1&gt;</text>')
    """
    pairs = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(number(v) if isinstance(v, float) else v)}"'
        for key, v in attributes.items()
        if v is not None
    )
    body = "".join(str(escape(c)) for c in children)
    return Markup(f"<{name}{pairs}>{body}</{name}>" if body else f"<{name}{pairs}/>")


def number(value: float) -> str:
    """Return a coordinate with at most three decimals.

    Parameters
    ----------
    value : float
        Any finite number.

    Returns
    -------
    str
        Without trailing zeros.
    """
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("", "-0") else text


def path_data(points: Iterable[Sequence[float]]) -> str:
    """Return the ``d`` of a path through points.

    Parameters
    ----------
    points : iterable of (float, float)
        At least one.

    Returns
    -------
    str
        Straight lines from point to point.
    """
    return "M" + "L".join(f"{number(p[0])} {number(p[1])}" for p in points)


def ticks(low: float, high: float, about: int) -> list[float]:
    """Return round numbers from ``low`` to ``high``, about so many.

    Parameters
    ----------
    low : float
        Lower end.
    high : float
        Upper end.
    about : int
        How many are wanted.

    Returns
    -------
    list of float
        Multiples of one round step.

    Examples
    --------
    >>> ticks(0.0, 5200.0, 5)
    [0.0, 1000.0, 2000.0, 3000.0, 4000.0, 5000.0]
    """
    if not high > low:
        return [low]
    step = round_down((high - low) / max(about, 1), (1.0, 2.0, 2.5, 5.0, 10.0), nearest=True)
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def round_down(value: float, steps: Sequence[float] = (1.0, 2.0, 5.0), *, nearest: bool = False) -> float:
    """Return the greatest (or the nearest) round number not above ``value``.

    Parameters
    ----------
    value : float
        Above 0.
    steps : sequence of float, optional
        What is round, from 1 up to 10.
    nearest : bool, optional
        The nearest instead of the one below.

    Returns
    -------
    float
        A step times a power of ten.
    """
    power = 10.0 ** math.floor(math.log10(value))
    if nearest:
        return float(min((s * power for s in steps), key=lambda s: abs(math.log(s / value))))
    return float(max(s for s in steps if s * power <= value * (1 + 1e-9)) * power)


def tick_text(value: float, values: Sequence[float]) -> str:
    """Return a tick with no more decimals than its step needs.

    Parameters
    ----------
    value : float
        One of ``values``.
    values : sequence of float
        All ticks.

    Returns
    -------
    str
        With thousands separated.
    """
    step = abs(values[1] - values[0]) if len(values) > 1 else 1.0
    decimals = next((d for d in range(6) if abs(step * 10**d - round(step * 10**d)) < 1e-6), 6)
    return f"{value + 0.0:,.{decimals}f}"


def shorten(text: str, most: int) -> str:
    """Return a text of at most so many columns; its middle goes, since names often differ at their ends.

    Parameters
    ----------
    text : str
        One line.
    most : int
        Columns.

    Returns
    -------
    str
        The text itself where it fits.

    Examples
    --------
    >>> shorten("Pumping station north gate chamber 003", 20)
    'Pumping stat…ber 003'
    """
    if columns(text) <= most:
        return text
    tail = text[-(most // 3 + 1) :]
    head = ""
    for character in text:
        if columns(head + character) + 1 + columns(tail) > most:
            break
        head += character
    return f"{head}…{tail}"


@dataclass(frozen=True)
class Panel:
    """A rectangle of a chart with its two scales.

    Parameters
    ----------
    left, top, width, height : float
        Of the rectangle. [px]
    x0, x1, y0, y1 : float
        Values at its edges.
    """

    left: float
    top: float
    width: float
    height: float
    x0: float
    x1: float
    y0: float
    y1: float

    @property
    def bottom(self) -> float:
        """Lower edge. [px]"""
        return self.top + self.height

    @property
    def right(self) -> float:
        """Right edge. [px]"""
        return self.left + self.width

    def x(self, value: float) -> float:
        """Return where a value stands across. [px]"""
        return self.left + (value - self.x0) / (self.x1 - self.x0) * self.width

    def y(self, value: float) -> float:
        """Return where a value stands upwards. [px]"""
        return self.bottom - (value - self.y0) / (self.y1 - self.y0) * self.height

    def at(self, points: Iterable[Sequence[float]]) -> list[tuple[float, float]]:
        """Return points of values as points of the picture."""
        return [(self.x(p[0]), self.y(p[1])) for p in points]

    def frame(self, title: str, size: float) -> list[Markup]:
        """Return grid lines, value ticks and the panel's title above it."""
        values = ticks(self.y0, self.y1, max(2, int(self.height / 42)))
        parts = [
            element("text", title, x=self.left, y=self.top - 6, font_weight="600", font_size=size, fill=INK)
        ]
        for v in values:
            y = self.y(v)
            parts.append(
                element("path", d=f"M{number(self.left)} {number(y)}H{number(self.right)}", stroke=GRID)
            )
            text = tick_text(v, values)
            parts.append(
                element(
                    "text",
                    text,
                    x=self.left - 6,
                    y=y + size * 0.35,
                    text_anchor="end",
                    font_size=size,
                    fill=FAINT,
                )
            )
        parts.append(
            element(
                "rect",
                x=self.left,
                y=self.top,
                width=self.width,
                height=self.height,
                fill="none",
                stroke=FAINT,
            )
        )
        return parts
