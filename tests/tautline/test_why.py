"""The reasons of a plan, each found again by asking for it: in a job changed accordingly, or from the design's lengths."""

import itertools
import json
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

import tautline
from tautline.deliver.html import page
from tautline.deliver.screen import render
from tautline.errors import JobError
from tautline.job import read_job
from tautline.main import main

SAMPLES = Path(__file__).resolve().parents[2] / "sample_routes"
SCHEMA = json.loads(files("tautline").joinpath("result.schema.json").read_text(encoding="utf-8"))
FOOT = 0.3048
PRICES = "cost = { splice = 10.0, setup = 3.0, relube = 1.0 }"
REEL = 'reel = "2800 ft"'


def job(folder, *changes):
    """The sample's job with changes, pairs of old and new text."""
    text = (SAMPLES / "harbour_dxf.toml").read_text(encoding="utf-8")
    for old, new in (('source = "harbour.dxf"', f"source = '{SAMPLES / 'harbour.dxf'}'"), *changes):
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def with_sizes(tmp_path_factory):
    """The sample with two sizes of reel, a price of waste, splices asked for and forbidden, and three alternatives."""
    folder = tmp_path_factory.mktemp("sizes")
    sizes = 'reels = [{ length = "2800 ft", cost = 6.0 }, { length = "1200 ft", cost = 2.0 }]'
    waste = PRICES.replace(" }", ', waste = { price = 1.0, per = "1000 ft" } }')
    more = f'{waste}\nsplice_at = ["MH-9"]\nno_splice = ["MH-13"]'
    path = job(folder, (REEL, sizes), (PRICES, more))
    document = tautline.run_job(path, alternatives=3).to_dict()
    jsonschema.validate(document, SCHEMA, cls=jsonschema.Draft202012Validator)
    return document


def pulls_of(document):
    return [p for s in document["sections"] for p in s["pulls"]]


def test_reels_and_their_waste_are_counted_and_splices_are_where_they_may_be(with_sizes):
    splices = [s["to"] for s in with_sizes["sections"][:-1]]
    assert "MH-9" in splices
    assert "MH-13" not in splices
    cost, paid = with_sizes["cost"], 0.0
    for section in with_sizes["sections"]:
        reel = section["reel"]
        feet = round(reel["length_m"] / FOOT, 6)
        assert reel["cost"] == {2800.0: 6.0, 1200.0: 2.0}[feet]
        assert reel["waste_m"] == pytest.approx(reel["length_m"] - section["cable_length_m"])
        assert reel["waste_m"] >= 0.0
        # the small one wherever it is long enough: it is cheaper and less is left on it
        assert (feet == 1200.0) == (section["cable_length_m"] <= 1200 * FOOT)
        paid += reel["cost"] + reel["waste_m"] / (1000 * FOOT)
    assert cost["reels"] == pytest.approx(paid)
    bare = 10 * cost["splices"] + 3 * cost["setups"] + cost["relubes"]
    assert cost["total"] == pytest.approx(bare + paid)
    text = render(with_sizes)
    assert "reel ft  left over" in text
    assert "the job asks for a splice here" in text


def test_alternatives_buy_margin_and_nothing_else(with_sizes):
    found = with_sizes["alternatives"]
    assert [a["chosen"] for a in found] == [True] + [False] * (len(found) - 1)
    assert found[0]["plan"]["cost"] == with_sizes["cost"]["total"]
    assert len(found) == 3
    for one, other in itertools.pairwise(found):
        assert one["plan"]["cost"] < other["plan"]["cost"]
        assert one["plan"]["utilisation"] > other["plan"]["utilisation"]
    for one in found:
        used = [p["utilisation"] for s in one["plan"]["sections"] for p in s["pulls"]]
        assert max(used) == one["plan"]["utilisation"]
    assert sum(a["knee"] for a in found) <= 1
    assert "ALTERNATIVES" in render(with_sizes)
    assert "Alternatives: cost against margin" in page(with_sizes)


def moves_of(document):
    return {s["vault"]: {m["to"]: m for m in s["moved"]} for s in document["splices"]}


@pytest.mark.slow
def test_a_moved_splice_costs_what_is_said(sample_plan, tmp_path):
    document = sample_plan.to_dict()
    moved = moves_of(document)["MH-9"]["MH-10"]
    asked = tautline.run_job(job(tmp_path, (PRICES, f'{PRICES}\nsplice_at = ["MH-5", "MH-10", "MH-13"]')))
    cost = asked.to_dict()["cost"]["total"]
    assert moved["extra_cost"] == pytest.approx(cost - document["cost"]["total"])
    assert moved["utilisation"] == pytest.approx(max(p["utilisation"] for p in pulls_of(asked.to_dict())))


def test_a_splice_that_cannot_be_moved_says_why(sample_plan):
    document = sample_plan.to_dict()
    splices = moves_of(document)
    assert list(splices) == ["MH-5", "MH-9", "MH-13"]
    # MH-6 would make the first section longer than a reel
    at = {v["tag"]: v["station_m"] for v in document["vaults"]}
    assert (at["MH-6"] - at["SUB-A"]) / FOOT + 30.0 > 2800.0
    assert splices["MH-5"]["MH-6"]["extra_cost"] is None
    assert "of cable, and a reel holds 2,800.0 ft" in splices["MH-5"]["MH-6"]["why"]
    for reason in ("MH-5: not at MH-3", "MH-9: not at MH-8"):
        assert reason in render(document)
    assert "Why the splices are where they are" in page(document)
    # and where one looks first, on the mark in the plan
    assert "<title>MH-5: splice, pull. Why a splice here: not at MH-3" in page(document)


