"""One pull as a whole: the profile, holding back, friction with distance, guides, assists, and the notes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mechanics.balance import tension_along
from mechanics.cable import Bundle, Cable
from mechanics.chain import Chain
from mechanics.errors import DomainError
from mechanics.interval import Passage, carry_interval, entry_for, greatest_entry, holding_tension
from mechanics.level import cut_at_level
from mechanics.pieces import cut
from mechanics.pull import Override, PullResult, Rules, evaluate_pull, tension_limits
from mechanics.track import Bore, Friction, Track

INSIDE = 0.1274
CABLE = Cable(diameter=0.041, weight=25.5, conductor_area=2.5e-4)
THREE = Bundle((CABLE,) * 3)
ONE = Bundle((replace(CABLE, weight=20.0),))
DUCT = Bore(INSIDE, Friction(0.2))
GUIDE = Bore(None, Friction(0.12), guide=True, label="guides")


def track(
    *segments: tuple[float, float, float, float], bores: tuple[Bore, ...] = (DUCT,), **more: object
) -> Track:
    """Segments as (length, grade in, grade out, turn), angles in degrees."""
    length, a, b, turn = np.array(segments).T
    bore = np.asarray(more.pop("bore", np.zeros(len(segments), dtype=np.int64)))
    return Track(Chain(length, np.radians(a), np.radians(b), np.radians(turn)), bore, bores, **more)  # type: ignore[arg-type]


def arc(radius: float, degrees: float) -> float:
    return radius * math.radians(degrees)


def dense(result: PullResult, parts: int = 64) -> tuple[np.ndarray, Chain, np.ndarray]:
    """The same pull with every piece cut into many: tensions at all their ends."""
    n = len(result.chain)
    pieces, source = cut(
        result.chain, np.repeat(np.arange(n), parts - 1), np.tile(np.arange(1, parts) / parts, n)
    )
    last = np.append(source[1:] != source[:-1], True)
    rub = (result.friction * result.weight_correction)[source]
    tension = tension_along(
        pieces, result.weight[source], rub, result.entry_tension, np.where(last, result.added[source], 0.0)
    )
    return tension, pieces, source


# Worked by hand from the closed forms and by direct integration; both agree. N and m.
EXAMPLE = track(
    (150, 0, 0, 0),
    (arc(4, 90), 0, 0, 90),
    (90, 0, 0, 0),
    (arc(30, 5), 0, 5, 0),
    (60, 5, 5, 0),
    (arc(30, 5), 5, 0, 0),
    (arc(8, 45), 0, 0, 45),
    (120, 0, 0, 0),
)


def test_worked_example_forward() -> None:
    result = evaluate_pull(EXAMPLE, THREE, Rules(entry=500.0))
    by_hand = [500, 3484.0673, 5247.5378, 7037.9782, 7155.7101, 8744.8397, 9007.0370, 11052.2612, 13439.5151]
    assert result.tension == pytest.approx(by_hand, abs=2e-4)
    assert result.weight.tolist() == [76.5] * len(result.chain)
    assert result.arrangement == "cradled"
    assert result.weight_correction == pytest.approx(1.30024720, abs=1e-8)
    assert result.sidewall_factor == pytest.approx(0.63358053, abs=1e-8)
    # on the centreline 831.184 in the bend of 4 m and 875.312 in that of 8 m; the cable lies D/2 further in
    assert result.sidewall[1] == pytest.approx(831.184 * 4 / (4 - INSIDE / 2), abs=2e-3)
    assert result.sidewall[6] == pytest.approx(875.312 * 8 / (8 - INSIDE / 2), abs=2e-3)


def test_worked_example_backward_less_tension_more_pressure() -> None:
    result = evaluate_pull(EXAMPLE.reversed(), THREE, Rules(entry=500.0))
    by_hand = [2887.2539, 3554.6855, 3680.0875, 4469.1275, 4510.2312, 6300.6716, 9482.7073, 12466.7746]
    assert result.tension[1:] == pytest.approx(by_hand, abs=2e-4)
    assert result.sidewall[1] == pytest.approx(281.522 * 8 / (8 - INSIDE / 2), abs=2e-3)
    assert result.sidewall[6] == pytest.approx(1502.01 * 4 / (4 - INSIDE / 2), abs=2e-2)


def test_held_back_down_a_slope() -> None:
    # worked by hand: flat 90 degrees of 3 m radius, then 300 m down at 30 degrees, w 20 N/m, c 0.35
    slope = track((arc(3, 90), 0, 0, 90), (300, -30, -30, 0), bores=(Bore(INSIDE, Friction(0.35)),))
    result = evaluate_pull(slope, ONE, Rules())
    assert result.entry_tension == pytest.approx(680.8, abs=0.05)
    assert result.holding_tension == result.entry_tension
    assert result.tension[1] == pytest.approx(1181.3, abs=0.05)
    assert result.exit_tension == pytest.approx(0.0, abs=1e-6)
    assert evaluate_pull(slope, ONE, Rules(entry=900.0)).entry_tension == 900.0


def test_brake_sized_at_the_low_friction_tension_at_the_expected() -> None:
    slope = track((300, -30, -30, 0), bores=(Bore(INSIDE, Friction(0.35)),))
    result = evaluate_pull(slope, ONE, Rules(low_friction_factor=0.7))
    # by the straight run's closed form: w L (sin 30 - mu cos 30)
    assert result.holding_tension == pytest.approx(20 * 300 * (0.5 - 0.245 * math.cos(math.pi / 6)))
    assert result.exit_tension == pytest.approx(20 * 300 * (0.35 - 0.245) * math.cos(math.pi / 6))


def test_brake_sized_at_half_the_friction_where_none_is_stated() -> None:
    # a slope of 30 degrees, w 20 N/m: by the straight run's closed form w L (sin 30 - mu cos 30)
    cosine = math.cos(math.pi / 6)
    slope = track((300, -30, -30, 0), bores=(Bore(INSIDE, Friction(0.35)),))
    result = evaluate_pull(slope, ONE, Rules())
    assert result.holding_tension == result.entry_tension == pytest.approx(20 * 300 * (0.5 - 0.35 * cosine))
    assert result.brake_tension == pytest.approx(20 * 300 * (0.5 - 0.175 * cosine))
    (braked,) = (c for c in result.checks if c.name == "braked_tension")
    assert not braked.binding
    # with the brake set so and friction as expected the reel's tension is the greatest
    assert braked.value == pytest.approx(result.brake_tension)
    # 20 degrees: taut by itself at 0.4, held at 0.2
    gentle = track((300, -20, -20, 0), bores=(Bore(INSIDE, Friction(0.4)),))
    result = evaluate_pull(gentle, ONE, Rules())
    assert result.entry_tension == result.holding_tension == 0.0
    sine, cosine = math.sin(math.radians(20)), math.cos(math.radians(20))
    assert result.brake_tension == pytest.approx(20 * 300 * (sine - 0.2 * cosine))
    stated = evaluate_pull(gentle, ONE, Rules(low_friction_factor=0.5))
    assert stated.holding_tension == stated.brake_tension == pytest.approx(result.brake_tension)
    # where the checks run with such an entry anyhow, there is nothing more to say
    for rules in (Rules(low_friction_factor=0.5), Rules(entry=2e3)):
        assert not any(c.name.startswith("braked") for c in evaluate_pull(gentle, ONE, rules).checks)


def test_a_bend_under_the_brake_as_it_is_set() -> None:
    # flat 90 degrees of 3 m radius, then 300 m down at 30: the forms of the flat bend, turned round for its entry
    way = track((arc(3, 90), 0, 0, 90), (300, -30, -30, 0), bores=(Bore(INSIDE, Friction(0.35)),))
    result = evaluate_pull(way, ONE, Rules())
    held = 20 * 300 * (0.5 - 0.175 * math.cos(math.pi / 6))
    angle = 0.175 * math.pi / 2
    entry = held * math.cosh(angle) - math.hypot(held, 60.0) * math.sinh(angle)
    assert result.brake_tension == pytest.approx(entry, rel=1e-9)
    leaving = entry * math.cosh(2 * angle) + math.hypot(entry, 60.0) * math.sinh(2 * angle)
    found = {c.name: c.value for c in result.checks if c.name.startswith("braked")}
    assert found["braked_tension"] == pytest.approx(leaving, rel=1e-9)
    assert found["braked_sidewall"] == pytest.approx(leaving / (3 - INSIDE / 2), rel=1e-9)


def test_rope_at_the_winch() -> None:
    # worked by hand: 300 m straight, w 25 N/m, c 0.15, then two flat bends of 90 degrees: the cable leaves at about
    # 1802 N (bends weightless), yet the winch reads 2887 N with dry rope (0.30) when the head reaches the first bend
    way = track(
        (300, 0, 0, 0), (arc(3, 90), 0, 0, 90), (arc(3, 90), 0, 0, 90), bores=(Bore(INSIDE, Friction(0.15)),)
    )
    result = evaluate_pull(way, Bundle((replace(CABLE, weight=25.0),)), Rules())
    assert result.exit_tension == pytest.approx(1802, abs=2)
    assert result.winch_tension == pytest.approx(2887, abs=0.5)
    assert result.winch[1] == result.winch_tension
    assert result.winch[-1] == result.exit_tension


def test_friction_grows_with_distance_until_lubricated_again() -> None:
    worn = Bore(INSIDE, Friction(0.2, dry=0.5, hold=300.0))
    way = track(
        (600, 0, 0, 0),
        (arc(1, 10), 0, 0, 10),
        (400, 0, 0, 0),
        bores=(worn, GUIDE),
        bore=[0, 1, 0],
        vaults=((1, 2),),
        tags=("MH-2",),
    )
    dry, again = (evaluate_pull(way, ONE, Rules(), relube=stops) for stops in ((), (0,)))

    def middle(distance: float) -> float:  # the model that the documents state
        return 0.2 if distance <= 300 else 0.5 - 0.3 * math.exp(-(distance - 300) / 300)

    for result, stopped in ((dry, False), (again, True)):
        middles = result.chain.station - result.chain.length / 2
        on_guides = arc(1, 10)
        for station, segment, friction in zip(middles, result.source_segment, result.friction, strict=True):
            if segment == 1:
                assert friction == 0.12
            else:
                slid = station if segment == 0 else station - on_guides - (600 if stopped else 0)
                assert friction == pytest.approx(middle(slid), rel=1e-9)
    # a straight run takes w L mu: the mean of the model over the distance
    taken = again.exit_tension - again.tension[np.searchsorted(again.source_segment, 2)]
    mean = 0.2 * 300 + 0.5 * 100 - 0.3 * 300 * (1 - math.exp(-100 / 300))
    assert taken == pytest.approx(20 * mean, rel=1e-4)
    assert again.exit_tension < dry.exit_tension
    assert [at.vault for at in again.lubricant.at] == [None, 0]


def test_ducts_that_change_keep_their_own_ways() -> None:
    steel = Bore(0.2, Friction(0.4))
    way = track((100, 0, 0, 0), (arc(5, 90), 0, 0, 90), (100, 0, 0, 0), bores=(DUCT, steel), bore=[0, 1, 0])
    result = evaluate_pull(way, THREE, Rules())
    ratios = np.array([INSIDE, 0.2, INSIDE]) / 0.041
    correction = 1 + 4 / 3 / (ratios - 1) ** 2
    assert result.weight_correction == pytest.approx(correction)
    assert result.friction.tolist() == [0.2, 0.4, 0.2]
    assert result.sidewall_factor == pytest.approx((3 * correction - 2) / 3)
    assert result.sidewall[1] == pytest.approx(result.tension[2] * (3 * correction[1] - 2) / 3 / (5 - 0.1))


def test_guides_press_at_their_own_radius() -> None:
    way = track((100, 0, 0, 0), (arc(0.9144, 30), 0, 0, 30), bores=(DUCT, GUIDE), bore=[0, 1])
    one, three = evaluate_pull(way, ONE, Rules()), evaluate_pull(way, THREE, Rules())
    assert one.weight_correction[1] == three.weight_correction[1] == 1.0
    assert one.sidewall[1] == pytest.approx(one.exit_tension / 0.9144)
    assert three.sidewall[1] == pytest.approx(three.exit_tension / 0.9144 / 2)
    # T2 = T1 cosh(mu a) + sqrt(T1^2 + (wR)^2) sinh(mu a), the flat bend of every handbook
    a, t, wr = 0.12 * math.radians(30), one.tension[1], 20 * 0.9144
    assert one.exit_tension == pytest.approx(t * math.cosh(a) + math.hypot(t, wr) * math.sinh(a))


def test_contact_force_includes_the_weight() -> None:
    result = evaluate_pull(track((50, 0, 0, 0), (arc(4, 90), 0, 0, 90)), ONE, Rules())
    assert result.contact[0] == pytest.approx(20.0)
    assert result.contact[1] == pytest.approx(math.hypot(20.0, result.exit_tension / 4))


def test_assist_relieves_and_both_sides_are_checked() -> None:
    way = track((300, 0, 0, 0), (300, 0, 0, 0), vaults=((1, 1),), tags=("MH-2",))
    plain = evaluate_pull(way, ONE, Rules())
    helped = evaluate_pull(way, ONE, Rules(assists={"MH-2": 1000.0}))
    assert helped.added.tolist() == [-1000.0, 0.0]
    assert helped.exit_tension == pytest.approx(plain.exit_tension - 1000.0)
    assert helped.tension[1] == pytest.approx(200.0)
    assert helped.max_tension == pytest.approx(
        1400.0
    )  # 0.2 x 20 x 600, less 1000, against 1200 before the assist
    strong = evaluate_pull(way, ONE, Rules(assists={"MH-2": 2000.0}))
    assert strong.added[0] == pytest.approx(-1200.0)
    assert any("more would slacken" in note for note in strong.notes)
    before = next(c for c in strong.checks if c.name == "conductor_tension")
    assert before.value == pytest.approx(1200.0)
    assert before.where == pytest.approx(300.0)


def test_pusher_relieves_unless_the_pull_is_braked() -> None:
    way = track((300, 0, 0, 0))
    pushed = evaluate_pull(way, ONE, Rules(pusher=500.0))
    assert pushed.entry_tension == -500.0
    assert pushed.exit_tension == pytest.approx(0.2 * 20 * 300 - 500)
    down = evaluate_pull(track((300, -30, -30, 0)), ONE, Rules(pusher=500.0))
    assert down.entry_tension == down.holding_tension > 0
    assert any("pusher" in note for note in down.notes)
    assert any("buckles" in note for note in pushed.notes)
    assert not any("more at the far end" in note for note in pushed.notes)
    # level, 300 m of 20 N/m at 0.2 take 1200 N
    over = evaluate_pull(track((300, 0, 0, 0)), ONE, Rules(pusher=1700.0))
    assert any("500 N more at the far end" in note for note in over.notes)


def test_a_flooded_bore_carries_part_of_the_weight() -> None:
    wet = 20.0 - 1000 * 9.80665 * math.pi / 4 * 0.041**2
    all_along = evaluate_pull(track((300, 0, 0, 0), bores=(replace(DUCT, flooded=True),)), ONE, Rules())
    assert all_along.exit_tension == pytest.approx(0.2 * 300 * wet)
    rise = math.sin(math.radians(20)) + 0.2 * math.cos(math.radians(20))
    some = track((100, 0, 0, 0), (50, 20, 20, 0), (80, 0, 0, 0), bores=(DUCT, replace(DUCT, flooded=True)))
    some = replace(some, bore=np.array([0, 1, 0]))
    result = evaluate_pull(some, ONE, Rules())
    assert result.weight.tolist() == pytest.approx([20.0, wet, 20.0])
    assert result.exit_tension == pytest.approx(0.2 * 180 * 20.0 + 50 * wet * rise)


def test_friction_that_depends_on_contact_is_told_as_one_coefficient_a_piece() -> None:
    soft = Bore(INSIDE, Friction(0.3, pressed=0.15, press_force=200.0))
    way = track((200, 0, 0, 0), (arc(3, 90), 0, 0, 90), (50, 0, 0, 0), bores=(soft,))
    result = evaluate_pull(way, ONE, Rules())
    assert result.friction[0] == pytest.approx(0.3)
    assert result.friction[1] == pytest.approx(0.15)
    again = tension_along(result.chain, result.weight, result.friction * result.weight_correction)
    assert again == pytest.approx(result.tension[1:], rel=1e-9)


@pytest.mark.parametrize(("count", "each"), [(1, 1.0), (2, 0.5), (3, 1 / 3), (5, 1 / 5), (6, 1 / 6)])
def test_a_cable_is_pressed_by_its_own_share_of_the_bundle(count: int, each: float) -> None:
    # level, in a wide duct, every cable presses with little more than its own 20 N/m: below the force of the law. The
    # share of the hardest-pressed, half of the bundle and more, would take friction for less than it is.
    cables = Bundle((Cable(diameter=0.01, weight=20.0),) * count)
    for pressed, force, expected in ((0.15, 25.0, 0.3), (0.15, 15.0, 0.15), (0.45, 1e6, 0.3)):
        bore = Bore(0.4, Friction(0.3, pressed=pressed, press_force=force))
        result = evaluate_pull(track((200, 0, 0, 0), bores=(bore,)), cables, Rules())
        assert result.friction[0] == pytest.approx(expected)
    growing = Bore(0.4, Friction(0.3, pressed=0.45, press_force=1.2 * 20.0 * count * max(each, 0.5)))
    result = evaluate_pull(track((200, 0, 0, 0), bores=(growing,)), cables, Rules())
    assert result.friction[0] == pytest.approx(0.3)


def test_of_three_cradled_an_outer_one_says_when_friction_falls() -> None:
    # in a bend the middle one presses with the sidewall factor, an outer one with a third [ieee1185]
    bend = (arc(3, 90), 0, 0, 90)
    for third, expected in ((0.89, 0.3), (1.11, 0.15)):  # the law's change is spread over 10 % either way
        bore = Bore(INSIDE, Friction(0.3, pressed=0.15, press_force=1000.0))
        entry = 3 * 3.0 * 1000.0 * third
        result = evaluate_pull(track((1e-3 * bend[0], 0, 0, 0.09), bores=(bore,)), THREE, Rules(entry=entry))
        assert result.arrangement == "cradled"
        assert result.friction[0] == pytest.approx(expected, rel=1e-6)


def test_waviness_turns_the_cable_and_presses_it() -> None:
    plain, wavy = (
        track((300, 0, 0, 0), bores=(Bore(INSIDE, Friction(0.2), waviness=w),)) for w in (0.0, 0.01)
    )
    a, b = evaluate_pull(plain, ONE, Rules()), evaluate_pull(wavy, ONE, Rules())
    assert b.exit_tension > a.exit_tension
    assert a.sidewall[0] == 0.0
    assert b.sidewall[0] == pytest.approx(b.exit_tension / (100 - INSIDE / 2))
    assert "bending_radius" not in {c.name for c in b.checks}  # a residual waviness is no bend that was built


def test_document_can_be_recomputed() -> None:
    way = track((200, 10, 10, 0), (arc(30, 40), 10, -30, 20), (100, -30, -30, 0), bores=(DUCT,))
    result = evaluate_pull(way, THREE, Rules(entry=100.0))
    again = tension_along(
        result.chain,
        result.weight,
        result.friction * result.weight_correction,
        result.entry_tension,
        result.added,
    )
    assert again == pytest.approx(result.tension[1:], abs=1e-9)


def test_the_peak_over_a_crest_stands_at_the_end_of_a_piece() -> None:
    way = track((200, 10, 10, 0), (arc(100, 70), 10, -60, 0), bores=(Bore(INSIDE, Friction(0.1)),))
    result = evaluate_pull(way, ONE, Rules())
    assert len(result.chain) == 3
    assert dense(result)[0].max() <= result.max_tension + 1e-6
    # the slope of the tension is nought there: w sin g + c |T k - w cos g| = 0
    g, t = result.chain.grade_out[1], result.tension[2]
    contact = abs(
        t * (result.chain.grade_out[1] - result.chain.grade_in[1]) / result.chain.length[1] - 20 * math.cos(g)
    )
    assert 20 * math.sin(g) + 0.1 * contact == pytest.approx(0.0, abs=1e-4)


degrees = st.floats(-60, 60)
rolling = st.lists(
    st.tuples(st.floats(2, 80), degrees, st.one_of(st.just(0.0), st.floats(-90, 90))), min_size=1, max_size=6
)


@given(rolling, degrees, st.floats(0.05, 0.6), st.floats(0, 3000))
@settings(max_examples=60, deadline=None)
def test_held_taut_everywhere_and_the_greatest_at_an_end(
    hills: list[tuple[float, float, float]], first: float, friction: float, entry: float
) -> None:
    grades = [first, *(g for _, g, _ in hills)]
    way = track(
        *((length, a, b, turn) for (length, _, turn), a, b in zip(hills, grades, grades[1:], strict=False)),
        bores=(Bore(INSIDE, Friction(friction)),),
    )
    result = evaluate_pull(way, ONE, Rules(entry=entry))
    inside, pieces, _ = dense(result)
    scale = 1.0 + result.max_tension
    assert inside.min() >= -1e-7 * scale
    assert inside.max() <= result.max_tension + 1e-7 * scale
    assert result.entry_tension == max(entry, result.holding_tension)
    if result.holding_tension > 1.0:
        at_bottom = cut_at_level(pieces, 20.0, friction, 0.0)[0]
        less = tension_along(at_bottom, 20.0, friction, 0.999 * result.holding_tension)
        assert less.min() < 0  # and no less would do


@given(rolling, degrees, st.floats(0.1, 0.4), st.floats(500, 20000), st.floats(200, 6000))
@settings(max_examples=60, deadline=None)
def test_verdict_agrees_with_the_bounds_that_the_planner_uses(
    hills: list[tuple[float, float, float]], first: float, friction: float, tension: float, sidewall: float
) -> None:
    grades = [first, *(g for _, g, _ in hills)]
    way = track(
        *((length, a, b, turn) for (length, _, turn), a, b in zip(hills, grades, grades[1:], strict=False)),
        bores=(Bore(INSIDE, Friction(friction)),),
    )
    rules = Rules(
        max_sidewall=sidewall,
        overrides={
            "max_tension": Override(tension),
            "bending_radius": Override(1e-3),
            "clearance": Override(1e-3),
        },
    )
    result = evaluate_pull(way, ONE, rules)
    bounds = tension_limits(way, ONE, rules)
    low, high = Passage(way.chain, 20.0, np.full(len(way.chain), friction), bounds).entering()
    worst = result.utilisation
    if abs(worst - 1.0) > 1e-6:
        assert (result.verdict == "pass") == bool(low <= high)
        assert (result.verdict == "pass") == (worst <= 1.0)
    if low <= high:
        assert result.entry_tension == pytest.approx(float(low), abs=1e-6 * (1 + float(low)))


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0])
@pytest.mark.parametrize(
    "name",
    [
        "entry",
        "pusher",
        "slack",
        "restart_factor",
        "reel",
        "puller",
        "max_sidewall",
        "low_friction_factor",
        "rope_friction",
        "lubricant_factor",
    ],
)
def test_rules_out_of_range(name: str, bad: float) -> None:
    with pytest.raises(DomainError, match=name):
        evaluate_pull(track((10, 0, 0, 0)), ONE, replace(Rules(), **{name: bad}))  # type: ignore[arg-type]


def test_what_no_pull_can_be() -> None:
    way = track((10, 0, 0, 0), (10, 0, 0, 0), vaults=((1, 1),), tags=("MH-2",))
    empty = Track(Chain([], [], [], []), np.zeros(0, dtype=np.int64), ())
    with pytest.raises(DomainError, match="at least one segment"):
        evaluate_pull(empty, ONE, Rules())
    for stops in ((1,), (-1,), (0, 0)):
        with pytest.raises(DomainError, match="relube must be rising indices of the 1 pass-through vaults"):
            evaluate_pull(way, ONE, Rules(), stops)
    with pytest.raises(DomainError, match=r"bores\[0\]\.inside_diameter must be stated"):
        evaluate_pull(track((10, 0, 0, 0), bores=(Bore(None, Friction(0.2)),)), ONE, Rules())
    with pytest.raises(DomainError, match="lubricated must be above 0"):
        evaluate_pull(track((10, 0, 0, 0), bores=(Bore(INSIDE, Friction(math.nan)),)), ONE, Rules())
    with pytest.raises(DomainError, match=r"overrides must be of max_tension, .*, got 'girth'"):
        evaluate_pull(way, ONE, Rules(overrides={"girth": Override(1.0)}))
    with pytest.raises(DomainError, match=r"rules\.assists\['MH-2'\] must be above 0"):
        evaluate_pull(way, ONE, Rules(assists={"MH-2": math.nan}))
    with pytest.raises(DomainError, match="construction must be one of"):
        evaluate_pull(way, Bundle((replace(CABLE, construction="knitted"),)), Rules())
    with pytest.raises(DomainError, match="temper of copper must be one of"):
        evaluate_pull(way, Bundle((replace(CABLE, temper="soft"),)), Rules())


def test_bores_and_cables_may_be_lists_of_the_right_kind() -> None:
    chain = Chain([10.0, 5.0], [0, 0], [0, 0], [0, 0])
    way = Track(chain, [0, 0], (DUCT,))  # type: ignore[arg-type]
    listed = Bundle([CABLE])  # type: ignore[arg-type]
    assert evaluate_pull(way, listed, Rules()).exit_tension == pytest.approx(0.2 * 15 * CABLE.weight)
    with pytest.raises(DomainError, match="bore must be whole numbers"):
        Track(chain, [0.0, 0.5], (DUCT,))  # type: ignore[arg-type]
    with pytest.raises(DomainError, match=r"bore must have shape \(2,\)"):
        Track(chain, [0], (DUCT,))  # type: ignore[arg-type]


def test_nothing_that_could_mislead_a_float() -> None:
    tight = evaluate_pull(track((10, 0, 0, 0), (arc(0.06, 90), 0, 0, 90)), ONE, Rules())
    assert np.isfinite(tight.sidewall).all()
    assert tight.verdict == "fail"
    radius = next(c for c in tight.checks if c.name == "bending_radius")
    assert radius.value is not None
    assert radius.value < 0
    assert radius.utilisation == pytest.approx(1000)


def test_an_assist_takes_no_more_than_reaches_it_from_a_pusher() -> None:
    way = track(
        (50, 0, 0, 0), (30, 0, 0, 0), (100, 0, 0, 0), vaults=((1, 2),), tags=("V",)
    )  # 0.2 x 20 N/m: 200 N, 120 N, 400 N
    helped = {"V": 5000.0}
    pushed = evaluate_pull(way, ONE, Rules(pusher=350.0, assists=helped))
    assert pushed.tension.tolist() == pytest.approx([-350.0, -150.0, -30.0, 370.0])
    assert pushed.added.tolist() == [0.0, 0.0, 0.0]
    # of 400 N that reach V after a push of 200 N there are 120 N, and that is all an assist can take
    some = evaluate_pull(way, ONE, Rules(pusher=200.0, assists=helped))
    assert some.tension.tolist() == pytest.approx([-200.0, 0.0, 0.0, 400.0])


def test_friction_of_another_shape_is_refused_everywhere() -> None:
    chain = Chain([10.0, 20.0], [0.0, 0.0], [0.0, 0.1], [0.0, 0.0])
    for bad in ([0.1, 0.2, 9.0], [], "x", 1j):
        for call in (
            lambda f: holding_tension(chain, 20.0, f),
            lambda f: greatest_entry(chain, 20.0, f, 1e4),
            lambda f: carry_interval(chain, 20.0, f, 0.0, 1e4),
            lambda f: entry_for(chain, 20.0, f, 5000.0),
        ):
            with pytest.raises(DomainError, match="friction"):
                call(bad)
    with pytest.raises(DomainError, match=r"friction\[1\]"):
        entry_for(chain, 20.0, [0.1, math.nan], 5000.0)
