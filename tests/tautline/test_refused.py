"""Bad input through the command line: exit status, and a message that says what, where and what would be right."""

from pathlib import Path

import ezdxf
import geopandas as gpd
import pytest
from shapely.geometry import LineString, Point

from tautline.main import main

JOB = """\
[route]
source = "{source}"
ducts = {{ layer = "{ducts}" }}
vaults = {{ layer = "{vaults}", name = "TAG" }}
snap = "1 ft"
sweep = "{sweep}"
feeder = ["{start}", "MH-4"]

[bundle]
cables = 3
diameter = "1.62 in"
weight = "1.75 lbf/ft"
conductor = {{ material = "copper", area = "500 kcmil" }}
max_sidewall = "500 lbf/ft"

[duct]
trade_size = "5"
type = "PVC 40"

[friction]
lubricated = 0.2
"""
PLACES = {"MH-1": (0.0, 0.0), "MH-2": (300.0, 0.0), "MH-3": (600.0, 0.0), "MH-4": (900.0, 0.0)}
LINES = [[(0.0, 0.0), (300.0, 0.0)], [(300.0, 0.0), (600.0, 0.0)], [(600.0, 0.0), (900.0, 0.0)]]


def drawing(path: Path, lines=LINES, units=2, splice="YES") -> Path:
    """Write a drawing in feet (2) or in no unit (0)."""
    document = ezdxf.new("R2010", setup=True)
    document.header["$INSUNITS"], document.header["$MEASUREMENT"] = units, 0
    block = document.blocks.new("PIT")
    block.add_circle((0, 0), 0.4)
    block.add_attdef("TAG", (0, 0))
    block.add_attdef("SPLICE", (0, 0))
    space = document.modelspace()
    for line in lines:
        space.add_lwpolyline(line, dxfattribs={"layer": "DUCTS"})
    for tag, place in PLACES.items():
        space.add_blockref("PIT", place, dxfattribs={"layer": "VAULTS"}).add_auto_attribs(
            {"TAG": tag, "SPLICE": splice}
        )
    document.saveas(path)
    return path


def job(folder: Path, **changes: str) -> str:
    words = {"source": "route.dxf", "ducts": "DUCTS", "vaults": "VAULTS", "sweep": "12.5 ft", "start": "MH-1"}
    path = folder / "job.toml"
    path.write_text(JOB.format(**words | changes), encoding="utf-8")
    return str(path)


def told(capsys, arguments, status) -> str:
    assert main(arguments) == status
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    return err if status == 3 else out


def test_the_plain_drawing_is_planned(tmp_path, capsys):
    drawing(tmp_path / "route.dxf")
    assert "MH-4" in told(capsys, ["plan", job(tmp_path)], 0)


def test_missing_layer_lists_the_layers_there_are(tmp_path, capsys):
    drawing(tmp_path / "route.dxf")
    err = told(capsys, ["plan", job(tmp_path, ducts="CONDUIT")], 3)
    for word in ("missing-layer", "CONDUIT", "DUCTS", "VAULTS", "route.dxf"):
        assert word in err


def test_unitless_drawing_says_what_its_extents_would_be(tmp_path, capsys):
    drawing(tmp_path / "route.dxf", units=0)
    err = told(capsys, ["plan", job(tmp_path)], 3)
    for word in ("route.dxf", "units", "ft", "mm"):
        assert word in err


def test_a_layer_in_degrees_whose_crs_is_stated_is_projected_on_record(tmp_path, capsys):
    places = {tag: (5.0 + x * 3e-6, 52.0) for tag, (x, _) in PLACES.items()}
    lines = [LineString([places[f"MH-{k}"], places[f"MH-{k + 1}"]]) for k in (1, 2, 3)]
    gpd.GeoDataFrame(geometry=lines, crs="EPSG:4326").to_file(tmp_path / "route.gpkg", layer="DUCTS")
    gpd.GeoDataFrame(
        {"TAG": list(places)}, geometry=[Point(p) for p in places.values()], crs="EPSG:4326"
    ).to_file(tmp_path / "route.gpkg", layer="VAULTS")
    out = told(capsys, ["plan", job(tmp_path, source="route.gpkg")], 0)
    assert "degrees" in out
    assert "EPSG:" in out


def test_feeder_vault_that_is_not_there_suggests_the_nearest_name(tmp_path, capsys):
    drawing(tmp_path / "route.dxf")
    err = told(capsys, ["plan", job(tmp_path, start="MH1")], 3)
    assert "'MH1'" in err
    assert "did you mean MH-1" in err


def test_gap_in_the_route_says_where_and_how_wide(tmp_path, capsys):
    drawing(tmp_path / "route.dxf", [LINES[0], [(300.0, 0.0), (560.0, 0.0)], LINES[2]])
    err = told(capsys, ["plan", job(tmp_path)], 3)
    # 40 ft are 12.192 m; the loose end lies at 560 ft, 170.688 m
    for word in ("12.19", "170.69", "MH-3", "no ducts lead from"):
        assert word in err


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"AC1032" + bytes(200), ["DWG", "route.dxf"]),
        (b"", ["empty", "route.dxf"]),
        (b"PK\x03\x04" + bytes(100), ["zip", "route.dxf"]),
        (b"%PDF-1.7\n", ["PDF", "route.dxf"]),
    ],
)
@pytest.mark.parametrize("command", ["plan", "inspect", "new"])
def test_what_is_no_drawing_is_named(tmp_path, capsys, data, words, command):
    (tmp_path / "route.dxf").write_bytes(data)
    given = job(tmp_path) if command == "plan" else str(tmp_path / "route.dxf")
    err = told(capsys, [command, given], 3)
    for word in words:
        assert word in err


def test_no_plan_says_which_span_and_which_check(tmp_path, capsys):
    # a sweep far too tight for the cable, in the middle span
    corner = [(300.0, 0.0), (450.0, 0.0), (450.0, 60.0), (600.0, 60.0), (600.0, 0.0)]
    drawing(tmp_path / "route.dxf", [LINES[0], corner, LINES[2]])
    out = told(capsys, ["plan", job(tmp_path, sweep="1 ft")], 1)
    for word in ("NO PLAN", "MH-2 to MH-3", "bending radius"):
        assert word in out.replace("bending_radius", "bending radius")


def test_a_cable_too_big_for_its_duct_names_the_span(tmp_path, capsys):
    drawing(tmp_path / "route.dxf")
    path = Path(job(tmp_path))
    path.write_text(path.read_text().replace('"1.62 in"', '"2.6 in"'), encoding="utf-8")
    assert main(["plan", str(path)]) in (1, 3)
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    assert "2.6" in out + err or "66" in out + err


def test_nothing_to_check_is_no_pass(tmp_path, capsys):
    drawing(tmp_path / "route.dxf", [[(10.0, 40.0), (200.0, 40.0)]])
    err = told(capsys, ["check", job(tmp_path)], 3)
    assert "nothing-to-check" in err
    assert "none of 1 ducts" in err


def test_no_plan_where_splicing_is_not_allowed_says_so(tmp_path, capsys):
    drawing(tmp_path / "route.dxf", splice="NO")
    path = Path(job(tmp_path))
    # 900 ft of route do not fit a reel of 500 ft, and no vault between the ends may hold a splice
    text = path.read_text(encoding="utf-8") + '[plan]\nreel = "500 ft"\n'
    path.write_text(text.replace('name = "TAG"', 'name = "TAG", splice = "SPLICE"'), encoding="utf-8")
    out = told(capsys, ["plan", str(path)], 1)
    assert "NO PLAN" in out
    assert "splicing is not allowed at MH-2" in out
