"""The shape behind the vertices, whatever way a line is drawn; the truth is the code that made the line."""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mechanics.centreline import place
from routeio.findings import InputRefusedError
from routeio.options import ReadOptions
from routeio.rawlines import RawLine
from routeio.shape import Shape, recover, recover_many

ROUTES = Path(__file__).parents[2] / "benchmarks" / "truth" / "routes.py"
B = math.tan(math.pi / 8)
SPARSE = pytest.param(10.0, 0.3, marks=pytest.mark.slow)


@pytest.fixture(scope="module")
def routes() -> Any:
    """The generator of ducts that the benchmark draws from."""
    spec = importlib.util.spec_from_file_location("routes", ROUTES)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def line(points, bulge=None, drawn=False) -> RawLine:
    points = np.asarray(points, dtype=float)
    if points.shape[1] == 2:
        points = np.column_stack((points, np.full(len(points), np.nan)))
    bulge = np.zeros(len(points) - 1) if bulge is None else np.asarray(bulge, dtype=float)
    return RawLine(points, bulge, tuple(str(i) for i in range(len(bulge))), drawn)


def shape_of(points, bulge=None, drawn=False, **options) -> Shape:
    raw = line(points, bulge, drawn)
    return recover(raw.points, raw.bulge, raw.ids, raw.drawn, ReadOptions(**options))


def codes(shape: Shape) -> list[str]:
    return [f.code for f in shape.findings]


def total_turn(shape: Shape) -> float:
    return math.degrees(np.abs(shape.chain.turn).sum())


def arc(radius: float, degrees: float, step: float, lead: float = 10.0) -> np.ndarray:
    """A straight, an arc to the left by chords of about ``step``, and a straight."""
    angle = math.radians(degrees)
    at = np.linspace(0.0, angle, max(2, round(angle * radius / step)) + 1)
    bend = np.column_stack((radius * np.sin(at), radius * (1.0 - np.cos(at))))
    out = bend[-1] + lead * np.array([math.cos(angle), math.sin(angle)])
    return np.vstack(([-lead, 0.0], bend, out))


C, S = math.cos(1.1), math.sin(1.1)
WAYS = {
    "moved": (lambda p: p + np.array([123.4, -56.7, 8.9]), 1e-9),
    # eastings and northings in metres are good to 1e-9 themselves
    "far off": (lambda p: p + np.array([512_345.6, 5_400_000.7, 30.0]), 2e-8),
    "turned": (lambda p: p @ np.array([[C, -S, 0], [S, C, 0], [0, 0, 1]]).T, 1e-9),
    "mirrored": (lambda p: p * [1, -1, 1], 1e-9),
    "reversed": (lambda p: p[::-1], 1e-12),
    "in feet": (lambda p: (p / 0.3048) * 0.3048, 1e-9),
}


@pytest.mark.parametrize("hilly", [False, True], ids=["flat", "hilly"])
@pytest.mark.parametrize(("step", "scatter"), [(None, 0.0), (2.0, 0.05), SPARSE], ids=str)
def test_the_same_chain_whatever_way_it_is_drawn(routes, hilly, step, scatter):
    rng = np.random.default_rng(3)
    points = routes.drawn(routes.route(rng, bends=3, hilly=hilly), step)
    points = routes.digitised(points, rng, scatter, heights=0.03 if scatter else 0.0)

    def recovered(points: np.ndarray) -> Shape:
        return shape_of(points if hilly else points[:, :2], sweep=5.0)

    plain = recovered(points)
    for name, (way, within) in WAYS.items():
        other = recovered(way(points))
        chain = other.chain.reversed() if name == "reversed" else other.chain
        assert len(chain) == len(plain.chain), name
        sign = -1 if name == "mirrored" else 1
        assert chain.length == pytest.approx(plain.chain.length, abs=within), name
        assert sign * chain.turn == pytest.approx(plain.chain.turn, abs=within), name
        assert chain.grade_in == pytest.approx(plain.chain.grade_in, abs=within), name
        assert chain.grade_out == pytest.approx(plain.chain.grade_out, abs=within), name


