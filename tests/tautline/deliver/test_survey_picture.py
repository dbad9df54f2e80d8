"""The picture of a drawing as it was understood: to scale, legible however much is on it, everything on it told."""

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from mechanics.chain import Chain
from routeio.findings import Finding, Where
from routeio.read import read_survey
from routeio.survey import Duct, Ground, Origin, Survey, Vault
from tautline.deliver.picture_file import save
from tautline.deliver.survey_picture import SurveyPicture
from tautline.main import main
from tautline.survey_bends import laid

SAMPLES = Path(__file__).resolve().parents[3] / "sample_routes"
SVG = "{http://www.w3.org/2000/svg}"


def made(vaults: int, span: float, findings: tuple[Finding, ...] = ()) -> Survey:
    """A zigzag of quarter bends of 4 m, so many vaults a span apart, along the x axis."""
    straight = span / 2.0
    quarter = 2.0 * np.pi
    ducts = []
    for k in range(vaults - 1):
        left = 1.0 if k % 2 else -1.0
        chain = Chain([straight, quarter, straight], [0.0] * 3, [0.0] * 3, [0.0, left * np.pi / 2, 0.0])
        origins = tuple(Origin(str(k), "fitted", 0.01, 0.1) for _ in range(3))
        heading = np.pi / 4 if left < 0 else -np.pi / 4
        x = k * (2.0 * straight + 8.0) / np.sqrt(2.0)
        step = (2.0 * straight + 8.0) / np.sqrt(2.0)
        vertices = np.array([(x, 0.0, np.nan), (x + step, 0.0, np.nan)])
        ducts.append(
            Duct(str(k), chain, (x, 0.0, 0.0), heading, (x + step, 0.0, 0.0), f"MH-{k}", f"MH-{k + 1}", origins,
                 vertices=vertices, where=Where(id=str(k)))
        )  # fmt: skip
    step = (2.0 * straight + 8.0) / np.sqrt(2.0)
    marks = tuple(Vault(f"MH-{k}", k * step, 0.0) for k in range(vaults))
    return Survey("made.dxf", "", Ground(1.0, "m"), tuple(ducts), marks, findings)


def root_of(survey, system="si"):
    picture = SurveyPicture(survey, system)
    svg, _ = picture.render()
    return picture, ElementTree.fromstring(str(svg).encode())


def boxes(root):
    return [
        tuple(map(float, t.get("data-box").split())) for t in root.iter(SVG + "text") if t.get("data-box")
    ]


def texts(root):
    return ["".join(t.itertext()) for t in root.iter(SVG + "text")]


@pytest.mark.parametrize(("vaults", "span"), [(3, 27.0), (30, 60.0), (300, 100.0)])
def test_nothing_written_covers_anything_else(vaults, span):
    where = [Where(x=float(k * 7), y=0.0) for k in range(60)]
    findings = tuple(Finding("loose-end", "warning", "said", w) for w in where)
    picture, root = root_of(made(vaults, span, findings))
    found = sorted(boxes(root))
    assert len(found) >= min(vaults, 20)
    for k, a in enumerate(found):
        assert a[0] >= 0.0
        assert a[2] <= picture.width
        for b in found[k + 1 :]:
            assert not (a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3])


def test_what_has_no_room_is_counted():
    picture, root = root_of(made(150, 8.0))
    kinds = [t.get("class") for t in root.iter(SVG + "text")]
    assert kinds.count("vaults") + picture.unwritten["vaults"] == 150
    assert kinds.count("bends") + picture.unwritten["bends"] == 149
    assert any("for want of room" in t for t in texts(root))
    assert {"MH-0", "MH-149"} <= set(texts(root))


def test_the_bends_of_the_sample_are_those_of_its_design():
    """By hand from the table of the design in sample_routes/make_sample.py: turns and radii about MH-3 to MH-8."""
    survey = read_survey(SAMPLES / "harbour.dxf", ducts="DUCT*", vaults="VAULT*", sweep=3.81)
    _, root = root_of(survey, "us")
    shown = texts(root)
    assert {"11° R 25.0 ft", "90° R 25.0 ft", "60° R 12.5 ft", "75° R 25.0 ft"} <= set(shown)
    assert {v.tag for v in survey.vaults} <= set(shown)


def test_the_scale_bar_is_to_scale_and_north_is_up():
    picture, root = root_of(made(5, 40.0))
    bar = next(g for g in root.iter(SVG + "g") if g.get("class") == "bar fixed")
    pixels = float(re.search(r"H([\d.]+)", bar[0].get("d"))[1])
    metres = float(bar[1].text.split()[0].replace(",", ""))
    (ax, _), (bx, _) = picture.xy((0.0, 0.0)), picture.xy((100.0, 0.0))
    assert (bx - ax) / pixels * metres == pytest.approx(100.0, rel=1e-4)
    assert picture.xy((0.0, 10.0))[1] < picture.xy((0.0, 0.0))[1]


