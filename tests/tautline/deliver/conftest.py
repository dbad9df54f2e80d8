from __future__ import annotations

import copy
import json
import runpy
from pathlib import Path

import pytest

HERE = Path(__file__).parent
NASTY = "</script><!--<script>=1+1 \"x\" 'y' & <b>MH</b>"
RIGHT_TO_LEFT = "בור משיכה 12"


@pytest.fixture(scope="session")
def made():
    """The names of made_document.py: harbour(), many(...), ..."""
    return runpy.run_path(str(HERE / "made_document.py"))


@pytest.fixture(scope="session")
def _handwritten():
    return json.loads((HERE / "handwritten.json").read_text(encoding="utf-8"))


@pytest.fixture
def harbour(_handwritten):
    return copy.deepcopy(_handwritten)


@pytest.fixture
def failing(harbour):
    """Pull 2 is over its limit by three hundredths of a percent."""
    pull = harbour["sections"][1]["pulls"][0]
    use = 1.0003
    pull["checks"][0] |= {"value": use * pull["checks"][0]["limit"], "utilisation": use, "verdict": "fail"}
    pull |= {"verdict": "fail", "utilisation": use, "governs": "max_tension"}
    harbour["verdict"] = "fail"
    return harbour


@pytest.fixture
def argued(harbour):
    """With a splice that the job asks for, a section that nothing can do without, and two plans to choose from."""
    section = harbour["sections"][0]
    harbour["splices"] = [{"vault": section["to"], "forced": True, "moved": []}]
    section["why"] = {"runner_up": None, "none": "too long", "extra_cost": None}
    brief = {"splices": 1, "setups": 2, "relubes": 0}
    harbour["alternatives"] = [
        {
            "chosen": not knee,
            "knee": knee,
            "plan": {
                **brief,
                "cost": cost,
                "utilisation": use,
                "sections": [{"to": to, "pulls": []} for to in (section["to"], "SUB-B")],
            },
        }
        for knee, cost, use in ((False, 40.0, 0.9), (True, 55.5, 0.7))
    ]
    return harbour


@pytest.fixture
def no_plan(harbour):
    harbour |= {
        "verdict": "no-plan",
        "cost": None,
        "no_plan": {
            "reason": "No pull crosses MH-5 to MH-6 under the sidewall limit.",
            "blocked": [{"from": "MH-5", "to": "MH-6", "why": "sidewall pressure 132 % of its limit"}],
            "reached": "MH-5",
            "resumes": "MH-6",
            "partial": harbour["sections"][:2],
        },
        "sections": [],
    }
    return harbour


@pytest.fixture
def checked(harbour):
    """What ``check`` gives: pulls alone, no feeder."""
    harbour["pulls"] = [p for s in harbour.pop("sections") for p in s["pulls"]]
    for key in ("cost", "no_plan", "reel"):
        del harbour[key]
    for vault in harbour["vaults"]:
        vault["station_m"] = None
    return harbour | {"command": "check", "feeder": None}


@pytest.fixture
def nasty(harbour):
    """Names that are markup, formulas, folders, control characters, right to left, or very long."""
    new = {
        "MH-3": NASTY,
        "MH-6": RIGHT_TO_LEFT,
        "MH-4": "../../MH\x1b[31m-4\n",
        "MH-5": "Pumping station at the north gate, chamber of the second duct bank 003",
    }

    def renamed(value):
        if isinstance(value, dict):
            return {k: renamed(v) for k, v in value.items()}
        if isinstance(value, list):
            return [renamed(v) for v in value]
        return new.get(value, value) if isinstance(value, str) else value

    document = renamed(harbour)
    document["job"]["name"] = NASTY
    document["findings"][0] |= {"message": NASTY, "remedy": NASTY}
    document["assumptions"].append(NASTY)
    document["sections"][0]["pulls"][0]["checks"][0]["source"] = NASTY
    return document


@pytest.fixture
def flat(harbour):
    """No elevation anywhere, no CRS, no limit, no direction to compare with."""
    for vault in harbour["vaults"]:
        vault["z"] = None
    for span in harbour["route"]:
        span["path"] = [[x, y, None] for x, y, _ in span["path"]]
    for section in harbour["sections"]:
        for pull in section["pulls"]:
            pull["path"] = [[x, y, None] for x, y, _ in pull["path"]]
            pull["profile"]["elevation_m"] = [None] * len(pull["profile"]["station_m"])
            pull["limits"] = {"max_tension_N": None, "max_sidewall_N_per_m": None}
            pull["reverse"] = None
            del pull["segments"]["path_index"]
    harbour["reel"]["longest_m"] = None
    harbour["findings"][0]["where"] |= {"x": None, "y": None}
    return harbour | {"crs": None}


ALL = ("harbour", "failing", "no_plan", "checked", "nasty", "flat")


@pytest.fixture(params=ALL)
def document(request):
    """Each of the documents in turn."""
    return request.getfixturevalue(request.param)