@pytest.mark.parametrize("number", [1, 3])
def test_hills_as_drawn_are_the_same_moved_and_turned(routes, number):
    """Vertices where a straight meets its arc, and radii that the fit's cost tells to half the digits only."""
    rng = np.random.default_rng(3)
    for _ in range(number + 1):
        points = routes.digitised(routes.drawn(routes.route(rng, bends=3, hilly=True), None), rng, 0.0)
    plain = shape_of(points, sweep=5.0).chain
    for name in ("moved", "turned"):
        other = shape_of(WAYS[name][0](points), sweep=5.0).chain
        for field in ("length", "turn", "grade_in", "grade_out"):
            assert getattr(other, field) == pytest.approx(getattr(plain, field), abs=1e-9), name


@pytest.mark.parametrize("number", [28, 49])
def test_rounding_does_not_choose_between_shapes_equally_good(routes, number):
    """Legs of one length about an arc; two straights that may part at either of two vertices."""
    rng = np.random.default_rng(3)
    for _ in range(number + 1):
        points = routes.digitised(routes.drawn(routes.route(rng, hilly=True)), rng, 0.0)
    plain = shape_of(points, sweep=5.0).chain
    x, y, z = WAYS["moved"][0](points).T
    c, s = math.cos(0.7), math.sin(0.7)
    other = shape_of(np.column_stack((c * x - s * y, s * x + c * y, z)), sweep=5.0).chain
    for field in ("length", "turn", "grade_in", "grade_out"):
        assert getattr(other, field) == pytest.approx(getattr(plain, field), abs=1e-9), field


def apart(one: Shape, other: Shape, way: str = "turned") -> float:
    """By how much the chains of two shapes differ; [m, rad]."""
    a, b = one.chain, other.chain.reversed() if way == "reversed" else other.chain
    assert len(a) == len(b), way
    sign = -1 if way == "mirrored" else 1
    off = (b.length - a.length, sign * b.turn - a.turn, b.grade_in - a.grade_in, b.grade_out - a.grade_out)
    return max(float(np.abs(o).max()) for o in off)


@pytest.mark.parametrize(
    ("seed", "step", "scatter"),
    [(132, None, 0.0), (193, None, 0.0), (249, None, 0.0), (44, 5.0, 0.1)],
)
def test_hills_that_begin_or_end_within_a_curve_or_beside_it_are_the_same_whatever_way_drawn(
    routes, seed, step, scatter
):
    """The grade of a first or a last straight that hardly a vertex feels, and fits that stop before they are through."""
    rng = np.random.default_rng(seed)
    points = routes.drawn(routes.route(rng, bends=3, hilly=True), step)
    points = routes.digitised(points, rng, scatter, heights=scatter)
    plain = shape_of(points, sweep=5.0)
    for name, (way, within) in WAYS.items():
        # where a curve begins is told to metres, and moves as many times a coordinate's rounding over the scatter
        within = 2e-6 if name == "far off" else within
        assert apart(plain, shape_of(way(points), sweep=5.0), name) <= within, name


@pytest.mark.slow
@pytest.mark.parametrize(("step", "scatter"), [(None, 0.0), (2.0, 0.02), (5.0, 0.1)], ids=str)
def test_a_hundred_hills_are_the_same_whatever_way_drawn(routes, step, scatter):
    rng = np.random.default_rng(31)
    for _ in range(100):
        points = routes.drawn(routes.route(rng, bends=int(rng.integers(2, 9)), hilly=True), step)
        points = routes.digitised(points, rng, scatter, heights=scatter)
        plain = shape_of(points, sweep=5.0)
        for name, (way, within) in WAYS.items():
            within = 2e-6 if name == "far off" else within
            assert apart(plain, shape_of(way(points), sweep=5.0), name) <= within, name


