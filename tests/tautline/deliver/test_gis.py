import sqlite3
import subprocess
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import geopandas
import pyogrio
import pytest
from shapely import get_coordinates

from tautline.deliver import gis
from tautline.deliver.frame import ROLES
from tautline.errors import OutputError

FT = 1200 / 3937


def read(document, folder, layer):
    path = folder / "result.gpkg"
    gis.write(document, path)
    return geopandas.read_file(path, layer=layer)


def test_every_document_makes_all_layers_with_their_columns(document, tmp_path, recwarn):
    gis.write(document, tmp_path / "result.gpkg")
    assert [str(w.message) for w in recwarn] == []
    assert [name for name, _ in pyogrio.list_layers(tmp_path / "result.gpkg")] == [
        *gis.LAYERS,
        "layer_styles",
    ]
    for layer, (_, names) in gis.LAYERS.items():
        assert list(pyogrio.read_info(tmp_path / "result.gpkg", layer=layer)["fields"]) == names.split()


def test_coordinates_are_the_file_s_own(harbour, tmp_path):
    vaults = read(harbour, tmp_path, "vaults")
    assert vaults.crs.to_string() == "EPSG:2229"
    first = get_coordinates(vaults.geometry, include_z=True)[0]
    assert first == pytest.approx([6_470_000.0, 1_840_000.0, 12.0 / FT], rel=1e-12)


def test_pulls_carry_the_document_s_numbers(harbour, tmp_path):
    pulls = read(harbour, tmp_path, "pulls")
    documents = [p for s in harbour["sections"] for p in s["pulls"]]
    assert list(pulls["exit_tension_N"]) == [p["exit_tension_N"] for p in documents]
    assert list(pulls["section"]) == [1, 2, 3, 3, 4]
    assert list(pulls["relube"]) == ["MH-1", "", "", "", ""]
    # length in plan and up, in metres again
    assert pulls.geometry.length.iloc[0] * FT == pytest.approx(documents[0]["length_m"], rel=1e-3)


def test_the_brake_is_there_and_null_where_the_document_has_none(harbour, tmp_path):
    harbour["sections"][0]["pulls"][0]["brake_tension_N"] = 1234.5
    pulls = read(harbour, tmp_path, "pulls")
    assert pulls["brake_tension_N"].iloc[0] == 1234.5
    assert pulls["brake_tension_N"].iloc[1:].isna().all()


def test_a_failure_without_a_ratio_has_no_utilisation(harbour, tmp_path):
    harbour["sections"][0]["pulls"][0] |= {"utilisation": 0.0817, "verdict": "fail", "governs": "temperature"}
    for layer in ("pulls", "sections"):
        rows = read(harbour, tmp_path, layer)
        assert list(rows["utilisation"].isna()) == [True] + [False] * (len(rows) - 1)


def test_segments_lie_end_to_end_and_end_at_the_profile(harbour, tmp_path):
    segments = read(harbour, tmp_path, "segments")
    own = segments[segments["pull"] == 1]
    pull = harbour["sections"][0]["pulls"][0]
    assert list(own["tension_out_N"]) == pull["profile"]["tension_N"][1:]
    ends = [(g.coords[0], g.coords[-1]) for g in own.geometry]
    assert all(a[1] == b[0] for a, b in pairwise(ends))
    assert own["turn_deg"].iloc[1] == pytest.approx(45.0)
    assert own["radius_m"].iloc[1] == pytest.approx(3.81)


def test_the_file_says_version_1_3_and_undefined_without_a_crs(flat, tmp_path):
    path = tmp_path / "result.gpkg"
    gis.write(flat, path)
    with sqlite3.connect(path) as base:
        # OGC 12-128r15 requirement 2: user_version 10300 for GeoPackage 1.3; requirement 11: srs_id -1 is undefined Cartesian
        assert base.execute("pragma user_version").fetchone() == (10300,)
        assert {
            s for (s,) in base.execute("select srs_id from gpkg_contents where data_type = 'features'")
        } == {-1}
        # no elevation known: plain geometries
        assert {z for (z,) in base.execute("select z from gpkg_geometry_columns")} == {0}


def test_names_are_text(nasty, tmp_path):
    vaults = read(nasty, tmp_path, "vaults")
    assert list(vaults["tag"]) == [v["tag"] for v in nasty["vaults"]]


def test_an_unknown_crs_is_told_and_the_old_file_stays(harbour, tmp_path):
    gis.write(harbour, tmp_path / "result.gpkg")
    before = (tmp_path / "result.gpkg").read_bytes()
    with pytest.raises(OutputError, match="EPSG:999999"):
        gis.write(harbour | {"crs": "EPSG:999999"}, tmp_path / "result.gpkg")
    assert (tmp_path / "result.gpkg").read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["result.gpkg"]


def test_each_layer_has_a_style_that_draws_all_its_classes(failing, tmp_path):
    pulls = read(failing, tmp_path, "pulls")
    with sqlite3.connect(tmp_path / "result.gpkg") as base:
        found = base.execute(
            "select f_table_name, f_geometry_column, styleQML from layer_styles where useAsDefault"
        )
        made = {name: ElementTree.fromstring(qml.encode()) for name, column, qml in found if column == "geom"}
    assert set(made) == set(gis.LAYERS)
    values = {c.get("value") for c in made["pulls"].iter("category")}
    assert set(pulls["band"]) <= values
    assert len(values) == 4


QGIS = Path("/usr/lib/python3/dist-packages/qgis")
LOOK = """
import os, sys
os.environ["QT_QPA_PLATFORM"] = "offscreen"
from qgis.core import QgsApplication, QgsVectorLayer
app = QgsApplication([], False)
app.initQgis()
for name in sys.argv[2:]:
    layer = QgsVectorLayer(sys.argv[1] + "|layername=" + name, name, "ogr")
    symbols = [i.label() for i in layer.renderer().legendSymbolItems()]
    print(name, layer.isValid(), layer.featureCount(), layer.renderer().type(), len(symbols), sep="|", flush=True)
os._exit(0)
"""


@pytest.mark.skipif(not QGIS.is_dir(), reason="no python3-qgis on this machine")
def test_a_gis_shows_the_layers_in_their_styles(harbour, tmp_path):
    gis.write(harbour, tmp_path / "result.gpkg")
    command = ["/usr/bin/python3", "-c", LOOK, str(tmp_path / "result.gpkg"), *gis.LAYERS]
    environment = {"PATH": "/usr/bin", "HOME": str(tmp_path)}
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, env=environment, check=False)
    shown = [line.split("|") for line in done.stdout.splitlines()]
    assert [line[0] for line in shown] == list(gis.LAYERS), done.stderr
    kinds = {name: (valid, kind, int(symbols)) for name, valid, _, kind, symbols in shown}
    assert kinds["pulls"] == ("True", "categorizedSymbol", 4)
    assert kinds["vaults"] == ("True", "RuleRenderer", len(ROLES) + 1)
    assert kinds["findings"] == ("True", "categorizedSymbol", 3)
