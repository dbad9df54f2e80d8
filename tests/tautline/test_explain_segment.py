"""The hand calculation of one segment against worked values and a general-purpose integrator."""

import math
import re

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tautline.explain_bundle import lies
from tautline.explain_piece import Piece, number
from tautline.explain_segment import work

RAD = math.radians


def vertical(radius, one, other):
    return Piece(radius * abs(RAD(other) - RAD(one)), RAD(one), RAD(other), 0.0, 20.0, 0.35, 1.0)


# Direct integration (DOP853, relative tolerance 1e-12, split where the contact side flips), w 20 N/m, c 0.35.
@pytest.mark.parametrize(
    ("piece", "exits"),
    [
        (vertical(3, 0, 45), (28.922236, 70.137194, 1318.505298)),
        (vertical(3, 45, 0), (38.072798, 103.892049, 1354.457817)),
        (vertical(3, 0, -45), (-2.120280, 63.698971, 1314.264738)),
        (vertical(3, -45, 0), (-1.610684, 36.564041, 1278.312220)),
        (
            Piece(1.5 * math.pi / math.cos(RAD(6)), RAD(6), RAD(6), math.pi / 2, 20.0, 0.35, 1.0),
            (45.680629, 115.139561, 1741.882299),
        ),
        (Piece(6.0, 0.0, RAD(10), RAD(30), 20.0, 0.35, 1.0), (51.095245, 100.170939, 1212.883113)),
    ],
)
def test_against_direct_integration(piece, exits):
    for entry, out in zip((0.0, 50.0, 1000.0), exits, strict=True):
        assert work(piece, entry).tension == pytest.approx(out, rel=2e-8, abs=1e-6)


# Worked by hand in closed forms and by direct integration: N and m, w 20 N/m, c 0.35, R 60.
@pytest.mark.parametrize(
    ("entry", "exits"),
    [
        (1000.0, (1167.658837, 1231.062832, 1315.666559, 1907.527349, 2538.311324)),
        (600.0, (729.275234, 792.679229, 948.287022, 1540.147811, 2110.316208)),
    ],
)
def test_a_sag_in_which_the_cable_changes_sides(entry, exits):
    straights = (Piece(40, RAD(g), RAD(g), 0.0, 20.0, 0.35, 1.0) for g in (-15, 25))
    down, up = straights
    tension = entry
    for piece, out in zip(
        (vertical(60, 0, -15), down, vertical(60, -15, 25), up, vertical(60, 25, 0)), exits, strict=True
    ):
        worked = work(piece, tension)
        tension = worked.tension
        assert tension == pytest.approx(out, abs=1e-6)
    # at 1000 N it changes at -4.660347 and at 4.573564 degrees
    changes = [line for line in work(vertical(60, -15, 25), 1231.062832).lines if "changes over" in line]
    assert len(changes) == 2


def test_random_segments_against_an_integrator():
    rng = np.random.default_rng(7)
    for _ in range(60):
        one, other = rng.uniform(-0.4, 0.4, 2)
        shape = rng.integers(4)
        turn = 0.0 if shape < 2 else float(rng.uniform(-1.5, 1.5))
        other = one if shape in (0, 2) else other
        piece = Piece(float(rng.uniform(1, 30)), float(one), float(other), turn, 40.0, 0.25, 1.2)
        entry = float(rng.uniform(0, 5000))

        def slope(s, t, p=piece):
            g = p.grade_in + (p.grade_out - p.grade_in) * s / p.length
            up = t * (p.grade_out - p.grade_in) / p.length - p.weight * np.cos(g)
            return p.weight * np.sin(g) + p.c * np.hypot(up, t * p.turn / p.length * np.cos(g))

        exact = solve_ivp(slope, (0, piece.length), [entry], method="DOP853", rtol=1e-11, atol=1e-9)
        assert work(piece, entry).tension == pytest.approx(exact.y[0, -1], rel=1e-7, abs=1e-5)


def test_the_numbers_put_in_give_what_comes_out():
    """A pocket calculator needs no more than what stands on the page."""
    worked = work(Piece(3.0 * math.pi / 2, 0.0, 0.0, math.pi / 2, 5.0, 0.5, 1.0), 100.0)
    put_in = worked.lines[-1].replace("=", "").replace("^", "**")
    put_in = put_in.replace(" cosh", "*math.cosh").replace(" sinh", "*math.sinh").replace("sqrt", "math.sqrt")
    assert eval(put_in) == pytest.approx(worked.tension, rel=1e-6)
    # [rifenburg1953] evaluated
    assert worked.tension == pytest.approx(220.299824, abs=1e-6)


