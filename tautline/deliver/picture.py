"""Plan and profile of a result as one picture, SVG or PNG."""

from __future__ import annotations

from pathlib import Path

from markupsafe import Markup

from tautline.deliver.feeder_picture import feeder_picture
from tautline.deliver.frame import Document, pulls_of
from tautline.deliver.picture_file import save
from tautline.deliver.plan_picture import PlanPicture
from tautline.deliver.present import Units, isolated
from tautline.deliver.pull_picture import pull_picture
from tautline.deliver.svg import FONT, INK, element, number, shorten

_WIDTH = 1000.0
_TITLE = 44.0


def write(document: Document, path: Path) -> None:
    """Write plan and profile as a picture.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    path : Path
        The file, replaced whole; its suffix says which: ``.svg`` or ``.png``.

    Raises
    ------
    OutputError
        Another suffix, or the file could not be written.
    """
    svg, height = picture_of(document)
    save(svg, _WIDTH, height, path)


def picture_of(document: Document) -> tuple[Markup, float]:
    """Return the picture and its height.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    (Markup, float)
        One ``svg`` element, 1000 units wide, and its height in the same units.
    """
    verdict = document["verdict"].replace("-", " ").upper()
    title = f"{shorten(isolated(document['job']['name']), 56)}: {verdict}"
    parts = [
        element("text", title, x=16.0, y=30.0, font_size="20", font_weight="700", fill=INK, font_family=FONT)
    ]
    plan = PlanPicture(document, _WIDTH, legend=True)
    height = _TITLE
    parts.append(element("svg", plan.render(), y=height, width=_WIDTH, height=plan.height))
    height += plan.height
    chart = feeder_picture(document, _WIDTH)
    pulls = pulls_of(document)
    if chart is None and len(pulls) == 1:
        chart = pull_picture(pulls[0], Units.of(document), _WIDTH)
    if chart is not None:
        tall = float(chart.split('viewBox="0 0 ', 1)[1].split('"', 1)[0].split()[1])
        parts.append(element("svg", chart, y=height, width=_WIDTH, height=tall))
        height += tall
    ground = element("rect", width=_WIDTH, height=height, fill="#ffffff")
    svg = element(
        "svg",
        ground,
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(_WIDTH)} {number(height)}",
        width=_WIDTH,
        height=height,
    )
    return svg, height
