import math

import ezdxf
import pytest

from tautline.deliver import dxf


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
