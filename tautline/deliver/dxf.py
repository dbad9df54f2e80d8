"""The plan as a DXF drawing: route, pulls by utilisation, vault roles, bends, findings, with what belongs beside it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

from tautline.deliver.atomic import replacing
from tautline.deliver.bundles import changes_of
from tautline.deliver.dxf_beside import Corner, draw_legend, draw_profiles, draw_schedule, rows_in_a_block
from tautline.deliver.dxf_pen import WIDTHS, Pen, new_drawing, timeless
from tautline.deliver.frame import BANDS, ROLES, Document, Pull, arcs, pulls_of, rank, role_words
from tautline.deliver.labels import Label, Plan
from tautline.deliver.present import Units, plain, used

if TYPE_CHECKING:
    from ezdxf.document import Drawing

Box = tuple[float, float, float, float]


def write(document: Document, path: Path) -> None:
    """Write a result document's plan as a DXF drawing in the unit of its source.

    Every kind of thing is on a layer of its own, colours and line weights by layer. Text is sized to the drawing.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    path : Path
        The file, replaced whole.

    Raises
    ------
    OutputError
        The file could not be written.
    """
    with replacing(path) as draft, timeless():
        save(draw(document), draft)


def draw_on(document: Document, drawing: Drawing, held: Box) -> None:
    """Draw a result on a drawing that holds something already.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    drawing : ezdxf.document.Drawing
        In the coordinates of the result's source.
    held : (float, float, float, float)
        Extents of what is on it: least x and y, greatest x and y. [drawing units]
    """
    sheet = _Sheet(document, drawing)
    # a stray entity far away does not drag the schedule after it
    if sheet.box[1] - 20 * sheet.extent < held[1]:
        sheet.lowest = min(sheet.lowest, held[1])
    sheet.draw(view=False)


def unit_box(document: Document) -> Box:
    """Return the extents of a result in the unit of its source.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    (float, float, float, float)
        Least x and y, greatest x and y. [drawing units]
    """
    scale = 1.0 / document["ground"]["metres_per_unit"]
    paths = [item["path"] for item in document["route"]] + [p.data["path"] for p in pulls_of(document)]
    points = [(p[0] * scale, p[1] * scale) for path in paths for p in path]
    points += [(v["x"] * scale, v["y"] * scale) for v in document["vaults"]]
    if not points:
        return 0.0, 0.0, 1.0, 1.0
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def draw(document: Document) -> Drawing:
    """Return the drawing.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    ezdxf.document.Drawing
        DXF R2010, no font but a common one, no line type but the full line.
    """
    drawing = new_drawing(document["ground"]["metres_per_unit"])
    _Sheet(document, drawing).draw()
    return drawing


def save(drawing: Drawing, path: Path) -> None:
    """Write a drawing to a file as it stands.

    Parameters
    ----------
    drawing : ezdxf.document.Drawing
        Any.
    path : Path
        Overwritten.
    """
    with path.open("wt", encoding=drawing.output_encoding, errors="dxfreplace", newline="\r\n") as out:
        drawing.write(out)


class _Sheet:
    """One drawing in the making: a result document, its scale and where text still fits."""

    def __init__(self, document: Document, drawing: Drawing) -> None:
        self.document, self.drawing = document, drawing
        self.pen = Pen(drawing)
        self.scale = 1.0 / document["ground"]["metres_per_unit"]
        self.units, self.pulls = Units.of(document), pulls_of(document)
        self.places = {v["tag"]: (v["x"] * self.scale, v["y"] * self.scale) for v in document["vaults"]}
        self.box = unit_box(document)
        self.extent = max(self.box[2] - self.box[0], self.box[3] - self.box[1])
        self.lowest = self.box[1]
        self.height = self._text_height()
        self.plan = Plan(0.8 * self.height)

    def draw(self, *, view: bool = True) -> None:
        """Draw everything; ``view``: open on the whole of it."""
        for span in self.document["route"]:
            self._polyline(span, span.get("turn_rad"), "ROUTE", 0.0)
            self.plan.avoid(self._scaled(span["path"]))
        for p in self.pulls:
            self.plan.avoid(self._scaled(p.data["path"]))
        self._vault_marks()
        self._vault_names()
        for draw in (self._pull, self._pull_text, self._hot_spot, self._bends):
            for p in self.pulls:
                draw(p)
        self._findings()
        whole = self._beside()
        if view:
            self._view(whole)

    def _scaled(self, path: Iterable[Sequence[float]]) -> list[tuple[float, float]]:
        return [(p[0] * self.scale, p[1] * self.scale) for p in path]

    def _spot(self, p: Pull, station: float) -> tuple[float, float]:
        x, y = p.point(station)
        return x * self.scale, y * self.scale

    def _text_height(self) -> float:
        """Letters of about 2.5 mm where the whole fills a large sheet, but small beside the usual span."""
        pairs = [(s["from"], s["to"]) for s in self.document["route"]]
        pairs = pairs or [(p.data["feed"], p.data["pull"]) for p in self.pulls]
        known = [(a, b) for a, b in pairs if a in self.places and b in self.places]
        spans = [math.dist(self.places[a], self.places[b]) for a, b in known]
        spacing = float(median(spans)) if spans else self.extent
        return float(max(min(self.extent / 170, spacing / 8), 0.3 * self.scale))

    def _polyline(self, item: Any, turns: Sequence[float] | None, layer: str, width: float) -> None:
        corners = (arcs(item, turns) if turns else None) or [(p[0], p[1], 0.0) for p in item["path"]]
        points = [(x * self.scale, y * self.scale, bulge) for x, y, bulge in corners]
        self.pen.polyline(points, layer, width=width)

    def _label(
        self, at: tuple[float, float], lines: Sequence[str], layer: str, gap: float, size: float = 1.0
    ) -> None:
        """Lines of text beside a point, where there is room."""
        h, (x, y) = self.height * size, at
        box = self.plan.put(Label(x, y, tuple(lines), h, gap * self.height, needed=True)).box
        left = box[2] <= x  # text to the left of its point ends there
        for k, line in enumerate(lines):
            top = box[3] - h * (1.0 + 1.45 * k)
            self.pen.text(line, box[2] if left else box[0], top, layer, h, right=left)

    def _pull(self, p: Pull) -> None:
        number = BANDS.index(p.band)
        turns, width = p.data["segments"]["turn_rad"], self.height * WIDTHS[number]
        self._polyline(p.data, turns, f"PULL-{number + 1}", width)
        h = self.height
        for at in p.arrows(5):
            (x, y), a = self._spot(p, at), p.heading(at)
            c, s = math.cos(a), math.sin(a)
            corners = [
                (x + 1.1 * h * c, y + 1.1 * h * s),
                (x - 0.9 * h * c - 0.6 * h * s, y - 0.9 * h * s + 0.6 * h * c),
                (x - 0.9 * h * c + 0.6 * h * s, y - 0.9 * h * s - 0.6 * h * c),
            ]
            self.pen.solid(corners, "ARROWS")

    def _pull_text(self, p: Pull) -> None:
        d, units = p.data, self.units
        verdict = ", FAILS" if d["verdict"] == "fail" else ""
        lines = [
            f"PULL {p.number}: {used(d)}{verdict}",
            f"{units.text('length', d['length_m'])}, {units.text('force', d['exit_tension_N'])}",
        ]
        if p.data["path"]:
            self._label(self._spot(p, p.arrows(1)[0]), lines, "PULL-TEXT", 1.2)

    def _vault_marks(self) -> None:
        r = self.height
        for v in self.document["vaults"]:
            x, y = self.places[v["tag"]]
            for role in v["roles"] or ["other"]:
                self.pen.vault(role if role in ROLES else "other", x, y, r)
            self.plan.block((x - 1.4 * r, y - 1.4 * r, x + 1.4 * r, y + 1.4 * r))

    def _vault_names(self) -> None:
        changes = changes_of(self.document)
        for v in sorted(self.document["vaults"], key=lambda v: rank(v["roles"])):
            work = role_words(v["roles"], v["tag"] in changes)
            lines = [plain(v["tag"]), *([work] if work else [])]
            if v["station_m"] is not None:
                lines.append(f"sta {self.units.text('length', v['station_m'])}")
            self._label(self.places[v["tag"]], lines, "VAULT-TEXT", 1.8)

    def _hot_spot(self, p: Pull) -> None:
        station = p.data["max_sidewall_station_m"]
        if station is None or not p.data["path"]:
            return
        x, y = self._spot(p, station)
        r = 0.7 * self.height
        for s in (-1, 1):
            self.pen.line(x - r, y - s * r, x + r, y + s * r, "HOT-SPOTS")
        text = self.units.text("pressure", p.data["max_sidewall_N_per_m"])
        self._label((x, y), [text], "HOT-SPOTS", 1.0, 0.8)

    def _bends(self, p: Pull) -> None:
        """Angle and radius of every curve that a person would see on the drawing."""
        for curve in p.curves if p.data["path"] else []:
            angle = sum(b.angle for b in curve)
            if curve[0].guide or angle < math.radians(2):
                continue
            kind, radius = curve[0].kind, min(b.radius for b in curve)
            sharp = self.units.text("size" if radius < 3.0 else "length", radius)
            text = f"{math.degrees(angle):.0f}° {'' if kind == 'bend' else kind + ' '}R {sharp}"
            if len(curve) > 1:
                text += f" or more, {len(curve)} sweeps"
            self._label(self._spot(p, (curve[0].start + curve[-1].end) / 2), [text], "BENDS", 0.8, 0.6)

    def _findings(self) -> None:
        for k, f in enumerate(self.document["findings"], 1):
            if f["where"]["x"] is None or f["where"]["y"] is None:
                continue
            x, y = f["where"]["x"] * self.scale, f["where"]["y"] * self.scale
            text = f"finding {k}: {f['code']}"
            if f["severity"] == "info":
                self.pen.circle(x, y, 1.9 * self.height, "FINDINGS-INFO")
                self.pen.text(text, x + 2.2 * self.height, y, "FINDINGS-INFO", 0.6 * self.height)
                continue
            self.pen.circle(x, y, 1.9 * self.height, "FINDINGS")
            self._label((x, y), [text], "FINDINGS", 2.2, 0.7)

    def _beside(self) -> Box:
        """Schedule, legend and profiles under the plan and all else on the drawing; returns the box without profiles."""
        rows = rows_in_a_block(len(self.pulls)) + 1
        h = max(self.height, min(self.extent / 170, self.extent / (2.0 * rows)))
        at = Corner(self.box[0], self.lowest - 8 * h - 6 * self.height, h)
        right, low = draw_schedule(self.pen, self.document, self.pulls, at)
        edge, legend_low = draw_legend(self.pen, self.document, Corner(right + 4 * h, at.y, h))
        low = min(low, legend_low)
        draw_profiles(self.pen, self.document, self.pulls, Corner(at.x, low - 12 * h, h))
        return self.box[0], low, max(self.box[2], edge), self.box[3]

    def _view(self, whole: Box) -> None:
        """Open on plan, schedule and legend; the profiles lie below."""
        pad = 10 * self.height
        x0, y0, x1, y1 = whole[0] - pad, whole[1] - pad, whole[2] + pad, whole[3] + pad
        height = max(y1 - y0, (x1 - x0) / 1.6)
        self.drawing.set_modelspace_vport(height=height, center=((x0 + x1) / 2, (y0 + y1) / 2))
