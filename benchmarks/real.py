"""Lines that nobody here drew, before and after their shape is recovered: streets, pipes and cables from open packages.

Printed for each: vertices and segments, total turn, length in plan before and after, and findings. What a line's length may
change by is worked out beside it, apart from the recovery: what swept corners are shorter by, and what vertices that lie
as far from the shape as they do make of the legs between them. "Beyond" counts the lines that change by more; they are named.

Run ``python benchmarks/real.py [--pictures FOLDER] [name ...]`` with any of oberrhein, bubenec, streets, ky4, ky10; a picture
of each is written to the folder. What is not installed is skipped, with the reason.
"""

from __future__ import annotations

import argparse
import importlib.metadata
import json
import shutil
import tempfile
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyogrio.raw
import shapely

from mechanics.centreline import place
from routeio import read_survey
from routeio.options import Selection
from routeio.survey import Duct, Survey
from tautline.deliver.picture_file import save
from tautline.deliver.survey_picture import SurveyPicture

SWEEP = 1.0
#: How far the lines drawn for a measurement lie from the arcs. [m]
DRAWN = 1e-3


class NotHereError(Exception):
    """A package that is not installed."""


def file_of(package: str, name: str) -> Path:
    """A data file of a package."""
    try:
        path = Path(str(importlib.metadata.distribution(package).locate_file(name)))
    except importlib.metadata.PackageNotFoundError as error:
        raise NotHereError(f"{package} is not installed") from error
    if not path.is_file():
        raise NotHereError(f"{package} has no {name}")
    return path


def write(
    path: Path, layer: str, crs: str, kind: str, geometry: Sequence[object], **fields: Sequence[object]
) -> None:
    """Write a layer."""
    pyogrio.raw.write(
        path, shapely.to_wkb(np.array(geometry, dtype=object)), [np.array(v, dtype=object) for v in fields.values()],
        np.array(list(fields), dtype=object), layer=layer, geometry_type=kind, crs=crs, append=path.exists(),
    )  # fmt: skip