@pytest.mark.parametrize(("entry", "out"), [(0.0, 45.680629), (50.0, 115.139561), (1000.0, 1741.882299)])
def test_a_bend_on_a_steady_grade_takes_few_steps(entry, out):
    """Direct integration (DOP853) of 90 degrees of R 3 up 6 degrees; the figures of every step give its end."""
    lines = work(
        Piece(1.5 * math.pi / math.cos(RAD(6)), RAD(6), RAD(6), math.pi / 2, 20.0, 0.35, 1.0), entry
    ).lines
    steps = [
        [float(x) for x in re.findall(r"-?\d[\d.e-]*", line)] for line in lines if line.startswith("   k = ")
    ]
    assert 1 <= len(steps) <= 16
    (across,) = (float(x) for line in lines for x in re.findall(r" W = ([\d.]+)", line))
    u, at = math.asinh(entry / across), 0.0
    for k1, k2, k3, k4, a, found in steps:
        assert k1 == pytest.approx(0.35 + math.tan(RAD(6)) / math.cosh(u), rel=1e-6)
        u, at = u + (a - at) / 6 * (k1 + 2 * k2 + 2 * k3 + k4), a
        assert found == pytest.approx(u, rel=2e-6)
    assert across * math.sinh(u) == pytest.approx(out, rel=3e-6)


@pytest.mark.parametrize(
    ("piece", "entry"),
    [(vertical(3, 0, 45), 500.0), (vertical(3, 45, 0), 500.0), (vertical(60, -15, 25), 1231.062832)],
)
def test_sags_and_crests_by_the_rule_on_the_page(piece, entry):
    """k, P, Q and A as the rule gives them from c, w R and the tension before; each part's tension from those."""
    sign = -1.0 if piece.grade_out > piece.grade_in else 1.0
    wr = 20.0 * piece.length / abs(piece.grade_out - piece.grade_in)
    tension, grade = entry, piece.grade_in
    figures = r"k = (\S+), P = (\S+), Q = (\S+), A = (\S+): T\((\S+)\) = (\S+)"
    parts = [m for line in work(piece, entry).lines for m in re.findall(figures, line)]
    for k, p, q, a, end, out in (map(float, part) for part in parts):
        assert p == pytest.approx(sign * wr * (1 - k * k) / (1 + k * k), rel=1e-6)
        assert q == pytest.approx(sign * 2 * k * wr / (1 + k * k), rel=1e-6)
        if grade == piece.grade_in:
            inside = tension > -sign * wr * math.cos(grade)
            assert k == pytest.approx(-sign * 0.35 if inside else sign * 0.35)
        constant = (tension - p * math.cos(grade) - q * math.sin(grade)) * math.exp(-k * grade)
        assert a == pytest.approx(constant, rel=1e-5)
        found = a * math.exp(k * end) + p * math.cos(end) + q * math.sin(end)
        assert out == pytest.approx(found, rel=1e-6)
        tension, grade = out, end
    assert grade == pytest.approx(piece.grade_out, rel=1e-6)


@pytest.mark.parametrize(
    ("value", "text"),
    [(2e-13, "0"), (0.1, "0.1"), (1e-9, "1e-09"), (123456789.0, "1.234568e+08"), (40.0, "40")],
)
def test_numbers_as_a_person_writes_them(value, text):
    assert number(value) == text


# Weight correction and sidewall factor of three equal cables in D 127.4 mm: IEEE Std 1185 forms, from memory, evaluated.
@pytest.mark.parametrize(
    ("diameter", "cradled", "triangular"),
    [
        (0.041, (1.30025, 0.633581), (1.13606, 0.568030)),
        (0.045, (1.39766, 0.730991), (1.19373, 0.596866)),
        (0.050, (1.55641, 0.889746), (1.31003, 0.655015)),
    ],
)
def test_arrangements_against_the_published_forms(diameter, cradled, triangular):
    found = {lie.name: (lie.correction, lie.factor) for lie in lies(3, diameter, 0.1274)}
    assert found["cradled"] == pytest.approx(cradled, rel=1e-5)
    assert found["triangular"] == pytest.approx(triangular, rel=1e-5)


@pytest.mark.parametrize(("diameter", "values"), [(0.045, (1.59649, 0.596486)), (0.050, (1.83462, 0.834619))])
def test_four_cables_against_the_published_forms(diameter, values):
    lie = next(lie for lie in lies(4, diameter, 0.1274) if lie.name == "diamond")
    assert (lie.correction, lie.factor) == pytest.approx(values, rel=1e-5)
