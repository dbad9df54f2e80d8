"""A real network that nobody here drew: pandapower's 20 kV cable network, planned through the command line.

The geometry is open data that comes with pandapower (``pandapower.networks.mv_oberrhein``), in degrees, with straight
legs and sharp corners. Cable and prices are typical values, not this network's.
"""

from __future__ import annotations

import itertools
import json
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

pandapower_networks = pytest.importorskip("pandapower.networks", reason="pandapower is not installed")

import geopandas as gpd  # noqa: E402
from pyproj import Geod  # noqa: E402
from shapely.geometry import shape  # noqa: E402

# The longest way in the network whose spans are all cable and all shorter than 700 m.
FEEDER = ("Bus 129", "Bus 136")

JOB = """\
[job]
name = "A real network"
units = "si"

[route]
source = "network.gpkg"
ducts = { layer = "lines", id = "name" }
vaults = { layer = "buses", name = "name" }
snap = "5 m"
sweep = "4 m"
feeder = [FEEDER]

[bundle]
cables = 3
diameter = "36 mm"
weight = "12 N/m"
conductor = { material = "aluminium", area = "185 mm2" }
construction = "shielded"
jacket = "polyethylene"

[duct]
inside_diameter = "150 mm"
type = "HDPE"

[friction]
lubricated = 0.15
dry = 0.35
hold = "500 m"

[plan]
reel = "1500 m"
slack = "5 m"
"""


@pytest.fixture(scope="module")
def network() -> Any:
    return pandapower_networks.mv_oberrhein()


@pytest.fixture(scope="module")
def folder(network: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The network as a GeoPackage, with a job beside it."""
    folder = tmp_path_factory.mktemp("oberrhein")
    for layer, table, columns in (
        ("lines", network.line, ["name", "std_type", "length_km"]),
        ("buses", network.bus, ["name", "vn_kv"]),
    ):
        geometry = [shape(json.loads(text)) for text in table.geo]
        data = gpd.GeoDataFrame(table[columns].reset_index(drop=True), geometry=geometry, crs="EPSG:4326")
        data.to_file(folder / "network.gpkg", layer=layer, driver="GPKG")
    names = ", ".join(f'"{tag}"' for tag in FEEDER)
    (folder / "job.toml").write_text(JOB.replace("FEEDER", names), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def plan(folder: Path) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, "-c", "from tautline.main import entry; entry()", "plan", "job.toml", "--json"],
        cwd=folder,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout))


def test_feeder_is_planned(plan: dict[str, Any]) -> None:
    assert plan["verdict"] == "pass"
    assert (plan["feeder"]["from"], plan["feeder"]["to"]) == FEEDER
    assert plan["sections"][0]["from"] == FEEDER[0]
    assert plan["sections"][-1]["to"] == FEEDER[1]
    assert all(section["cable_length_m"] <= 1500 for section in plan["sections"])


def test_length_is_the_length_on_the_ellipsoid(plan: dict[str, Any], network: Any) -> None:
    """Against geodesic lengths of the lines as drawn, by another library; sweeps cut corners by less than 1 %."""
    geod = Geod(ellps="WGS84")
    drawn = {
        frozenset((network.bus.name[line.from_bus], network.bus.name[line.to_bus])): geod.geometry_length(
            shape(json.loads(line.geo))
        )
        for line in network.line.itertuples()
    }
    row = plan["feeder"]["vaults"]
    expected = sum(drawn[frozenset(ends)] for ends in itertools.pairwise(row))
    assert 5000 < expected < 7000
    assert plan["feeder"]["length_m"] == pytest.approx(expected, rel=0.01)


def test_degrees_are_projected_and_said(plan: dict[str, Any]) -> None:
    assert "EPSG:326" in plan["crs"] or "EPSG:258" in plan["crs"]  # a zone of UTM
    assert any("project" in finding["message"] for finding in plan["findings"])


# What follows is worked out from pandapower's tables alone: which line ends lie how far from their bus.


@pytest.fixture(scope="module")
def ends(network: Any) -> list[tuple[str, str, str, float]]:
    """Line, bus, which end, distance between the two in metres, of every end of a line."""
    geod = Geod(ellps="WGS84")
    place = {bus.Index: json.loads(bus.geo)["coordinates"] for bus in network.bus.itertuples()}
    found = []
    for line in network.line.itertuples():
        path = json.loads(line.geo)["coordinates"]
        for which, bus, (x, y) in (("from", line.from_bus, path[0]), ("to", line.to_bus, path[-1])):
            distance = geod.inv(x, y, *place[bus])[2]
            found.append((line.name, network.bus.name[bus], which, distance))
    return found


def _coinciding(network: Any) -> set[str]:
    count = Counter(network.bus.geo)
    return {bus.name for bus in network.bus.itertuples() if count[bus.geo] > 1}


def test_line_that_misses_its_bus_is_left_loose_and_said(plan: dict[str, Any], ends: list[Any]) -> None:
    missing = [(line, bus, distance) for line, bus, _, distance in ends if distance > 5.0]
    assert len(missing) == 1
    line, bus, distance = missing[0]
    assert distance == pytest.approx(72.2, abs=0.1)
    (finding,) = [f for f in plan["findings"] if f["code"] == "loose-end"]
    assert finding["where"]["id"] == line
    said = re.search(rf"{bus} is ([\d.]+) m\b", finding["message"])
    assert said is not None
    assert float(said[1]) == pytest.approx(distance, rel=0.001)  # the projection's scale


def test_buses_on_one_spot_are_said(plan: dict[str, Any], network: Any) -> None:
    said = [f["message"] for f in plan["findings"] if f["code"] == "vaults-coincide"]
    assert {tag for message in said for tag in re.findall(r"'(Bus \d+)'", message)} == _coinciding(network)


def test_lines_drawn_head_to_head_are_counted(plan: dict[str, Any], network: Any, ends: list[Any]) -> None:
    at: dict[str, list[str]] = {}
    for _, bus, which, distance in ends:
        if distance < 5.0 and bus not in _coinciding(network):
            at.setdefault(bus, []).append(which)
    two = [which for which in at.values() if len(which) == 2]
    mixed = sum(a == b for a, b in two)
    (finding,) = [f for f in plan["findings"] if f["code"] == "directions-mixed"]
    assert finding["message"].startswith(f"{mixed} of {len(two)} vaults with two ducts")


def test_bare_corners_are_swept_or_said(plan: dict[str, Any], network: Any) -> None:
    """The one line that nearly turns back on itself has no room for the sweep; its angle by azimuths."""
    geod = Geod(ellps="WGS84")
    sharpest = (0.0, "")
    for line in network.line.itertuples():
        path = json.loads(line.geo)["coordinates"]
        for (x0, y0), (x1, y1), (x2, y2) in zip(path, path[1:], path[2:], strict=False):
            turn = geod.inv(x1, y1, x2, y2)[0] - geod.inv(x0, y0, x1, y1)[0]
            sharpest = max(sharpest, (abs((turn + 180.0) % 360.0 - 180.0), line.name))
    (finding,) = [f for f in plan["findings"] if f["code"] == "no-room-for-sweep"]
    assert finding["where"]["id"] == sharpest[1]
    said = re.search(r"a corner of ([\d.]+) degrees", finding["message"])
    assert said is not None
    assert float(said[1]) == pytest.approx(sharpest[0], abs=0.3)
    assert finding["where"]["x"] > 400_000  # on the map, in the zone's metres
    assert any("swept" in pull["segments"]["how"] for s in plan["sections"] for pull in s["pulls"])
