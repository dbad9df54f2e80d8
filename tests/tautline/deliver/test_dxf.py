import hashlib
import math

import ezdxf
import pytest

from routeio.limits import Limits
from tautline.deliver import dxf, dxf_copy
from tautline.errors import ResultError

FT = 1200 / 3937


def read(document, folder):
    dxf.write(document, folder / "plan.dxf")
    drawing = ezdxf.readfile(folder / "plan.dxf")
    return drawing, drawing.modelspace()


def texts(model, layer="*"):
    return [t.dxf.text for t in model.query(f'TEXT[layer=="{layer}"]' if layer != "*" else "TEXT")]


def test_every_document_makes_a_drawing_that_audits_clean(document, tmp_path):
    drawing, model = read(document, tmp_path)
    auditor = drawing.audit()
    assert auditor.errors == []
    assert auditor.fixes == []
    layers = {e.dxf.layer for e in model}
    assert layers <= {layer.dxf.name for layer in drawing.layers}
    assert all(e.dxf.get("color", 256) == 256 for e in model), "colours go by layer"
    assert all(e.dxf.get("linetype", "BYLAYER").upper() == "BYLAYER" for e in model)


@pytest.mark.parametrize(
    # $INSUNITS: 21 is the US survey foot, 2 the foot, 6 the metre, 4 the millimetre (DXF reference)
    ("metres", "code", "imperial"),
    [(1200 / 3937, 21, 0), (0.3048, 2, 0), (1.0, 6, 1), (0.001, 4, 1), (0.2, 0, 1)],
)
def test_the_drawing_is_in_the_unit_of_its_source(harbour, tmp_path, metres, code, imperial):
    harbour["ground"] |= {"metres_per_unit": metres}
    drawing, model = read(harbour, tmp_path)
    assert drawing.header["$INSUNITS"] == code
    assert drawing.header["$MEASUREMENT"] == imperial
    vault = harbour["vaults"][0]
    diamond = model.query('LWPOLYLINE[layer=="TAUTLINE-VAULT-END"]').first
    xs = [p[0] for p in diamond.get_points()]
    assert (min(xs) + max(xs)) / 2 == pytest.approx(vault["x"] / metres, rel=1e-12)


def test_pulls_are_on_the_layer_of_their_class_with_their_arcs(harbour, tmp_path):
    _, model = read(harbour, tmp_path)
    counts = {k: len(model.query(f'LWPOLYLINE[layer=="TAUTLINE-PULL-{k}"]')) for k in (1, 2, 3, 4)}
    # 34, 18 and 22 % are in the first class, 52 % in the second, 85 % in the third; each class has a line in the legend
    assert counts == {1: 4, 2: 2, 3: 2, 4: 1}
    first = max(model.query('LWPOLYLINE[layer=="TAUTLINE-PULL-3"]'), key=len)
    bulges = [p[4] for p in first.get_points() if p[4]]
    # pulled from MH-3: +45, +22.5 and -90 degrees, a quarter of each by its tangent
    assert bulges == pytest.approx([math.tan(math.radians(a) / 4) for a in (45, 22.5, -90)], rel=1e-9)


def test_everything_is_named(harbour, tmp_path):
    _, model = read(harbour, tmp_path)
    names = texts(model, "TAUTLINE-VAULT-TEXT")
    assert {v["tag"] for v in harbour["vaults"]} <= set(names)
    assert "PULL 1: 85 %" in texts(model, "TAUTLINE-PULL-TEXT")
    assert "4,273" in texts(model, "TAUTLINE-SCHEDULE")
    assert "186 lbf/ft" in texts(model, "TAUTLINE-HOT-SPOTS")
    assert any("us survey foot" in t for t in texts(model, "TAUTLINE-LEGEND"))