def test_findings_stand_at_their_places_by_number():
    findings = (
        Finding("near-miss", "warning", "a <near> miss", Where(x=20.0, y=5.0), "raise snap"),
        Finding("line-fitted", "info", "of a duct", Where(id="1")),
        Finding("layer-guessed", "info", "of no place"),
    )
    picture, root = root_of(made(4, 30.0, findings))
    rings = [c for c in root.iter(SVG + "circle") if (c.get("class") or "").startswith("finding")]
    assert len(rings) == 2
    warning = next(c for c in rings if "warning" in c.get("class"))
    x, y = picture.xy((20.0, 5.0))
    assert abs(float(warning.get("cx")) - x) <= 3.0
    assert abs(float(warning.get("cy")) - y) <= 3.0
    shown = texts(root)
    assert any("warning near-miss: a <near> miss; raise snap" in t for t in shown)
    assert any("of no place [no place on the map]" in t for t in shown)
    assert "1" in shown


def test_raw_vertices_lie_under_the_ducts():
    _, root = root_of(made(4, 30.0))
    world = next(g for g in root.iter(SVG + "g") if g.get("class") == "world")
    kinds = [p.get("class") for p in world]
    assert kinds[0] == "vertices"
    assert world[0].get("d").count("M") == 4  # two a duct, shared at the vaults


def test_pieces_of_one_curve_are_one_bend():
    """A quarter bend of 10 m in three pieces, and one the other way of 20 m after it."""
    chain = Chain(
        [10.0 * np.pi / 6] * 3 + [20.0 * np.pi / 4], [0.0] * 4, [0.0] * 4, [np.pi / 6] * 3 + [-np.pi / 4]
    )
    duct = Duct("1", chain, (0.0, 0.0, 0.0), 0.0, (0.0, 0.0, 0.0), None, None, (Origin("1", "drawn"),) * 4)
    path, bends = laid(duct)
    assert [b.radius for b in bends] == pytest.approx([10.0, 20.0])
    assert [b.turn for b in bends] == pytest.approx([np.pi / 2, -np.pi / 4])
    assert bends[0].path[-1] == pytest.approx((10.0, 10.0))
    assert max(np.hypot(*np.subtract(a, b)) for a, b in pairwise(path)) < 1.2


def test_inspect_writes_the_picture(tmp_path, capsys):
    path = tmp_path / "seen.png"
    assert main(["inspect", str(SAMPLES / "harbour.gpkg"), "--picture", str(path)]) == 0
    assert path.read_bytes().startswith(b"\x89PNG")
    assert "Written" in capsys.readouterr().out


def test_a_picture_as_svg_stands_alone(tmp_path):
    picture = SurveyPicture(made(3, 30.0), "si")
    svg, height = picture.render()
    save(svg, picture.width, height, tmp_path / "seen.svg")
    root = ElementTree.parse(tmp_path / "seen.svg").getroot()
    assert (float(root.get("width")), float(root.get("height"))) == pytest.approx(
        (picture.width, height), abs=1e-3
    )


def test_a_picture_never_takes_the_place_of_the_file(tmp_path, capsys):
    path = tmp_path / "seen.jpg"
    assert main(["inspect", str(SAMPLES / "harbour.gpkg"), "--picture", str(path)]) == 2
    copy = tmp_path / "route.svg"
    copy.write_bytes((SAMPLES / "harbour.dxf").read_bytes())
    assert main(["inspect", str(copy), "--picture", str(copy)]) in (3, 4)
    assert copy.read_bytes() == (SAMPLES / "harbour.dxf").read_bytes()


def test_nothing_to_draw_is_said(tmp_path, capsys):
    path = tmp_path / "none.dxf"
    import ezdxf

    drawing = ezdxf.new("R2010")
    drawing.header["$INSUNITS"] = 0
    drawing.modelspace().add_line((0, 0), (300, 0), dxfattribs={"layer": "DUCTS"})
    drawing.saveas(path)
    assert main(["inspect", str(path), "--picture", str(tmp_path / "p.svg")]) == 3
    assert "nothing to draw" in capsys.readouterr().err
    assert not (tmp_path / "p.svg").exists()


def test_the_legend_tells_only_of_bends_that_are_on_the_map():
    """Straights drawn as such are no bends as drawn."""
    bent = made(3, 27.0)
    assert "bend as drawn" not in texts(root_of(bent)[1])
    assert any(text.startswith("bend recovered") for text in texts(root_of(bent)[1]))
    straight = replace(
        bent.ducts[0], chain=Chain([9.0], [0.0], [0.0], [0.0]), origins=(Origin("0", "drawn"),), heading=0.0
    )
    told = texts(root_of(replace(bent, ducts=(straight,)))[1])
    assert not any(text.startswith("bend ") for text in told)


def test_a_corner_without_room_is_told_apart_and_its_radius_is_not_written_as_none():
    """Two legs of 13 mm at a right angle leave room for a radius of 13 mm."""
    survey = made(3, 30.0, (Finding("no-room-for-sweep", "warning", "said", Where(x=0.0, y=0.0)),))
    chain = Chain([15.0, 0.013 * np.pi / 2, 15.0], [0.0] * 3, [0.0] * 3, [0.0, np.pi / 2, 0.0])
    survey = replace(survey, ducts=(replace(survey.ducts[0], chain=chain), *survey.ducts[1:]))
    _, root = root_of(survey)
    assert any("the tightest R 0.013 m, 1 corner without room for the sweep" in text for text in texts(root))
