"""Drawing with ezdxf on layers of our own: colours and line weights by layer, text as it is written."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from tautline.deliver.frame import BANDS, ROLES
from tautline.deliver.present import plain

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts import Modelspace

PREFIX = "TAUTLINE-"
STYLE = "TAUTLINE"

LAYERS: Mapping[str, tuple[int, int]] = {
    "ROUTE": (8, 18),
    **{f"PULL-{k + 1}": (b.aci, (30, 40, 60, 90)[k]) for k, b in enumerate(BANDS)},
    "ARROWS": (7, 18),
    "PULL-TEXT": (7, 18),
    **{f"VAULT-{role.upper()}": (7, 25) for role in (*ROLES, "other")},
    "VAULT-TEXT": (7, 18),
    "BENDS": (8, 13),
    "HOT-SPOTS": (6, 25),
    "FINDINGS": (32, 18),
    "FINDINGS-INFO": (8, 13),
    "SCHEDULE": (7, 18),
    "LEGEND": (7, 18),
    "PROFILE": (8, 13),
    "PROFILE-TEXT": (7, 18),
    "PROFILE-TENSION": (150, 40),
    "PROFILE-LIMIT": (1, 25),
    "PROFILE-SIDEWALL": (6, 25),
    "PROFILE-ELEVATION": (92, 30),
}
"""Colour of the index and line weight [0.01 mm] of each layer."""
_OFF = ("FINDINGS-INFO",)
"""Layers that are there but not shown at first."""

WIDTHS = (0.12, 0.22, 0.34, 0.5)
"""Line width of each utilisation class, in letter heights."""

# $INSUNITS code by metres in one unit (DXF reference, $INSUNITS)
_INSUNITS = {
    2: 0.3048,
    6: 1.0,
    21: 1200 / 3937,
    4: 0.001,
    1: 0.0254,
    5: 0.01,
    7: 1000.0,
    3: 1609.344,
    10: 0.9144,
    14: 0.1,
    24: 6336000 / 3937,
}
_IMPERIAL = (1, 2, 3, 10, 21, 24)


def unit_code(metres_per_unit: float) -> int:
    """Return the drawing's code for a unit, 0 where there is none for it.

    Parameters
    ----------
    metres_per_unit : float
        Of the unit.

    Returns
    -------
    int
        A value of ``$INSUNITS``.
    """
    return next((c for c, m in _INSUNITS.items() if abs(metres_per_unit / m - 1) < 1e-9), 0)


def new_drawing(metres_per_unit: float) -> Drawing:
    """Return an empty drawing in a unit: DXF R2010, one common font, no line type but the full line.

    Parameters
    ----------
    metres_per_unit : float
        Of its unit.

    Returns
    -------
    ezdxf.document.Drawing
        Without any entity.
    """
    import ezdxf

    drawing = ezdxf.new("R2010", setup=False)
    code = unit_code(metres_per_unit)
    drawing.header["$INSUNITS"] = code
    drawing.header["$MEASUREMENT"] = 0 if code in _IMPERIAL else 1
    drawing.header["$LUNITS"] = 2
    for name in ("LAYOUT", "ACDBPLACEHOLDER"):  # or they come in any order
        drawing.classes.add_class(name)
    return drawing


@contextmanager
def timeless() -> Iterator[None]:
    """Make and write drawings without the time of day, so that the same result always gives the same file.

    Yields
    ------
    None
        While it lasts.
    """
    import ezdxf

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


class Pen:
    """Draws on a drawing's model space, on our layers.

    Parameters
    ----------
    drawing : Drawing
        Ours or a copy of the input's; layers and text style are added where they are not there.
    """

    def __init__(self, drawing: Drawing) -> None:
        self.drawing = drawing
        self.model: Modelspace = drawing.modelspace()
        if STYLE not in drawing.styles:
            drawing.styles.add(STYLE, font="arial.ttf")
        for name, (colour, weight) in LAYERS.items():
            if PREFIX + name not in drawing.layers:
                layer = drawing.layers.add(PREFIX + name, color=colour, lineweight=weight)
                if name in _OFF:
                    layer.off()

    @staticmethod
    def on(layer: str) -> dict[str, str]:
        """Return the attributes that put an entity on one of our layers."""
        return {"layer": PREFIX + layer}

    def text(self, text: str, x: float, y: float, layer: str, height: float, *, right: bool = False) -> None:
        """Write a line whose lower left (or lower right) corner is at x, y."""
        from ezdxf.enums import TextEntityAlignment

        # a name that holds the drawing's own code for special characters stays as it is written
        shown = plain(text).replace("%%", "% %")
        entity = self.model.add_text(shown, height=height, dxfattribs={**self.on(layer), "style": STYLE})
        align = TextEntityAlignment.BOTTOM_RIGHT if right else TextEntityAlignment.BOTTOM_LEFT
        entity.set_placement((x, y), align=align)

    def line(self, x0: float, y0: float, x1: float, y1: float, layer: str) -> None:
        """Draw a straight line."""
        self.model.add_line((x0, y0), (x1, y1), dxfattribs=self.on(layer))

    def circle(self, x: float, y: float, radius: float, layer: str) -> None:
        """Draw a circle."""
        self.model.add_circle((x, y), radius, dxfattribs=self.on(layer))

    def polyline(
        self,
        points: Iterable[Sequence[float]],
        layer: str,
        *,
        width: float = 0.0,
        close: bool = False,
    ) -> None:
        """Draw a light polyline through (x, y) or (x, y, bulge)."""
        corners = [(p[0], p[1], width, width, p[2] if len(p) > 2 else 0.0) for p in points]
        if len(corners) > 1:
            self.model.add_lwpolyline(corners, format="xyseb", close=close, dxfattribs=self.on(layer))

    def solid(self, corners: Sequence[tuple[float, float]], layer: str) -> None:
        """Fill a triangle."""
        self.model.add_solid([*corners, corners[2]], dxfattribs=self.on(layer))

    def vault(self, role: str, x: float, y: float, r: float) -> None:
        """Draw a vault's mark for one role; the marks of several roles lie inside each other."""
        layer = f"VAULT-{role.upper()}"
        if role in ("pass", "other"):
            self.circle(x, y, 0.45 * r, layer)
        elif role == "feed":
            self.circle(x, y, 0.85 * r, layer)
        elif role == "relube":
            self.circle(x, y, 0.6 * r, layer)
            self.line(x - 0.6 * r, y, x + 0.6 * r, y, layer)
            self.line(x, y - 0.6 * r, x, y + 0.6 * r, layer)
        elif role == "proposed":
            for a, b in ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)):
                self.line(x + 1.6 * a * r, y + 1.6 * b * r, x + 2.4 * a * r, y + 2.4 * b * r, layer)
        else:
            corners = {
                "pull": [(0.0, 0.75), (-0.65, -0.4), (0.65, -0.4)],
                "splice": [(-1.1, -1.1), (1.1, -1.1), (1.1, 1.1), (-1.1, 1.1)],
                "end": [(0.0, -1.6), (1.6, 0.0), (0.0, 1.6), (-1.6, 0.0)],
            }[role]
            self.polyline([(x + a * r, y + b * r) for a, b in corners], layer, close=True)
