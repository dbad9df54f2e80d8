"""The plan against enumeration: every way to cut a small row, with every option of every pull."""

import itertools
import random
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import pytest

from mechanics.errors import DomainError
from network.plan import Costs, NoPlan, Plan, PlanRules, PullOption, Reel, plan_row
from network.pulls import Listed
from network.row import RowFacts, RowVault


def facts_of(vaults: list[RowVault], spans: list[float], crossing: float = 0.0) -> RowFacts:
    arrive, depart = [0.0], [0.0]
    for length in spans:
        arrive.append(depart[-1] + length)
        depart.append(arrive[-1] + crossing)
    return RowFacts(tuple(vaults), tuple(arrive), (*depart[:-1], arrive[-1]))


def plain(count: int) -> list[RowVault]:
    return [RowVault(f"V{k}") for k in range(count)]


def random_row(rng: random.Random, price_of_stop: bool) -> tuple[RowFacts, list[PullOption], PlanRules]:
    """A row of up to seven vaults with figures from so few values that ties are common."""
    n = rng.randint(1, 6)
    chance = rng.choice([0.9, 0.9, 0.6])
    vaults = [
        RowVault(f"V{k}", rng.random() < chance, rng.random() < chance, rng.random() < chance)
        for k in range(n + 1)
    ]
    facts = facts_of(vaults, [rng.choice([50.0, 80.1, 100.3]) for _ in range(n)], rng.choice([0.0, 1.7]))
    options = []
    for feed, pull in itertools.permutations(range(n + 1), 2):
        apart = abs(feed - pull)
        if rng.random() < 0.25 * (apart - 1) + 0.05:
            continue
        between = list(range(min(feed, pull) + 1, max(feed, pull)))
        stops = rng.randint(0, min(2, len(between)))
        climb = rng.choice([0.0, 0.1, 0.2, 3.0])
        load = rng.randint(4, 20)
        while stops <= len(between):
            relube = tuple(sorted(rng.sample(between, stops), reverse=pull < feed))
            options.append(PullOption(feed, pull, relube, load / 20, climb))
            stops += 1
            load -= rng.randint(1, 3)
            if load <= 0 or rng.random() < 0.6:
                break
    costs = Costs(
        rng.choice([0.0, 2.0, 10.0]),
        rng.choice([0.0, 0.3, 3.0]),
        rng.choice([0.1, 1.0, 2.0]) if price_of_stop else 0.0,
        rng.choice([0.0, 0.1, 1.0]),
    )
    reels: tuple[Reel, ...] = ()
    if rng.random() < 0.3:
        reels = tuple(
            Reel(length, rng.choice([1.0, 4.0, 4.5]))
            for length in rng.sample([100.0, 170.0, 300.0, 700.0], 2)
        )
    open_ = [v.tag for v in vaults[1:-1] if v.splice]
    rules = PlanRules(
        costs,
        rng.choice([None, 150.0, 260.0]),
        rng.choice([0.0, 5.0]),
        rng.random() < 0.6,
        reels,
        rng.choice([0.0, 0.25]) if reels else 0.0,
        tuple(rng.sample(open_, 1)) if open_ and rng.random() < 0.2 else (),
    )
    return facts, options, rules


