"""The signs on a plan and in its legend: vaults by their work, worst places, findings, classes of utilisation."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from markupsafe import Markup

from tautline.deliver.frame import BANDS
from tautline.deliver.svg import INK, element, number

SIGN = {"stroke": INK, "stroke_width": "1.5", "fill": "#ffffff"}


def vault_mark(roles: Sequence[str]) -> Markup:
    """Return a vault's mark: one sign a role, each inside the next.

    Parameters
    ----------
    roles : sequence of str
        As the document holds them.

    Returns
    -------
    Markup
        One element about the origin.
    """
    return element("g", signs_of(tuple(roles)), **SIGN)


@lru_cache
def signs_of(roles: tuple[str, ...]) -> Markup:
    """Return the lines of a vault's mark, without :data:`SIGN`, which a group of marks can share."""
    signs = []
    if "end" in roles:
        signs.append(element("path", d="M0 -12L12 0L0 12L-12 0Z"))
    if "splice" in roles:
        signs.append(element("path", d="M-8.5 -8.5H8.5V8.5H-8.5Z"))
    if "feed" in roles:
        signs.append(element("circle", r="6.5"))
    if "pull" in roles:
        signs.append(element("path", d="M0 -5.5L5 3.5L-5 3.5Z", fill=INK))
    if "relube" in roles:
        signs.append(element("circle", r="5.5") + element("path", d="M-5.5 0H5.5M0 -5.5V5.5"))
    if not signs:
        signs.append(element("circle", r="3.5"))
    if "proposed" in roles:  # marked as a surveyor sets out a point, outside of all others
        signs.append(element("path", d="M0 -18V-12M0 12V18M-18 0H-12M12 0H18"))
    return Markup("").join(signs)


def mark_size(roles: Sequence[str]) -> float:
    """Return how far a vault's mark reaches from its middle.

    Parameters
    ----------
    roles : sequence of str
        As the document holds them.

    Returns
    -------
    float
        [px]
    """
    reach = {"end": 12.0, "splice": 8.5, "feed": 6.5, "pull": 5.5, "relube": 5.5, "proposed": 18.0}
    return max((reach.get(role, 3.5) for role in roles), default=3.5)


def hot_mark() -> Markup:
    """Return the mark of a pull's worst sidewall pressure.

    Returns
    -------
    Markup
        Elements about the origin.
    """
    return element("path", d="M-5 -5L5 5M-5 5L5 -5", stroke="#ffffff", stroke_width="4.5") + element(
        "path", d="M-5 -5L5 5M-5 5L5 -5", stroke="#a50f6b", stroke_width="2.2"
    )


def finding_mark() -> Markup:
    """Return the mark of a finding that is more than a note.

    Returns
    -------
    Markup
        One element about the origin.
    """
    return element(
        "circle", r="12", fill="none", stroke="#7b3294", stroke_width="1.6", stroke_dasharray="3 2"
    )


UNCOVERED = "no section gets through"


def uncovered_line(d: str, **other: str) -> Markup:
    """Return a line where no section gets through.

    Parameters
    ----------
    d : str
        Path data.
    **other : str
        Further attributes.

    Returns
    -------
    Markup
        One element, told from all classes of pulls by its dots.
    """
    style = {
        "stroke": "#9c0f0f",
        "stroke_width": "3.2",
        "stroke_dasharray": "0.1 6.5",
        "stroke_linecap": "round",
    }
    return element("path", d=d, fill="none", **style, **other)


def band_sample(index: int) -> Markup:
    """Return a short line drawn as the pulls of a class are.

    Parameters
    ----------
    index : int
        Of :data:`BANDS`.

    Returns
    -------
    Markup
        Elements from the origin to the right.
    """
    b = BANDS[index]
    edge = (
        element("path", d="M0 0H44", stroke="#000000", stroke_width=number(b.width + 3.5))
        if index == len(BANDS) - 1
        else Markup("")
    )
    return edge + element(
        "path", d="M0 0H44", stroke=b.colour, stroke_width=number(b.width), stroke_dasharray=b.dash or None
    )
