"""The hand calculation of a whole pull, from a document that no program made."""

import copy
import json
import math
import os
import re
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from tautline.errors import ResultError, UsageError
from tautline.explain import explain, find_pull
from tautline.explain_lines import terminal_width

DOCUMENT = json.loads((Path(__file__).parent / "deliver" / "handwritten.json").read_text(encoding="utf-8"))


def test_a_pull_by_number_and_by_its_vaults():
    first = DOCUMENT["sections"][0]["pulls"][0]
    assert find_pull(DOCUMENT, "1") is first
    assert find_pull(DOCUMENT, f"{first['feed']}:{first['pull']}") is first
    with pytest.raises(UsageError, match="there is no pull"):
        find_pull(DOCUMENT, "99")
    other = f"{first['pull']}:{first['feed']}"
    with pytest.raises(UsageError, match=f'did you mean "{other}"'):
        find_pull(DOCUMENT, other.swapcase() + "x")


def test_everything_needed_stands_on_the_page():
    pull = DOCUMENT["sections"][0]["pulls"][0]
    text = explain(DOCUMENT, pull)
    for i in range(len(pull["segments"]["length_m"])):
        assert f"  {i + 1}. " in text
    flat = " ".join(text.split())
    for check in pull["checks"]:
        assert " ".join(check["source"].split()) in flat
    for caution in DOCUMENT["cautions"]:
        assert " ".join(caution.split()) in flat


def test_the_other_way_is_worked_out_too(sample_plan):
    document = sample_plan.to_dict()
    pull = document["sections"][0]["pulls"][0]
    other = find_pull(document, f"{pull['pull']}:{pull['feed']}")
    text = explain(document, other)
    assert text.startswith(f"PULL {pull['pull']} -> {pull['feed']}")
    assert "every T2 above agrees" in text
    assert [p["tag"] for p in other["passes"]] == [p["tag"] for p in reversed(pull["passes"])]
    sidewall = next(c for c in other["checks"] if c["name"] == "max_sidewall")
    assert sidewall["utilisation"] == pytest.approx(
        pull["reverse"]["max_sidewall_N_per_m"] / sidewall["limit"]
    )
    assert f"governed by {other['governs'].replace('_', ' ')}" in text
    del pull["reverse"]["segments"]
    with pytest.raises(UsageError, match="plan or check again"):
        find_pull(document, f"{pull['pull']}:{pull['feed']}")


def test_a_job_in_us_units_is_worked_in_pounds_and_feet(sample_plan):
    document = sample_plan.to_dict()
    pull = document["sections"][0]["pulls"][0]
    text = explain(document, pull)
    # 5.25 lbf/ft is three times the data sheet's 1.75; 1 lbf = 4.4482216152605 N, 1 ft = 0.3048 m
    assert "bundle weight w = 5.25 lbf/ft" in text
    exit_lbf = pull["exit_tension_N"] / 4.4482216152605
    (told,) = re.findall(r"exit tension ([\d.]+) lbf", text)
    assert float(told) == pytest.approx(exit_lbf, rel=1e-6)
    first = pull["segments"]["length_m"][0] / 0.3048
    assert f"     L = {first:.4f}" in text


def test_friction_is_followed_from_the_last_lubrication(sample_plan):
    document = sample_plan.to_dict()
    pull = document["sections"][0]["pulls"][0]
    text = explain(document, find_pull(document, f"{pull['pull']}:{pull['feed']}"))
    worn = re.findall(
        r"= ([\d.]+) - \(([\d.]+) - ([\d.]+)\) e\^\(-\(([\d.]+) - ([\d.]+)\) / ([\d.]+)\) = ([\d.]+)", text
    )
    used = pull["reverse"]["segments"]["friction"]
    assert len(worn) > 5
    for figures in worn:
        dry, again, light, d, hold, same, found = map(float, figures)
        assert (dry, hold) == (again, same)
        # a pocket calculator, with what stands on the page
        assert found == pytest.approx(dry - (dry - light) * math.exp(-(d - hold) / hold), rel=1e-6)
    # those of parts of a straight stand in tables
    tabled = re.findall(r"^ +\d+ +[\d.]+ +[\d.]+ +(0\.\d+) +0\.\d+ +[\d.]+$", text, re.M)
    told = sorted({float(f) for f in (*(f[-1] for f in worn), *tabled)})
    assert told == pytest.approx(sorted({round(f, 7) for f in used if f > min(used)}), rel=1e-6)