def oberrhein(folder: Path) -> Survey:
    """20 kV cables of a network, in degrees."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            from pandapower import networks

            network = networks.mv_oberrhein()
    except ImportError as error:
        raise NotHereError("pandapower is not installed") from error
    path = folder / "oberrhein.gpkg"
    lines = [shapely.geometry.shape(json.loads(text)) for text in network.line.geo]
    buses = [shapely.geometry.shape(json.loads(text)) for text in network.bus.geo]
    write(path, "lines", "EPSG:4326", "LineString", lines, name=list(network.line.name))
    write(path, "buses", "EPSG:4326", "Point", buses, name=list(network.bus.name))
    return read_survey(
        path,
        ducts=Selection("lines", fields={"id": "name"}),
        vaults=Selection("buses", fields={"name": "name"}),
        sweep=SWEEP,
    )


def bubenec(folder: Path) -> Survey:
    """Streets of a quarter, in Web Mercator."""
    path = shutil.copy(file_of("momepy", "momepy/datasets/bubenec.gpkg"), folder)
    return read_survey(path, ducts="streets", sweep=SWEEP)


def streets(folder: Path) -> Survey:
    """Streets of a district, in US survey feet."""
    for part in file_of("libpysal", "libpysal/examples/geodanet/streets.shp").parent.glob("streets.*"):
        shutil.copy(part, folder)
    return read_survey(folder / "streets.shp", ducts="streets", sweep=SWEEP)


def pipes(name: str) -> Callable[[Path], Survey]:
    """Water pipes with the elevations of their nodes, in US survey feet."""

    def read(folder: Path) -> Survey:
        source = file_of("wntr", f"wntr/library/networks/{name}.inp")
        table: dict[str, list[list[str]]] = {}
        for line in source.read_text("utf-8", "replace").splitlines():
            words = line.split(";")[0].split()
            if words and words[0].startswith("["):
                table[words[0]] = []
            elif words and table:
                table[next(reversed(table))].append(words)
        at = {n: (float(x), float(y)) for n, x, y in table["[COORDINATES]"]}
        level = {row[0]: row[1] for row in (*table["[JUNCTIONS]"], *table["[TANKS]"], *table["[RESERVOIRS]"])}
        between: dict[str, list[tuple[float, float]]] = {}
        for link, x, y in table["[VERTICES]"]:
            between.setdefault(link, []).append((float(x), float(y)))
        rows = table["[PIPES]"]
        lines = [shapely.LineString([at[a], *between.get(link, []), at[b]]) for link, a, b, *_ in rows]
        nodes = [n for n in at if n in level]
        path = folder / f"{name}.gpkg"
        write(path, "pipes", "EPSG:3089", "LineString", lines, id=[row[0] for row in rows])
        write(
            path, "nodes", "EPSG:3089", "Point", [shapely.Point(at[n]) for n in nodes], tag=nodes,
            level=[level[n] for n in nodes],
        )  # fmt: skip
        return read_survey(
            path, ducts=Selection("pipes", fields={"id": "id"}),
            vaults=Selection("nodes", fields={"name": "tag", "invert": "level"}), sweep=SWEEP, snap=0.01,
        )  # fmt: skip

    return read


SOURCES: dict[str, Callable[[Path], Survey]] = {
    "oberrhein": oberrhein, "bubenec": bubenec, "streets": streets, "ky4": pipes("ky4"), "ky10": pipes("ky10"),
}  # fmt: skip


def turned(duct: Duct) -> tuple[float, float]:
    """Total turn of the legs drawn, and of the chain. [degrees]"""
    step = np.diff(duct.vertices[:, :2], axis=0)
    step = step[np.hypot(*step.T) > 1e-3]
    turn = np.diff(np.arctan2(step[:, 1], step[:, 0]))
    turn = (turn + np.pi) % (2.0 * np.pi) - np.pi
    return float(np.degrees(np.abs(turn).sum())), float(np.degrees(np.abs(duct.chain.turn).sum()))


@dataclass(frozen=True)
class Length:
    """Of one duct in plan. [m]"""

    drawn: float
    change: float
    #: What corners swept at the stated radius are shorter by.
    swept: float
    #: What else may change, by scatter and by chords.
    explained: float

    @property
    def beyond(self) -> bool:
        """Whether it changes by more than is explained."""
        return not abs(self.change + self.swept) <= self.explained


def lengths(duct: Duct) -> Length:
    """Length of a duct before and after."""
    chain, leg = duct.chain, np.hypot(*np.diff(duct.vertices[:, :2], axis=0).T)
    half = 0.5 * (chain.grade_out - chain.grade_in)
    plan = chain.length * np.cos(chain.grade_in + half) * np.sinc(half / np.pi)
    turn = np.abs(chain.turn)
    swept = np.array([o.how == "swept" for o in duct.origins]) & (turn > 0.0)
    bent = (turn > 0.0) & ~swept
    cut = (plan[swept] * (2.0 * np.tan(0.5 * turn[swept]) / turn[swept] - 1.0)).sum()
    # how far vertices lie off, but for those at swept corners
    line = place(chain, duct.start, duct.heading, DRAWN)
    course = shapely.LineString(line.points[:, :2])
    vertices = shapely.points(duct.vertices[:, :2])
    ends = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line.points[:, :2], axis=0).T))))[line.segment]
    at = np.searchsorted(ends, shapely.line_locate_point(course, vertices), side="right") - 1
    off = shapely.distance(course, vertices)[~swept[np.clip(at, 0, len(chain) - 1)]]
    scatter = float(np.sqrt(np.mean(off**2))) if off.size else 0.0
    # ends may lie as far off as the rest; a leg between two that scatter is longer by their variance over it; a bend
    # hidden in three of the scatter is shorter than its corner by 2/3 of that times its turn; chords are shorter than arcs
    lengthened = (scatter**2 / np.maximum(leg, scatter + 1e-9)).sum()
    chords = (plan[bent] * np.minimum(leg.max() * turn[bent] / plan[bent], turn[bent]) ** 2 / 24.0).sum()
    explained = 6.0 * scatter + 3.0 * lengthened + 2.0 * scatter * turn[bent].sum() + chords + 0.01
    return Length(float(leg.sum()), float(plan.sum() - leg.sum()), float(cut), float(explained))


def told(name: str, survey: Survey) -> None:
    """Print a source's figures."""
    turns = np.array([turned(d) for d in survey.ducts])
    length = [lengths(d) for d in survey.ducts]
    beyond = sorted((k for k, one in enumerate(length) if one.beyond), key=lambda k: -abs(length[k].change))
    vertices, segments = sum(len(d.vertices) for d in survey.ducts), sum(len(d.chain) for d in survey.ducts)
    before, after = turns.sum(axis=0)
    rest = max(abs(one.change + one.swept) for one in length)
    print(
        f"{name:10} {len(survey.ducts):6} {vertices:9} {segments:9} {before:10.0f} {after:10.0f} "
        f"{sum(one.drawn for one in length):10.1f} {sum(one.change for one in length):8.2f} "
        f"{-sum(one.swept for one in length):8.2f} {rest:9.3f} {len(beyond):7}"
    )
    for k in beyond[:5]:
        one = length[k]
        print(
            f"{'':10} {survey.ducts[k].id}: {one.drawn:.2f} m by {one.change:+.3f} m, corners {-one.swept:+.3f} m, "
            f"{one.explained:.3f} m more explained"
        )
    kinds = Counter((f.severity, f.code) for f in survey.findings)
    for severity in ("error", "warning", "info"):
        codes = ", ".join(f"{code} {n}" for (s, code), n in sorted(kinds.items()) if s == severity)
        print(f"{'':10} {severity}: {codes or 'none'}")


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=Path, help="folder for a picture of each")
    parser.add_argument("names", nargs="*", help=", ".join(SOURCES) + "; default all")
    said = parser.parse_args()
    print(
        f"{'':10} {'':6} {'':9} {'':9} {'total turn, deg':>21} {'length in plan, m':>19} {'of it by':>8} {'greatest':>9}\n"
        f"{'':10} {'ducts':>6} {'vertices':>9} {'segments':>9} {'before':>10} {'after':>10} {'before':>10} {'change':>8} "
        f"{'corners':>8} {'else':>9} {'beyond':>7}"
    )
    for name in said.names or SOURCES:
        with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                survey = SOURCES[name](Path(folder))
            except NotHereError as reason:
                print(f"{name:10} skipped: {reason}")
                continue
        told(name, survey)
        if said.pictures:
            said.pictures.mkdir(parents=True, exist_ok=True)
            drawn = SurveyPicture(survey, "si")
            svg, height = drawn.render()
            save(svg, drawn.width, height, said.pictures / f"{name}.png")


if __name__ == "__main__":
    main()
