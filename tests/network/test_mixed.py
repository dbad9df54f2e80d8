"""Feeders in which not every section has the same bundle, against enumeration of all plans, every pull evaluated."""

import itertools
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from mechanics.cable import Bundle, Cable
from mechanics.chain import Chain
from mechanics.errors import DomainError
from mechanics.pull import PullResult, Rules, evaluate_pull
from mechanics.track import Bore, Friction
from network.advice import advise
from network.alternatives import alternatives
from network.mixed import MixedPulls, OtherBundle, pulls_of, with_others
from network.plan import Costs, NoPlan, Plan, PlanRules, Reel, plan_row
from network.row import Row, RowVault, Stretch

Pull = tuple[int, int, tuple[int, ...]]
STEP = 1e-9
THIN = Bundle((Cable(0.036, 19.0, conductor_area=1.77e-4),) * 3)


def random_feeder(
    random_case: Callable[..., Any], seed: int, spans: int
) -> tuple[Row, MixedPulls, PlanRules]:
    """A row with one or two other bundles in it, each with limits and reels of its own."""
    rng = np.random.default_rng(seed)
    case = random_case(seed, spans, hilly=seed % 2 == 1, ages=seed % 3 > 0)
    ends = sorted(rng.choice(spans + 1, size=2, replace=False).tolist())
    if seed % 4 == 0 and spans > 2:
        ends = sorted(rng.choice(spans + 1, size=3, replace=False).tolist())
    tags = [v.tag for v in case.row.vaults]
    vaults = tuple(replace(v, splice=v.splice or k in ends) for k, v in enumerate(case.row.vaults))
    row = replace(case.row, vaults=vaults)
    others = []
    for number, (low, high) in enumerate(itertools.pairwise(ends)):
        alike = random_case(seed + 5000 * (number + 1), 1, hilly=False)
        rules = replace(alike.rules, entry=case.rules.entry)
        reels = (Reel(250.0, 2.0), Reel(500.0, 3.0)) if rng.random() < 0.3 else ()
        bundle = THIN if rng.random() < 0.5 else alike.bundle
        others.append(
            OtherBundle(
                tags[low], tags[high], bundle, rules, None if reels else rng.choice([None, 300.0]), reels
            )
        )
    plan_rules = PlanRules(
        Costs(splice=float(rng.choice([0.5, 10.0])), relube=float(rng.choice([0.1, 1.0]))),
        reel=rng.choice([None, 400.0]),
        slack=5.0,
        middle_feed=bool(rng.random() < 0.5),
    )
    others = others[::-1]  # in any order
    pulls = pulls_of(row, case.bundle, case.rules, others)
    assert isinstance(pulls, MixedPulls)
    return row, pulls, with_others(plan_rules, tags, others)


def evaluated(row: Row, pulls: MixedPulls) -> dict[Pull, PullResult]:
    """Every pull that passes and lies within one bundle, each evaluated by itself on the whole row."""
    number = {v.tag: k for k, v in enumerate(row.vaults)}
    own: list[tuple[Bundle, Rules]] = [(pulls.bundle, pulls.rules)] * len(row.spans)
    for o in pulls.others:
        low, high = number[o.first], number[o.last]
        own[low:high] = [(o.bundle, o.rules)] * (high - low)
    found = {}
    for feed, pull in itertools.permutations(range(len(row.spans) + 1), 2):
        low, high = sorted((feed, pull))
        if any(o is not own[low] for o in own[low:high]) or any(
            low < number[t] < high for o in pulls.others for t in (o.first, o.last)
        ):
            continue
        step = 1 if pull > feed else -1
        between = range(feed + step, pull, step)
        for count in range(len(between) + 1):
            for stops in itertools.combinations(between, count):
                relube = [step * (v - feed) - 1 for v in stops]
                result = evaluate_pull(row.track(feed, pull), *own[low], relube)
                if result.verdict == "pass":
                    found[feed, pull, stops] = result
    return found