def test_short_lines_of_a_layer_are_the_same_turned_and_mirrored(routes):
    """A first or a last straight of one vertex, a radius that no vertex feels."""
    rng = np.random.default_rng(5)
    lines = [routes.digitised(routes.short_line(rng, bool(k % 2))[1], rng, 0.2)[:, :2] for k in range(120)]
    plain = recover_many([line(p) for p in lines], ReadOptions(sweep=5.0))
    for name in ("turned", "mirrored"):
        ways = [line(WAYS[name][0](np.column_stack((p, np.zeros(len(p)))))[:, :2]) for p in lines]
        others = recover_many(ways, ReadOptions(sweep=5.0))
        worst = max(apart(a, b, name) for a, b in zip(plain, others, strict=True) if isinstance(a, Shape))
        assert worst <= 1e-9, name


def scattered_straight(count: int, rng: np.random.Generator) -> np.ndarray:
    """Vertices 5 m apart on a straight, each 5 cm off it or so."""
    return np.column_stack((5.0 * np.arange(count), rng.normal(0.0, 0.05, count)))


@pytest.mark.parametrize("side", [0, -1])
def test_a_vertex_at_the_end_far_off_the_straight_before_it_is_kept_and_said(side):
    points = scattered_straight(40, np.random.default_rng(1))
    assert "vertex-kept" not in codes(shape_of(points, sweep=5.0))
    points[side, 1] += 0.8
    shape = shape_of(points, sweep=5.0)
    (finding,) = [f for f in shape.findings if f.code == "vertex-kept"]
    assert (finding.where.x, finding.where.y) == pytest.approx(tuple(points[side]))
    # it turns no further than a leg of 5 m that goes 0.8 m aside must, or with a bend of a part of its length
    assert math.degrees(math.atan(0.8 / 5.0)) - 2.0 < total_turn(shape) < 14.0


@pytest.mark.parametrize("count", [9, 11])
def test_a_vertex_that_may_be_stray_in_a_line_of_few_is_kept_and_said(count):
    rng = np.random.default_rng(1)
    lines = [scattered_straight(count, rng) for _ in range(20)]
    lines[3][4, 1] += 1.0
    shapes = recover_many([line(p) for p in lines], ReadOptions(sweep=5.0))
    (finding,) = [f for f in shapes[3].findings if f.code == "vertex-kept"]
    assert abs(finding.where.x - 20.0) <= 5.0
    assert not any("vertex-kept" in codes(shape) for k, shape in enumerate(shapes) if k != 3)


#: Pipe P-484 of the water network ky10, as the package wntr carries it; its table has it 718.15 feet long. [m]
P_484 = [
    (0.0, 0.0), (10.38, -10.8), (12.17, -9.94), (14.64, -9.18), (16.94, -8.67), (19.15, -8.49), (21.19, -8.32),
    (23.32, -8.24), (25.87, -8.07), (26.38, -7.89), (29.62, -7.39), (30.38, -7.21), (55.73, 10.24), (75.05, 32.03),
    (78.96, 36.46), (82.95, 40.89), (87.04, 45.49), (90.95, 49.83), (98.95, 57.58), (102.95, 61.32), (107.03, 64.73),
    (111.11, 68.13), (115.2, 71.37), (144.04, 87.63), (162.08, 96.32), (175.37, 100.28),
]  # fmt: skip


def test_a_corner_that_its_vertex_alone_tells_stays_at_it():
    """Such a corner was drawn out past its vertex, to have room for a larger radius than it was given in the end."""
    shape = shape_of(P_484, sweep=1.0)
    # legs of 46 degrees down and 26 up meet there; the chord of 31 m hides an arc that is 0.8 m longer
    assert math.degrees(shape.chain.turn[1]) == pytest.approx(72.0, abs=5.0)
    assert shape.chain.total_length == pytest.approx(718.15 * 0.3048, abs=1.3)
    points = place(shape.chain, shape.start, shape.heading, 0.001).points[:, :2]
    assert np.hypot(*(points - P_484[1]).T).min() < 0.3