def enumerate_plans(
    facts: RowFacts, options: list[PullOption], rules: PlanRules
) -> Iterator[tuple[tuple[object, ...], tuple[tuple[PullOption, ...], ...]]]:
    """Yield every plan with its place in the order of plans, by the words of the definition and nothing else."""
    last = len(facts.vaults) - 1
    allowed = [o for o in options if facts.vaults[o.feed].feed and facts.vaults[o.pull].pull]
    middles = [k for k in range(1, last) if facts.vaults[k].splice]
    forced = {k for k in middles if facts.vaults[k].tag in rules.splice_at}
    for count in range(len(middles) + 1):
        for cuts in itertools.combinations(middles, count):
            if not forced <= set(cuts):
                continue
            ends = [0, *cuts, last]
            choices = []
            for low, high in itertools.pairwise(ends):
                length = facts.arrive[high] - facts.depart[low] + 2 * rules.slack
                ways: list[tuple[PullOption, ...]] = []
                if reel_price(rules, length) is not None:
                    ways += [(o,) for o in allowed if {o.feed, o.pull} == {low, high}]
                    if rules.middle_feed:
                        ways += [
                            (a, b)
                            for a in allowed
                            for b in allowed
                            if a.feed == b.feed and a.pull == low and b.pull == high and low < a.feed < high
                        ]
                choices.append(ways)
            for sections in itertools.product(*choices):
                pulls = [p for s in sections for p in s]
                price = {k: Fraction(str(v)) for k, v in vars(rules.costs).items()}
                reels = [
                    reel_price(rules, facts.arrive[high] - facts.depart[low] + 2 * rules.slack) or Fraction(0)
                    for low, high in itertools.pairwise(ends)
                ]
                cost = sum(reels) + (
                    price["splice"] * (len(sections) - 1)
                    + price["setup"] * len(pulls)
                    + price["relube"] * sum(len(p.relube) for p in pulls)
                    + price["middle_feed"] * (len(pulls) - len(sections))
                )
                yield (
                    (
                        cost,
                        max(p.utilisation for p in pulls),
                        sum(Fraction(str(p.climb)) for p in pulls),
                        tuple(ends[1:]),
                        tuple((s[0].feed, *(sorted(p.relube) for p in s)) for s in sections),
                    ),
                    sections,
                )


def reel_price(rules: PlanRules, length: float) -> Fraction | None:
    """Price of the cheapest reel with what is left on it, to the nearest billionth; None where no reel will do."""
    if rules.reel is not None and length > rules.reel + 1e-6:
        return None
    if not rules.reels:
        return Fraction(0)
    prices = [
        r.cost + rules.waste * max(r.length - length, 0.0) for r in rules.reels if length <= r.length + 1e-6
    ]
    return Fraction(round(min(prices) * 10**9), 10**9) if prices else None


def check_against_enumeration(seed: int) -> bool:
    rng = random.Random(seed)
    facts, options, rules = random_row(rng, price_of_stop=seed % 4 != 0)
    rng.shuffle(options)
    found = plan_row(facts, lambda feed: [o for o in options if o.feed == feed], rules)
    plans = sorted(enumerate_plans(facts, options, rules), key=lambda p: p[0])
    if not plans:
        assert isinstance(found, NoPlan), seed
        return False
    assert isinstance(found, Plan), seed
    (cost, utilisation, climb, ends, _), sections = plans[0]
    assert tuple(s.pulls for s in found.sections) == sections, seed
    assert found.cost == pytest.approx(float(cost), abs=1e-6)
    assert all(s.reel is None or s.reel.length >= s.cable_length - 1e-6 for s in found.sections)
    assert found.utilisation == utilisation
    assert found.climb == pytest.approx(float(climb))
    assert tuple(s.end for s in found.sections) == ends
    return True


def test_cheapest_plan_is_the_first_of_all_plans() -> None:
    solved = sum(check_against_enumeration(seed) for seed in range(400))
    assert 200 < solved < 400


@pytest.mark.slow
def test_cheapest_plan_is_the_first_of_all_plans_at_length() -> None:
    assert sum(check_against_enumeration(seed) for seed in range(1000, 11000)) > 5000


def test_worst_utilisation_elsewhere_frees_the_choice_here() -> None:
    """A worst is no sum: the section that must be bad lets the other be chosen by its climb."""
    facts = facts_of(plain(3), [100.0, 100.0])
    options = [
        PullOption(0, 1, (), 0.5, 9.0),
        PullOption(1, 0, (), 0.8, 2.0),
        PullOption(1, 2, (), 0.9, 1.0),
    ]
    plan = plan_row(facts, Listed(options), PlanRules(Costs()))
    assert isinstance(plan, Plan)
    assert plan.sections[0].pulls[0].feed == 1
    calm = plan_row(facts, Listed([*options[:2], replace(options[2], utilisation=0.6)]), PlanRules(Costs()))
    assert isinstance(calm, Plan)
    assert calm.sections[0].pulls[0].feed == 0


