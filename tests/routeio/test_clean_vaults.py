"""Lines at vaults: snapping, splitting, near misses on both sides of the tolerance; in metres."""

import math

import numpy as np
import pytest
import shapely

from routeio.attach import Tied
from routeio.clean import clean
from routeio.findings import Where
from routeio.misses import unused
from routeio.options import ReadOptions
from routeio.rawlines import RawLine, RawSurvey, RawVault
from routeio.stitch import Joined
from routeio.survey import DuctFields, Ground, Vault


def line(*points, bulge=None, name="L", fields=None):
    array = np.array([(*p, np.nan) for p in points], dtype=float)
    legs = len(points) - 1
    return RawLine(
        array,
        np.array(bulge or [0.0] * legs, dtype=float),
        (name,) * legs,
        True,
        fields or DuctFields(),
        Where(layer="D", id=name),
    )


def vault(tag, x, y, outline=None):
    return RawVault(tag, x, y, math.nan, outline, {}, Where(layer="V", id=f"v{tag}"))


def cleaned(lines, vaults=(), snap=0.3):
    return clean(RawSurvey(tuple(lines), tuple(vaults), Ground(1.0, "m")), ReadOptions(snap=snap))


def by_code(result, code):
    return [f for f in result.findings if f.code == code]


def spans(result):
    tags = [v.tag for v in result.vaults]
    return [tuple(None if v is None else tags[v] for v in (j.tied.start, j.tied.end)) for j in result.lines]


def test_both_sides_of_the_tolerance_are_reported_with_distance_and_place():
    vaults = [vault("A", 0, 0), vault("B", 100, 0), vault("C", 200, 0), vault("D", 300, 0)]
    result = cleaned([line((0.1, 0), (99.71, 0), name="in"), line((200.31, 0), (302, 0), name="out")], vaults)
    assert spans(result) == [("A", "B"), (None, "D"), ("D", None)]
    tied = by_code(result, "end-snapped")
    assert [(f.severity, round(f.where.x, 2)) for f in tied] == [("info", 0.1), ("warning", 99.71)]
    assert "0.29 m (0.95 ft) from vault B" in tied[1].message
    (miss,) = [f for f in by_code(result, "near-miss") if f.where.x < 250]
    assert "vault C is 0.31 m (1.02 ft) away" in miss.message
    assert (miss.where.x, miss.where.id) == (200.31, "out")


def test_a_loose_end_says_how_far_the_nearest_vault_is():
    (loose,) = by_code(cleaned([line((0, 0), (50, 0))], [vault("A", 0, 0), vault("B", 122, 0)]), "loose-end")
    assert "vault B is 72.00 m (236.22 ft) away" in loose.message


def test_ends_stay_where_they_are_drawn():
    result = cleaned([line((0.2, 0.1), (99.8, 0))], [vault("A", 0, 0), vault("B", 100, 0)])
    assert result.lines[0].tied.line.points[[0, -1], :2].tolist() == [[0.2, 0.1], [99.8, 0]]


def test_footprint_goes_before_a_point_that_is_nearer():
    """The end lies in the outline of A, 2.9 m from its centre, and 0.2 m from the point B."""
    result = cleaned(
        [line((50, 0), (2.9, 0))], [vault("A", 0, 0, shapely.box(-3, -3, 3, 3)), vault("B", 3.05, 0.15)]
    )
    assert spans(result) == [(None, "A")]


def test_ends_at_the_wall_need_no_repair():
    a, b = shapely.box(-2, -2, 2, 2), shapely.Point(100, 0).buffer(1.5, quad_segs=23)
    result = cleaned([line((2, 0.5), (98.5, 0))], [vault("A", 0, 0, a), vault("B", 100, 0, b)])
    assert spans(result) == [("A", "B")]
    assert len(shapely.get_coordinates(b)) == 93
    assert [f for f in result.findings if f.severity != "info"] == []


def test_an_end_between_two_vaults_is_left_loose():
    result = cleaned([line((50, 0), (0.15, 0))], [vault("A", 0, 0), vault("B", 0.25, 0)])
    assert spans(result) == [(None, None)]
    (finding,) = by_code(result, "vault-ambiguous")
    assert finding.severity == "error"
    assert len(result.vaults) == 2  # never merged
    assert spans(cleaned([line((50, 0), (0.22, 0))], [vault("A", 0, 0), vault("B", 0.25, 0)])) == [
        (None, "B")
    ]


