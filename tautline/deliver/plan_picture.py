"""The route in plan, to scale: pulls by utilisation, directions, vaults with their work, worst places, findings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from statistics import median
from typing import Any

from markupsafe import Markup

from tautline.deliver.bundles import changes_of
from tautline.deliver.frame import BANDS, ROLES, Document, Pull, pulls_of, rank, role_words, uncovered
from tautline.deliver.labels import Label, Plan, text_width
from tautline.deliver.marks import (
    SIGN,
    UNCOVERED,
    band_sample,
    finding_mark,
    hot_mark,
    mark_size,
    signs_of,
    uncovered_line,
    vault_mark,
)
from tautline.deliver.present import Units, isolated, plain, used
from tautline.deliver.reasons import splice_reasons
from tautline.deliver.scale import north_arrow, scale_bar
from tautline.deliver.svg import FAINT, FONT, INK, element, number, path_data, shorten

_MARGIN = 46.0
_STRIP = 46.0
_SIZE = 12.0
_LONGEST = 26
"""Columns of a name on the plan; the whole is in its tooltip and in the tables."""
_CROWDED = 7.0
"""Distance between neighbouring vaults under which not every mark has room. [px]"""
_LEFT_OUT = "too close for pass-through vaults, arrows and the worst places of pulls under 80 %"
_LONGEST_SMALL = 20
"""The same on a small plan."""


class PlanPicture:
    """A plan in the making, and how its points come to stand where they do.

    Parameters
    ----------
    document : mapping
        A result document.
    width : float, optional
        Of the picture. [px]
    legend : bool, optional
        Whether the picture carries its own legend.
    only : Pull, optional
        Show this pull alone, the rest of the route faint.
    tallest : float, optional
        Greatest height of the map. [px]
    """

    def __init__(
        self,
        document: Document,
        width: float = 1000.0,
        *,
        legend: bool = False,
        only: Pull | None = None,
        tallest: float = 620.0,
    ) -> None:
        self.document, self.width, self.legend = document, width, legend
        self.units = Units.of(document)
        self.pulls = (only,) if only else pulls_of(document)
        self.only = only
        self.changes = changes_of(document)
        shown = self._shown_vaults()
        self.vaults: Sequence[Any] = sorted(shown, key=lambda v: rank(v["roles"]))
        points = [p for one in self.pulls for p in one.data["path"]] + [(v["x"], v["y"]) for v in self.vaults]
        if not only:
            points += [p for span in document["route"] for p in span["path"]]
        points = points or [(0.0, 0.0)]
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        self.x0, self.y1 = min(xs), max(ys)
        across, up = max(max(xs) - self.x0, 1e-3), max(self.y1 - min(ys), 1e-3)
        inner = width - 2 * _MARGIN
        self.k = min(inner / across, (tallest - 2 * _MARGIN) / up)
        self.map_height = max(up * self.k + 2 * _MARGIN, 170.0)
        self.left = (width - across * self.k) / 2
        self.top = (self.map_height - up * self.k) / 2
        self.height = self.map_height + _STRIP + (_legend_height() if legend else 0.0)
        self.spacing = self._spacing()
        self.mark = min(1.0, max(0.25, self.spacing / 26.0))
        # a page can be looked at closer; a picture on paper shows the route or all that stands on it
        self.crowded = legend and self.spacing < _CROWDED
        if self.crowded:
            self.vaults = [v for v in self.vaults if set(v["roles"]) - {"pass"}]
        self.room = Plan(4.0, (4.0, 4.0, width - 4.0, self.map_height - 4.0))

    def _spacing(self) -> float:
        """Usual distance between neighbouring vaults. [px]"""
        gaps = [(b - a) * self.k for p in self.pulls for (a, _), (b, _) in pairwise(p.vaults)]
        return median(gaps) if gaps else self.width

    def _shown_vaults(self) -> Sequence[Any]:
        if not self.only:
            return list(self.document["vaults"])
        d = self.only.data
        tags = {d["feed"], d["pull"], *(p["tag"] for p in d["passes"])}
        return [v for v in self.document["vaults"] if v["tag"] in tags]

    def xy(self, point: Sequence[float]) -> tuple[float, float]:
        """Return where a place on the map stands in the picture. [px]"""
        return self.left + (point[0] - self.x0) * self.k, self.top + (self.y1 - point[1]) * self.k

    def line(self, path: Iterable[Sequence[float]]) -> list[tuple[float, float]]:
        """Return a path in the picture, points that fall together left out."""
        out: list[tuple[float, float]] = []
        for p in path:
            q = self.xy(p)
            if not out or math.dist(out[-1], q) > 0.02:
                out.append(q)
        return out

    def render(self) -> Markup:
        """Return the picture as one ``svg`` element."""
        return self.parted(10**9)[0]

    def parted(self, most: int) -> tuple[Markup, dict[str, str]]:
        """Return the picture, and apart from it what nobody sees before looking closer.

        Parameters
        ----------
        most : int
            Pulls up to which everything is in the picture.

        Returns
        -------
        (Markup, dict)
            The ``svg`` element, and the content still to be put into its groups by their class: arrows, worst places
            and the names for which there is no room at first.
        """
        lines, groups, names = self._lines(), self._marks(), self._names()
        later: dict[str, str] = {}
        if len(self.pulls) > most:
            later = {kind: "".join(groups.pop(kind)) for kind in ("arrows", "hot")}
            later["names"] = "".join(text for text, clear in names if not clear)
        shown = [text for text, clear in names if clear or not later]
        size = f"0 0 {number(self.width)} {number(self.height)}"
        clip = element("clipPath", element("rect", width=self.width, height=self.map_height), id=self._clip)
        parts = [
            element("rect", width=self.width, height=self.height, fill="#ffffff"),
            clip,
            element(
                "g",
                element("g", *lines, class_="world"),
                *(
                    element("g", *groups.get(kind, []), class_=kind, **SIGN)
                    for kind in ("arrows", "marks", "hot")
                ),
                element("g", *shown, class_="names", **_LETTERS),
                clip_path=f"url(#{self._clip})",
            ),
            self._strip(),
        ]
        if self.legend:
            parts.append(_legend(self.map_height + _STRIP, bool(uncovered(self.document))))
        picture = element(
            "svg",
            *parts,
            xmlns="http://www.w3.org/2000/svg",
            viewBox=size,
            class_="plan",
            font_family=FONT,
            font_size=_SIZE,
            data_map=number(self.map_height),
            data_metres=repr(1.0 / self.k),
            data_unit=repr(self.units.unit("length").scale),
            data_spacing=number(self.spacing),
            data_label=self.units.label("length"),
            role="img",
            aria_label="Route in plan",
        )
        return picture, later

    @property
    def _clip(self) -> str:
        return f"map-{self.only.number}" if self.only else "map"

    def _lines(self) -> list[Markup]:
        parts = []
        wanting = uncovered(self.document)
        for span in self.document["route"]:
            if self.only and not self._near(span["path"]):
                continue
            line = self.line(span["path"])
            if len(line) > 1:
                parts.append(
                    element(
                        "path",
                        d=path_data(line),
                        class_="route",
                        stroke="#9aa3ab",
                        stroke_width="1.2",
                        fill="none",
                        **_THIN,
                    )
                )
                if frozenset((span["from"], span["to"])) in wanting:
                    told = f"no section gets from {isolated(span['from'])} to {isolated(span['to'])}"
                    dotted = uncovered_line(path_data(line), **_THIN)
                    parts.append(element("g", element("title", told), dotted, class_="uncovered"))
                self.room.avoid(line)
        for p in self.pulls:
            line = self.line(p.data["path"])
            if len(line) < 2:
                continue
            self.room.avoid(line)
            b, d = p.band, path_data(line)
            title = (
                f"Pull {p.number}: {isolated(p.data['feed'])} → {isolated(p.data['pull'])}, {used(p.data)}"
            )
            stroke = {"stroke": b.colour, "stroke_width": number(b.width), "stroke_dasharray": b.dash or None}
            core = []
            if b is BANDS[-1]:  # a dark edge tells a failing pull without colour
                core = [
                    element(
                        "path",
                        d=d,
                        stroke="#000000",
                        stroke_width=number(b.width + 3.5),
                        fill="none",
                        **_THIN,
                    )
                ]
            parts.append(
                element(
                    "g",
                    element("title", title),
                    *(
                        []
                        if self.only or self.legend
                        else [
                            element(
                                "path",
                                d=d,
                                class_="grip",
                                stroke="transparent",
                                stroke_width="18",
                                fill="none",
                                **_THIN,
                            )
                        ]
                    ),
                    *core,
                    element("path", d=d, fill="none", **stroke, **_THIN),
                    class_="pull",
                    data_pull=p.number,
                )
            )
        return parts

    def _near(self, path: Sequence[Sequence[float]]) -> bool:
        """Whether a path may be seen on the map."""
        xs, ys = [p[0] for p in path], [p[1] for p in path]
        (left, top), (right, low) = self.xy((min(xs), max(ys))), self.xy((max(xs), min(ys)))
        return right >= 0 and left <= self.width and low >= 0 and top <= self.map_height

    def _marks(self) -> dict[str, list[Markup]]:
        arrows, parts, hot = list[Markup](), list[Markup](), list[Markup]()
        for p in self.pulls:
            if len(p.data["path"]) < 2:
                continue
            for at in [] if self.crowded else p.arrows(3):
                turn = -math.degrees(p.heading(at))
                arrows.append(
                    self._fixed(
                        p.point(at),
                        element(
                            "path",
                            d="M9 0L-6 5.5L-6 -5.5Z",
                            fill=INK,
                            stroke="#ffffff",
                            stroke_width="1",
                            transform=f"rotate({number(turn)})",
                        ),
                        "arrow",
                    )
                )
        for f in [] if self.only else self.document["findings"]:
            if f["where"]["x"] is not None and f["where"]["y"] is not None and f["severity"] != "info":
                told = f"{f['severity']} {f['code']}: {plain(f['message'])}"
                spot = (f["where"]["x"], f["where"]["y"])
                parts.append(self._fixed(spot, element("title", told) + finding_mark(), "finding"))
        reasons = splice_reasons(self.document)
        for v in reversed(self.vaults):
            title = f"{isolated(v['tag'])}: {role_words(v['roles']) or ', '.join(ROLES.get(r, r) for r in v['roles']) or 'not used'}"
            if why := reasons.get(v["tag"]):
                title += f". Why a splice here: {why}"
            parts.append(
                self._fixed((v["x"], v["y"]), element("title", title) + signs_of(tuple(v["roles"])), "vault")
            )
        for p in self.pulls:
            station = p.data["max_sidewall_station_m"]
            if station is not None and p.data["path"] and not (self.crowded and p.band in BANDS[:2]):
                told = f"Pull {p.number}: worst sidewall pressure {self.units.text('pressure', p.data['max_sidewall_N_per_m'])}, {p.place(station, self.units)}"
                hot.append(self._fixed(p.point(station), element("title", told) + hot_mark(), "hot"))
        return {"arrows": arrows, "marks": parts, "hot": hot}

    def _fixed(self, at: Sequence[float], inside: Markup, kind: str) -> Markup:
        """Something that keeps its size when the map is drawn larger."""
        x, y = self.xy(at)
        place = f"translate({number(x)} {number(y)})" + (
            f" scale({number(self.mark)})" if self.mark < 1 else ""
        )
        return element("g", inside, class_=f"fixed mark {kind}", transform=place)

    def _names(self) -> list[tuple[Markup, bool]]:
        """Names, the weightiest first, each with whether there is room for it."""
        wanted: list[tuple[float, Label, str, str]] = []
        longest = _LONGEST if self.width > 600 else _LONGEST_SMALL
        for p in self.pulls:
            for at in p.arrows(3) if len(p.data["path"]) > 1 else []:
                self._keep_free(p.point(at), 5.0)
            station = p.data["max_sidewall_station_m"]
            if station is not None and p.data["path"]:
                self._keep_free(p.point(station), 5.0)
        for v in self.vaults:
            x, y = self.xy((v["x"], v["y"]))
            size = mark_size(v["roles"])
            self._keep_free((v["x"], v["y"]), size)
            work = role_words(v["roles"], v["tag"] in self.changes)
            lines = (shorten(isolated(v["tag"]), longest), *([work] if work and rank(v["roles"]) < 2 else []))
            # the crew of a pull must find its ends by name, whatever that covers
            needed = self.only is not None and v["tag"] in (self.only.data["feed"], self.only.data["pull"])
            label = Label(x, y, lines, 9.0, size * self.mark + 5.0, needed)
            wanted.append((-1.0 if needed else rank(v["roles"]), label, isolated(v["tag"]), "tag"))
        for p in self.pulls:
            if len(p.data["path"]) < 2:
                continue
            x, y = self.xy(p.point(p.arrows(1)[0]))
            text = f"{p.number}: {used(p.data)}" + (" FAILS" if p.data["verdict"] == "fail" else "")
            urgency = 0.5 if p.data["verdict"] == "fail" else 3.5
            wanted.append((urgency, Label(x, y, (text,), 9.0, 11.0), p.title, "use"))
        parts = list[tuple[Markup, bool]]()
        for _, label, whole, kind in sorted(wanted, key=lambda w: w[0]):
            placed = self.room.put(label)
            shown = placed.clear or label.needed
            parts.append((_name(label, placed.box, whole, kind, shown), shown))
        return parts

    def _keep_free(self, at: Sequence[float], size: float) -> None:
        """Keep names off a mark of that size about a place on the map."""
        (x, y), r = self.xy(at), size * self.mark
        self.room.block((x - r, y - r, x + r, y + r))

    def _strip(self) -> Markup:
        """Scale bar and north under the map."""
        y = self.map_height + 18.0
        bar = scale_bar(16.0, y, 1.0 / self.k, self.units.unit("length"))
        told = element("text", _LEFT_OUT, x=self.width - 110.0, y=y + 4.0, text_anchor="end", fill=FAINT)
        return element("g", bar, north_arrow(self.width - 90.0, y), told if self.crowded else Markup(""))


_LETTERS = {
    "fill": INK,
    "stroke": "#ffffff",
    "stroke_width": "3",
    "paint_order": "stroke",
    "stroke_linejoin": "round",
}
_THIN = {"vector_effect": "non-scaling-stroke", "stroke_linejoin": "round"}


def _name(label: Label, box: tuple[float, float, float, float], whole: str, kind: str, clear: bool) -> Markup:
    dx0, dy0, dx1, dy1 = box[0] - label.x, box[1] - label.y, box[2] - label.x, box[3] - label.y
    anchor, at = ("start", dx0) if dx0 > 0 else ("end", dx1) if dx1 < 0 else ("middle", (dx0 + dx1) / 2)
    rows = [
        element(
            "tspan",
            line,
            x=at,
            y=dy0 + label.height * (1.0 + 1.45 * k),
            font_weight="600" if k == 0 and kind == "tag" else None,
            fill=FAINT if k else None,
        )
        for k, line in enumerate(label.lines)
    ]
    text = element(
        "text",
        *([element("title", whole)] if whole != label.lines[0] and kind == "tag" else []),
        *rows,
        text_anchor=None if anchor == "start" else anchor,
    )
    return element(
        "g",
        text,
        class_=f"fixed {kind}",
        transform=f"translate({number(label.x)} {number(label.y)})",
        data_box=" ".join(f"{v:.0f}" for v in (dx0, dy0, dx1, dy1)),
        display=None if clear else "none",
    )


def _legend_height() -> float:
    return 114.0


def _legend(top: float, wanting: bool = False) -> Markup:
    parts = [
        element(
            "text",
            "Pulls by utilisation of the worst binding check; number and utilisation beside each",
            x=16.0,
            y=top + 14,
            font_weight="600",
            fill=INK,
        )
    ]
    for k, b in enumerate(BANDS):
        x = 16.0 + 240.0 * k
        parts.append(element("g", band_sample(k), transform=f"translate({number(x)} {number(top + 36)})"))
        parts.append(element("text", b.words, x=x + 54, y=top + 40, fill=INK))
    x = 28.0
    for role, meaning in ROLES.items():
        parts.append(element("g", vault_mark([role]), transform=f"translate({number(x)} {number(top + 70)})"))
        right = x + max(mark_size([role]) + 6.0, 16.0)
        parts.append(element("text", meaning, x=right, y=top + 74, fill=INK))
        x = right + text_width(meaning, 9.0) + 36.0
    parts.append(element("g", hot_mark(), transform=f"translate(28 {number(top + 94)})"))
    parts.append(element("text", "worst sidewall pressure of a pull", x=46.0, y=top + 98, fill=INK))
    parts.append(element("g", finding_mark(), transform=f"translate(290 {number(top + 94)})"))
    parts.append(element("text", "warning or error about the input", x=310.0, y=top + 98, fill=INK))
    if wanting:
        dotted = uncovered_line(path_data([(540.0, top + 94), (590.0, top + 94)]))
        parts += [dotted, element("text", UNCOVERED, x=600.0, y=top + 98, fill=INK)]
    return element("g", *parts)