def best_plan(row: Row, pulls: MixedPulls, rules: PlanRules) -> tuple[Any, ...] | None:
    """The first of all plans in the order of plans."""
    last = len(row.spans)
    number = {v.tag: k for k, v in enumerate(row.vaults)}
    changes = {number[t] for o in pulls.others for t in (o.first, o.last)} - {0, last}
    used = {
        p: r.utilisation
        for p, r in evaluated(row, pulls).items()
        if row.vaults[p[0]].feed and row.vaults[p[1]].pull
    }
    price = {k: Fraction(str(v)) for k, v in vars(rules.costs).items()}

    def reels(low: int, high: int) -> Fraction | None:
        inside = [o for o in pulls.others if number[o.first] <= low and high <= number[o.last]]
        reel, sizes = (inside[0].reel, inside[0].reels) if inside else (rules.reel, rules.reels)
        need = row.length(low, high) + 2 * rules.slack
        if reel is not None and need > reel + 1e-6:
            return None
        if not sizes:
            return Fraction(0)
        return min((Fraction(str(r.cost)) for r in sizes if need <= r.length + 1e-6), default=None)

    def ways(low: int, high: int) -> Iterator[tuple[Any, ...]]:
        reel = reels(low, high)
        if reel is None:
            return
        found: list[tuple[Pull, ...]] = [(p,) for p in used if {p[0], p[1]} == {low, high}]
        if rules.middle_feed:
            back = [p for p in used if p[1] == low and low < p[0] < high]
            found += [(p, q) for p in back for q in used if q[0] == p[0] and q[1] == high]
        for w in found:
            cost = price["setup"] * len(w) + price["relube"] * sum(len(p[2]) for p in w) + reel
            climb = sum(round(row.climb(p[0], p[1]) * 1e6) for p in w)
            yield cost, max(round(used[p] / STEP) for p in w), climb, w

    plans = []
    for count in range(last):
        for cuts in itertools.combinations([k for k in range(1, last) if row.vaults[k].splice], count):
            if not changes <= set(cuts):
                continue
            bounds = [0, *cuts, last]
            choices = [list(ways(a, b)) for a, b in itertools.pairwise(bounds)]
            if not all(choices):
                continue
            choices = [[c for c in s if c[0] == min(x[0] for x in s)] for s in choices]
            for plan in itertools.product(*choices):
                cost = sum(c[0] for c in plan) + price["splice"] * count
                plans.append((cost, max(c[1] for c in plan), sum(c[2] for c in plan), bounds[1:], plan))
    return min(plans, key=lambda p: p[:4]) if plans else None


def check(random_case: Callable[..., Any], seed: int, spans: int) -> str:
    row, pulls, rules = random_feeder(random_case, seed, spans)
    found = plan_row(row.facts, pulls.offers(), rules)
    best = best_plan(row, pulls, rules)
    if best is None:
        assert isinstance(found, NoPlan), seed
        return "none"
    assert isinstance(found, Plan), seed
    cost, worst, climb, ends, _ = best
    assert Fraction(str(round(found.cost, 9))) == cost, seed
    assert abs(round(found.utilisation / STEP) - worst) <= 1, seed
    chosen = [p for s in found.sections for p in s.pulls]
    assert abs(sum(round(p.climb * 1e6) for p in chosen) - climb) <= 1, seed
    assert [s.end for s in found.sections] == ends, seed
    for p in chosen:
        result = pulls.evaluate(p.feed, p.pull, p.relube)
        assert result.verdict == "pass", seed
        assert result.utilisation == pytest.approx(p.utilisation, rel=1e-8), seed
    # as many re-lube stops and margins as the search says, for every plan of the trade-off
    for other in alternatives(row.facts, pulls.offers(), rules, 3):
        assert set(pulls.changes) <= {s.end for s in other.plan.sections}, seed
    return "stops" if found.relubes else "plain"


def test_plans_of_random_feeders_with_other_bundles(random_case: Callable[..., Any]) -> None:
    kinds = [check(random_case, seed, 2 + seed % 2) for seed in range(10)]
    assert kinds.count("plain") > 2
    assert "none" in kinds


