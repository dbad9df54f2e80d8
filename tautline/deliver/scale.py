"""Scale bar and north, as a plan has them."""

from __future__ import annotations

from markupsafe import Markup

from tautline.deliver.present import Unit
from tautline.deliver.svg import INK, element, number, round_down

_LONGEST = 200.0


def scale_bar(x: float, y: float, metres: float, unit: Unit) -> Markup:
    """Return a bar of a round length with that length beside it.

    Parameters
    ----------
    x, y : float
        Of its left end. [px]
    metres : float
        In one pixel. [m]
    unit : Unit
        In which the length is written.

    Returns
    -------
    Markup
        One element, at most 200 px long without its text.
    """
    length = round_down(_LONGEST * metres / unit.scale)
    pixels = length * unit.scale / metres
    line = f"M0 -6V6M0 0H{number(pixels)}M{number(pixels)} -6V6"
    return element(
        "g",
        element("path", d=line, stroke=INK, stroke_width="1.6", fill="none"),
        element("text", f"{length:,g} {unit.label}", x=pixels + 8, y=4.0, fill=INK),
        class_="bar fixed",
        transform=f"translate({number(x)} {number(y)})",
        data_edge="1",
    )


def north_arrow(x: float, y: float) -> Markup:
    """Return an arrow to grid north.

    Parameters
    ----------
    x, y : float
        Of its middle. [px]

    Returns
    -------
    Markup
        One element.
    """
    return element(
        "g",
        element("path", d="M0 -13L6 9L0 4L-6 9Z", fill=INK),
        element("text", "N (grid)", x=12.0, y=4.0, fill=INK),
        class_="north fixed",
        transform=f"translate({number(x)} {number(y)})",
        data_edge="1",
    )
