"""How lubricant is shared out."""

from __future__ import annotations

import math

import pytest

from mechanics.errors import DomainError
from mechanics.lubricant import Run, bag_for, base_quantity, grade_for, plan_lubricant


def test_each_run_takes_its_own_where_it_begins() -> None:
    plan = plan_lubricant([Run((100.0, 50.0), (0.1, 0.15)), Run((200.0,), (0.1,))], [4], factor=1.5)
    assert plan.at[0].vault is None
    assert plan.at[1].vault == 4
    # common practice: 0.733425 L by length and inside diameter, both in metres
    assert plan.at[0].litres == pytest.approx(0.733425 * 1.5 * (100 * 0.1 + 50 * 0.15))
    assert plan.at[1].litres == pytest.approx(0.733425 * 1.5 * 20.0)
    assert plan.litres == pytest.approx(plan.at[0].litres + plan.at[1].litres)
    assert any("no published source" in note for note in plan.notes)


@pytest.mark.parametrize(
    ("inches", "bag"),
    [
        (1.9, None),
        (2.047, "1 US quart"),
        (2.9, "1 US quart"),
        (3.2, "half a US gallon"),
        (8.0, "half a US gallon"),
    ],
)
def test_bags_by_duct(inches: float, bag: str | None) -> None:
    # common practice: a quart, 1.5 in across, for 2 to 3 in; half a gallon, 3 in across, from 3 in
    found = bag_for(inches * 0.0254)
    assert (found.key[0] if found else None) == bag


def test_no_bag_wider_than_the_narrowest_duct() -> None:
    wide = plan_lubricant([Run((300.0,), (0.1,))], []).at[0].how
    narrow = plan_lubricant([Run((300.0, 5.0), (0.1, 0.03))], []).at[0].how
    # half a US gallon is 1.892706 L (NIST SP 811)
    assert "bags of 1.9 L (half a US gallon)" in wide
    assert "bag" not in narrow


def test_bags_hold_at_most_a_third_and_go_in_at_the_feed_alone() -> None:
    plan = plan_lubricant([Run((400.0,), (0.1,)), Run((400.0,), (0.1,))], [0])
    count = int(plan.at[0].how.split(" bags")[0].split()[-1])
    assert count * 1.892706 <= plan.at[0].litres / 3 < (count + 1) * 1.892706
    assert "bag" not in plan.at[1].how


def test_gel_up_a_riser_and_pourable_down_a_stub() -> None:
    def how(first: float, rise: float) -> str:
        return plan_lubricant([Run((10.0,), (0.1,), math.radians(first), math.radians(rise))], []).at[0].how

    assert how(0, 80).startswith("gel (it stays on the cable up the riser)")
    assert how(-80, 0).startswith("pourable")
    assert how(-80, 80).startswith("gel")
    assert how(0, 0).startswith("gel, by hand or pump")


def test_grades() -> None:
    assert grade_for(None)[1].startswith("temperature not stated")
    assert plan_lubricant([Run((10.0,), (0.1,))], [], temperature=-15.0).grade == "winter"
    with pytest.raises(DomainError, match=r"at least -28\.9 degC, the coldest .*, got -30"):
        plan_lubricant([Run((10.0,), (0.1,))], [], temperature=-30.0)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0])
def test_values_out_of_range(bad: float) -> None:
    with pytest.raises(DomainError, match="length must be"):
        base_quantity(bad, 0.1)
    with pytest.raises(DomainError, match="inside_diameter must be"):
        base_quantity(1.0, bad)
    with pytest.raises(DomainError, match="factor must be"):
        base_quantity(1.0, 0.1, bad)
    with pytest.raises(DomainError, match="inside_diameter must be"):
        bag_for(bad)


def test_runs_and_vaults_must_match() -> None:
    with pytest.raises(DomainError, match="one more than vaults"):
        plan_lubricant([Run((10.0,), (0.1,))], [1])
    with pytest.raises(DomainError, match="temperature must be"):
        grade_for(math.nan)


def test_nothing_is_needed_where_there_is_no_duct() -> None:
    assert plan_lubricant([Run((), ())], []).litres == 0.0