def test_one_line_through_many_vaults():
    result = cleaned(
        [line((0, 0), (100, 0), (100, 100), name="T", fields=DuctFields(recorded_length=220.0))],
        [
            vault("A", 0, 0),
            vault("B", 50, 0.2),
            vault("C", 100, 0),
            vault("D", 100, 60),
            vault("E", 100, 100),
        ],
    )
    assert spans(result) == [("A", "B"), ("B", "C"), ("C", "D"), ("D", "E")]
    lengths = [j.tied.line.fields.recorded_length for j in result.lines]
    assert lengths == pytest.approx([55, 55, 66, 44])
    assert len(by_code(result, "split-at-vault")) == 3
    # the corner at C is a corner of neither duct
    assert all(len(j.tied.line.points) == 2 for j in result.lines)


def test_split_on_an_arc():
    """A half circle of radius 50 through a vault at its top: two quarter circles."""
    result = cleaned([line((0, 0), (100, 0), bulge=[-1.0])], [vault("T", 50, 50.1)])
    turns = [4 * math.atan(float(j.tied.line.bulge[0])) for j in result.lines]
    assert turns == pytest.approx([-math.pi / 2, -math.pi / 2])
    assert result.lines[0].tied.line.points[-1, :2] == pytest.approx([50, 50])


def test_split_at_the_corner_inside_an_outline():
    """The corner in the vault is turned on its guides, not in a duct, also where it is off the centre."""
    outline = shapely.box(-2, -2, 2, 2)
    result = cleaned([line((-50, 1), (1, 1), (1, 50))], [vault("A", 0, 0, outline)])
    assert [j.tied.line.points[:, :2].tolist() for j in result.lines] == [
        [[-50, 1], [1, 1]],
        [[1, 1], [1, 50]],
    ]


def test_what_lies_between_two_corners_in_a_vault_is_its_crossing():
    outline = shapely.box(-2, -2, 2, 2)
    result = cleaned([line((-50, 1), (-1, 1), (1, -1), (50, -1))], [vault("A", 0, 0, outline)])
    assert [j.tied.line.points[:, :2].tolist() for j in result.lines] == [
        [[-50, 1], [-1, 1]],
        [[1, -1], [50, -1]],
    ]


def test_a_line_past_the_wall_is_not_split():
    outline = shapely.box(-2, -2, 2, 2)
    result = cleaned([line((-50, 2.1), (50, 2.1))], [vault("A", 0, 0, outline)])
    assert spans(result) == [(None, None)]


def test_an_overshoot_is_trimmed():
    result = cleaned([line((0, 0), (100.2, 0), name="over")], [vault("A", 0, 0), vault("B", 100, 0)])
    assert result.lines[0].tied.line.points[-1, :2] == pytest.approx([100, 0])
    (finding,) = by_code(result, "overshoot-trimmed")
    assert "0.20 m (0.66 ft) past vault B" in finding.message


def test_many_lines_between_two_vaults_and_a_loop():
    result = cleaned(
        [line((0, 0), (100, 0), name="1"), line((0, 0), (50, 5), (100, 0), name="2"),
         line((0, 0), (-5, 5), (-5, -5), (0, 0), name="3")],
        [vault("A", 0, 0), vault("B", 100, 0)],
    )  # fmt: skip
    assert spans(result) == [("A", "B"), ("A", "B"), ("A", "A")]


def test_an_end_on_the_middle_of_a_line_is_no_connection():
    result = cleaned(
        [line((0, 0), (100, 0), name="main"), line((50, 0.05), (50, 40), name="branch")],
        [vault("A", 0, 0), vault("B", 100, 0), vault("C", 50, 40)],
    )
    assert spans(result) == [("A", "B"), (None, "C")]
    (finding,) = by_code(result, "end-on-line")
    assert (finding.severity, finding.where.id) == ("error", "branch")
    assert "main" in finding.message


