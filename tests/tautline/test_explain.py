"""The hand calculation of a whole pull, from a document that no program made."""

import copy
import json
from pathlib import Path

import pytest

from tautline.errors import UsageError
from tautline.explain import explain, find_pull

DOCUMENT = json.loads((Path(__file__).parent / "deliver" / "handwritten.json").read_text(encoding="utf-8"))


def test_a_pull_by_number_and_by_its_vaults():
    first = DOCUMENT["sections"][0]["pulls"][0]
    assert find_pull(DOCUMENT, "1") is first
    assert find_pull(DOCUMENT, f"{first['feed']}:{first['pull']}") is first
    with pytest.raises(UsageError, match="there is no pull"):
        find_pull(DOCUMENT, "99")


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


def test_a_tension_that_is_wrong_in_the_document_is_told():
    document = copy.deepcopy(DOCUMENT)
    pull = document["sections"][0]["pulls"][0]
    pull["profile"]["tension_N"][3] *= 1.01
    text = explain(document, pull)
    assert f"THE DOCUMENT SAYS {pull['profile']['tension_N'][3]:.3f}" in text
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
