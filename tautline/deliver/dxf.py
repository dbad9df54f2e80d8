"""The plan as a DXF drawing of our own: route, pulls by utilisation, vault roles, arrows, names, schedule, legend."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

from tautline.deliver.atomic import replacing
from tautline.deliver.frame import BANDS, ROLES, Document, Pull, arcs, pulls_of, rank, role_words
from tautline.deliver.labels import Label, Plan, text_width
from tautline.deliver.present import Units, count, percent, plain

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts import Modelspace

# $INSUNITS code by metres in one unit (DXF reference, group code 70 of $INSUNITS)
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

_LAYERS = {
    "ROUTE": (8, 18),
    **{f"PULL-{k + 1}": (b.aci, (30, 40, 60, 90)[k]) for k, b in enumerate(BANDS)},
    "ARROWS": (7, 18),
    "PULL-TEXT": (7, 18),
    **{f"VAULT-{role.upper()}": (7, 25) for role in (*ROLES, "other")},
    "VAULT-TEXT": (7, 18),
    "HOT-SPOTS": (6, 25),
    "FINDINGS": (32, 18),
    "SCHEDULE": (7, 18),
    "LEGEND": (7, 18),
}
PREFIX = "TAUTLINE-"
_WIDTHS = (0.12, 0.22, 0.34, 0.5)
"""Line width of each utilisation class, in letter heights."""
_FIGURES = (0, 3, 4, 5, 6, 7, 8)
"""Columns of the schedule that hold figures."""
_STYLE = "TAUTLINE"


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
    drawing = draw(document)
    with (
        replacing(path) as draft,
        draft.open("wt", encoding="utf-8", errors="dxfreplace", newline="\r\n") as out,
    ):
        drawing.write(out)


def draw(document: Document) -> Drawing:
    """Return the drawing.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    ezdxf.document.Drawing
        DXF R2010, no external fonts but a common one, no line types but the full line.
    """
    import ezdxf

    drawing = ezdxf.new("R2010", setup=False)
    metres = document["ground"]["metres_per_unit"]
    code = next((c for c, m in _INSUNITS.items() if abs(metres / m - 1) < 1e-9), 0)
    drawing.header["$INSUNITS"] = code
    drawing.header["$MEASUREMENT"] = 0 if code in _IMPERIAL else 1
    drawing.header["$LUNITS"] = 2
    drawing.styles.add(_STYLE, font="arial.ttf")
    for name, (colour, weight) in _LAYERS.items():
        drawing.layers.add(PREFIX + name, color=colour, lineweight=weight)
    _Sheet(document, drawing).draw()
    return drawing


class _Sheet:
    """One drawing in the making: a result document, its scale and where text still fits."""

    def __init__(self, document: Document, drawing: Drawing) -> None:
        self.document = document
        self.model: Modelspace = drawing.modelspace()
        self.drawing = drawing
        self.scale = 1.0 / document["ground"]["metres_per_unit"]
        self.units = Units.of(document)
        self.pulls = pulls_of(document)
        self.places = {v["tag"]: (v["x"] * self.scale, v["y"] * self.scale) for v in document["vaults"]}
        self.box = self._extents()
        self.extent = max(self.box[2] - self.box[0], self.box[3] - self.box[1])
        self.height = self._text_height()
        self.plan = Plan(0.5 * self.height)

    def draw(self) -> None:
        for span in self.document["route"]:
            self._polyline(span, span.get("turn_rad"), "ROUTE", 0.0)
            self.plan.avoid(self._scaled(span["path"]))
        for p in self.pulls:
            self.plan.avoid(self._scaled(p.data["path"]))
        self._vault_symbols()
        self._vault_names()
        for p in self.pulls:
            self._pull(p)
        for p in self.pulls:
            self._pull_text(p)
        self._hot_spots()
        self._findings()
        bottom = self._schedule()
        self._legend(bottom)
        self._frame_view()

    # -- geometry

    def _scaled(self, path: Iterable[Sequence[float]]) -> list[tuple[float, float]]:
        return [(p[0] * self.scale, p[1] * self.scale) for p in path]

    def _extents(self) -> tuple[float, float, float, float]:
        points = [xy for span in self.document["route"] for xy in self._scaled(span["path"])]
        points += [xy for p in self.pulls for xy in self._scaled(p.data["path"])]
        points += list(self.places.values())
        if not points:
            return 0.0, 0.0, 1.0, 1.0
        xs, ys = [x for x, _ in points], [y for _, y in points]
        return min(xs), min(ys), max(xs), max(ys)

    def _text_height(self) -> float:
        """Letters of about 2.5 mm where the whole fills a large sheet, but small beside the usual span."""
        unit = 0.3 * self.scale
        spans = [math.dist(self.places[a], self.places[b]) for a, b in self._neighbours()]
        spacing = float(median(spans)) if spans else self.extent
        return float(max(min(self.extent / 170, spacing / 8), unit))

    def _neighbours(self) -> list[tuple[str, str]]:
        pairs = [(s["from"], s["to"]) for s in self.document["route"]]
        pairs = pairs or [(p.data["feed"], p.data["pull"]) for p in self.pulls]
        return [(a, b) for a, b in pairs if a in self.places and b in self.places]

    def _polyline(self, item: Any, turns: Sequence[float] | None, layer: str, width: float) -> None:
        curved = arcs(item, turns) if turns else None
        corners = curved or [(p[0], p[1], 0.0) for p in item["path"]]
        points = [(x * self.scale, y * self.scale, width, width, bulge) for x, y, bulge in corners]
        if len(points) > 1:
            self.model.add_lwpolyline(points, format="xyseb", dxfattribs=self._on(layer))

    @staticmethod
    def _on(layer: str) -> dict[str, str]:
        return {"layer": PREFIX + layer}

    def _text(
        self, text: str, x: float, y: float, layer: str, height: float = 0.0, right: bool = False
    ) -> None:
        """A line of text whose lower left (or lower right) corner is at x, y."""
        from ezdxf.enums import TextEntityAlignment

        # a name that holds the DXF's own code for special characters stays as it is written
        shown = plain(text).replace("%%", "% %")
        entity = self.model.add_text(
            shown, height=height or self.height, dxfattribs={**self._on(layer), "style": _STYLE}
        )
        align = TextEntityAlignment.BOTTOM_RIGHT if right else TextEntityAlignment.BOTTOM_LEFT
        entity.set_placement((x, y), align=align)

    def _label(
        self, x: float, y: float, lines: Sequence[str], layer: str, gap: float, size: float = 1.0
    ) -> None:
        """Lines of text beside a point, where there is room."""
        h = self.height * size
        box = self.plan.put(Label(x, y, tuple(lines), h, gap, needed=True)).box
        to_left = box[2] <= x
        for k, line in enumerate(lines):
            self._text(
                line, box[2] if to_left else box[0], box[3] - h * (1.0 + 1.45 * k), layer, h, right=to_left
            )

    # -- what is drawn

    def _pull(self, p: Pull) -> None:
        number = BANDS.index(p.band)
        self._polyline(
            p.data, p.data["segments"]["turn_rad"], f"PULL-{number + 1}", self.height * _WIDTHS[number]
        )
        h = self.height
        for at in p.arrows(5):
            x, y = (c * self.scale for c in p.point(at))
            a = p.heading(at)
            tip, back, half = 1.1 * h, 0.9 * h, 0.6 * h
            corners = [
                (x + tip * math.cos(a), y + tip * math.sin(a)),
                (x - back * math.cos(a) - half * math.sin(a), y - back * math.sin(a) + half * math.cos(a)),
                (x - back * math.cos(a) + half * math.sin(a), y - back * math.sin(a) - half * math.cos(a)),
            ]
            self.model.add_solid([*corners, corners[2]], dxfattribs=self._on("ARROWS"))

    def _pull_text(self, p: Pull) -> None:
        d, units = p.data, self.units
        x, y = (c * self.scale for c in p.point(p.arrows(1)[0]))
        verdict = ", FAILS" if d["verdict"] == "fail" else ""
        lines = [
            f"PULL {p.number}: {percent(d['utilisation'])}{verdict}",
            f"{units.text('length', d['length_m'])}, {units.text('force', d['exit_tension_N'])}",
        ]
        self._label(x, y, lines, "PULL-TEXT", 1.2 * self.height)

    def _vault_symbols(self) -> None:
        for v in self.document["vaults"]:
            x, y = self.places[v["tag"]]
            r = self.height
            for role in v["roles"] or ["other"]:
                name = role if role in ROLES else "other"
                self._symbol(name, x, y, r)
            self.plan.block((x - 1.4 * r, y - 1.4 * r, x + 1.4 * r, y + 1.4 * r))

    def _symbol(self, role: str, x: float, y: float, r: float) -> None:
        """A vault's mark for one role; the marks of several roles lie inside each other."""
        on = self._on(f"VAULT-{role.upper()}")
        if role in ("pass", "other"):
            self.model.add_circle((x, y), 0.45 * r, dxfattribs=on)
        elif role == "feed":
            self.model.add_circle((x, y), 0.85 * r, dxfattribs=on)
        elif role == "relube":
            self.model.add_circle((x, y), 0.6 * r, dxfattribs=on)
            self.model.add_line((x - 0.6 * r, y), (x + 0.6 * r, y), dxfattribs=on)
            self.model.add_line((x, y - 0.6 * r), (x, y + 0.6 * r), dxfattribs=on)
        else:
            corners = {
                "pull": [(0.0, 0.75), (-0.65, -0.4), (0.65, -0.4)],
                "splice": [(-1.1, -1.1), (1.1, -1.1), (1.1, 1.1), (-1.1, 1.1)],
                "end": [(0.0, -1.6), (1.6, 0.0), (0.0, 1.6), (-1.6, 0.0)],
            }[role]
            self.model.add_lwpolyline([(x + a * r, y + b * r) for a, b in corners], close=True, dxfattribs=on)

    def _vault_names(self) -> None:
        for v in sorted(self.document["vaults"], key=lambda v: rank(v["roles"])):
            x, y = self.places[v["tag"]]
            work = role_words(v["roles"])
            self._label(x, y, [plain(v["tag"]), *([work] if work else [])], "VAULT-TEXT", 1.8 * self.height)

    def _hot_spots(self) -> None:
        for p in self.pulls:
            station = p.data["max_sidewall_station_m"]
            if station is None or not p.data["path"]:
                continue
            x, y = (c * self.scale for c in p.point(station))
            r = 0.7 * self.height
            for s in (-1, 1):
                self.model.add_line((x - r, y - s * r), (x + r, y + s * r), dxfattribs=self._on("HOT-SPOTS"))
            text = self.units.text("pressure", p.data["max_sidewall_N_per_m"])
            self._label(x, y, [text], "HOT-SPOTS", self.height, 0.8)

    def _findings(self) -> None:
        for k, f in enumerate(self.document["findings"], 1):
            if f["where"]["x"] is None or f["where"]["y"] is None:
                continue
            x, y = f["where"]["x"] * self.scale, f["where"]["y"] * self.scale
            self.model.add_circle((x, y), 1.9 * self.height, dxfattribs=self._on("FINDINGS"))
            self._label(x, y, [f"finding {k}: {f['code']}"], "FINDINGS", 2.2 * self.height, 0.7)

    # -- beside the plan

    def _schedule(self) -> float:
        """The table of pulls under the plan; returns its lower edge."""
        units = self.units
        heads = [
            "no",
            "feed",
            "pull",
            units.label("length"),
            f"exit {units.label('force')}",
            "limit",
            f"sidewall {units.label('pressure')}",
            "limit",
            "use",
            "verdict",
            "re-lube",
        ]
        body = [
            [
                str(p.number),
                plain(p.data["feed"]),
                plain(p.data["pull"]),
                units.figure("length", p.data["length_m"]),
                units.figure("force", p.data["exit_tension_N"]),
                units.figure("force", p.data["limits"]["max_tension_N"]),
                units.figure("pressure", p.data["max_sidewall_N_per_m"]),
                units.figure("pressure", p.data["limits"]["max_sidewall_N_per_m"]),
                percent(p.data["utilisation"]),
                p.data["verdict"],
                ", ".join(plain(v) for v in p.data["relube"]),
            ]
            for p in self.pulls
        ]
        tall = max(30, math.ceil(math.sqrt(8.0 * len(body))))
        blocks = [body[k : k + tall] for k in range(0, len(body), tall)] or [[]]
        h = max(self.height, min(self.extent / 170, self.extent / (2.0 * (tall + 1))))
        wide = [max(text_width(r[k], h) for r in (heads, *body)) + 2 * h for k in range(len(heads))]
        x, y = self.box[0], self.box[1] - 8 * h - 6 * self.height
        verdict = self.document["verdict"].replace("-", " ").upper()
        title = f"{plain(self.document['job']['name'])}: {verdict}, {count(len(self.pulls), 'pull')}"
        self._text(title, x, y + h, "SCHEDULE", 1.4 * h)
        for block in blocks:
            self._table([heads, *block], wide, x, y, h)
            x += sum(wide) + 4 * h
        self._right, self._top, self._letter = x, y, h
        return y - 2.0 * h * (min(tall, len(body)) + 1)

    def _table(
        self, rows: Sequence[Sequence[str]], wide: Sequence[float], x: float, y: float, h: float
    ) -> None:
        """Rules and cells; y is the upper edge."""
        step = 2.0 * h
        edges = [x + sum(wide[:k]) for k in range(len(wide) + 1)]
        on = self._on("SCHEDULE")
        for k in range(len(rows) + 1):
            self.model.add_line((edges[0], y - k * step), (edges[-1], y - k * step), dxfattribs=on)
        for edge in edges:
            self.model.add_line((edge, y), (edge, y - step * len(rows)), dxfattribs=on)
        for j, row in enumerate(rows):
            for k, cell in enumerate(row):
                if cell:
                    right = j > 0 and k in _FIGURES
                    at = edges[k + 1] - h if right else edges[k] + h
                    self._text(cell, at, y - (j + 1) * step + 0.5 * h, "SCHEDULE", h, right=right)

    def _legend(self, bottom: float) -> None:
        """Line classes, marks, unit and source, to the right of the schedule's top."""
        h = self._letter
        x, y = self._right + 4 * h, self._top
        self._text("Pulls by utilisation (worst binding check)", x, y + h, "LEGEND", 1.2 * h)
        for k, b in enumerate(BANDS):
            y -= 2.0 * h
            width = h * _WIDTHS[k]
            line = [(x, y + 0.5 * h, width, width), (x + 8 * h, y + 0.5 * h, width, width)]
            self.model.add_lwpolyline(line, format="xyse", dxfattribs=self._on(f"PULL-{k + 1}"))
            self._text(b.words, x + 10 * h, y, "LEGEND", h)
        y -= h
        for role, meaning in ROLES.items():
            y -= 3.4 * h
            self._symbol(role, x + 4 * h, y + 0.5 * h, h)
            self._text(meaning if role == "end" else f"{meaning} vault", x + 10 * h, y, "LEGEND", h)
        y -= 2 * h
        unit = plain(self.document["ground"]["unit"]).replace("_", " ")
        notes = [
            "X: worst sidewall pressure of a pull; arrows: direction of the pull",
            f"drawing unit: {unit}; coordinates as in {plain(self.document['source']['file'])}",
            f"crs: {plain(self.document['crs'] or 'not known')[:80]}",
            f"sha256 of the source {self.document['source']['sha256'][:16]}",
            "The cable maker's data, local codes and licensed practice go before this drawing.",
        ]
        for note in notes:
            y -= 2.0 * h
            self._text(note, x, y, "LEGEND", h)
        self._bottom = min(bottom, y)
        self._edge = x + max(text_width(n, h) for n in notes)

    def _frame_view(self) -> None:
        """Opens on the whole drawing."""
        x0, y0 = self.box[0] - 10 * self.height, self._bottom - 4 * self.height
        x1, y1 = max(self.box[2], self._edge) + 10 * self.height, self.box[3] + 10 * self.height
        self.drawing.header["$EXTMIN"], self.drawing.header["$EXTMAX"] = (x0, y0, 0), (x1, y1, 0)
        height = max(y1 - y0, (x1 - x0) / 1.6)
        self.drawing.set_modelspace_vport(height=height, center=((x0 + x1) / 2, (y0 + y1) / 2))