def test_an_end_that_the_vertices_do_not_tell_from_its_curve_is_part_of_it_and_its_turn_is_sure(routes):
    """The deviation stated for the turn of such a curve was several times the turn itself."""
    rng = np.random.default_rng(193)
    truth = routes.route(rng, bends=3, hilly=True)
    points = routes.digitised(routes.drawn(truth), rng, 0.0)
    shape = shape_of(points, sweep=5.0)
    chain = shape.chain
    rises = chain.grade_out - chain.grade_in
    stated = [o.sigma_turn for o, rise in zip(shape.origins, rises, strict=True) if rise and o.sigma_turn]
    assert stated
    assert max(stated) < 0.05
    # the rise, of the vertices and of the truth
    rise = (chain.length * np.sin(0.5 * (chain.grade_in + chain.grade_out))).sum()
    assert rise == pytest.approx(points[-1, 2] - points[0, 2], abs=0.05)


def test_vertices_that_only_divide_straights_change_nothing():
    corners = np.array([[0, 0], [40, 0], [70, 25], [70, 80], [130, 80]], dtype=float)
    dense = np.concatenate(
        [
            a + np.outer(np.arange(n) / n, b - a)
            for a, b, n in zip(corners, corners[1:], (7, 1, 23, 4), strict=False)
        ]
        + [corners[-1:]]
    )
    plain, other = shape_of(corners, sweep=3.81), shape_of(dense, sweep=3.81)
    assert other.chain.length == pytest.approx(plain.chain.length, abs=1e-9)
    assert other.chain.turn == pytest.approx(plain.chain.turn, abs=1e-9)


@pytest.mark.parametrize(("step", "scatter"), [(None, 0.0), (2.0, 0.05), SPARSE], ids=str)
def test_chains_end_where_their_lines_do(routes, step, scatter):
    rng = np.random.default_rng(4)
    for k in range(4):
        hilly = k > 1
        truth = routes.route(rng, bends=3, hilly=hilly)
        points = routes.digitised(routes.drawn(truth, step), rng, scatter, heights=0.03 if scatter else 0.0)
        if not hilly:
            points[:, 2] = np.nan
        shape = shape_of(points, sweep=5.0)
        placed = place(shape.chain, shape.start, shape.heading).points
        # four standard deviations, or the tolerance of chords
        for end, vertex in ((placed[0], points[0]), (placed[-1], points[-1])):
            assert math.dist(end[:2], vertex[:2]) < max(4.0 * scatter, 0.03)
            if hilly:
                assert abs(end[2] - vertex[2]) < 0.15


@pytest.mark.parametrize("turn", [45.0, 90.0, 180.0])
@pytest.mark.parametrize("twice", [False, True], ids=["", "duplicates"])
def test_small_fillets_keep_their_turn(turn, twice):
    points = arc(0.5, turn, 0.03)
    if twice:
        points = np.repeat(points, np.where(np.arange(len(points)) % 3 == 1, 2, 1), axis=0)
    shape = shape_of(points, sweep=3.0)
    assert total_turn(shape) == pytest.approx(turn, abs=1e-6)
    bent = shape.chain.turn != 0.0
    assert shape.chain.length[bent].sum() == pytest.approx(0.5 * math.radians(turn), rel=1e-3)
    if twice:
        assert "zero-length-leg" in codes(shape)


def test_the_arcs_of_a_drawing_are_kept_exactly():
    vertices = [(0, 0), (40, 0), (46, 6), (46, 30), (50, 34), (90, 34)]
    shape = shape_of(vertices, [0, B, 0, -B, 0], drawn=True)
    quarter = math.pi / 2
    assert shape.chain.turn == pytest.approx([0, quarter, 0, -quarter, 0], abs=1e-12)
    assert shape.chain.length == pytest.approx([40, 6 * quarter, 24, 4 * quarter, 40], abs=1e-12)
    assert {o.how for o in shape.origins} == {"drawn"}
    assert shape.findings == ()


