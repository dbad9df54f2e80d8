"""A run from job file to result document: the schema, plan and check on real files, pulls as given."""

import json
from importlib.resources import files
from pathlib import Path

import ezdxf
import jsonschema
import pytest

import tautline
from tautline.errors import JobError
from tautline.explain import explain

SCHEMA = json.loads(files("tautline").joinpath("result.schema.json").read_text(encoding="utf-8"))
TAGS = ("A", "B", "C", "D")


@pytest.fixture
def branched(tmp_path):
    """A - B - C - D in line, a second way from B to C, a loop at D, a loose end beyond D, a duct far off."""
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"], document.header["$MEASUREMENT"] = 6, 1
    block = document.blocks.new("PIT")
    block.add_attdef("TAG", (0, 0))
    space = document.modelspace()
    ducts = [
        [(0, 0), (100, 0)],
        [(100, 0), (200, 0)],
        [(100, 0), (150, 30), (200, 0)],
        [(200, 0), (300, 0)],
        [(300, 0), (320, 20), (340, 0), (320, -20), (300, 0)],
        [(300, 0), (300, 90)],
        [(1000, 1000), (1100, 1000)],
    ]
    for line in ducts:
        space.add_lwpolyline(line, dxfattribs={"layer": "DUCTS"})
    places = {"A": (0, 0), "B": (100, 0), "C": (200, 0), "D": (300, 0), "X": (1000, 1000), "Y": (1100, 1000)}
    for tag, place in places.items():
        space.add_blockref("PIT", place, dxfattribs={"layer": "VAULTS"}).add_auto_attribs({"TAG": tag})
    document.saveas(tmp_path / "route.dxf")

    def job(pulls: str = "", feeder: str = "") -> Path:
        path = tmp_path / "job.toml"
        path.write_text(
            f"""
[job]
units = "si"
[route]
source = "route.dxf"
ducts = {{ layer = "DUCTS" }}
vaults = {{ layer = "VAULTS", name = "TAG" }}
sweep = "4 m"
{feeder}
[bundle]
cables = 1
diameter = "40 mm"
weight = "20 N/m"
conductor = {{ material = "copper", area = "240 mm2" }}
[duct]
inside_diameter = "100 mm"
[friction]
lubricated = 0.25
{pulls}
""",
            encoding="utf-8",
        )
        return path

    return job


@pytest.mark.parametrize("run", ["sample_plan", "sample_check", "laden_check"])
def test_the_document_keeps_to_its_schema(run, request):
    found = request.getfixturevalue(run)
    jsonschema.validate(found.to_dict(), SCHEMA, cls=jsonschema.Draft202012Validator)
    assert found.verdict == found.to_dict()["verdict"]


def test_what_a_job_asks_of_a_pull_is_in_the_document(laden_check):
    document = laden_check.to_dict()
    first = document["pulls"][0]
    assert first["relube"] == ["MH-11"]
    # an assist relieves the cable at its vault, by no more than was stated
    added = [force for force in first["segments"]["added_N"] if force]
    assert len(added) == 1
    assert -1500.0 <= added[0] < 0
    # guides at the feed and at the pull vault
    assert first["segments"]["guide"][0]
    assert first["segments"]["guide"][-1]
    names = {check["name"] for check in first["checks"]}
    assert {"grip_tension", "temperature", "puller_tension", "restart_tension"} <= names
    # lighter in water than 3 x 1.75 lbf/ft and 7 N/m together
    in_air = 3 * 1.75 * 4.4482216152605 / 0.3048 + 7.0
    assert first["weight_N_per_m"] == pytest.approx(in_air)
    weights = zip(first["segments"]["weight_N_per_m"], first["segments"]["guide"], strict=True)
    assert all((w < 0.8 * in_air) != dry for w, dry in weights)
    assert [c["role"] for c in document["bundle"]["cables"]] == ["power"] * 3 + ["ground"]