def test_prices_in_tenths_tie_exactly() -> None:
    """Three stops at 0.1 cost what one set-up of 0.3 does, though 0.1 + 0.1 + 0.1 is not 0.3 in floats."""
    facts = facts_of(plain(5), [100.0] * 4)
    one = PullOption(0, 4, (1, 2, 3), 0.9, 0.0)
    two = [PullOption(0, 2, (), 0.8, 0.0), PullOption(2, 4, (), 0.8, 0.0)]
    plan = plan_row(facts, Listed([one, *two]), PlanRules(Costs(splice=0.0, setup=0.3, relube=0.1)))
    assert isinstance(plan, Plan)
    assert plan.cost == 0.6
    assert plan.utilisation == 0.8


def test_rounding_noise_does_not_choose() -> None:
    facts = facts_of(plain(2), [100.0])
    options = [PullOption(1, 0, (), 0.3, 0.0), PullOption(0, 1, (), 0.1 + 0.2, 1e-15)]
    plan = plan_row(facts, Listed(options), PlanRules(Costs()))
    assert isinstance(plan, Plan)
    assert plan.sections[0].pulls[0].feed == 0


def test_a_cable_may_always_end_at_the_ends_of_the_row_but_is_fed_and_pulled_there_only_with_leave() -> None:
    options = Listed([PullOption(0, 1, (), 0.5, 0.0), PullOption(1, 0, (), 0.7, 0.0)])
    for feeds, pulls, expected in (
        ((True, True), (True, True), (0, 1)),
        ((False, True), (True, True), (1, 0)),
        ((True, True), (True, False), (1, 0)),
        ((True, False), (False, True), (0, 1)),
        ((False, False), (True, True), "feeding at V0, V1"),
        ((False, True), (False, True), "feeding at V0; pulling at V0"),
        ((True, False), (True, False), "feeding at V1; pulling at V1"),
    ):
        vaults = [RowVault(f"V{k}", splice=False, feed=feeds[k], pull=pulls[k]) for k in range(2)]
        found = plan_row(facts_of(vaults, [100.0]), options, PlanRules(Costs()))
        if isinstance(found, Plan):
            assert (found.sections[0].pulls[0].feed, found.sections[0].pulls[0].pull) == expected
        else:
            assert found.why[0].endswith(f"that is not allowed: {expected}")


def test_middle_feed_needs_no_splice_but_leave_to_feed() -> None:
    options = Listed([PullOption(1, 0, (), 0.5, 0.0), PullOption(1, 2, (), 0.5, 0.0)])
    rules = PlanRules(Costs(middle_feed=2.5), reel=220.0, slack=10.0, middle_feed=True)
    for feed in (True, False):
        vaults = [RowVault("A"), RowVault("B", splice=False, feed=feed, pull=False), RowVault("C")]
        plan = plan_row(facts_of(vaults, [100.0, 100.0]), options, rules)
        assert isinstance(plan, Plan if feed else NoPlan)
        if isinstance(plan, Plan):
            assert [(p.feed, p.pull) for p in plan.sections[0].pulls] == [(1, 0), (1, 2)]
            assert (plan.splices, plan.setups, plan.middle_feeds, plan.cost) == (0, 2, 1, 8.5)
            assert plan.sections[0].cable_length == 220.0