def test_names_keep_their_letters(nasty, tmp_path):
    nasty["vaults"][0]["tag"] = nasty["feeder"]["from"] = nasty["route"][0]["from"] = "50%%d"
    _, model = read(nasty, tmp_path)
    names = texts(model, "TAUTLINE-VAULT-TEXT")
    assert "בור משיכה 12" in names
    assert "50% %d" in names
    assert any("<b>MH</b>" in n for n in names)


@pytest.mark.parametrize(("vaults", "span"), [(3, 40.0), (60, 100.0), (60, 500.0)])
def test_text_is_sized_to_the_drawing_and_does_not_overlap(made, tmp_path, vaults, span):
    document = made["many"](vaults, span, units="si")
    _, model = read(document, tmp_path)
    boxes = []
    for layer in ("VAULT-TEXT", "PULL-TEXT"):
        for t in model.query(f'TEXT[layer=="TAUTLINE-{layer}"]'):
            _, start, end = t.get_placement()
            x, y = (end or start).x, (end or start).y
            # letters of Arial are about 0.7 of their height wide on average
            wide = 0.7 * t.dxf.height * len(t.dxf.text)
            left = x - wide if t.dxf.halign == 2 else x
            boxes.append((left, y, left + wide, y + t.dxf.height))
    height = model.query('TEXT[layer=="TAUTLINE-VAULT-TEXT"]').first.dxf.height
    assert 0.3 <= height <= span / 4
    crossing = [
        (a, b)
        for k, a in enumerate(boxes)
        for b in boxes[:k]
        if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
    ]
    assert crossing == []


def test_the_schedule_is_beside_the_plan(harbour, tmp_path):
    _, model = read(harbour, tmp_path)
    lowest = min(p[1] for e in model.query('LWPOLYLINE[layer=="TAUTLINE-ROUTE"]') for p in e.get_points())
    for t in model.query('TEXT[layer=="TAUTLINE-SCHEDULE"]'):
        assert t.dxf.insert.y + t.dxf.height < lowest


def test_a_failure_without_a_ratio_shows_none_of_another_check(harbour, tmp_path):
    harbour["sections"][0]["pulls"][0] |= {"utilisation": 0.0817, "verdict": "fail", "governs": "temperature"}
    said = texts(read(harbour, tmp_path)[1])
    assert any("PULL 1: -" in text for text in said)
    assert not any(text == "8 %" or ": 8 %" in text for text in said)


def test_every_pull_has_its_profile(harbour, tmp_path):
    _, model = read(harbour, tmp_path)
    titles = texts(model, "TAUTLINE-PROFILE-TEXT")
    assert "Section 1, pull 1: MH-3 to SUB-A" in titles
    assert len(model.query('LWPOLYLINE[layer=="TAUTLINE-PROFILE-TENSION"]')) == 5
    # tension and limit stand in the ratio of the document: both measured from the foot of the first panel
    frame = model.query('LWPOLYLINE[layer=="TAUTLINE-PROFILE"]').first
    foot = min(p[1] for p in frame.get_points())
    curve = model.query('LWPOLYLINE[layer=="TAUTLINE-PROFILE-TENSION"]').first
    limit = model.query('LWPOLYLINE[layer=="TAUTLINE-PROFILE-LIMIT"]').first
    pull = harbour["sections"][0]["pulls"][0]
    drawn = (max(p[1] for p in curve.get_points()) - foot) / (limit.get_points()[0][1] - foot)
    assert drawn == pytest.approx(pull["max_tension_N"] / pull["limits"]["max_tension_N"], rel=1e-6)


def test_bends_are_named_by_angle_and_radius(harbour, tmp_path):
    _, model = read(harbour, tmp_path)
    assert {"90° R 12.5 ft", "45° R 12.5 ft", "22° R 50.0 ft", "80° sag R 60.00 in"} <= set(
        texts(model, "TAUTLINE-BENDS")
    )