def test_every_pull_can_be_worked_by_hand(sample_plan, laden_check):
    for run in (sample_plan, laden_check):
        document = run.to_dict()
        pulls = document.get("pulls") or [p for s in document["sections"] for p in s["pulls"]]
        for pull in pulls:
            assert "every T2 above agrees with the result document" in explain(document, pull)


def test_the_document_given_out_is_a_copy(sample_plan):
    sample_plan.to_dict()["sections"].clear()
    assert sample_plan.to_dict()["sections"]


def test_a_plan_covers_the_feeder_once_within_every_limit(sample_plan):
    document = sample_plan.to_dict()
    vaults, sections = document["feeder"]["vaults"], document["sections"]
    assert [s["from"] for s in sections] == [vaults[0], *[s["to"] for s in sections[:-1]]]
    assert sections[-1]["to"] == vaults[-1] == "RISER-9"
    roles = {v["tag"]: v["roles"] for v in document["vaults"]}
    for section in sections:
        low, high = vaults.index(section["from"]), vaults.index(section["to"])
        (pull,) = section["pulls"]
        assert {pull["feed"], pull["pull"]} == {section["from"], section["to"]}
        between = vaults[low + 1 : high]
        assert sorted(p["tag"] for p in pull["passes"]) == sorted(between)
        assert section["cable_length_m"] == pytest.approx(pull["length_m"] + 2 * document["reel"]["slack_m"])
        assert section["cable_length_m"] <= document["reel"]["longest_m"]
        assert pull["max_tension_N"] <= pull["limits"]["max_tension_N"]
        assert pull["max_sidewall_N_per_m"] <= pull["limits"]["max_sidewall_N_per_m"]
        assert pull["utilisation"] <= 1
        stations = [p["station_m"] for p in pull["passes"]]
        assert stations == sorted(stations)
        for tag in pull["relube"]:
            assert "relube" in roles[tag]
    cost, pulls = document["cost"], [p for s in sections for p in s["pulls"]]
    assert cost["splices"] == len(sections) - 1
    assert cost["setups"] == len(pulls)
    assert cost["relubes"] == sum(len(p["relube"]) for p in pulls)
    # the prices of the sample job
    assert cost["total"] == 10 * cost["splices"] + 3 * cost["setups"] + 1 * cost["relubes"]


def test_check_takes_every_span_in_its_better_direction(sample_check):
    pulls = sample_check.to_dict()["pulls"]
    assert len(pulls) == 17
    for pull in pulls:
        assert pull["verdict"] == "pass" or pull["reverse"]["verdict"] == "fail"
        if pull["verdict"] == pull["reverse"]["verdict"]:
            assert pull["utilisation"] <= pull["reverse"]["utilisation"]


def test_check_needs_no_connected_network_and_says_what_it_left_out(branched):
    document = tautline.run_job(branched(), "check").to_dict()
    spans = [{p["feed"], p["pull"]} for p in document["pulls"]]
    assert len(spans) == 5
    assert {"X", "Y"} in spans
    assert spans.count({"B", "C"}) == 2
    left = [f["message"] for f in document["findings"] if f["code"] == "span-not-checked"]
    assert len(left) == 2  # the loop at D and the loose end


def test_a_pull_is_evaluated_as_given(branched):
    pulls = '[[pull]]\nfeed = "D"\npull = "A"\nrelube = ["C"]\n[[pull]]\nfeed = "A"\npull = "B"\n'
    document = tautline.run_job(branched(pulls), "check").to_dict()
    first, second = document["pulls"]
    assert (first["feed"], first["pull"], first["relube"]) == ("D", "A", ["C"])
    assert [p["tag"] for p in first["passes"]] == ["C", "B"]
    # 300 m level and straight, one cable: T = c w L, with c 0.25 and w 20 N/m (the shorter way from B to C)
    assert first["exit_tension_N"] == pytest.approx(0.25 * 20 * 300)
    assert second["exit_tension_N"] == pytest.approx(0.25 * 20 * 100)
    assert first["reverse"]["exit_tension_N"] == pytest.approx(0.25 * 20 * 300)


