"""Every check of a pull: its value, its limit, whether it binds, what an override does to it."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mechanics.cable import Bundle, Cable
from mechanics.chain import Chain
from mechanics.errors import DomainError
from mechanics.limits import OVERRIDABLE
from mechanics.pull import Check, Override, PullResult, Rules, evaluate_pull, static_failures, tension_limits
from mechanics.tables import Tables
from mechanics.track import Bore, Friction, Track
from mechanics.units import factor, kinds

LBF = 4.4482216152605
CABLE = Cable(diameter=0.041, weight=25.5, conductor_area=2.5e-4, jacket="PVC")
ONE, THREE = Bundle((CABLE,)), Bundle((CABLE,) * 3)
INSIDE = 0.1274


def way(radius: float = 4.0, inside: float = INSIDE, grade: float = 0.0, length: float = 200.0) -> Track:
    """A straight, a flat bend of 90 degrees and a slope."""
    chain = Chain(
        [length, radius * math.pi / 2, 50.0],
        [0, 0, math.radians(grade)],
        [0, 0, math.radians(grade)],
        [0, math.pi / 2, 0],
    )
    return Track(chain, np.zeros(3, dtype=np.int64), (Bore(inside, Friction(0.2)),))


def check(result: PullResult, name: str) -> Check:
    (found,) = (c for c in result.checks if c.name == name)
    return found


def names(result: PullResult) -> list[str]:
    return [c.name for c in result.checks]


def evaluated(bundle: Bundle = ONE, track: Track | None = None, **rules: Any) -> PullResult:
    return evaluate_pull(track or way(), bundle, Rules(**rules))


def test_every_check_says_all_of_it() -> None:
    result = evaluated(THREE, way(grade=10), reel=1000.0, temperature=10.0, puller=50_000.0)
    assert len(set(names(result))) == len(result.checks)
    for c in result.checks:
        assert c.source
        assert c.unit in {"N", "N/m", "m", "rad", "1", "degC"}
        assert c.value is not None
        assert c.limit is not None
        assert not c.overridden
        assert c.verdict == "pass" or (c.verdict == "attention" and not c.binding)
    assert set(names(result)) <= {*OVERRIDABLE, "clearance_advice", "arrangement"}
    assert set(OVERRIDABLE.values()) - {""} <= set(kinds())


def test_tension_against_conductors_and_eye() -> None:
    result = evaluated()
    conductor = check(result, "conductor_tension")
    # 0.008 lbf a circular mil, as printed in handbook tables
    assert conductor.limit == pytest.approx(0.008 * LBF * 2.5e-4 / factor("cmil", "area"))
    assert conductor.value == result.exit_tension == result.max_tension
    assert conductor.utilisation == pytest.approx(conductor.value / conductor.limit)
    assert conductor.where == pytest.approx(result.chain.total_length)
    assert check(result, "eye_tension").limit == pytest.approx(10_000 * LBF)
    assert "grip_tension" not in names(result)


def test_a_grip_and_lead_under_it() -> None:
    lead = Bundle((replace(CABLE, construction="lead-covered", sheath_area=3e-4),))
    result = evaluated(lead, attachment="grip")
    assert check(result, "grip_tension").limit == pytest.approx(1000 * LBF)
    assert check(result, "sheath_tension").limit == pytest.approx(300 * 10.342)  # TES-P-104.05, 4.2.2
    assert "sheath_tension" not in names(evaluated(lead))
    # lead of which nothing is known is said, not passed over
    unknown = Bundle((replace(CABLE, construction="lead-covered"),))
    noted = check(evaluated(unknown, attachment="grip"), "sheath_tension")
    assert (noted.verdict, noted.limit) == ("note", None)
    assert "not stated" in noted.source
    stated = evaluated(unknown, attachment="grip", overrides={"sheath_tension": Override(3000.0)})
    assert check(stated, "sheath_tension").limit == 3000.0


def test_the_share_of_more_than_three_conductors_is_said() -> None:
    assert (
        "four fifths" in check(evaluated(Bundle((CABLE,) * 4), way(inside=0.115)), "conductor_tension").source
    )


def test_one_limit_in_place_of_conductor_eye_and_grip() -> None:
    result = evaluated(overrides={"max_tension": Override(1500.0)})
    assert not {"conductor_tension", "eye_tension"} & set(names(result))
    stated = check(result, "max_tension")
    assert (stated.limit, stated.overridden, stated.binding) == (1500.0, True, True)
    assert stated.verdict == "fail" == result.verdict
    assert evaluated(overrides={"max_tension": Override(1500.0, binding=False)}).verdict == "pass"


def test_no_conductor_area_no_conductor_limit() -> None:
    fibre = Bundle((Cable(diameter=0.012, weight=1.5, role="fibre", construction="fibre"),))
    noted = check(evaluated(fibre), "conductor_tension")
    assert (noted.limit, noted.utilisation, noted.verdict, noted.binding) == (None, None, "note", False)
    assert "not stated" in noted.source


def test_sidewall_from_table_data_sheet_or_override() -> None:
    table = check(evaluated(), "max_sidewall")
    assert table.limit == pytest.approx(500 * LBF / 0.3048)
    # tension over the radius at the inside of the bend, weight left out
    result = evaluated(max_sidewall=300.0)
    pressed = check(result, "max_sidewall")
    assert pressed.value == pytest.approx(result.tension[2] / (4.0 - INSIDE / 2))
    assert (pressed.limit, pressed.overridden, pressed.verdict) == (300.0, False, "fail")
    assert pressed.where == pytest.approx(200 + 2 * math.pi)
    over = check(evaluated(max_sidewall=300.0, overrides={"max_sidewall": Override(400.0)}), "max_sidewall")
    assert (over.limit, over.overridden) == (400.0, True)


def test_what_lies_beside_is_pressed_and_chilled_too() -> None:
    fibre = Cable(diameter=0.015, weight=2.0, role="fibre", construction="fibre", jacket="low-smoke")
    bare = Cable(diameter=0.012, weight=5.0, role="ground", construction="bare")
    result = evaluated(Bundle((*THREE.cables, fibre, bare)), temperature=-3.0)
    assert check(result, "max_sidewall").limit == pytest.approx(300 * LBF / 0.3048)  # of fibre, not 500
    cold = check(result, "temperature")
    assert (cold.limit, cold.verdict) == (0.0, "fail")  # of a low-smoke jacket: common practice
    result = evaluated(Bundle((*THREE.cables, bare)), temperature=-3.0)
    assert check(result, "max_sidewall").limit == pytest.approx(500 * LBF / 0.3048)
    assert check(result, "temperature").limit == -5.0  # a bare conductor has no jacket


def test_attention_from_four_fifths_of_a_limit() -> None:
    tension = evaluated().max_tension
    for share, verdict in ((0.79, "pass"), (0.81, "attention"), (0.999, "attention"), (1.001, "fail")):
        found = check(evaluated(overrides={"max_tension": Override(tension / share)}), "max_tension")
        assert found.verdict == verdict


def test_bending_radius_at_the_inside_of_the_bend() -> None:
    # 12 x OD, shielded (NEC 300.34, from memory): 0.492 m against centreline radius less half the duct
    for radius, verdict in ((0.492 + INSIDE / 2 + 0.001, "attention"), (0.492 + INSIDE / 2 - 0.001, "fail")):
        result = evaluated(track=way(radius))
        found = check(result, "bending_radius")
        assert found.limit == pytest.approx(0.492)
        assert found.value == pytest.approx(radius - INSIDE / 2)
        assert found.utilisation == pytest.approx(0.492 / found.value)
        assert found.verdict == verdict
        assert [c.name for c in static_failures(way(radius), ONE, Rules())] == (
            ["bending_radius", "bending_radius_pulling"] if verdict == "fail" else []
        )


def test_a_stated_bending_radius_rules_both_unless_both_are_stated() -> None:
    both = evaluated(overrides={"bending_radius": Override(1.0)})
    assert check(both, "bending_radius").limit == check(both, "bending_radius_pulling").limit == 1.0
    each = evaluated(overrides={"bending_radius": Override(1.0), "bending_radius_pulling": Override(2.0)})
    assert check(each, "bending_radius_pulling").limit == 2.0


def test_guides_count_while_pulling_and_not_in_place() -> None:
    chain = Chain([100.0, 0.4 * 0.5], [0, 0], [0, 0], [0, 0.5])
    guide = Bore(None, Friction(0.12), guide=True)
    result = evaluate_pull(Track(chain, np.array([0, 1]), (way().bores[0], guide)), ONE, Rules())
    assert "bending_radius" not in names(result)
    pulling = check(result, "bending_radius_pulling")
    assert pulling.value == pytest.approx(0.4)
    assert pulling.verdict == "fail"
    assert check(result, "bend_total").value == 0.0


def test_bends_in_all_are_advice_unless_bound() -> None:
    chain = Chain([2 * math.pi] * 5, [0] * 5, [0] * 5, [math.pi / 2, -math.pi / 2] * 2 + [math.pi / 2])
    path = Track(chain, np.zeros(5, dtype=np.int64), way().bores)
    advice = check(evaluated(track=path), "bend_total")
    assert advice.value == pytest.approx(2.5 * math.pi)
    assert advice.limit == pytest.approx(2 * math.pi)  # 360 degrees, NEC 352.26 and its kin, from memory
    assert (advice.binding, advice.verdict) == (False, "attention")
    bound = evaluated(track=path, overrides={"bend_total": Override(binding=True)})
    assert check(bound, "bend_total").verdict == "fail" == bound.verdict
    assert [c.name for c in static_failures(path, ONE, bound.rules)] == ["bend_total"]


def test_reel_holds_route_and_slack_at_both_ends() -> None:
    length = way().chain.total_length
    for slack, verdict in ((0.0, "pass"), (5.0, "pass"), (5.0 + 2e-7, "pass"), (5.1, "fail")):
        found = check(evaluated(reel=length + 10.0, slack=slack), "reel_length")
        assert found.verdict == verdict
    assert "reel_length" not in names(evaluated())


def test_a_full_reel_is_no_strain_on_the_cable() -> None:
    # how much of a reel is used is a matter of supply; only that the cable fits it binds
    length, free = way().chain.total_length, evaluated()
    for reel, verdict in ((length, "pass"), (length / 2, "fail")):
        result = evaluated(reel=reel)
        assert result.verdict == verdict
        assert result.utilisation == free.utilisation < 0.9


@pytest.mark.parametrize(
    ("gap", "least", "advice"),
    [(0.02, "pass", False), (0.010, "pass", True), (0.0064, "attention", True), (0.006, "fail", False)],
)
def test_clearance(gap: float, least: str, advice: bool) -> None:
    # binding below 0.25 in (handbooks; common practice), advice below 0.5 in
    result = evaluated(track=way(inside=0.041 + gap))
    found = check(result, "clearance")
    assert found.value == pytest.approx(gap)
    assert found.limit == pytest.approx(0.00635)
    assert found.verdict == least
    assert ("clearance_advice" in names(result)) == advice
    if advice:
        assert check(result, "clearance_advice").verdict == "attention"


def test_what_does_not_fit_fails_whatever_is_overridden() -> None:
    loose = Rules(overrides={name: Override(binding=False) for name in OVERRIDABLE})
    result = evaluate_pull(way(inside=0.08), THREE, loose)
    assert result.verdict == "fail"
    assert "does not fit: 3 cables of 41.0 mm" in check(result, "arrangement").source
    assert [c.name for c in static_failures(way(inside=0.08), THREE, loose)] == ["arrangement"]
    assert np.isfinite(result.tension).all()


def test_the_tightest_of_several_ducts_counts() -> None:
    chain = way().chain
    path = Track(chain, np.array([0, 1, 0]), (Bore(INSIDE, Friction(0.2)), Bore(0.0998, Friction(0.2))))
    result = evaluate_pull(path, THREE, Rules())
    assert check(result, "clearance").where == 200.0
    assert check(result, "fill").value == pytest.approx(3 * (0.041 / 0.0998) ** 2)
    assert check(result, "fill").verdict == "attention"  # 51 % against 40 %: a premises-wiring rule, advice
    assert result.verdict == "pass"


def test_jam_only_for_three_single_cables_in_bends() -> None:
    inside = 3.0 * 0.041 / 1.05
    result = evaluated(THREE, way(inside=inside))
    jam = check(result, "jam_ratio")
    assert jam.value == pytest.approx(3.0)
    assert (jam.limit, jam.upper, jam.utilisation) == (2.8, 3.2, None)
    assert (jam.verdict, jam.binding) == ("attention", False)
    assert (
        evaluated(THREE, way(inside=inside), overrides={"jam_ratio": Override(binding=True)}).verdict
        == "fail"
    )
    straight = Track(Chain([9.0], [0], [0], [0]), np.zeros(1, dtype=np.int64), (Bore(inside, Friction(0.2)),))
    assert "jam_ratio" not in names(evaluate_pull(straight, THREE, Rules()))
    assert "jam_ratio" not in names(evaluated(Bundle((CABLE,) * 3, triplexed=True), way(inside=inside)))
    assert "jam_ratio" not in names(evaluated(ONE))
    for ratio, verdict in ((2.79, "pass"), (2.8, "attention"), (3.2, "attention"), (3.21, "pass")):
        found = check(
            evaluated(THREE, way(inside=(ratio + (1e-9 if ratio == 2.8 else -1e-9)) * 0.041 / 1.05)),
            "jam_ratio",
        )
        assert found.verdict == verdict


def test_a_check_that_the_job_lets_bind_or_not_says_so() -> None:
    for name, bound, said in (("max_sidewall", False, "advice only"), ("fill", True, "binding")):
        usual, stated = evaluated(), evaluated(overrides={name: Override(binding=bound)})
        assert check(stated, name).binding is bound
        assert check(stated, name).source == f"{check(usual, name).source}; {said}, as stated in the job"
        same = evaluated(overrides={name: Override(binding=not bound)})
        assert check(same, name).source == check(usual, name).source
    warm = evaluated(temperature=-30.0, overrides={"temperature": Override(binding=False)})
    assert check(warm, "temperature").source.endswith("; advice only, as stated in the job")


def test_cold_cable_and_lubricant() -> None:
    assert "temperature" not in names(evaluated())
    cool = evaluated(temperature=-10.0)
    assert check(cool, "temperature").limit == -5.0  # of a PVC jacket: common practice
    assert check(cool, "temperature").verdict == "fail"
    assert check(cool, "temperature").utilisation is None
    assert cool.lubricant.grade == "winter"
    frozen = evaluated(temperature=-30.0, overrides={"temperature": Override(-40.0)})
    assert check(frozen, "temperature").verdict == "pass"
    assert check(frozen, "lubricant_temperature").limit == pytest.approx((-20 - 32) / 1.8)
    assert frozen.verdict == "fail"
    assert frozen.lubricant.litres == 0.0
    assert any("No lubricant planned" in note for note in frozen.notes)


def test_creep_where_the_slope_is_steeper_than_friction() -> None:
    gentle, steep = (check(evaluated(track=way(grade=g)), "creep") for g in (10.0, 12.0))
    assert gentle.value == pytest.approx(math.tan(math.radians(10)))
    assert gentle.limit == 0.2
    assert (gentle.verdict, steep.verdict, steep.binding) == ("pass", "attention", False)
    assert steep.where == pytest.approx(200 + 2 * math.pi)
    assert "creep" not in names(evaluated())


def test_restart_after_a_stop_is_advice_on_what_lies_before_it() -> None:
    chain = way(length=100.0).chain
    path = Track(chain, np.zeros(3, dtype=np.int64), way().bores, ((2, 2),), ("MH-2",))
    result = evaluate_pull(path, ONE, Rules(), relube=(0,))
    again = check(result, "restart_tension")
    assert again.value == pytest.approx(1.25 * result.tension[2])
    assert again.limit == check(result, "conductor_tension").limit
    assert not again.binding
    pressed = check(result, "restart_sidewall")
    assert pressed.value == pytest.approx(1.25 * result.sidewall[1])
    tight = Rules(overrides={"max_tension": Override(1.1 * result.exit_tension)}, restart_factor=2.0)
    assert check(evaluate_pull(path, ONE, tight, (0,)), "restart_tension").verdict == "attention"
    bound = replace(tight, overrides={**tight.overrides, "restart_tension": Override(binding=True)})
    assert evaluate_pull(path, ONE, bound, (0,)).verdict == "fail"
    assert "restart_tension" not in names(evaluate_pull(path, ONE, tight))


def test_the_winch_is_judged_by_its_rope() -> None:
    # dry rope, 0.30, in the bend of 90 degrees ahead of the head: 200 m x 25.5 N/m x 0.2 x e^(0.3 pi/2)
    result = evaluated(puller=1000.0)
    expected = max(result.tension[1] * math.exp(0.3 * math.pi / 2), result.exit_tension)
    assert check(result, "puller_tension").value == pytest.approx(expected)
    assert result.verdict == "fail"


def test_a_users_tables_rule_a_pull(tmp_path: Any) -> None:
    (tmp_path / "sidewall.csv").write_text(
        "construction,pressure,source\nshielded,1000 lbf/ft,its data sheet\n"
    )
    (tmp_path / "limits.csv").write_text(
        "name,value,kind,source\npulling_eye,2 kN,force,stamped on the eye\njam_allowance,1,,measured: round bends\n"
    )
    mine = evaluated(tables=Tables(tmp_path))
    assert check(evaluated(THREE), "jam_ratio").value == pytest.approx(1.05 * INSIDE / 0.041)
    assert check(evaluated(THREE, tables=Tables(tmp_path)), "jam_ratio").value == pytest.approx(
        INSIDE / 0.041
    )
    assert check(mine, "max_sidewall").limit == pytest.approx(1000 * LBF / 0.3048)
    assert check(mine, "eye_tension").limit == 2000.0
    assert check(mine, "eye_tension").source == "stamped on the eye"


def test_bounds_leave_out_what_does_not_bind() -> None:
    free = Rules(
        overrides={"max_tension": Override(9000.0, binding=False), "max_sidewall": Override(binding=False)}
    )
    assert np.isinf(tension_limits(way(), ONE, free)).all()
    bounds = tension_limits(
        way(), ONE, Rules(max_sidewall=1000.0, overrides={"max_tension": Override(9000.0)})
    )
    assert bounds == pytest.approx([9000.0, 1000 * (4 - INSIDE / 2), 9000.0])


def test_the_page_on_limits_names_every_check() -> None:
    page = (Path(__file__).parents[2] / "docs/limits.md").read_text("utf-8")
    for name in {*OVERRIDABLE, "clearance_advice", "arrangement"}:
        assert f"`{name}`" in page


@pytest.mark.parametrize("bad", [math.nan, math.inf, 0.0, -1.0])
@pytest.mark.parametrize(
    "name", ["max_tension", "max_sidewall", "bending_radius", "clearance", "fill", "eye_tension"]
)
def test_a_stated_limit_out_of_range(name: str, bad: float) -> None:
    with pytest.raises(DomainError, match=r"(override|overrides\['\w+'\])\.limit must be"):
        evaluated(overrides={name: Override(bad)})


def test_the_jam_band_is_not_one_limit() -> None:
    with pytest.raises(DomainError, match="its band stands in the table of limits"):
        evaluated(overrides={"jam_ratio": Override(3.0)})