def test_less_friction_relieves_a_pull_as_said(sample_plan, tmp_path):
    pulls = pulls_of(sample_plan.to_dict())
    stated = "".join(
        f'\n[[pull]]\nfeed = "{p["feed"]}"\npull = "{p["pull"]}"\nrelube = {json.dumps(p["relube"])}\n'
        for p in pulls
    )
    path = job(tmp_path, ("lubricated = 0.20", "lubricated = 0.15"), ("dry = 0.45", "dry = 0.40"))
    path.write_text(path.read_text(encoding="utf-8") + stated, encoding="utf-8")
    eased = tautline.run_job(path, "check").to_dict()["pulls"]
    for before, after in zip(pulls, eased, strict=True):
        (gain,) = (g for g in before["why"]["gains"] if g["kind"] == "friction")
        assert gain["utilisation"] == pytest.approx(after["utilisation"], rel=1e-9)


def test_an_easier_other_way_is_explained_and_only_that(sample_plan):
    document = sample_plan.to_dict()
    told = 0
    for pull in pulls_of(document):
        why, other = pull["why"], pull["reverse"]
        if other["verdict"] == "fail":
            assert why["other_way"] == "fails"
        elif other["utilisation"] < pull["utilisation"] and len(other["relube"]) == len(pull["relube"]):
            told += 1
            assert why["other_way"] == "climbs-more"
            assert why["other_climb_m"] > why["climb_m"]
            # what is given up is no more than the plan gives up elsewhere
            assert pull["utilisation"] <= max(p["utilisation"] for p in pulls_of(document))
    assert told == 1
    assert render(document).count("the other way is easier at the same cost") == told


def test_a_cable_fed_in_the_middle_and_splices_with_nowhere_else_to_be_say_so(tmp_path):
    closed = [f"MH-{k}" for k in (1, 2, 3, 6, 7, 8, 9, 10, 12, 15, 16)]
    more = f"{PRICES.replace(' }', ', middle_feed = 2.0 }')}\nmiddle_feed = true\nno_splice = {json.dumps(closed)}"
    document = tautline.run_job(job(tmp_path, (REEL, 'reel = "5000 ft"'), (PRICES, more))).to_dict()
    middle = document["sections"][1]
    assert [(p["feed"], p["pull"]) for p in middle["pulls"]] == [("MH-9", "MH-5"), ("MH-9", "MH-13")]
    # the second would be easier the other way, which the one reel at MH-9 does not allow
    assert middle["pulls"][1]["reverse"]["utilisation"] < middle["pulls"][1]["utilisation"]
    text = " ".join(render(document).split())
    assert "one cable fed at MH-9 between its ends, so this pull cannot be turned round" in text
    assert "at the same cost" not in text
    assert "MH-5: no other vault between SUB-A and MH-13 may have a splice" in text
    assert "MH-13: no other vault between MH-5 and RISER-9 may have a splice" in text


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("splice = 10.0", "splice = nan", "plan.cost.splice must be at least 0"),
        ("splice = 10.0", "splice = -1.0", "plan.cost.splice must be at least 0"),
        ("splice = 10.0", "splice = 1e308", "plan.cost.splice must be at least 0 and at most 1e+15"),
        ("splice = 10.0", 'splice = "ten"', "plan.cost.splice must be a plain number"),
        (REEL, f'{REEL}\nreels = [{{ length = "1 ft" }}]', "plan.reels and reel are both stated"),
        (REEL, "reels = 3", "plan.reels must be a list of tables"),
        (REEL, 'reels = [{ length = "900 ft", cost = inf }]', "plan.reels[1].cost must be at least 0"),
        (REEL, "reels = [{ cost = 1.0 }]", "plan.reels[1].length is missing"),
        ("setup = 3.0", 'setup = 3.0, waste = { price = 1.0, per = "1 ft" }', "reels does not say which"),
        (REEL, f'{REEL}\nsplice_at = ["MH-5"]\nno_splice = ["MH-5"]', 'both name "MH-5"'),
    ],
)
def test_prices_and_reels_that_are_none_are_refused(tmp_path, old, new, said):
    with pytest.raises(JobError) as caught:
        read_job(job(tmp_path, (old, new)))
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("named", "said"),
    [
        ('splice_at = ["MH-4"]', 'splice_at names "MH-4", where harbour.dxf allows no splice'),
        pytest.param(
            'no_feed = ["MH-99"]',
            "there is no vault 'MH-99', which plan.no_feed names",
            marks=pytest.mark.slow,
        ),
        pytest.param('splice_at = ["SUB-A"]', "SUB-A to RISER-9 does not pass", marks=pytest.mark.slow),
    ],
)
def test_vaults_that_are_not_there_or_not_on_the_way_are_refused(tmp_path, capsys, named, said):
    assert main(["plan", str(job(tmp_path, (REEL, f"{REEL}\n{named}")))]) == 3
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("number", ["0", "-1", "101", "many"])
def test_a_number_of_alternatives_that_is_none_is_refused(capsys, number):
    with pytest.raises(SystemExit) as refused:
        main(["plan", "job.toml", "--alternatives", number])
    assert refused.value.code == 2
    assert "--alternatives: must be a whole number from 1 to 100, got" in capsys.readouterr().err
