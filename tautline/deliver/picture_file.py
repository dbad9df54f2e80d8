"""A picture as a file: SVG as it is, or PNG by the typesetter, whole or not at all."""

from __future__ import annotations

from pathlib import Path

from markupsafe import Markup

from tautline.deliver.atomic import replacing, write_text
from tautline.deliver.typeset import typeset
from tautline.errors import OutputError

_PIXELS, _FEWEST = 3000.0, 2.0
"""Pixels across a picture, and the fewest to a unit of the drawing, which a typesetter takes for a point."""
_POINTS = 72.0

_PAGE = b"""#let data = json("data.json")
#set page(width: data.width * 1pt, height: data.height * 1pt, margin: 0pt)
#set text(font: ("Liberation Sans", "Arial", "Helvetica", "DejaVu Sans"))
#image(bytes(data.svg), format: "svg", width: 100%)
"""


def save(svg: Markup, width: float, height: float, path: Path) -> None:
    """Write a picture to a file.

    Parameters
    ----------
    svg : Markup
        One ``svg`` element.
    width, height : float
        Its size in its own units.
    path : Path
        The file, replaced whole; its suffix says which: ``.svg`` or ``.png``.

    Raises
    ------
    OutputError
        Another suffix, or the file could not be written.
    """
    kind = path.suffix.lower()
    if kind not in (".svg", ".png"):
        raise OutputError(path, "a picture is .svg or .png")
    if kind == ".svg":
        write_text(path, f'<?xml version="1.0" encoding="UTF-8"?>\n{svg}\n')
        return
    ppi = _POINTS * max(_FEWEST, _PIXELS / width)
    content = typeset(_PAGE, {"svg": str(svg), "width": width, "height": height}, "png", ppi)
    with replacing(path) as draft:
        draft.write_bytes(content)