def test_sharp_corners_get_the_stated_sweep_where_legs_leave_room():
    shape = shape_of([(0, 0), (30, 0), (30, 30)], drawn=True, sweep=3.81)
    assert shape.chain.turn == pytest.approx([0, math.pi / 2, 0])
    assert shape.chain.length == pytest.approx([30 - 3.81, 3.81 * math.pi / 2, 30 - 3.81])
    assert [o.how for o in shape.origins] == ["drawn", "swept", "drawn"]
    assert codes(shape) == []


def test_a_corner_with_no_room_for_its_sweep_is_a_finding_with_its_place():
    shape = shape_of([(0, 0), (30, 0), (30, 2), (60, 2)], drawn=True, sweep=3.81)
    assert total_turn(shape) == pytest.approx(180.0)
    found = [f for f in shape.findings if f.code == "no-room-for-sweep"]
    assert len(found) == 2
    assert (found[0].where.x, found[0].where.y) == (30.0, 0.0)
    # two corners share the 2 m between them: each a radius of 1 m
    assert shape.chain.length[1] == pytest.approx(math.pi / 2, rel=1e-9)


@pytest.mark.parametrize(("degrees", "said"), [(130.0, False), (150.0, True)])
def test_a_bend_far_short_of_its_vertex_is_said(degrees, said):
    """Tangent length R tan(D/2) and external distance R (1 / cos(D/2) - 1) of a circular curve, as in route surveying."""
    turn, radius = math.radians(degrees), 2.0
    shape = shape_of(
        [(0, 0), (60, 0), (60 + 60 * math.cos(turn), 60 * math.sin(turn))], drawn=True, sweep=radius
    )
    found = [f for f in shape.findings if f.code == "hairpin"]
    assert len(found) == said
    if said:
        assert f"{2 * radius * math.tan(turn / 2) - radius * turn:.2f} m" in found[0].message
        assert f"{radius * (1 / math.cos(turn / 2) - 1):.2f} m" in found[0].message
        assert (found[0].where.x, found[0].where.y) == (60.0, 0.0)


def test_a_sharp_corner_without_a_sweep_is_refused():
    with pytest.raises(InputRefusedError) as told:
        shape_of([(0, 0), (30, 0), (30, 30)], drawn=True)
    assert told.value.code == "sharp-corner"
    assert "90" in told.value.message


def test_one_line_refused_leaves_the_others_of_its_layer():
    good = line([(0, 0), (30, 0)])
    bad = line([(0, 0), (30, 0), (0, 0)])
    nowhere = line([(5, 5), (5, 5)])
    found = recover_many([good, bad, nowhere], ReadOptions(sweep=3.0))
    assert isinstance(found[0], Shape)
    assert [getattr(f, "code", "") for f in found[1:]] == ["line-turns-back", "line-without-length"]


def sparse_corner(rng, scatter: float) -> np.ndarray:
    """Two straights of 60 m at 30 degrees with vertices every 6 m: a bend of any few metres hides between them."""
    out = np.column_stack((np.arange(-63.0, 0.0, 6.0), np.zeros(11)))
    on = np.arange(3.0, 64.0, 6.0)[:, None] * [math.cos(math.pi / 6), math.sin(math.pi / 6)]
    points = np.vstack((out, on))
    return points + rng.normal(0.0, scatter, points.shape)


@pytest.mark.parametrize("radii", [(3.0, 6.0), (4.5,)])
def test_a_standard_radius_where_vertices_do_not_tell_and_that_is_said(radii):
    shape = shape_of(sparse_corner(np.random.default_rng(5), 0.05), standard_radii=radii)
    (bend,) = np.flatnonzero(shape.chain.turn)
    radius = shape.chain.length[bend] / abs(shape.chain.turn[bend])
    assert min(abs(radius - r) for r in radii) < 1e-9
    assert "radius-assumed" in codes(shape)
    told = shape_of(sparse_corner(np.random.default_rng(5), 0.05), standard_radii=radii, sweep=5.0)
    (bend,) = np.flatnonzero(told.chain.turn)
    assert told.chain.length[bend] / abs(told.chain.turn[bend]) == pytest.approx(5.0)


