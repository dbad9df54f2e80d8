"""The drawing as tautline understood it: ducts, bends, vaults and findings in plan, raw vertices faint underneath."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from pathlib import Path

import shapely
from markupsafe import Markup

from mechanics.units import System
from routeio.findings import Finding
from routeio.summary import SMALL, Summary, summarise
from routeio.survey import Duct, Survey, Vault
from tautline.deliver.labels import Box, Label, Plan
from tautline.deliver.present import Units, count, plain
from tautline.deliver.scale import north_arrow, scale_bar
from tautline.deliver.survey_legend import BENDS, DUCT, LOOSE, SEVERE, VERTEX, legend
from tautline.deliver.svg import FONT, INK, element, number, path_data, shorten
from tautline.survey_bends import PlanBend, bend_text, laid

_MARGIN, _HEAD, _STRIP = 56.0, 62.0, 40.0
_SIZE = 12.0
#: A picture is at least this wide, and wider the more there is on it, up to the second. [px]
_NARROW, _WIDE = 1200.0, 2600.0
#: Vaults and bends for which the narrowest is wide enough.
_EASY = 40
_LONGEST = 26
#: More ducts than this have no tooltip of their own: the picture would be too large to open.
_TOLD = 3000
_LETTERS = {"stroke": "#ffffff", "stroke_width": "3", "paint_order": "stroke", "stroke_linejoin": "round"}
#: The least extent that is drawn, for a file with one thing in it. [m]
_LEAST = 5.0
_SMALL = 9.0
#: Room above and below a line of writing, beside the height of its letters. [px]
_LEADING = 2.5
#: Notes of a kind are numbered on the map up to so many; more are only ringed.
_NUMBERED = 40
#: Bends that turn less are drawn and not written. [rad]
_SLIGHT = math.radians(1.0)
_RANK = {"error": 0, "warning": 1, "info": 2}


class SurveyPicture:
    """A picture of a survey in the making.

    Parameters
    ----------
    survey : Survey
        As read.
    system : {"us", "si"}
        Units that lengths and radii are written in.
    width : float, optional
        Of the picture; by default so much that there is room for what is on it. [px]
    """

    def __init__(self, survey: Survey, system: System, width: float | None = None) -> None:
        self.survey, self.units = survey, Units(system)
        self.summary: Summary = summarise(survey)
        self.forgiven = any(f.code == "sharp-corner" for f in survey.findings)
        self.courses = [laid(duct) for duct in survey.ducts]
        crowd = len(survey.vaults) + self.summary.bends
        self.width = width or min(_WIDE, _NARROW * math.sqrt(max(1.0, crowd / _EASY)))
        xs, ys = self._reach()
        across, up = max(xs[1] - xs[0], _LEAST), max(ys[1] - ys[0], _LEAST)
        inner = self.width - 2 * _MARGIN
        self.k = min(inner / across, inner / up)
        self.map_height = max(up * self.k + 2 * _MARGIN, 240.0)
        self._x = self.width / 2 - (xs[0] + xs[1]) / 2 * self.k
        self._y = _HEAD + self.map_height / 2 + (ys[0] + ys[1]) / 2 * self.k
        edges = (4.0, _HEAD + 4.0, self.width - 4.0, _HEAD + self.map_height - 4.0)
        self.room = Plan(4.0, edges)
        self.unwritten: Counter[str] = Counter()
        self._often = Counter(f.code for f in survey.findings)
        self._numbers = {kind.code: k for k, kind in enumerate(self.summary.kinds, 1)}

    def render(self) -> tuple[Markup, float]:
        """Return the picture and its height.

        Returns
        -------
        (Markup, float)
            One ``svg`` element, and its height. [px]
        """
        world = [*self._vertices(), *self._ducts(), *self._bends(), *self._vaults(), *self._loose()]
        spots, unplaced = self._spots()
        world += [self._ring(at, found) for at, found in spots]
        names = self._names(spots)
        below, tall = legend(
            self.summary,
            {bend.how for _, bends in self.courses for bend in bends},
            self._numbers,
            unplaced,
            self.unwritten,
            self.width,
            _HEAD + self.map_height + _STRIP,
        )
        height = _HEAD + self.map_height + _STRIP + tall
        strip = _HEAD + self.map_height + 16.0
        parts = [
            element("rect", width=self.width, height=height, fill="#ffffff"),
            *self._title(),
            element("g", *world, class_="world"),
            element("g", *names, class_="names"),
            scale_bar(16.0, strip, 1.0 / self.k, self.units.unit("length")),
            north_arrow(self.width - 90.0, strip),
            below,
        ]
        svg = element(
            "svg", *parts, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {number(self.width)} {number(height)}",
            width=self.width, height=height, font_family=FONT, font_size=_SIZE, role="img",
            aria_label="The drawing as understood",
        )  # fmt: skip
        return svg, height

    def xy(self, point: Sequence[float]) -> tuple[float, float]:
        """Return where a place on the map stands in the picture. [px]"""
        return self._x + point[0] * self.k, self._y - point[1] * self.k

    def _reach(self) -> tuple[tuple[float, float], tuple[float, float]]:
        points = [p for path, _ in self.courses for p in path] + [(v.x, v.y) for v in self.survey.vaults]
        points = points or [(0.0, 0.0)]
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        return (min(xs), max(xs)), (min(ys), max(ys))

    def _title(self) -> list[Markup]:
        s, units = self.summary, self.units
        tightest = ""
        if s.least_radius is not None:
            few = s.least_radius < SMALL
            tightest = f", the tightest R {units.text('length', s.least_radius, 2 if few else 0)}"
        if s.cramped:
            tightest += f", {count(s.cramped, 'corner')} without room for the sweep"
        told = (
            f"{count(s.ducts, 'duct')}, {units.text('length', s.length)}; {count(s.bends, 'bend')}{tightest}, "
            f"{math.degrees(s.total_turn):,.0f}° in all; {count(s.vaults, 'vault')}; "
            f"{count(s.elevated, 'duct')} with elevations; {count(s.count('error'), 'error')}, "
            f"{count(s.count('warning'), 'warning')}, {count(s.count('info'), 'note')}"
        )
        where = f"{s.unit}, {s.crs}" if s.crs and len(s.crs) < 40 else s.unit
        name = shorten(plain(Path(self.survey.file).name), 60)
        return [
            element(
                "text", f"{name} as understood", x=16.0, y=28.0, font_size="19", font_weight="700", fill=INK
            ),
            element("text", f"{told}; {where}", x=16.0, y=50.0, fill=INK),
        ]

    def _line(self, path: Iterable[Sequence[float]]) -> list[tuple[float, float]]:
        """Return a path in the picture, points that fall together left out, its two ends never."""
        out: list[tuple[float, float]] = []
        last = (0.0, 0.0)
        for p in path:
            last = self.xy(p)
            if not out or math.dist(out[-1], last) > 0.05:
                out.append(last)
        if len(out) == 1:
            out.append(last)
        return out

    def _vertices(self) -> list[Markup]:
        """Return the raw vertices as dots in one path, those on top of each other once."""
        seen: dict[tuple[int, int], None] = {}
        for duct in self.survey.ducts:
            for x, y in duct.vertices[:, :2].tolist():
                px, py = self.xy((x, y))
                seen[round(px * 2), round(py * 2)] = None
        if not seen:
            return []
        dots = "".join(f"M{number(x / 2)} {number(y / 2)}h.01" for x, y in seen)
        return [element("path", d=dots, class_="vertices", fill="none", **VERTEX)]

    def _ducts(self) -> list[Markup]:
        lines = [self._line(path) for path, _ in self.courses]
        for line in lines:
            self.room.avoid(line)
        if len(lines) > _TOLD:
            whole = "".join(path_data(line) for line in lines)
            return [element("path", d=whole, class_="ducts", fill="none", **DUCT)]
        parts = []
        for duct, line in zip(self.survey.ducts, lines, strict=True):
            title = element("title", self._told(duct))
            parts.append(element("path", title, d=path_data(line), class_="duct", fill="none", **DUCT))
        return parts

    def _told(self, duct: Duct) -> str:
        ends = " to ".join(plain(tag) if tag else "a loose end" for tag in (duct.start_vault, duct.end_vault))
        turn = math.degrees(float(abs(duct.chain.turn).sum()))
        return (
            f"{plain(duct.id)}: {ends}, {self.units.text('length', duct.chain.total_length)}, {turn:.0f}° in all, "
            f"{len(duct.vertices)} vertices to {len(duct.chain)} segments"
        )

    def _bends(self) -> list[Markup]:
        """Return every bend along its own course, and as a dot where that is too short to be seen."""
        parts = []
        for _, bends in self.courses:
            for bend in bends:
                style, line = BENDS[bend.how], self._line(bend.path)
                title = element("title", self._words(bend))
                parts.append(
                    element("path", title, d=path_data(line), class_=f"bend {bend.how}", fill="none", **style)
                )
                if math.dist(line[0], line[-1]) < 5.0:
                    x, y = self.xy(bend.middle)
                    parts.append(element("circle", title, cx=x, cy=y, r=2.2, fill=style["stroke"]))
        return parts

    def _vaults(self) -> list[Markup]:
        met = {tag for d in self.survey.ducts for tag in (d.start_vault, d.end_vault)}
        parts = []
        for vault in self.survey.vaults:
            x, y = self.xy((vault.x, vault.y))
            used = vault.tag in met
            style = {"stroke": INK if used else "#8a939b", "stroke_width": "1.4", "fill": "#ffffff"}
            title = element("title", f"{plain(vault.tag)}{'' if used else ': no duct meets it'}")
            rings = self._outline(vault)
            half = 3.5
            sign = element("rect", x=x - half, y=y - half, width=2 * half, height=2 * half, **style)
            if rings:
                sign = element("path", d=rings, **(style | {"fill": "#eef1f4"}))
            elif not used:
                sign = element("circle", cx=x, cy=y, r=half, **(style | {"stroke_dasharray": "2 1.5"}))
            parts.append(element("g", title, sign, class_="vault" if used else "vault unused"))
            self.room.block((x - half, y - half, x + half, y + half))
        return parts

    def _outline(self, vault: Vault) -> str:
        """Return a vault's outline where it is large enough to be seen, else nothing."""
        shape = vault.footprint
        if shape is None or shape.is_empty:
            return ""
        x0, y0, x1, y1 = shape.bounds
        if max(x1 - x0, y1 - y0) * self.k < 8.0:
            return ""
        rings = [p.exterior for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]
        return "".join(f"{path_data([self.xy(p) for p in ring.coords])}Z" for ring in rings)

    def _loose(self) -> list[Markup]:
        parts = []
        for duct, (path, _) in zip(self.survey.ducts, self.courses, strict=True):
            for tag, point in ((duct.start_vault, path[0]), (duct.end_vault, path[-1])):
                if tag is None:
                    x, y = self.xy(point)
                    parts.append(
                        element(
                            "circle",
                            element("title", "loose end"),
                            cx=x,
                            cy=y,
                            r=3.0,
                            class_="loose",
                            **LOOSE,
                        )
                    )
        return parts

    def _spots(self) -> tuple[list[tuple[tuple[float, float], list[Finding]]], set[str]]:
        """Return the findings by place in the picture, and the codes of those that have none."""
        middle: dict[str, tuple[float, float]] = {}
        for duct, (path, _) in zip(self.survey.ducts, self.courses, strict=True):
            middle.setdefault(duct.where.id, path[len(path) // 2] if len(path) > 2 else _between(path))
        vaults = {v.where.id: (v.x, v.y) for v in self.survey.vaults if v.where.id}
        cells: dict[tuple[int, int], list[Finding]] = defaultdict(list)
        placed: set[str] = set()
        for finding in self.survey.findings:
            w = finding.where
            at = (w.x, w.y) if w.x is not None and w.y is not None else None
            at = at or (middle.get(w.id) or vaults.get(w.id) if w.id else None)
            if at is None:
                continue
            x, y = self.xy(at)
            if 0.0 <= x <= self.width and _HEAD <= y <= _HEAD + self.map_height:
                placed.add(finding.code)
                cells[round(x / 6.0), round(y / 6.0)].append(finding)
        spots = [((x * 6.0, y * 6.0), found) for (x, y), found in cells.items()]
        return spots, set(self._numbers) - placed

    def _ring(self, at: tuple[float, float], found: Sequence[Finding]) -> Markup:
        worst = min((f.severity for f in found), key=lambda s: _RANK[s])
        told = "\n".join(
            f"{self._numbers[f.code]} {f.severity} {f.code}: {plain(f.message)}" for f in found[:12]
        )
        style = SEVERE[worst]
        return element(
            "circle", element("title", told), cx=at[0], cy=at[1], r=6.5 if worst != "info" else 3.5, fill="none",
            class_=f"finding {worst}", **style,
        )  # fmt: skip

    def _names(self, spots: Sequence[tuple[tuple[float, float], list[Finding]]]) -> list[Markup]:
        """Return all that is written on the map, the weightiest first, as far as there is room."""
        wanted: list[tuple[float, str, Label, dict[str, str]]] = []
        for (x, y), found in spots:
            worst = min(_RANK[f.severity] for f in found)
            codes = sorted({self._numbers[f.code] for f in found if self._numbered(f)})
            if not codes:
                continue
            severity = ("error", "warning", "info")[worst]
            style = {"fill": SEVERE[severity]["stroke"], "font_weight": "700"}
            label = Label(x, y, (", ".join(map(str, codes)),), _SMALL, 8.0)
            wanted.append(((0.0, 2.0, 5.0)[worst], "findings", label, style))
        ducts = Counter(tag for d in self.survey.ducts for tag in (d.start_vault, d.end_vault))
        for vault in self.survey.vaults:
            x, y = self.xy((vault.x, vault.y))
            name = Label(x, y, (shorten(plain(vault.tag), _LONGEST),), _SMALL, 8.0)
            # where a route begins and ends says more than what lies between
            rank = 0.5 if ducts[vault.tag] == 1 else 1.0
            wanted.append((rank, "vaults", name, {"fill": INK, "font_weight": "600"}))
        for _, bends in self.courses:
            for bend in bends:
                if abs(bend.turn) < _SLIGHT:
                    self.unwritten["bends of less than 1°"] += 1
                    continue
                # the more a bend turns, the sooner it gets its room
                rank = 3.0 - abs(bend.turn) / 10.0
                wanted.append((rank, "bends", self._of_bend(bend), {"fill": BENDS[bend.how]["stroke"]}))
        parts = []
        for _, kind, label, style in sorted(wanted, key=lambda w: w[0]):
            placed = self.room.put(label)
            if placed.clear:
                x0, y0, x1, y1 = placed.box
                self.room.block((x0 - 1.0, y0 - _LEADING, x1 + 1.0, y1 + _LEADING))
                parts.append(_text(label, placed.box, kind, style))
            else:
                self.unwritten[kind] += 1
        return parts

    def _numbered(self, finding: Finding) -> bool:
        return finding.severity != "info" or self._often[finding.code] <= _NUMBERED

    def _of_bend(self, bend: PlanBend) -> Label:
        x, y = self.xy(bend.middle)
        return Label(x, y, (self._words(bend),), _SMALL - 1.0, 7.0)

    def _words(self, bend: PlanBend) -> str:
        unit = self.units.unit("length")
        radius = bend.radius / unit.scale
        return bend_text(
            bend, f"{radius:,.{0 if radius >= 100.0 else 1}f} {unit.label}", forgiven=self.forgiven
        )


def _between(path: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return (path[0][0] + path[-1][0]) / 2, (path[0][1] + path[-1][1]) / 2


def _text(label: Label, box: Box, kind: str, style: dict[str, str]) -> Markup:
    anchor, x = ("start", box[0]) if box[0] > label.x else ("end", box[2])
    if box[0] <= label.x <= box[2]:
        anchor, x = "middle", (box[0] + box[2]) / 2
    size = number(label.height * _SIZE / _SMALL)
    return element(
        "text", label.lines[0], x=x, y=box[3], text_anchor=None if anchor == "start" else anchor, class_=kind,
        font_size=size, data_box=" ".join(number(v) for v in box), **_LETTERS, **style,
    )  # fmt: skip
