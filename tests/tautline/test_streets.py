"""New vaults for a route through the streets of Bubeneč (momepy's open data), clear of its buildings."""

import itertools
from importlib.util import find_spec
from pathlib import Path

import geopandas
import networkx as nx
import pytest
import shapely

import tautline
from tautline.outputs import write_picture

JOB = """
[job]
units = "si"
[route]
source = "route.gpkg"
ducts = { layer = "ducts" }
sweep = "3.8 m"
scatter = "0 m"
project_to = "EPSG:32633"
[bundle]
cables = 3
diameter = "41 mm"
weight = "25.5 N/m"
conductor = { material = "copper", area = "240 mm2" }
[duct]
trade_size = "5"
type = "PVC 40"
[friction]
lubricated = 0.25
[plan]
reel = "600 m"
[vaults]
propose = true
lead = "5 m"
keep_out = { file = "buildings.gpkg" }
"""


@pytest.fixture
def streets(tmp_path):
    """The longest of all shortest ways through the streets as one line, with the buildings beside it."""
    spec = find_spec("momepy")
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("momepy, which holds the streets, is not installed")
    source = Path(spec.submodule_search_locations[0]) / "datasets" / "bubenec.gpkg"
    lines = geopandas.read_file(source, layer="streets")
    graph = nx.Graph()
    for line in lines.geometry:
        corners = [(round(x, 2), round(y, 2)) for x, y in line.coords]
        graph.add_edge(corners[0], corners[-1], length=line.length, corners=corners)
    ways = dict(nx.all_pairs_dijkstra(graph, weight="length"))
    start, end = max(
        ((a, b) for a, (far, _) in ways.items() for b in far), key=lambda ends: ways[ends[0]][0][ends[1]]
    )
    corners = [start]
    for a, b in itertools.pairwise(ways[start][1][end]):
        there = graph.edges[a, b]["corners"]
        corners += (there if there[0] == a else there[::-1])[1:]
    route = geopandas.GeoDataFrame(geometry=[shapely.LineString(corners).simplify(0.5)], crs=lines.crs)
    route.to_file(tmp_path / "route.gpkg", layer="ducts")
    buildings = geopandas.read_file(source, layer="buildings")[["geometry"]]
    buildings.to_file(tmp_path / "buildings.gpkg", layer="buildings")
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    return path, buildings.to_crs("EPSG:32633")


@pytest.mark.slow
def test_route_through_streets(streets):
    path, buildings = streets
    run = tautline.run_job(path)
    document = run.to_dict()
    assert run.verdict == "pass"
    new = [v for v in document["vaults"] if "proposed" in v["roles"]]
    # 839 m of route and reels of 600 m: one splice at the least, and one is enough
    assert len(new) == 1
    assert document["cost"]["splices"] == 1
    here = shapely.Point(new[0]["x"], new[0]["y"])
    assert not buildings.geometry.contains(here).any()
    bends = [p for s in document["route"] for p in s["path"]]
    assert min(shapely.Point(x, y).distance(here) for x, y, *_ in bends) < 1e-6
    picture = path.parent / "picture.svg"
    write_picture(document, picture, [path])
    drawn = picture.read_text(encoding="utf-8")
    assert "N-1" in drawn
    assert "new vault" in drawn
