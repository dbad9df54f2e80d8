"""The sample route end to end: both forms give one plan, and the shape that was drawn comes back."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from mechanics import Chain, tension_along
from routeio import read_survey
from routeio.survey import Survey
from tautline import run_job
from tautline.job import read_job

SAMPLE = Path(__file__).parents[1] / "sample_routes"
FORMS = ("dxf", "gis")
# between the drawing and the layer, of tensions and sidewall pressures
ALIKE = 0.03


def _job(form: str) -> Path:
    return SAMPLE / f"harbour_{form}.toml"


@pytest.fixture(scope="module")
def truth() -> dict[tuple[str, str], Chain]:
    spec = importlib.util.spec_from_file_location("make_sample", SAMPLE / "make_sample.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_sample"] = module
    spec.loader.exec_module(module)
    return dict(module.truth())


@pytest.fixture(scope="module")
def surveys() -> dict[str, Survey]:
    jobs = {form: read_job(_job(form)) for form in FORMS}
    return {form: read_survey(job.source, job.options) for form, job in jobs.items()}


@pytest.fixture(scope="module")
def plans() -> dict[str, dict[str, Any]]:
    return {form: run_job(_job(form), "plan").to_dict() for form in FORMS}


@pytest.fixture(scope="module")
def checks() -> dict[str, dict[str, Any]]:
    return {form: run_job(_job(form), "check").to_dict() for form in FORMS}


def _pulls(document: dict[str, Any]) -> list[dict[str, Any]]:
    return [pull for section in document["sections"] for pull in section["pulls"]]


def _what_was_chosen(document: dict[str, Any]) -> list[tuple[Any, ...]]:
    return [
        (
            s["from"],
            s["to"],
            [(p["feed"], p["pull"], [v["tag"] for v in p["passes"]], p["relube"]) for p in s["pulls"]],
        )
        for s in document["sections"]
    ]


@pytest.mark.parametrize("form", FORMS)
def test_drawn_shape_comes_back(
    form: str, surveys: dict[str, Survey], truth: dict[tuple[str, str], Chain]
) -> None:
    """Every span against the exact design: length, turns, climb, and what they do to a cable."""
    found = {}
    for duct in surveys[form].ducts:
        if (duct.start_vault, duct.end_vault) in truth:
            found[duct.start_vault, duct.end_vault] = duct.chain
        elif (duct.end_vault, duct.start_vault) in truth:
            found[duct.end_vault, duct.start_vault] = duct.chain.reversed()
    assert found.keys() == truth.keys()
    for span, exact in truth.items():
        chain = found[span]
        assert chain.total_length == pytest.approx(exact.total_length, abs=0.05), span  # [m], gaps included
        assert np.abs(chain.turn).sum() == pytest.approx(np.abs(exact.turn).sum(), abs=np.radians(1.0)), span
        for a, b in ((chain, exact), (chain.reversed(), exact.reversed())):
            # three cradled cables of 25.5 N/m each on lubricated duct, entering as after a long way
            drawn, true = (
                float(tension_along(c, weight=76.6, friction=0.26, entry=8000.0)[-1]) for c in (a, b)
            )
            assert drawn == pytest.approx(true, rel=0.01), span


def test_both_forms_give_the_same_plan(plans: dict[str, dict[str, Any]]) -> None:
    assert _what_was_chosen(plans["dxf"]) == _what_was_chosen(plans["gis"])
    assert plans["dxf"]["verdict"] == plans["gis"]["verdict"] == "pass"
    assert plans["dxf"]["cost"] == plans["gis"]["cost"]


FORCES = ("entry_tension_N", "holding_tension_N", "exit_tension_N", "max_tension_N", "max_sidewall_N_per_m")


def _assert_alike(a: dict[str, Any], b: dict[str, Any], what: str) -> None:
    for key in FORCES:
        assert a[key] == pytest.approx(b[key], rel=ALIKE, abs=1.0), f"{what}: {key}"


def test_both_forms_give_the_same_forces(plans: dict[str, dict[str, Any]]) -> None:
    for one, other in zip(_pulls(plans["dxf"]), _pulls(plans["gis"]), strict=True):
        what = f"{one['feed']} to {one['pull']}"
        _assert_alike(one, other, what)
        _assert_alike(one["reverse"], other["reverse"], f"{what}, reversed")


def test_both_forms_give_the_same_forces_span_by_span(checks: dict[str, dict[str, Any]]) -> None:
    spans = {
        form: {frozenset((p["feed"], p["pull"])): p for p in document["pulls"]}
        for form, document in checks.items()
    }
    assert len(spans["dxf"]) == 17
    assert spans["dxf"].keys() == spans["gis"].keys()
    for ends, one in spans["dxf"].items():
        other = spans["gis"][ends]
        if one["feed"] != other["feed"]:  # a span that is as good either way
            other = {**other["reverse"], "reverse": other}
        _assert_alike(one, other, " - ".join(sorted(ends)))
        _assert_alike(one["reverse"], other["reverse"], " - ".join(sorted(ends)) + ", reversed")


def test_plan_has_something_to_show(plans: dict[str, dict[str, Any]]) -> None:
    document = plans["dxf"]
    pulls = _pulls(document)
    tags = document["feeder"]["vaults"]
    assert len(document["sections"]) >= 3
    assert any(tags.index(pull["feed"]) > tags.index(pull["pull"]) for pull in pulls)
    assert any(pull["relube"] for pull in pulls)
    assert any(pull["reverse"]["verdict"] == "fail" for pull in pulls)
    worst = [
        max(c["utilisation"] for c in pull["checks"] if c["binding"] and c["utilisation"] is not None)
        for pull in pulls
    ]
    assert all(0.5 < utilisation < 0.95 for utilisation in worst)
    handholes = {"MH-4", "MH-11", "MH-14"}  # no room for splices
    assert not handholes & {section["to"] for section in document["sections"]}


def test_relube_stops_pay(plans: dict[str, dict[str, Any]], tmp_path: Path) -> None:
    """The same pulls without their stops do not pass."""
    stopped = [pull for pull in _pulls(plans["dxf"]) if pull["relube"]]
    text = _job("dxf").read_text(encoding="utf-8").replace('"harbour.dxf"', repr(str(SAMPLE / "harbour.dxf")))
    for pull in stopped:
        text += f'\n[[pull]]\nfeed = "{pull["feed"]}"\npull = "{pull["pull"]}"\n'
    job = tmp_path / "job.toml"
    job.write_text(text, encoding="utf-8")
    without = run_job(job, "check").to_dict()["pulls"]
    assert len(without) == len(stopped) > 0
    assert [pull["verdict"] for pull in without] == ["fail"] * len(stopped)


def test_what_the_hurried_hand_left_is_on_record(plans: dict[str, dict[str, Any]]) -> None:
    codes = {finding["code"] for finding in plans["dxf"]["findings"]}
    assert codes >= {"gap-closed", "split-at-vault", "directions-mixed"}
    assert any("swept" in pull["segments"]["how"] for pull in _pulls(plans["dxf"]))  # the bare corner


def test_only_the_drawing_needs_repair(plans: dict[str, dict[str, Any]]) -> None:
    assert "gap-closed" not in {finding["code"] for finding in plans["gis"]["findings"]}
    assert all(finding["severity"] == "info" for finding in plans["gis"]["findings"])
