"""The sample route made impossible: what is said of it is true, and doing what is said gives a plan."""

import importlib.util
import json
import sys
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import ezdxf
import jsonschema
import pytest

import tautline
from tautline.deliver.html import page
from tautline.deliver.screen import render

SAMPLES = Path(__file__).resolve().parents[2] / "sample_routes"
SCHEMA = json.loads(files("tautline").joinpath("result.schema.json").read_text(encoding="utf-8"))
FOOT, POUND = 0.3048, 4.4482216152605


@pytest.fixture(scope="module")
def make_sample():
    """The script that draws the sample, as a module of its own whose design may be changed."""
    spec = importlib.util.spec_from_file_location("make_sample_changed", SAMPLES / "make_sample.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules[spec.name]


def job(folder, *changes, feeder=("MH-5", "MH-9"), drawing=SAMPLES / "harbour.dxf"):
    """A job like the sample's, for a part of its feeder; ``changes`` are pairs of old and new text."""
    text = (SAMPLES / "harbour_dxf.toml").read_text(encoding="utf-8")
    asked = f'feeder = ["{feeder[0]}", "{feeder[1]}"]'
    ends = ('feeder = ["SUB-A", "RISER-9"]', asked)
    for old, new in (('source = "harbour.dxf"', f"source = '{drawing}'"), ends, *changes):
        assert old in text
        text = text.replace(old, new)
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def refused(path):
    document = tautline.run_job(path).to_dict()
    jsonschema.validate(document, SCHEMA, cls=jsonschema.Draft202012Validator)
    assert document["verdict"] == "no-plan"
    assert json.loads(json.dumps(document)) == document
    return document


def with_bend(make_sample, folder, radius):
    """The drawing with the first bend between MH-6 and MH-7 of another radius. [ft]"""
    design = list(make_sample.DESIGN)
    kept = tuple(design)
    at = next(k for k, span in enumerate(design) if span.vault == "MH-7")
    pieces = list(design[at].pieces)
    assert isinstance(pieces[1], make_sample.Bend)
    pieces[1] = replace(pieces[1], radius=radius)
    design[at] = replace(design[at], pieces=tuple(pieces))
    make_sample.DESIGN = tuple(design)
    try:
        make_sample.write_dxf(folder / "changed.dxf")
    finally:
        make_sample.DESIGN = kept
    return folder / "changed.dxf"


def test_a_bend_too_tight_is_named_and_its_radius_gives_a_plan(make_sample, tmp_path):
    document = refused(job(tmp_path, drawing=with_bend(make_sample, tmp_path, 1.0)))
    (missing,) = document["no_plan"]["missing"]
    assert (missing["from"], missing["to"]) == ("MH-6", "MH-7")
    (remedy,) = missing["remedies"]
    assert remedy["kind"] == "radius"
    radius = remedy["value"] / FOOT
    # 12 times the diameter of 1.62 in at the inside of the bend, and half the bore of a 5 in duct (5.047 in)
    assert radius == pytest.approx((12 * 1.62 + 5.047 / 2) / 12, abs=0.1)
    assert remedy["now"] / FOOT == pytest.approx(1.0, rel=0.01)
    # the bend begins 126 ft from MH-6 in the design, and 60 degrees of 1 ft are a foot long
    assert remedy["span"] == ["MH-6", "MH-7"]
    assert remedy["station_m"] / FOOT == pytest.approx(126.5, abs=0.5)
    text = render(document)
    assert f"a radius of {radius:.1f} ft in place of 1.0 ft in the 60° bend" in text
    assert "MH-6 to MH-7: bending radius 9." in text
    html = page(document)
    assert f"a radius of {radius:.1f} ft in place of 1.0 ft in the 60° bend" in html
    # the best of what there is goes up to the bend and on behind it
    partial = document["no_plan"]["partial"]
    assert (partial[0]["from"], partial[-1]["to"]) == ("MH-5", "MH-9")
    assert all(s["to"] != "MH-7" for s in partial)
    done = tautline.run_job(
        job(tmp_path, drawing=with_bend(make_sample, tmp_path, round(radius, 1)))
    ).to_dict()
    assert done["verdict"] == "pass"
    assert done["cost"]["total"] == remedy["plan"]["cost"]


def with_vaults(folder, places):
    """The drawing with a manhole more at each place. [m]"""
    document = ezdxf.readfile(SAMPLES / "harbour.dxf")
    survey_foot = 1200 / 3937
    for number, (x, y) in enumerate(places, 1):
        block = document.modelspace().add_blockref(
            "MANHOLE", (x / survey_foot, y / survey_foot), dxfattribs={"layer": "VAULT"}
        )
        block.add_auto_attribs({"TAG": f"NEW-{number}", "SPLICE": "Y"})
    document.saveas(folder / "more.dxf")
    return folder / "more.dxf"


def test_a_reel_too_short_and_the_reel_or_the_vaults_that_would_do(tmp_path):
    document = refused(job(tmp_path, ("2800 ft", "600 ft")))
    (missing,) = document["no_plan"]["missing"]
    assert (missing["from"], missing["to"]) == ("MH-5", "MH-6")
    # the crossing's length in space with 15 ft of slack at each end: see the design
    assert "606.9 ft long and a reel holds 600.0 ft" in missing["why"]
    remedies = {r["kind"]: r for r in missing["remedies"]}
    assert set(remedies) == {"reel", "vault"}
    feet = round(remedies["reel"]["value"] / FOOT, 6)
    assert feet == 607.0
    assert tautline.run_job(job(tmp_path, ("2800 ft", f"{feet} ft"))).verdict == "pass"


@pytest.mark.slow
def test_a_new_vault_where_it_is_said_gives_a_plan(tmp_path):
    (missing,) = refused(job(tmp_path, ("2800 ft", "600 ft")))["no_plan"]["missing"]
    (vault,) = (r for r in missing["remedies"] if r["kind"] == "vault")
    drawing = with_vaults(tmp_path, [(vault["x"], vault["y"])])
    done = tautline.run_job(job(tmp_path, ("2800 ft", "600 ft"), drawing=drawing)).to_dict()
    assert done["verdict"] == "pass"
    assert "NEW-1" in done["feeder"]["vaults"]


HARD = (("lubricated = 0.20", "lubricated = 0.50"), ("dry = 0.45", "dry = 0.90"))
"""Friction at which no pull gets from MH-13 to MH-15 by way of a handhole where splicing is not allowed."""


@pytest.mark.slow
def test_every_way_out_of_too_much_friction_is_one(tmp_path):
    ends = ("MH-12", "MH-16")
    document = refused(job(tmp_path, *HARD, feeder=ends))
    (missing,) = document["no_plan"]["missing"]
    assert (missing["from"], missing["to"]) == ("MH-13", "MH-15")
    found = {r["kind"]: r for r in (*missing["remedies"], *document["no_plan"]["remedies"])}
    assert set(found) == {"friction", "pusher", "assist", "vault", "allow"}
    (law,) = found["friction"]["friction"]
    assert (law["lubricated_now"], law["dry_now"]) == (0.5, 0.9)
    eased = (
        ("lubricated = 0.20", f"lubricated = {law['lubricated']:.4f}"),
        ("dry = 0.45", f"dry = {law['dry']:.4f}"),
    )
    attach = 'attachment = "eye"'
    force = {kind: f"{found[kind]['value'] / POUND:.1f} lbf" for kind in ("pusher", "assist")}
    helped = {
        "pusher": f'{attach}\npusher = "{force["pusher"]}"',
        "assist": f'{attach}\nassists = {{ "{found["assist"]["vault"]}" = "{force["assist"]}" }}',
    }
    assert tautline.run_job(job(tmp_path, *eased, feeder=ends)).verdict == "pass"
    for changed in helped.values():
        assert tautline.run_job(job(tmp_path, *HARD, (attach, changed), feeder=ends)).verdict == "pass"
    drawing = with_vaults(tmp_path, [(found["vault"]["x"], found["vault"]["y"])])
    assert tautline.run_job(job(tmp_path, *HARD, feeder=ends, drawing=drawing)).verdict == "pass"


@pytest.mark.slow
def test_no_feeding_at_an_end_of_the_feeder_turns_the_pull_round(tmp_path):
    slack = 'slack = "15 ft"'
    turned = tautline.run_job(
        job(tmp_path, (slack, f'{slack}\nno_feed = ["MH-5"]'), feeder=("MH-5", "MH-6"))
    ).to_dict()
    assert turned["verdict"] == "pass"
    assert [(p["feed"], p["pull"]) for p in turned["sections"][0]["pulls"]] == [("MH-6", "MH-5")]
    assert "not allowed" in render(turned)


def test_no_feeding_at_either_end_leaves_no_way_and_the_answer_names_the_vaults(tmp_path):
    slack = 'slack = "15 ft"'
    document = refused(
        job(tmp_path, (slack, f'{slack}\nno_feed = ["MH-5", "MH-6"]'), feeder=("MH-5", "MH-6"))
    )
    (missing,) = document["no_plan"]["missing"]
    assert "MH-5 to MH-6: feeding is not allowed at MH-5" in missing["why"]
    assert "MH-6 to MH-5: feeding is not allowed at MH-6" in missing["why"]
    wanted = [(r["feed"], r["leave"]) for r in missing["remedies"] if r["kind"] == "allow"]
    assert wanted == [(tag, [{"vault": tag, "what": ["feed"]}]) for tag in ("MH-5", "MH-6")]
    assert not document["no_plan"]["remedies"]
    text = " ".join(render(document).split())
    assert "leave to feed at MH-5" in text
    # and on the plan the span is marked where one looks for it
    html = page(document)
    assert html.count("<title>no section gets from MH-5 to MH-6</title>") == 1
    assert "no section gets through" in html


def test_a_new_vault_is_told_with_the_elevation_of_the_duct_there(tmp_path):
    """Between inverts the grade is even: what lies so far along lies so much of the rise higher."""
    document = refused(job(tmp_path, ("2800 ft", "500 ft"), feeder=("MH-1", "MH-3")))
    vaults = {v["tag"]: v for v in document["vaults"]}
    found = [r for m in document["no_plan"]["missing"] for r in m["remedies"] if r["kind"] == "vault"]
    assert found
    for remedy in found:
        one, other = (vaults[tag] for tag in remedy["span"])
        share = remedy["station_m"] / (other["station_m"] - one["station_m"])
        # stations run through the crossings of the vaults too
        assert remedy["z"] == pytest.approx(one["z"] + share * (other["z"] - one["z"]), abs=0.02)
        assert f"the duct there at an elevation of {remedy['z'] / FOOT:.1f}" in " ".join(
            render(document).split()
        )
