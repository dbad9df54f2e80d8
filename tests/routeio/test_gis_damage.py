"""Cut layers: every one refused, or read with an error finding that says it was cut."""

import shutil

import numpy as np
import pytest
from shapely.geometry import LineString

from routeio import gis_peek
from routeio.findings import InputRefusedError
from routeio.peeking import made

LINES = [LineString([(500000 + 50 * k, 5400000), (500050 + 50 * k, 5400010)]) for k in range(12)]


def flagged(raw, path):
    try:
        findings = raw(path).findings
    except InputRefusedError as refusal:
        return refusal.code in {"damaged-layer", "wrong-format", "nothing-to-read", "no-layers"}
    return any(f.code == "file-cut" and f.severity == "error" for f in findings)


@pytest.mark.parametrize("ending", ["gpkg", "geojson", "fgb", "shp", "shx", "dbf"])
def test_every_cut_is_flagged(layer, raw, tmp_path, ending):
    name = f"ducts.{'shp' if ending in {'shx', 'dbf'} else ending}"
    degrees = [LineString(np.array(line.coords) / (1e5, 1e5)) for line in LINES]
    geo = ending == "geojson"
    layer(
        degrees if geo else LINES,
        name,
        crs="EPSG:4326" if geo else "EPSG:32632",
        kind="LineString",
        nm=list("abcdefghijkl"),
    )
    victim = tmp_path / f"ducts.{ending}"
    whole = victim.read_bytes()
    assert "file-cut" not in {f.code for f in raw(tmp_path / name).findings}
    for part in range(1, 20):
        victim.write_bytes(whole[: len(whole) * part // 20])
        assert flagged(raw, tmp_path / name), part
    victim.write_bytes(whole)


def test_a_copy_without_its_folder_is_whole(layer, raw, tmp_path):
    path = layer(LINES, "ducts.shp", kind="LineString", nm=list("abcdefghijkl"))
    other = tmp_path / "other"
    other.mkdir()
    for file in tmp_path.glob("ducts.*"):
        shutil.copy(file, other / file.name.upper())
    assert len(raw(other / "DUCTS.SHP").lines) == len(raw(path).lines)


def test_peek_says_what_is_missing(layer):
    path = layer(LINES, "ducts.shp", kind="LineString", nm=list("abcdefghijkl"))
    path.with_suffix(".prj").unlink()
    looked = made(path.name, gis_peek.peek(path))
    assert any("ducts.prj" in text for text in looked.missing)
    assert (looked.units, looked.crs) == (None, None)


@pytest.mark.parametrize(
    ("ending", "part", "words"),
    [
        ("shp", 0.6, "no feature is left: ducts.shp holds .* bytes and says that it is"),
        ("fgb", 0.3, "no layer is found in it, as in a file that was cut off"),
        ("fgb", 0.95, "it was cut off|a feature is damaged, or the file was cut off"),
    ],
)
def test_a_cut_is_said_in_plain_words(layer, raw, ending, part, words):
    path = layer(LINES[:1], f"ducts.{ending}", kind="LineString", nm=["a"])
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * part)])
    with pytest.raises(InputRefusedError, match=words) as refused:
        raw(path)
    assert refused.value.code == "damaged-layer"


def test_a_layer_of_which_nothing_is_left_says_why(layer, raw):
    with pytest.raises(InputRefusedError, match="no feature of the chosen layers can be read") as refused:
        raw(layer([None, LineString()], nm=["a", "b"]), ducts="ducts")
    assert (refused.value.code, refused.value.where.id) == ("nothing-to-read", "1")
