"""Sizes by layer: what a drawing, whose lines have no fields, says of its ducts."""

from __future__ import annotations

import json
from pathlib import Path

import ezdxf
import numpy as np
import pytest

from mechanics.chain import Chain
from routeio.findings import Where
from routeio.survey import Duct, DuctFields
from tautline.bores import Lining
from tautline.errors import JobError
from tautline.job import read_job
from tautline.main import main

SAMPLE = Path(__file__).parents[2] / "sample_routes" / "harbour_dxf.toml"
INCH = 0.0254


def _duct(layer: str, fields: DuctFields | None = None) -> Duct:
    chain = Chain([10.0], [0.0], [0.0], [0.0])
    return Duct(
        *("1", chain, (0.0, 0.0, 0.0), 0.0, (10.0, 0.0, 0.0), "A", "B", ()),
        fields=fields or DuctFields(),
        where=Where("a.dxf", layer, "1"),
    )


@pytest.fixture
def lining() -> Lining:
    return read_job(SAMPLE).lining


def test_layer_says_the_size(lining: Lining) -> None:
    # NEC Chapter 9 Table 4, from memory: 5.016 in for 5 in PVC 40, 6.031 in for 6 in HDPE 40
    assert lining.bore(_duct("DUCT-BANK")).inside_diameter == pytest.approx(5.016 * INCH)
    assert lining.bore(_duct("duct-bore")).inside_diameter == pytest.approx(6.031 * INCH)


def test_fields_of_the_span_go_before_its_layer(lining: Lining) -> None:
    own = DuctFields(size="4", type="PVC 40")
    assert lining.bore(_duct("DUCT-BORE", own)).inside_diameter == pytest.approx(3.998 * INCH)


def test_water_by_the_span_its_layer_or_the_job(tmp_path: Path) -> None:
    text = SAMPLE.read_text(encoding="utf-8").replace(
        'layer = "DUCT-BORE"', 'layer = "DUCT-BORE"\nflooded = true'
    )
    (tmp_path / "harbour.dxf").write_bytes(b"")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    lining = read_job(tmp_path / "job.toml").lining
    assert not lining.bore(_duct("DUCT-BANK")).flooded
    assert lining.bore(_duct("DUCT-BANK", DuctFields(flooded=True))).flooded
    assert lining.bore(_duct("DUCT-BORE")).flooded
    assert not lining.bore(_duct("DUCT-BORE", DuctFields(flooded=False))).flooded


def test_friction_holds_on_all_layers(lining: Lining) -> None:
    assert lining.bore(_duct("DUCT-BORE")).friction == lining.bore(_duct("DUCT-BANK")).friction


def test_layer_without_ducts_is_told(lining: Lining) -> None:
    assert lining.unmatched([_duct("DUCT-BANK")]) == ("DUCT-BORE",)
    assert lining.unmatched([_duct("DUCT-BORE")]) == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('trade_size = "6"\ntype = "HDPE 40"\n', ""), "what this layer's ducts are"),
        (('layer = "DUCT-BORE"\n', ""), "layer is missing"),
        (('trade_size = "6"', 'trade_size = "61"'), "is not in the table of ducts"),
        (('layer = "DUCT-BORE"', 'layer = "DUCT-BORE"\nsize = "6"'), "is not a key of this table"),
    ],
)
def test_faults_of_the_table(change: tuple[str, str], words: str, tmp_path: Path) -> None:
    text = SAMPLE.read_text(encoding="utf-8")
    assert text.count(change[0]) == 1
    (tmp_path / "harbour.dxf").write_bytes(b"")
    job = tmp_path / "job.toml"
    job.write_text(text.replace(*change), encoding="utf-8")
    with pytest.raises(JobError, match="duct_layer") as caught:
        read_job(job)
    assert words in str(caught.value)


def test_pieces_of_two_layers_between_the_same_vaults_each_have_their_own(tmp_path: Path) -> None:
    """A straight of plastic, a steel elbow, and plastic again: the elbow's layer is on no duct's first piece."""
    drawing = ezdxf.new("R2013", units=6)
    space = drawing.modelspace()
    for layer, points in (
        ("DUCT-PVC", [(0, 0, 0), (30, 0, 0)]),
        ("DUCT-STEEL", [(30, 0, np.tan(np.pi / 8)), (40, 10, 0)]),
        ("DUCT-PVC", [(40, 10, 0), (40, 40, 0)]),
    ):
        space.add_lwpolyline(points, format="xyb", dxfattribs={"layer": layer})
    for place in ((0, 0), (40, 40)):
        space.add_point(place, dxfattribs={"layer": "VAULT"})
    drawing.saveas(tmp_path / "two.dxf")
    layers = "".join(
        f'[[duct_layer]]\nlayer = "DUCT-{name}"\ninside_diameter = "{inside} mm"\n'
        for name, inside in (("PVC", 150), ("STEEL", 125))
    )
    (tmp_path / "two.toml").write_text(
        '[job]\nunits = "si"\n[route]\nsource = "two.dxf"\nducts = { layer = "DUCT*" }\nvaults = { layer = "VAULT" }\n'
        '[bundle]\ncables = 3\ndiameter = "40 mm"\nweight = "20 N/m"\n'
        f'conductor = {{ material = "copper", area = "240 mm2" }}\n{layers}',
        encoding="utf-8",
    )
    assert main(["check", str(tmp_path / "two.toml"), "--out", str(tmp_path / "out"), "--only", "json"]) == 0
    (leg,) = json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))["route"]
    assert leg["bore"] == "150.0 mm inside, then 125.0 mm inside"