def sampled_arc(rng, radius: float, degrees: float, step: float, scatter: float) -> np.ndarray:
    """The same as ``arc`` with straights of 40 m, vertices every step along it all, and scatter."""
    points = arc(radius, degrees, step, lead=40.0)
    to = points[0] + np.outer(np.arange(0.0, 1.0, step / 40.0), points[1] - points[0])
    on = points[-2] + np.outer(np.arange(step / 40.0, 1.0, step / 40.0), points[-1] - points[-2])
    points = np.vstack((to, points[1:-1], on))
    return points + rng.normal(0.0, scatter, points.shape)


def test_a_radius_that_vertices_tell_is_not_assumed():
    shape = shape_of(sampled_arc(np.random.default_rng(6), 30.0, 90.0, 2.0, 0.02), sweep=5.0)
    (bend,) = np.flatnonzero(shape.chain.turn)
    radius = shape.chain.length[bend] / abs(shape.chain.turn[bend])
    assert "radius-assumed" not in codes(shape)
    sigma = shape.origins[bend].sigma_radius
    assert sigma is not None
    assert 0.0 < sigma < 1.0
    assert abs(radius - 30.0) < 4.0 * sigma


def test_stated_uncertainty_covers_turn_and_radius():
    """Of 60 bends digitised anew each time, those within two stated deviations: 95 % but for luck."""
    rng = np.random.default_rng(8)
    lines = [line(sampled_arc(rng, 20.0, 60.0, 1.0, 0.02)) for _ in range(60)]
    found = []
    for shape in recover_many(lines, ReadOptions(sweep=5.0)):
        assert isinstance(shape, Shape)
        (bend,) = np.flatnonzero(shape.chain.turn)
        origin, turn = shape.origins[bend], abs(shape.chain.turn[bend])
        radius = shape.chain.length[bend] / turn
        found.append(((turn - math.radians(60.0)) / origin.sigma_turn, (radius - 20.0) / origin.sigma_radius))
    inside = (np.abs(found) < 2.0).mean(axis=0)
    # fewer than 52 of 60 have a chance of 1 % where each is inside 95 times in 100
    assert (inside >= 52 / 60).all()
    assert (np.std(found, axis=0) > 0.6).all()


def test_what_was_done_is_on_record():
    shape = shape_of(sampled_arc(np.random.default_rng(7), 20.0, 60.0, 1.0, 0.02), sweep=5.0)
    (bend,) = np.flatnonzero(shape.chain.turn)
    assert shape.origins[bend].how == "fitted"
    assert shape.origins[bend].sigma_turn is not None
    assert "line-fitted" in codes(shape)
    assert 0.015 < shape.scatter < 0.025
    assert 0.015 < shape.residual < 0.025


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("legs", [2, 3])
@pytest.mark.parametrize("kink", [0.0, 0.002])
def test_a_drawn_arc_beside_one_run_of_legs_is_kept_whichever_end_it_is_at(legs, kink, turned):
    """A quarter circle of 5 m, then 60 m in legs that go straight on: all of it is the duct, from end to end."""
    points = [(0.0, 0.0), (5.0, 5.0)] + [
        (5.0 + kink * (i % 2), 5.0 + 60.0 * i / legs) for i in range(1, legs + 1)
    ]
    bulge = [B] + [0.0] * legs
    if turned:
        points, bulge = points[::-1], [-b for b in bulge[::-1]]
    shape = shape_of(points, bulge, drawn=True, sweep=2.0)
    assert shape.chain.total_length == pytest.approx(5.0 * math.pi / 2 + 60.0, abs=0.01)
    assert total_turn(shape) == pytest.approx(90.0, abs=0.1)
    assert shape.start[:2] == pytest.approx(points[0], abs=0.01)
    assert shape.end[:2] == pytest.approx(points[-1], abs=0.01)
