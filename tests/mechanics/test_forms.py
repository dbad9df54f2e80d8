"""The handbook's forms: against the solver, where they hold, and refused where they do not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from mechanics.balance import tension_along
from mechanics.chain import Chain
from mechanics.errors import DomainError
from mechanics.forms import flat_bend, longest_straight, straight, weightless_bend
from mechanics.forms_vertical import crest, crest_down, crest_up, sag, sag_down, sag_up

W, C, R = 20.0, 0.35, 12.0
ANGLES = np.radians([5.0, 20.0, 45.0, 70.0, 90.0])


def solved(length: float, grade_in: float, grade_out: float, turn: float, entry: float) -> float:
    return float(tension_along(Chain([length], [grade_in], [grade_out], [turn]), W, C, entry)[0])


@pytest.mark.parametrize("entry", [0.0, 100.0, 5000.0])
@pytest.mark.parametrize("angle", ANGLES)
def test_straights_and_flat_bends(entry: float, angle: float) -> None:
    assert straight(entry, W, C, 80.0, angle) == pytest.approx(solved(80.0, angle, angle, 0.0, entry))
    assert straight(entry, W, C, 80.0, -angle) == pytest.approx(solved(80.0, -angle, -angle, 0.0, entry))
    assert flat_bend(entry, W, C, R, -angle) == pytest.approx(solved(R * angle, 0, 0, angle, entry))


@pytest.mark.parametrize("entry", [600.0, 1000.0, 20000.0])
@pytest.mark.parametrize("angle", ANGLES)
def test_four_vertical_bends(entry: float, angle: float) -> None:
    for form, ends in (
        (sag_up, (0.0, angle)),
        (sag_down, (-angle, 0.0)),
        (crest_up, (angle, 0.0)),
        (crest_down, (0.0, -angle)),
    ):
        expected = solved(R * angle, *ends, 0.0, entry)
        assert form(entry, W, C, R, angle) == pytest.approx(expected, rel=1e-12)
        general = (sag if ends[1] > ends[0] else crest)(entry, W, C, R, *ends)
        assert general == pytest.approx(expected, rel=1e-12)


def test_the_forms_as_the_handbook_prints_them() -> None:
    # Rifenburg (1953), theta from the horizontal, f for c
    t, th, f = 1000.0, 0.7, C
    e, k = math.exp(f * th), W * R / (1 + f * f)
    inner = 2 * f * e * math.sin(th) + (1 - f * f) * (1 - e * math.cos(th))
    outer = 2 * f * math.sin(th) - (1 - f * f) * (e - math.cos(th))
    assert sag_up(t, W, f, R, th) == pytest.approx(t * e - k * outer)
    assert sag_down(t, W, f, R, th) == pytest.approx(t * e - k * inner)
    assert crest_up(t, W, f, R, th) == pytest.approx(t * e + k * inner)
    assert crest_down(t, W, f, R, th) == pytest.approx(t * e + k * outer)


def test_a_slack_cable_in_a_sag_lies_on_the_floor() -> None:
    expected = solved(R * 0.3, -0.4, -0.1, 0.0, 50.0)
    assert sag(50.0, W, C, R, -0.4, -0.1, crown=False) == pytest.approx(expected)
    with pytest.raises(DomainError, match=r"^entry\[0\] must keep the cable on the crown"):
        sag(50.0, W, C, R, -0.4, -0.1)
    with pytest.raises(DomainError, match="on the floor"):
        sag(5000.0, W, C, R, -0.4, -0.1, crown=False)


def test_refused_where_the_cable_changes_sides() -> None:
    with pytest.raises(DomainError, match="crown"):
        sag_up(0.0, W, C, R, 0.8)
    with pytest.raises(DomainError, match=r"entry\[1\]"):
        sag_up([5000.0, 10.0], W, C, R, 0.8)
    # on the crown at both ends, but not where the duct is level
    entry = 20.0 * 60 * 0.985
    assert entry > 20.0 * 60 * math.cos(0.3)
    with pytest.raises(DomainError, match="least steep"):
        sag(entry, 20.0, 0.05, 60.0, -0.3, 0.3)
    with pytest.raises(DomainError, match="floor"):  # pushed so hard that it arches to the crown
        crest_up(-5000.0, W, C, R, 0.8)


def test_arrays_broadcast() -> None:
    out = flat_bend(np.array([[100.0], [200.0]]), W, C, R, ANGLES)
    assert out.shape == (2, 5)
    assert out[1, 2] == flat_bend(200.0, W, C, R, ANGLES[2])


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0])
def test_bad_numbers(bad: float) -> None:
    for call, name in (
        (lambda: straight(1.0, bad, C, 5.0), "weight"),
        (lambda: straight(1.0, W, bad, 5.0), "friction"),
        (lambda: straight(1.0, W, C, bad), "length"),
        (lambda: longest_straight(bad, W, C), "limit"),
        (lambda: weightless_bend(bad, C, 1.0), "entry"),
        (lambda: flat_bend(1.0, W, C, bad, 1.0), "radius"),
        (lambda: sag_up(1.0, W, C, R, bad), "angle"),
        (lambda: crest(1.0, W, C, bad, 0.1, 0.0), "radius"),
    ):
        with pytest.raises(DomainError, match=f"^{name} must be"):
            call()


def test_zero_and_order() -> None:
    with pytest.raises(DomainError, match="radius must be above 0"):
        flat_bend(1.0, W, C, 0.0, 1.0)
    with pytest.raises(DomainError, match="friction must be above 0"):
        longest_straight(1.0, W, 0.0)
    with pytest.raises(DomainError, match="at least grade_in in a sag"):
        sag(1.0, W, C, R, 0.2, 0.1)
    with pytest.raises(DomainError, match="at most grade_in in a crest"):
        crest(1.0, W, C, R, 0.1, 0.2)


def test_shapes_that_do_not_go_together() -> None:
    three = np.ones(3)
    for call in (
        lambda: straight([1.0, 2.0], three, C, 5.0),
        lambda: longest_straight([1.0, 2.0], three, C),
        lambda: weightless_bend([1.0, 2.0], C, three),
        lambda: flat_bend([1.0, 2.0], W, C, three, 1.0),
        lambda: sag_up([1.0, 2.0], W, C, three, 0.1),
        lambda: crest(1.0, W, C, R, three, [0.0, 0.0]),
    ):
        with pytest.raises(DomainError, match=r"shapes that go together, got .*\(3,\)"):
            call()