@pytest.mark.slow
def test_plans_of_many_random_feeders_with_other_bundles(random_case: Callable[..., Any]) -> None:
    kinds = [check(random_case, seed, 2 + seed % 4) for seed in range(100, 300)]
    assert kinds.count("stops") > 3
    assert kinds.count("none") > 5


def test_reels_of_each_bundle_are_its_own(random_case: Callable[..., Any]) -> None:
    """Four spans of 100 m: two to a reel of the first cable, one to a reel of the second, priced as each is."""
    vaults = tuple(RowVault(f"V{k}") for k in range(5))
    span = Stretch(Chain([100.0], [0.0], [0.0], [0.0]), (Bore(0.127, Friction(0.2)),))
    none = Stretch(Chain([], [], [], []), ())
    row = Row(vaults, (span,) * 4, (none,) * 3)
    other = OtherBundle("V2", "V4", THIN, Rules(), reels=(Reel(120.0, 7.0),))
    rules = with_others(PlanRules(Costs(), reels=(Reel(250.0, 5.0),)), [v.tag for v in vaults], [other])
    plan = plan_row(row.facts, pulls_of(row, THIN, Rules(), [other]).offers(), rules)
    assert isinstance(plan, Plan)
    assert [s.end for s in plan.sections] == [2, 3, 4]
    assert [s.reel.length for s in plan.sections if s.reel] == [250.0, 120.0, 120.0]
    assert plan.cost == pytest.approx(2 * 10.0 + 3 * 3.0 + 5.0 + 2 * 7.0)  # splices, set-ups, reels


def test_a_change_that_is_none_is_refused(random_case: Callable[..., Any]) -> None:
    case = random_case(2, 4, hilly=False)

    def pulls(*ends: tuple[str, str]) -> MixedPulls:
        others = tuple(OtherBundle(a, b, THIN, Rules()) for a, b in ends)
        return MixedPulls(case.row, THIN, Rules(), others)

    with pytest.raises(DomainError, match="V1 to V3 and V2 to V4"):
        pulls(("V2", "V4"), ("V1", "V3"))
    with pytest.raises(DomainError, match="later vault than it begins at, got V3 to V1"):
        pulls(("V3", "V1"))
    with pytest.raises(DomainError, match="got X9"):
        pulls(("V1", "X9"))
    with pytest.raises(DomainError, match="V1 to V3: the bundle changes at V2"):
        pulls(("V2", "V4")).evaluate(1, 3)


def test_what_would_help_is_of_the_bundle_there(random_case: Callable[..., Any]) -> None:
    """A reel too short for one bundle: longer reels of that one alone are asked for, and with them there is a plan."""
    vaults = tuple(RowVault(f"V{k}") for k in range(4))
    span = Stretch(Chain([100.0], [0.0], [0.0], [0.0]), (Bore(0.127, Friction(0.2)),))
    none = Stretch(Chain([], [], [], []), ())
    row = Row(vaults, (span,) * 3, (none,) * 2)
    other = OtherBundle("V2", "V3", THIN, replace(Rules(), reel=80.0), 80.0)
    pulls = pulls_of(row, THIN, Rules(), [other])
    rules = with_others(PlanRules(Costs()), [v.tag for v in vaults], [other])
    found = plan_row(row.facts, pulls.offers(), rules)
    assert isinstance(found, NoPlan)
    assert found.blocked == ((2, 3),)
    (remedy,) = [r for r in advise(pulls, rules, found) if r.kind == "reel"]
    assert (remedy.low, remedy.high, remedy.value) == (2, 3, pytest.approx(100.0))
    assert remedy.plan is not None
    again = [replace(other, reel=remedy.value, rules=Rules())]
    mended = plan_row(
        row.facts,
        pulls_of(row, THIN, Rules(), again).offers(),
        with_others(rules, ["V0", "V1", "V2", "V3"], again),
    )
    assert isinstance(mended, Plan)
    assert mended.cost == remedy.plan.cost