def test_a_pull_through_water_says_which_weight_it_takes(laden_check):
    document = laden_check.to_dict()
    for pull in document["pulls"]:
        text = explain(document, pull)
        assert "every T2 above agrees" in text
        assert "in water" in text
        assert "lbf" not in text.split("CHECKS")[0]


def test_a_tension_that_is_wrong_in_the_document_is_told():
    document = copy.deepcopy(DOCUMENT)
    pull = document["sections"][0]["pulls"][0]
    pull["profile"]["tension_N"][3] *= 1.01
    text = explain(document, pull)
    assert "THE DOCUMENT SAYS" in text
    assert f"{pull['profile']['tension_N'][3]:.3f}" in text
    assert "NOT EVERY T2" in text


def test_warnings_that_touch_the_pull_are_printed():
    document = copy.deepcopy(DOCUMENT)
    pull = document["sections"][0]["pulls"][0]
    where = {"file": "", "layer": "", "id": pull["feed"], "x": None, "y": None}
    found = {"code": "invert-missing", "severity": "warning", "message": "no invert", "remedy": "survey it"}
    document["findings"] = [
        found | {"where": where},
        found | {"where": where | {"id": "ELSEWHERE"}, "code": "far"},
    ]
    pull["profile"]["elevation_m"] = [None] * len(pull["profile"]["elevation_m"])
    text = " ".join(explain(document, pull).split())
    assert "warning [invert-missing]: no invert. Remedy: survey it." in text
    assert "Grade not known: taken as flat" in text
    assert "[far]" not in text


@pytest.mark.parametrize(
    ("part", "key", "value", "told"),
    [
        ("segments", "friction", [0.2], "segments.friction has 1 entries"),
        ("profile", "tension_N", [], "profile.tension_N has 0 entries"),
        ("segments", "length_m", 0.0, r"segments.length_m\[0\] must be above 0, got 0.0"),
        ("segments", "turn_rad", math.nan, r"segments.turn_rad\[0\] is nan"),
    ],
)
def test_a_document_that_does_not_hold_together_is_refused(part, key, value, told):
    document = copy.deepcopy(DOCUMENT)
    pull = document["sections"][0]["pulls"][0]
    if isinstance(value, list):
        pull[part][key] = value
    else:
        pull[part][key][0] = value
    with pytest.raises(ResultError, match=told):
        explain(document, find_pull(document, "1"))


def test_numbers_too_large_to_be_worked_are_refused():
    document = copy.deepcopy(DOCUMENT)
    segments = document["sections"][0]["pulls"][0]["segments"]
    segments["weight_correction"] = [1e300] * len(segments["length_m"])
    with pytest.raises(ResultError, match="too large"):
        explain(document, find_pull(document, "1"))


def test_a_name_of_two_pulls_is_asked_back():
    document = copy.deepcopy(DOCUMENT)
    first = document["sections"][0]["pulls"][0]
    document |= {"command": "check", "pulls": [first, first | {"relube": [], "length_m": 1.0}]}
    with pytest.raises(UsageError, match="numbers 1, 2"):
        find_pull(document, f"{first['feed']}:{first['pull']}")
    assert find_pull(document, "2")["length_m"] == 1.0


def test_the_page_begins_with_what_it_comes_to():
    document = copy.deepcopy(DOCUMENT)
    pull = document["sections"][0]["pulls"][0]
    governs = next(c for c in pull["checks"] if c["name"] == pull["governs"])
    first = " ".join(explain(document, pull).split("\n\n")[1].split())
    assert first.startswith(f"{pull['verdict'].upper()} governed by {pull['governs'].replace('_', ' ')}")
    assert f"({100 * governs['utilisation']:.1f} %)" in first
    # a limit passed by a hair does not look like one just kept
    governs |= {"value": 1.000001 * governs["limit"], "utilisation": 1.000001, "verdict": "fail"}
    first = " ".join(explain(document, pull | {"verdict": "fail"}).split("\n\n")[1].split())
    assert first.startswith("FAIL, 1 of ")
    assert "(100.0001 %)" in first


def test_the_page_is_as_wide_as_the_terminal_behind_a_pager(monkeypatch):
    def size(descriptor):
        if descriptor == 1:
            raise OSError("not a terminal")
        return os.terminal_size((80, 24))

    streams = {
        name: SimpleNamespace(fileno=lambda at=at: at)
        for at, name in enumerate(("stdin", "stdout", "stderr"))
    }
    for name, stream in streams.items():
        monkeypatch.setattr(sys, f"__{name}__", stream)
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.setattr(os, "get_terminal_size", size)
    assert terminal_width() == 80
    monkeypatch.setenv("COLUMNS", "300")
    assert terminal_width() == 110