def drawn(path, document, version="R2004", shift=0.0):
    """A drawing of the route on a layer of its own, one long line below it; the document made to be about it."""
    drawing = ezdxf.new(version, units=21)
    drawing.layers.add("DUCT-PRIM", color=3)
    model = drawing.modelspace()
    for span in document["route"]:
        points = [(p[0] / FT + shift, p[1] / FT) for p in span["path"]]
        model.add_polyline2d(points, dxfattribs={"layer": "DUCT-PRIM"})
    place = (points[0][0], points[0][1])
    model.add_line(place, (place[0], place[1] - 5000.0), dxfattribs={"layer": "DUCT-PRIM"})
    drawing.saveas(path)
    document["source"]["sha256"] = hashlib.sha256(path.read_bytes()).hexdigest()
    return path


@pytest.fixture
def source(tmp_path, harbour):
    return drawn(tmp_path / "harbour.dxf", harbour)


def test_the_copy_of_a_drawing_keeps_what_was_on_it(source, harbour, tmp_path):
    before = source.read_bytes()
    dxf_copy.annotate(harbour, source, tmp_path / "copy.dxf")
    assert source.read_bytes() == before
    drawing = ezdxf.readfile(tmp_path / "copy.dxf")
    model = drawing.modelspace()
    assert drawing.audit().errors == []
    assert len(model.query('*[layer=="DUCT-PRIM"]')) == len(harbour["route"]) + 1
    assert drawing.dxfversion == "AC1018"
    assert {line.dxf.color for line in model.query('LINE[layer=="DUCT-PRIM"]')} == {256}
    assert "PULL 1: 85 %" in texts(model, "TAUTLINE-PULL-TEXT")
    # what is ours beside the plan stands under all that was there
    lowest = model.query('LINE[layer=="DUCT-PRIM"]').first.dxf.end.y
    assert all(t.dxf.insert.y < lowest for t in model.query('TEXT[layer=="TAUTLINE-SCHEDULE"]'))


def test_the_copy_of_another_drawing_is_refused(source, harbour, tmp_path):
    source.write_bytes(source.read_bytes() + b"\n")
    with pytest.raises(ResultError, match="is not the drawing"):
        dxf_copy.annotate(harbour, source, tmp_path / "copy.dxf")
    with pytest.raises(ResultError, match="cannot read"):
        dxf_copy.annotate(harbour, tmp_path / "gone.dxf", tmp_path / "copy.dxf")
    assert not (tmp_path / "copy.dxf").exists()


def test_the_copy_of_an_old_drawing_loses_no_pull(harbour, tmp_path):
    source = drawn(tmp_path / "old.dxf", harbour, "R12")
    dxf_copy.annotate(harbour, source, tmp_path / "copy.dxf")
    model = ezdxf.readfile(tmp_path / "copy.dxf").modelspace()
    lines = [e for e in model.query("LWPOLYLINE") if e.dxf.layer.startswith("TAUTLINE-PULL-")]
    assert len(lines) >= len(harbour["sections"])
    assert len(model.query('*[layer=="DUCT-PRIM"]')) == len(harbour["route"]) + 1


def test_a_drawing_in_other_coordinates_is_not_drawn_on(harbour, tmp_path):
    source = drawn(tmp_path / "far.dxf", harbour, shift=1e6)
    with pytest.raises(ResultError, match="does not lie where"):
        dxf_copy.annotate(harbour, source, tmp_path / "copy.dxf")


def test_a_drawing_that_takes_too_long_or_is_none_is_given_up(source, harbour, tmp_path):
    # nothing more for its size either, or a fast machine is done in time
    brief = Limits(wall_seconds=0.01, cpu_seconds_per_mb=0.0)
    with pytest.raises(ResultError, match="takes longer"):
        dxf_copy.annotate(harbour, source, tmp_path / "copy.dxf", brief)
    source.write_bytes(b"  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n  8\n")
    harbour["source"]["sha256"] = hashlib.sha256(source.read_bytes()).hexdigest()
    with pytest.raises(ResultError, match="cannot be copied"):
        dxf_copy.annotate(harbour, source, tmp_path / "copy.dxf")
    assert [p.name for p in tmp_path.iterdir()] == ["harbour.dxf"]