def test_no_plan_says_which_span_and_why() -> None:
    rules = PlanRules(Costs(), reel=150.0, slack=5.0)
    options = [PullOption(k, k + 1, (), 0.5, 0.0) for k in (0, 1, 3, 4)]
    none = plan_row(facts_of(plain(6), [100.0, 100.0, 100.0, 145.0, 100.0]), Listed(options), rules)
    assert isinstance(none, NoPlan)
    assert none.blocked == ((2, 3), (3, 4))
    assert "no pull through it passes" in none.why[0]
    assert "155.00 m long and a reel holds 150.00 m" in none.why[1]
    assert "V2 to V3" in none.reason
    assert (none.reached, none.resumes) == (2, 4)
    assert [(s.start, s.end) for s in none.partial] == [(0, 1), (1, 2)]
    assert [(s.start, s.end) for s in none.rest] == [(4, 5)]


def test_no_plan_where_leave_is_wanting() -> None:
    vaults = [
        RowVault("A"),
        RowVault("B", feed=False, pull=False),
        RowVault("C", splice=False),
        RowVault("D"),
    ]
    facts = facts_of(vaults, [100.0] * 3)
    pulls = Listed(
        [PullOption(0, 1, (), 0.5, 0.0), PullOption(0, 2, (), 0.5, 0.0), PullOption(3, 2, (), 0.5, 0.0)]
    )
    none = plan_row(facts, pulls, PlanRules(Costs()))
    assert isinstance(none, NoPlan)
    assert none.blocked == ((0, 1), (1, 2), (2, 3))
    assert all("splicing is not allowed" in why for why in none.why)
    closed = plan_row(facts, Listed([PullOption(0, 1, (), 0.5, 0.0)]), PlanRules(Costs()))
    assert isinstance(closed, NoPlan)
    assert closed.why[0].endswith("that is not allowed: pulling at B")


def test_no_plan_where_sections_do_not_meet() -> None:
    options = [PullOption(0, 2, (), 0.5, 0.0), PullOption(1, 3, (), 0.5, 0.0)]
    none = plan_row(facts_of(plain(4), [100.0] * 3), Listed(options), PlanRules(Costs()))
    assert isinstance(none, NoPlan)
    assert none.blocked == ()
    assert (none.reached, none.resumes) == (2, 1)
    assert "from V0 they reach V2" in none.reason


def test_splice_must_be_where_it_is_allowed() -> None:
    facts = facts_of([RowVault("A"), RowVault("B", splice=False), RowVault("C")], [100.0, 100.0])
    for tag, message in (("X", "vaults of the row, got X"), ("B", "splicing is allowed, got B")):
        with pytest.raises(DomainError, match=message):
            plan_row(facts, Listed([]), PlanRules(Costs(), splice_at=(tag,)))


def test_a_shorter_reel_is_taken_where_waste_costs() -> None:
    facts = facts_of(plain(2), [90.0])
    reels = (Reel(100.0, 5.0), Reel(200.0, 4.0))
    for waste, length in ((0.0, 200.0), (0.1, 100.0)):
        plan = plan_row(
            facts, Listed([PullOption(0, 1, (), 0.5, 0.0)]), PlanRules(Costs(), reels=reels, waste=waste)
        )
        assert isinstance(plan, Plan)
        assert plan.sections[0].reel is not None
        assert plan.sections[0].reel.length == length
        assert plan.cost == pytest.approx(3.0 + (4.0 if waste == 0.0 else 6.0))


@pytest.mark.parametrize("price", [float("nan"), float("inf"), -1.0])
def test_a_price_must_be_a_price(price: float) -> None:
    with pytest.raises(DomainError, match=r"cost\.relube"):
        Costs(relube=price)


def test_figures_that_are_no_figures_never_reach_the_search() -> None:
    with pytest.raises(DomainError, match="utilisation"):
        PullOption(0, 1, (), float("nan"), 0.0)
    with pytest.raises(DomainError, match="runs from feed"):
        PullOption(0, 1, (1,), 0.5, 0.0)
    with pytest.raises(DomainError, match="reel"):
        PlanRules(Costs(), reel=float("nan"))
    with pytest.raises(DomainError, match="vault from 0 to 1"):
        plan_row(facts_of(plain(2), [1.0]), Listed([PullOption(0, 2, (), 0.5, 0.0)]), PlanRules(Costs()))