@pytest.mark.parametrize(
    ("pulls", "error", "words"),
    [
        ('[[pull]]\nfeed = "A"\npull = "C"\nrelube = ["D"]', JobError, ["pull[1].relube", '"D"', "passes B"]),
        ('[[pull]]\nfeed = "A"\npull = "E"', ValueError, ["'E'"]),
        ('[[pull]]\nfeed = "A"\npull = "X"', ValueError, ["no ducts lead from vault A to vault X"]),
        ('[[pull]]\nfeed = "A"\npull = "C"\nvia = ["Q"]', ValueError, ["'Q'"]),
    ],
)
def test_a_pull_that_cannot_be_is_refused(branched, pulls, error, words):
    with pytest.raises(error) as caught:
        tautline.run_job(branched(pulls), "check")
    for word in words:
        assert word in str(caught.value)


def test_an_assist_at_a_vault_that_is_not_there_is_refused(branched):
    pulling = '[pulling]\nassists = { "BB" = "2 kN" }'
    with pytest.raises(ValueError, match="no vault 'BB'"):
        tautline.run_job(branched(pulling), "check")


def test_plan_asks_for_a_feeder(branched):
    with pytest.raises(JobError, match=r"route\.feeder is missing"):
        tautline.run_job(branched(), "plan")


def test_two_ways_are_on_record(branched):
    document = tautline.run_job(branched(feeder='feeder = ["A", "D"]'), "plan").to_dict()
    assert document["verdict"] == "pass"
    assert any(f["code"] == "parallel-ducts" for f in document["findings"])


def test_the_same_input_gives_the_same_document(branched):
    path = branched(feeder='feeder = ["A", "D"]')
    assert tautline.run_job(path).to_dict() == tautline.run_job(path).to_dict()


def test_how_full_a_reel_is_governs_no_pull_until_it_is_too_short(branched):
    for reel, verdict in (("110 m", "pass"), ("100 m", "fail")):
        pulls = f'[plan]\nreel = "{reel}"\nslack = "4 m"\n[[pull]]\nfeed = "A"\npull = "B"\n'
        (pull,) = tautline.run_job(branched(pulls), "check").to_dict()["pulls"]
        reels = next(c for c in pull["checks"] if c["name"] == "reel_length")
        # 100 m of duct and 4 m of slack at each end
        assert (reels["value"], reels["verdict"]) == (pytest.approx(108.0), verdict)
        assert pull["verdict"] == verdict
        assert pull["utilisation"] < 0.5
        assert (pull["governs"] == "reel_length") == (verdict == "fail")


@pytest.mark.parametrize("command", ["plan", pytest.param("check", marks=pytest.mark.slow)])
def test_a_duct_of_feet_for_inches_is_doubted(branched, command):
    path = branched(feeder='feeder = ["A", "C"]')
    text = path.read_text(encoding="utf-8")
    (stated,) = (line for line in text.splitlines() if line.startswith("inside_diameter"))
    path.write_text(text.replace(stated, 'inside_diameter = "5 ft"'), encoding="utf-8")
    document = tautline.run_job(path, command).to_dict()
    (told,) = (f for f in document["findings"] if f["code"] == "duct-wide")
    assert "1524.0 mm inside" in told["message"]
    assert told["severity"] == "warning"
    assert "(A to B)" in told["message"]


def test_a_stated_pull_that_is_not_allowed_is_said_to_be_so(branched):
    path = branched(pulls='[plan]\nno_feed = ["C"]\nno_pull = ["B"]\n[[pull]]\nfeed = "C"\npull = "D"')
    document = tautline.run_job(path, "check").to_dict()
    (told,) = (f for f in document["findings"] if f["code"] == "pull-not-allowed")
    assert told["message"] == "pull[1] from C to D: feeding is not allowed at C"
    assert document["verdict"] == "pass"