def test_mixed_directions_are_counted():
    """A - B - C - D with B head to head and C tail to tail."""
    result = cleaned(
        [line((0, 0), (10, 0), name="1"), line((20, 0), (10, 0), name="2"), line((20, 0), (30, 0), name="3")],
        [vault(t, x, 0) for t, x in (("A", 0), ("B", 10), ("C", 20), ("D", 30))],
    )
    assert by_code(result, "directions-mixed")[0].message.startswith("2 of 2 vaults")


def test_no_vaults_at_all():
    result = cleaned([line((0, 0), (10, 0))])
    assert spans(result) == [(None, None)]
    assert "no vaults" in by_code(result, "loose-end")[0].message


def test_against_a_plain_search():
    """Random ends and vaults: which vault an end is tied to, by trying all of them."""
    rng = np.random.default_rng(31)
    places = rng.uniform(0, 40, (150, 2))
    ends = rng.uniform(0, 40, (200, 2))
    result = cleaned(
        [line(tuple(p), (p[0], p[1] + 1000.0 + k), name=f"{k}") for k, p in enumerate(ends)],
        [vault(f"{k}", *p) for k, p in enumerate(places)],
        snap=1.0,
    )
    tied = {
        j.tied.line.where.id: j.tied.start for j in result.lines if j.tied.line.ids[0] == j.tied.line.where.id
    }
    starts: dict[str, int | None] = {}
    for j in result.lines:
        starts.setdefault(j.tied.line.where.id, j.tied.start)
    assert tied.keys() == starts.keys()
    for k, p in enumerate(ends):
        apart = np.sort(np.hypot(*(places - p).T))
        nearest = int(np.argmin(np.hypot(*(places - p).T)))
        expected = nearest if apart[0] <= 1.0 and (apart[1] > 1.0 or apart[1] >= 2 * apart[0]) else None
        assert starts[str(k)] == expected


def test_a_line_drawn_from_wall_to_wall_through_its_own_vault():
    """It starts 0.2 m before the west wall, runs through and goes on: one duct, from the vault on."""
    result = cleaned(
        [line((-2.2, 0), (50, 0))], [vault("A", 0, 0, shapely.box(-2, -2, 2, 2)), vault("B", 50, 0)]
    )
    assert spans(result) == [("A", "B")]
    assert result.lines[0].tied.line.points[0, 0] == pytest.approx(0)
    assert by_code(result, "overshoot-trimmed")


@pytest.mark.parametrize(
    ("off", "code"), [(0.61, "vault-passed-by"), (9.14, "vault-passed-by"), (60.0, "vault-unused")]
)
def test_a_vault_that_no_duct_meets_is_spoken_of(off, code):
    line = RawLine(
        np.array([[0.0, 0, np.nan], [100, 0, np.nan]]), np.zeros(1), ("L",), True, where=Where(id="L")
    )
    vault = Vault("V", 50.0, off)
    (finding,) = unused([Joined(Tied(line), ())], [vault], 0.3)
    assert finding.code == code
    assert f"{off:.2f} m" in finding.message
    assert "vault V" in finding.message
    assert (finding.where.x, finding.where.y) == (50.0, off)


@pytest.mark.parametrize(
    ("off", "said"), [(-0.1, ["split-at-vault"]), (0.1, ["vault-grazed"]), (0.29, ["vault-grazed"])]
)
def test_a_duct_that_passes_an_outline_just_outside_is_not_split_and_that_is_said(off, said):
    ends_at = [vault("A", 0, 0), vault("B", 50, 0)]
    beside = vault("M", 25, 1 + off, shapely.box(24, off, 26, 2 + off))
    result = cleaned([line((0, 0), (20, 0), (50, 0))], [*ends_at, beside])
    about = [f for f in result.findings if "vault M" in f.message]
    assert [f.code for f in about] == said
    assert about[0].where.x == pytest.approx(25.0, abs=1.0)


def test_an_end_near_a_second_vault_is_not_a_duct_that_passes_it():
    """The neighbour's wall is 0.2 m off the end that lies in its own vault: that end has been decided."""
    vaults = [vault("A", 0, 0), vault("B", 50, 0, shapely.box(49, -1, 51, 1))]
    near = vault("C", 52.2, 0, shapely.box(51.2, -1, 53.2, 1))
    result = cleaned([line((0, 0), (51, 0))], [*vaults, near])
    assert spans(result) == [("A", "B")]
    assert not by_code(result, "vault-grazed")
