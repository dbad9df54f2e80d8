"""What is said where there is no plan: doing what it says makes it pass, and less would not."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from mechanics.cable import Bundle, Cable
from mechanics.centreline import displacement
from mechanics.chain import Chain
from mechanics.errors import DomainError
from mechanics.pull import Override, Rules
from mechanics.track import Bore, Friction
from network.advice import Steps, advise, all_at_least, assisted
from network.changed import bends_of, part_of, roomiest, with_friction, with_sweep, with_vault
from network.gains import gains
from network.leave import opened
from network.plan import Costs, NoPlan, Plan, PlanRules, plan_row
from network.pulls import PullOption
from network.reach import RowPulls
from network.row import Row, RowVault, Stretch
from network.stretch import between

DUCT = Bore(0.127, Friction(0.25, 0.5, 200.0))
BUNDLE = Bundle((Cable(0.05, 60.0, conductor_area=4e-4),))
RULES = Rules(max_sidewall=2500.0, overrides={"max_tension": Override(20_000.0)})
PRICES = PlanRules(Costs())


def row_of(*spans: list[tuple[float, float]], vaults: tuple[RowVault, ...] | None = None) -> Row:
    """A flat row; each span is straights and bends in turn, as (length, turn), of 5 m radius where none is told."""
    none = Stretch(Chain([], [], [], []), ())
    laid = []
    for k, span in enumerate(spans):
        length, turn = zip(*span, strict=True)
        zero = [0.0] * len(span)
        chain = Chain(
            [m if t == 0.0 else m * abs(t) for m, t in zip(length, turn, strict=True)], zero, zero, turn
        )
        laid.append(Stretch(chain, (DUCT,) * len(span), tuple(f"S{k}.{j}" for j in range(len(span)))))
    vaults = vaults or tuple(RowVault(f"V{k}") for k in range(len(spans) + 1))
    return Row(vaults, tuple(laid), (none,) * (len(spans) - 1))


EASY = [(60.0, 0.0), (5.0, 0.3), (40.0, 0.0)]
# The quarter turn of 1.2 m radius in mid-span is pressed too hard from either side.
TIGHT = [(150.0, 0.0), (1.2, math.pi / 2), (150.0, 0.0)]
# So long that the tension alone is too much.
LONG = [(700.0, 0.0), (5.0, 0.2), (700.0, 0.0)]


def planned(row: Row, rules: Rules = RULES, prices: PlanRules = PRICES) -> Plan | NoPlan:
    return plan_row(row.facts, RowPulls(row, BUNDLE, rules).offers(), prices)


def advice(row: Row, rules: Rules = RULES, prices: PlanRules = PRICES) -> dict[str, Any]:
    none = planned(row, rules, prices)
    assert isinstance(none, NoPlan)
    return {r.kind: r for r in advise(RowPulls(row, BUNDLE, rules), prices, none)}


def test_a_tight_bend_is_named_with_the_radius_it_needs() -> None:
    row = row_of(EASY, TIGHT, EASY)
    found = advice(row)
    remedy = found["radius"]
    assert (remedy.low, remedy.high, remedy.where) == (1, 2, "S1.1")
    done = planned(with_sweep(row, 1, 1, remedy.value))
    assert isinstance(done, Plan)
    assert isinstance(planned(with_sweep(row, 1, 1, remedy.value - 0.06)), NoPlan)


def test_friction_to_reach_is_the_least_change() -> None:
    for span in (TIGHT, LONG):
        row = row_of(EASY, span)
        value = advice(row)["friction"].value
        for less, kind in ((0.0, Plan), (0.0011, NoPlan)):
            factor = (value + less) / 0.25
            assert isinstance(planned(with_friction(row, lambda f, k=factor: f * k)), kind)  # type: ignore[misc]


def test_a_new_vault_where_it_is_said_gives_a_plan() -> None:
    for span in (TIGHT, LONG):
        row = row_of(EASY, span, EASY)
        remedy = advice(row)["vault"]
        assert (remedy.low, remedy.high) == (1, 2)
        halves = replace(PRICES, splice_at=("V1", "new vault", "V2"))
        done = planned(with_vault(row, 1, remedy.value), prices=halves)
        assert isinstance(done, Plan)
        assert done.utilisation == pytest.approx(remedy.utilisation, rel=1e-6)
        ends = row.spans[1].chain.station
        inside = np.searchsorted(ends, remedy.value)
        assert row.spans[1].chain.turn[inside] == 0.0


def test_a_pusher_as_strong_as_is_said_gives_a_plan() -> None:
    row = row_of([(150.0, 0.0), (3.0, 1.2), (150.0, 0.0)])
    rules = replace(RULES, max_sidewall=900.0)
    force = advice(row, rules)["pusher"].value
    assert isinstance(planned(row, replace(rules, pusher=force)), Plan)
    assert isinstance(planned(row, replace(rules, pusher=force - 11.0)), NoPlan)


def test_a_reel_too_short_for_a_span() -> None:
    row = row_of(EASY, [(200.0, 0.0)], EASY)
    prices = PlanRules(Costs(), reel=150.0, slack=5.0)
    found = advice(row, prices=prices)
    assert found["reel"].value == pytest.approx(210.0)
    assert isinstance(planned(row, prices=replace(prices, reel=found["reel"].value)), Plan)
    assert isinstance(planned(with_vault(row, 1, found["vault"].value), prices=prices), Plan)
    assert "friction" not in found


def test_a_new_vault_is_found_where_two_reels_only_just_reach() -> None:
    row = row_of(EASY, [(30.0, 0.0), (5.0, 0.3), (197.0, 0.0), (5.0, -0.3), (30.0, 0.0)], EASY)
    prices = PlanRules(Costs(), reel=140.2, slack=5.0)
    # Two reels of 140.2 m less 10 m of slack each reach 0.4 m farther than the 260 m of the span.
    assert row.length(1, 2) == pytest.approx(260.0)
    place = advice(row, prices=prices)["vault"].value
    assert 129.8 - 1e-6 <= place <= 130.2 + 1e-6
    assert isinstance(planned(with_vault(row, 1, place), prices=prices), Plan)


def test_leave_wanting_at_a_vault_or_a_longer_reel() -> None:
    vaults = (RowVault("A"), RowVault("B", splice=False), RowVault("C", splice=False), RowVault("D"))
    row = row_of(EASY, EASY, EASY, vaults=vaults)
    prices = PlanRules(Costs(), reel=250.0, slack=0.0)
    none = planned(row, prices=prices)
    assert isinstance(none, NoPlan)
    remedies = advise(RowPulls(row, BUNDLE, RULES), prices, none)
    assert {r.where for r in remedies if r.kind == "allow"} == {"B", "C"}
    for remedy in remedies:
        if remedy.kind == "allow":
            opened = tuple(replace(v, splice=v.splice or v.tag == remedy.where) for v in vaults)
            assert isinstance(planned(replace(row, vaults=opened), prices=prices), Plan)


def test_the_least_leave_that_is_wanting_at_the_ends_of_the_row() -> None:
    closed = RowVault("A", splice=False, feed=False)
    row = row_of(EASY, vaults=(closed, RowVault("B", feed=False, pull=False)))
    none = planned(row)
    assert isinstance(none, NoPlan)
    found = [r for r in advise(RowPulls(row, BUNDLE, RULES), PRICES, none) if r.kind == "allow"]
    # the cable ends at both vaults, whatever they say of splices: fed at A it would have to be pulled at B too
    assert [(r.where, r.leave) for r in found] == [
        ("", ((0, ("feed",)), (1, ("pull",)))),
        ("B", ((1, ("feed",)),)),
    ]
    assert all(isinstance(r.plan, Plan) for r in found)
    opened = (closed, replace(row.vaults[1], feed=True))
    plan = planned(replace(row, vaults=opened))
    assert isinstance(plan, Plan)
    assert (plan.sections[0].pulls[0].feed, plan.sections[0].pulls[0].pull) == (1, 0)


def test_leave_at_several_vaults_where_one_is_not_enough() -> None:
    vaults = (RowVault("A"), *(RowVault(t, splice=False) for t in "BCDE"), RowVault("F", feed=False))
    row = row_of(*[EASY] * 5, vaults=vaults)
    prices = PlanRules(Costs(), reel=220.0, slack=0.0)
    none = planned(row, prices=prices)
    assert isinstance(none, NoPlan)
    (remedy,) = (r for r in advise(RowPulls(row, BUNDLE, RULES), prices, none) if r.kind == "allow")
    # five spans of 105 m on reels of 220 m: three sections, two splices; nothing need be fed at F
    assert [what for _, what in remedy.leave] == [("splice",), ("splice",)]

    def plan(at: dict[int, tuple[str, ...]]) -> Plan | NoPlan:
        return planned(replace(row, vaults=opened(vaults, at)), prices=prices)

    assert isinstance(plan(dict(remedy.leave)), Plan)
    for one in remedy.leave:
        assert isinstance(plan(dict([one])), NoPlan)


def test_a_new_vault_helps_where_neither_end_may_be_fed() -> None:
    row = row_of(EASY, vaults=(RowVault("A", feed=False), RowVault("B", feed=False)))
    found = advice(row)
    assert set(found) == {"vault", "allow"}
    plan = planned(with_vault(row, 0, found["vault"].value))
    assert isinstance(plan, Plan)
    assert [(p.feed, p.pull) for s in plan.sections for p in s.pulls] == [(1, 0), (1, 2)]


def test_a_reel_too_short_for_sections_that_must_be_long() -> None:
    vaults = (RowVault("A"), RowVault("B"), RowVault("C", splice=False), RowVault("D"))
    row = row_of(EASY, EASY, EASY, vaults=vaults)
    prices = PlanRules(Costs(), reel=150.0, slack=0.0)
    none = planned(row, prices=prices)
    assert isinstance(none, NoPlan)
    (reel,) = (r for r in advise(RowPulls(row, BUNDLE, RULES), prices, none) if r.kind == "reel")
    assert reel.value == pytest.approx(row.length(1, 3), abs=0.11)
    assert isinstance(planned(row, prices=replace(prices, reel=reel.value)), Plan)
    assert isinstance(planned(row, prices=replace(prices, reel=reel.value - 0.2)), NoPlan)


def test_nothing_is_advised_that_does_not_help() -> None:
    """A bundle too large for its duct: no friction, radius or vault lets it through."""
    row = row_of(EASY, EASY)
    bundle = Bundle((Cable(0.12, 60.0, conductor_area=4e-4),) * 3)
    none = plan_row(row.facts, RowPulls(row, bundle, RULES).offers(), PRICES)
    assert isinstance(none, NoPlan)
    assert advise(RowPulls(row, bundle, RULES), PRICES, none) == ()


def test_gains_are_what_the_changed_row_gives(random_case: Callable[..., Any]) -> None:
    kinds = set()
    for seed in (302, 337, 407):
        case = random_case(seed, 5, hilly=seed % 2 == 1)
        pulls = RowPulls(case.row, case.bundle, case.rules)
        plan = plan_row(case.row.facts, pulls.offers(), PRICES)
        if isinstance(plan, NoPlan):
            continue
        for option in (p for s in plan.sections for p in s.pulls):
            for gain in gains(pulls, option):
                kinds.add(gain.kind)
                if gain.kind == "stop":
                    result = pulls.evaluate(option.feed, option.pull, (*option.relube, int(gain.value)))
                    assert result.utilisation == gain.utilisation
                if gain.kind == "friction" and seed % 2 == 0:
                    # Nothing falls, so that less friction is less tension all along.
                    assert gain.utilisation <= option.utilisation + 1e-9
    assert kinds == {"stop", "radius", "friction"}


def test_a_larger_sweep_relieves_the_bend_it_names() -> None:
    row = row_of([(80.0, 0.0), (3.0, 1.0), (40.0, 0.0), (2.0, 0.8), (60.0, 0.0)])
    pulls = RowPulls(row, BUNDLE, replace(RULES, max_sidewall=1800.0))
    for option in (*pulls(0), *pulls(1)):
        before = pulls.evaluate(option.feed, option.pull)
        (gain,) = (g for g in gains(pulls, option) if g.kind == "radius")
        hardest = int(np.argmax([float(before.sidewall[before.source_segment == k].max()) for k in range(5)]))
        bend = hardest if option.feed == 0 else 4 - hardest
        assert gain.where == f"S0.{bend}"
        assert gain.value == pytest.approx(2.0 * (3.0 if bend == 1 else 2.0))
        assert gain.utilisation < option.utilisation


def test_the_first_radius_made_that_buys_something_is_told() -> None:
    """Of the sweeps that are made, tried one by one upward: the first with which the worst check is half a percent less."""
    row = row_of([(80.0, 0.0), (3.0, 1.0), (40.0, 0.0), (2.0, 0.8), (60.0, 0.0)])
    pulls = RowPulls(row, BUNDLE, replace(RULES, max_sidewall=1800.0))
    (option,) = (o for o in pulls(0) if o.pull == 1)
    made = (1.0, 2.51, 3.01, 3.02, 4.0, 6.0)
    (gain,) = (g for g in gains(pulls, option, made) if g.kind == "radius")
    assert gain.segment is not None
    used = {
        r: RowPulls(with_sweep(row, 0, gain.segment, r), BUNDLE, pulls.rules).evaluate(0, 1).utilisation
        for r in made
        if r > (gain.now or 0.0)
    }
    assert gain.value == min(r for r, u in used.items() if u < option.utilisation - 0.005)
    assert gain.utilisation == pytest.approx(used[gain.value])
    # none that is made is larger than the bend's own
    (gain,) = (g for g in gains(pulls, option, (1.0,)) if g.kind == "radius")
    assert gain.value == pytest.approx(2.0 * (gain.now or 0.0))


def plan_points(chain: Chain) -> tuple[float, float]:
    """Where a flat chain ends, laid from the origin along x."""
    x = y = heading = 0.0
    for length, turn in zip(chain.length, chain.turn, strict=True):
        chord = length if turn == 0.0 else 2.0 * length / abs(turn) * math.sin(0.5 * abs(turn))
        x += chord * math.cos(heading + 0.5 * turn)
        y += chord * math.sin(heading + 0.5 * turn)
        heading += turn
    return x, y


def test_a_larger_sweep_leaves_the_ends_of_the_span_where_they_are() -> None:
    row = row_of([(30.0, 0.0), (5.0, 1.1), (25.0, 0.0), (4.0, -0.7), (30.0, 0.0)])
    assert bends_of(row, 0) == (1, 3)
    for radius in (3.0, 9.0, roomiest(row, 0, 1, 100.0)):
        changed = with_sweep(row, 0, 1, radius)
        assert plan_points(changed.spans[0].chain) == pytest.approx(plan_points(row.spans[0].chain), abs=1e-9)
        assert changed.spans[0].chain.curvature[1] == pytest.approx(1.0 / radius)
    with pytest.raises(DomainError, match="no room for a sweep"):
        with_sweep(row, 0, 1, roomiest(row, 0, 1, 100.0) + 0.01)
    with pytest.raises(DomainError, match="one of the span's bends"):
        with_sweep(row, 0, 2, 5.0)
    beside = row_of([(5.0, 1.1), (5.0, 0.4), (30.0, 0.0)])
    with pytest.raises(DomainError, match="no straight beside it"):
        with_sweep(beside, 0, 1, 6.0)


@pytest.mark.parametrize("station", [0.5, 30.0, 33.0, 70.0])
def test_a_new_vault_splits_a_span_and_nothing_else(station: float) -> None:
    row = row_of(EASY, [(30.0, 0.0), (5.0, 1.1), (45.0, 0.0)], EASY)
    changed = with_vault(row, 1, station)
    assert [v.tag for v in changed.vaults] == ["V0", "V1", "new vault", "V2", "V3"]
    assert changed.length(1, 2) == pytest.approx(station)
    assert changed.length(0, 4) == pytest.approx(row.length(0, 3))
    halves = Chain.joined([s.chain for s in changed.spans[1:3]])
    assert plan_points(halves) == pytest.approx(plan_points(row.spans[1].chain))
    assert changed.spans[1].ids[-1] == changed.spans[2].ids[0] or station == 30.0
    for outside in (0.0, -1.0, 1e3):
        with pytest.raises(DomainError, match="station"):
            with_vault(row, 1, outside)


def test_an_assist_where_a_pull_must_pass_a_vault() -> None:
    vaults = (RowVault("A"), RowVault("B", splice=False), RowVault("C"))
    half = [(200.0, 0.0), (5.0, 0.9), (40.0, 0.0)]
    row = row_of(half, half[::-1], vaults=vaults)
    rules = replace(RULES, max_sidewall=900.0)
    found = advice(row, rules)
    remedy = found["assist"]
    assert (remedy.low, remedy.high, remedy.where) == (0, 2, "B")
    assert isinstance(remedy.plan, Plan)
    assert isinstance(planned(row, assisted(rules, "B", remedy.value)), Plan)
    assert isinstance(planned(row, assisted(rules, "B", remedy.value - 11.0)), NoPlan)
    assert isinstance(found["allow"].plan, Plan)


def test_all_bends_together_where_one_is_not_enough() -> None:
    # 12 times the cable's 50 mm is the least radius of a bend: both are under it
    span = [(60.0, 0.0), (0.4, 1.5), (60.0, 0.0), (0.5, 1.5), (60.0, 0.0)]
    row = row_of(EASY, span)
    remedy = advice(row)["radius"]
    assert (remedy.where, remedy.segment, remedy.now) == ("", None, pytest.approx(0.4))
    done = all_at_least(row, remedy.value)
    assert isinstance(planned(done), Plan)
    for _, bend in ((0, 1), (0, 3)):
        assert isinstance(planned(with_sweep(row, 1, bend, remedy.value)), NoPlan)


def test_changes_are_told_in_round_figures_that_do() -> None:
    foot = 0.3048
    row = row_of(EASY, TIGHT, EASY)
    none = planned(row)
    assert isinstance(none, NoPlan)
    steps = Steps(radius=0.5 * foot, place=foot)
    found = {r.kind: r for r in advise(RowPulls(row, BUNDLE, RULES), PRICES, none, steps)}
    for kind, step in (("radius", 0.5 * foot), ("vault", foot)):
        assert found[kind].value / step == pytest.approx(round(found[kind].value / step), abs=1e-9)
        assert isinstance(found[kind].plan, Plan)


def test_the_best_between_two_gaps_is_told() -> None:
    row = row_of(EASY, TIGHT, EASY, EASY, TIGHT, EASY)
    none = planned(row)
    assert isinstance(none, NoPlan)
    assert none.blocked == ((1, 2), (4, 5))
    pulls = RowPulls(row, BUNDLE, RULES)
    middle = between(pulls, PRICES, none)
    assert (middle[0].start, middle[-1].end) == (2, 4)
    part = part_of(row, 2, 4)
    best = plan_row(part.facts, RowPulls(part, BUNDLE, RULES).offers(), PRICES)
    assert isinstance(best, Plan)
    assert [s.end - 2 for s in middle] == [s.end for s in best.sections]
    # what does for both stretches is told for the whole
    (friction,) = (r for r in advise(pulls, PRICES, none) if r.kind == "friction" and r.plan)
    assert (friction.low, friction.high) == (0, 6)
    assert isinstance(planned(with_friction(row, lambda f: f * friction.value / 0.25)), Plan)


def test_what_else_it_takes_where_leave_alone_is_not_enough() -> None:
    vaults = (RowVault("A", feed=False, pull=False), RowVault("B"))
    row = row_of(TIGHT, vaults=vaults)
    none = planned(row)
    assert isinstance(none, NoPlan)
    found = [r for r in advise(RowPulls(row, BUNDLE, RULES), PRICES, none) if r.kind == "radius"]
    assert [r.leave for r in found] == [((0, ("feed",)),), ((0, ("pull",)),)]
    for remedy in found:
        assert remedy.span is not None
        assert remedy.segment is not None
        wide = replace(row, vaults=opened(vaults, dict(remedy.leave)))
        assert isinstance(planned(wide), NoPlan)
        assert isinstance(planned(with_sweep(row, remedy.span, remedy.segment, remedy.value)), NoPlan)
        assert isinstance(planned(with_sweep(wide, remedy.span, remedy.segment, remedy.value)), Plan)


def test_a_larger_sweep_on_a_slope_ends_as_high_as_before() -> None:
    """The way is shorter, so that the same rise is steeper: what an even grade between two inverts does."""
    lengths, turns = [300.0, 3.0, 300.0], [0.0, 1.5, 0.0]
    for grades in ((0.05, 0.05, 0.05), (0.02, 0.1, -0.3)):
        bore = row_of(EASY).spans[0].bores[0]
        chain = Chain(lengths, grades, grades, turns)
        row = Row(row_of(EASY).vaults, (Stretch(chain, (bore,) * 3),), ())
        swept = with_sweep(row, 0, 1, 60.0).spans[0].chain
        assert swept.total_length < chain.total_length - 5.0
        rise = [float(displacement(c, np.zeros(3))[:, 2].sum()) for c in (chain, swept)]
        assert rise[1] == pytest.approx(rise[0], abs=1e-9)
        assert np.ptp(swept.grade_in - chain.grade_in) < 1e-12
        assert np.array_equal(swept.grade_in, swept.grade_out)
    assert swept.grade_in[0] != grades[0]


def test_a_longer_reel_besides_where_neither_it_nor_a_new_vault_is_enough() -> None:
    # a quarter turn that no pull gets through, in a span that takes three reels
    row = row_of(TIGHT)
    prices = PlanRules(Costs(), reel=140.0, slack=0.0)
    none = planned(row, prices=prices)
    assert isinstance(none, NoPlan)
    found = {r.kind: r for r in advise(RowPulls(row, BUNDLE, RULES), prices, none)}
    assert "vault" not in found
    remedy = found["radius"]
    assert remedy.span is not None
    assert remedy.segment is not None
    assert remedy.reel == pytest.approx(row.length(0, 1), abs=0.1)
    done = with_sweep(row, remedy.span, remedy.segment, remedy.value)
    assert isinstance(remedy.plan, Plan)
    assert isinstance(planned(done, prices=prices), NoPlan)
    longer = replace(prices, reel=remedy.reel)
    assert isinstance(planned(row, prices=longer), NoPlan)
    assert isinstance(planned(done, prices=longer), Plan)


def test_a_larger_sweep_is_tried_in_the_bend_that_governs() -> None:
    """The first bend is the tightest, near the feed and hardly pressed; 12 times 50 mm is the least radius there may be."""
    row = row_of([(10.0, 0.0), (1.0, 1.0), (200.0, 0.0), (5.0, 0.3), (10.0, 0.0)])
    pulls = RowPulls(row, BUNDLE, replace(RULES, max_sidewall=1e5))
    option = PullOption(0, 1, (), pulls.evaluate(0, 1).utilisation, 0.0)
    result = pulls.evaluate(0, 1)
    assert result.source_segment[result.sidewall.argmax()] == 3
    (gain,) = (g for g in gains(pulls, option) if g.kind == "radius")
    assert (gain.segment, gain.now) == (1, pytest.approx(1.0))
    assert gain.utilisation < option.utilisation - 0.1
