import math

import pytest

from tautline.deliver import frame
from tautline.deliver.crew import sheet_of
from tautline.deliver.digest import bends_of
from tautline.deliver.present import Units


def test_pulls_are_numbered_through_all_sections(checked):
    pulls = frame.pulls_of(checked)
    assert [p.number for p in pulls] == [1, 2, 3, 4, 5]


def test_sections_carry_their_pulls(harbour):
    assert [p.section for p in frame.pulls_of(harbour)] == [1, 2, 3, 3, 4]


def test_where_there_is_no_plan_the_partial_one_is_shown(no_plan):
    assert [p.section for p in frame.pulls_of(no_plan)] == [1, 2]


def test_bands_take_their_upper_edge_and_a_fail_goes_last():
    assert frame.band(0.5).top == 0.5
    assert frame.band(0.5001).top == 0.8
    assert frame.band(1.0).top == 1.0
    assert frame.band(1.0000001).top == math.inf
    assert frame.band(0.2, "fail").top == math.inf


def test_a_station_is_found_on_the_arc(made):
    """Quarter circle of radius 10 from the origin, heading east, left: its middle by trigonometry."""
    spans = [[made["bend"](10.0, 90.0)]]
    document = made["plan_document"](
        "arc", spans, ["A", "B"], [(0, 1, [(0, 1, True, [])])], start=(0.0, 0.0, 0.0), units="si", crs=None
    )
    (pull,) = frame.pulls_of(document)
    x, y = pull.point(pull.data["length_m"] / 2)
    # chords of 5 degrees stand off the arc by at most R (1 - cos 2.5 deg) = 9.5 mm
    assert math.dist((x, y), (10 * math.sin(math.pi / 4), 10 - 10 * math.cos(math.pi / 4))) < 0.0096
    assert pull.heading(pull.data["length_m"] / 2) == pytest.approx(math.pi / 4, abs=0.01)
    (bend,) = pull.bends
    assert bend.angle == pytest.approx(math.pi / 2)
    assert bend.radius == pytest.approx(10.0)


def test_arcs_come_back_as_bulges(made):
    """A bulge is the tangent of a quarter of the turn (DXF reference, LWPOLYLINE group code 42)."""
    spans = [[made["straight"](5.0), made["bend"](10.0, -60.0), made["straight"](5.0)]]
    document = made["plan_document"](
        "arc", spans, ["A", "B"], [(0, 1, [(0, 1, False, [])])], start=(0.0, 0.0, 0.0), units="si", crs=None
    )
    pull = document["sections"][0]["pulls"][0]
    corners = frame.arcs(pull, pull["segments"]["turn_rad"])
    assert len(corners) == 4
    assert corners[1][2] == pytest.approx(math.tan(math.radians(60) / 4))  # pulled backward: it turns left
    assert [c[2] for c in corners if c is not corners[1]] == [0.0, 0.0, 0.0]


def test_a_path_that_is_no_arc_keeps_its_chords(harbour):
    pull = harbour["sections"][0]["pulls"][0]
    index = pull["segments"]["path_index"]
    middle = (index[1] + index[2]) // 2
    pull["path"][middle][0] += 0.5
    corners = frame.arcs(pull, pull["segments"]["turn_rad"])
    assert len(corners) > len(index)


def test_neighbouring_pieces_of_one_bend_are_one_bend(harbour):
    pull = harbour["sections"][0]["pulls"][0]
    s = pull["segments"]
    bend = next(k for k, turn in enumerate(s["turn_rad"]) if turn)
    for key in s:
        if key == "path_index":
            continue
        value = s[key][bend]
        halves = [value / 2] * 2 if key in ("length_m", "turn_rad") else [value] * 2
        s[key][bend : bend + 1] = halves
    del s["path_index"]
    assert len(frame.Pull(1, 1, pull).bends) == 3


def test_a_place_is_told_by_bend_and_nearest_vault(harbour):
    pull = frame.pulls_of(harbour)[0]
    words = pull.place(pull.data["max_sidewall_station_m"], Units("us"))
    # 44 m back from MH-1's 38 m straight and the 6 m of the quarter bend itself: 143.9 ft
    assert words == "90° bend R 12.5 ft, 144 ft past MH-1"
    assert pull.place(0.0, Units("us")) == "at MH-3"
    assert pull.place(None, Units("us")) == ""


def test_a_vertical_curve_of_many_sweeps_is_one_line(made):
    """Six sags of 3 degrees 8 m apart are one of 18 degrees by addition; a crest, a bend and a far sag stay apart."""
    straight, vertical = made["straight"], made["vertical"]
    sags = [s for k in range(6) for s in (vertical(20, 3 * k - 9, 3 * k - 6), straight(8, 3 * k - 6))]
    spans = [
        [straight(50, -9), *sags, vertical(20, 9, 0), straight(40), vertical(20, 0, 4), straight(80, 4)],
        [made["bend"](5, 30, 4), straight(40, 4), vertical(20, 4, 9), straight(5, 9)],
    ]
    tags = ["A", "B, the second", "C"]
    cuts = [(0, 2, [(0, 2, True, [])])]
    document = made["plan_document"]("sags", spans, tags, cuts, start=(0.0, 0.0, 0.0), units="si", crs=None)
    (pull,) = frame.pulls_of(document)
    units = Units("si")
    # 6 arcs of 20 m x 3 degrees and 5 straights of 8 m between them: 46.3 m
    assert [frame.curve_words(c, units) for c in pull.curves] == [
        "18° sag, 6 sweeps over 46.3 m, R 20.0 m or more",
        "9° crest R 20.0 m",
        "4° sag R 20.0 m",
        "30° bend R 5.0 m",
        "5° sag R 20.0 m",
    ]
    rows = bends_of(pull, units)
    profile = pull.data["profile"]
    assert rows[0]["tension_in"] == profile["tension_N"][1]
    assert rows[0]["tension_out"] == profile["tension_N"][12]
    assert rows[0]["place"] == "50.0 m past A"
    assert rows[3]["place"] == "at B, the second"
    told = [text for _, text, _ in sheet_of(document, pull, units)["rows"]]
    assert "out of 18° sag, 6 sweeps over 46.3 m, R 20.0 m or more" in told
