"""The one door, and what stands behind it: read_survey, peek, summary."""

import hashlib
import math

import ezdxf
import pytest

import routeio
from routeio import InputRefusedError, ReadOptions, Selection, peek, read_survey, summarise


@pytest.fixture
def path(tmp_path):
    """Three vaults, a bend of 3 m between the first two, a sharp corner between the last."""
    drawing = ezdxf.new(units=6)
    space = drawing.modelspace()
    block = drawing.blocks.new("MH")
    block.add_circle((0, 0), 0.5)
    block.add_attdef("TAG", (0, 0))
    block.add_attdef("INVERT", (0, 0))
    for tag, x, y, invert in (("A", 0, 0, "10"), ("B", 50, 20, "11"), ("C", 90, 60, "")):
        insert = space.add_blockref("MH", (x, y), dxfattribs={"layer": "VAULT"})
        insert.add_auto_attribs({"TAG": tag, "INVERT": invert})
    space.add_lwpolyline(
        [(0, 0, 0), (47, 0, math.tan(math.pi / 8)), (50, 3, 0), (50, 20, 0)],
        format="xyb",
        dxfattribs={"layer": "DUCT"},
    )
    space.add_lwpolyline([(50, 20), (90, 20), (90, 60)], dxfattribs={"layer": "DUCT"})
    space.add_line((0, 90), (5, 90), dxfattribs={"layer": "STREET"})
    drawing.saveas(tmp_path / "route.dxf")
    return tmp_path / "route.dxf"


def test_read_survey(path):
    survey = read_survey(path, ducts="DUCT*", vaults=["VAULT"], sweep=5.0)
    assert [(d.start_vault, d.end_vault) for d in survey.ducts] == [("A", "B"), ("B", "C")]
    first, second = survey.ducts
    assert first.chain.turn.sum() == pytest.approx(math.pi / 2)
    # an even grade from 10 to 11 over the length in plan
    plan = 47 + 3 * math.pi / 2 + 17
    assert first.chain.total_length == pytest.approx(math.hypot(plan, 1))
    assert (first.elevated, first.start[2], first.end[2]) == (True, 10, 11)
    assert [o.how for o in first.origins] == ["drawn"] * 3
    assert second.chain.total_length == pytest.approx(80 - 10 + 5 * math.pi / 2)
    assert "swept" in [o.how for o in second.origins]
    assert survey.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert survey.counts == {"read INSERT": 3, "read LWPOLYLINE": 2, "skipped LINE": 1}
    assert survey.layers["STREET"] == {"LINE": 1}


def test_options_in_one_object_or_by_name(path):
    options = ReadOptions(ducts=Selection("DUCT"), vaults=Selection("VAULT"), sweep=5.0)
    both = [read_survey(path, options), read_survey(str(path), options, sweep=5.0, vaults="VAULT")]
    assert both[0].ducts[1].chain.length.tolist() == both[1].ducts[1].chain.length.tolist()
    with pytest.raises(TypeError, match="chord_tolerance"):
        read_survey(path, swep=5.0)


def test_a_sharp_corner_without_a_sweep_is_refused_with_its_place(path):
    with pytest.raises(InputRefusedError) as refused:
        read_survey(path, ducts="DUCT", vaults="VAULT")
    assert refused.value.code == "sharp-corner"
    assert (refused.value.where.x, refused.value.where.y) == (90, 20)
    assert [f.code for f in refused.value.findings].count("sharp-corner") == 1


def test_forgiving_makes_a_finding_of_it(path):
    survey = read_survey(path, ducts="DUCT", vaults="VAULT", forgiving=True)
    assert len(survey.ducts) == 2
    assert [f.severity for f in survey.findings if f.code == "sharp-corner"] == ["error"]
    assert summarise(survey).least_radius == pytest.approx(3.0, rel=1e-3)


def test_peek_and_summary(path):
    looked = peek(path)
    assert looked.units == "m"
    assert looked.guessed("ducts") == ("DUCT",)
    assert looked.guessed("vaults") == ("VAULT",)
    assert looked.guessed("vaults.invert") == ("INVERT",)
    assert looked.extents == (0, 0, 90, 90)
    assert {p.name: dict(p.kinds) for p in looked.layers} == {
        "VAULT": {"INSERT": 3, "CIRCLE inside blocks": 1}, "DUCT": {"LWPOLYLINE": 2}, "STREET": {"LINE": 1},
    }  # fmt: skip
    assert next(p for p in looked.layers if p.name == "VAULT").blocks == ("MH",)
    summary = summarise(read_survey(path, sweep=5.0))
    assert (summary.ducts, summary.vaults, summary.loose, summary.isolated) == (2, 3, 0, 0)
    assert summary.total_turn == pytest.approx(math.pi)
    assert summary.least_radius == pytest.approx(3.0, rel=1e-3)
    assert (summary.read, summary.skipped) == (5, 1)
    assert summary.elevated == 1
    assert summary.kinds[0].severity == "warning"
    assert summary.count("warning") == sum(k.count for k in summary.kinds if k.severity == "warning")


def test_peek_into_layers(layer):
    from_line = pytest.importorskip("shapely").LineString([(8.0, 49.0), (8.1, 49.0)])
    path = layer([from_line], layer="conduits", crs="EPSG:4326", kind="LineString", size=["5"])
    looked = peek(path)
    assert (looked.format, looked.units, looked.crs) == ("GPKG", "degree", "EPSG:4326")
    assert looked.guessed("ducts") == ("conduits",)
    assert looked.guessed("ducts.size") == ("size",)
    assert any("vaults" in text for text in looked.missing)


def test_everything_exported_is_there():
    assert all(hasattr(routeio, name) for name in routeio.__all__)
