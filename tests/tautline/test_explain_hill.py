"""Pulls over a hill written out: held back, pushed, assisted, re-lubricated, and by limits of the job's own; in both units."""

import copy
import math
import re

import pytest
from scipy.integrate import solve_ivp

import tautline
from routeio import read, table
from tautline.explain import explain, find_pull
from tautline.explain_held import backwards
from tautline.explain_page import Page

ROUTE = """\
kind,tag,length [m],angle [deg],radius [m],direction,size,type
vault,A,,,,,5,PVC 40
straight,,20,,,,,
bend,,,60,4,left,,
bend,,,25,20,down,,
straight,,120,,,,,
bend,,,25,20,up,,
vault,B,,,,,,
straight,,60,,,,,
bend,,,90,3,right,,
straight,,30,,,,,
vault,C,,,,,,
end,,,,,,,
"""
JOB = """\
[job]
name = "Hill"
units = "{units}"
[route]
source = "hill.csv"
[bundle]
{bundle}
[friction]
lubricated = 0.20
dry = 0.30
hold = "140 m"
[plan]
reel = "600 m"
slack = "5 m"
[pulling]
{pulling}
[[pull]]
feed = "A"
pull = "C"
relube = ["B"]
[[pull]]
feed = "B"
pull = "C"
[[pull]]
feed = "C"
pull = "B"
[[pull]]
feed = "C"
pull = "A"
[limits]
{limits}
"""
COPPER = 'diameter = "41 mm"\nweight = "25.5 N/m"\nconstruction = "{}"\nconductor = {{ material = "copper", area = "240 mm2"{} }}'
HELD = {
    "units": "si",
    "bundle": "cables = 3\ntriplexed = true\n"
    'ground = { diameter = "18 mm", weight = "7 N/m", construction = "600 V" }\n'
    + COPPER.format("shielded", ""),
    "pulling": 'puller = "30 kN"\nrestart = 1.5\ntemperature = "4 degC"',
    "limits": 'bend_total = { limit = "90 deg", binding = true }\nmax_tension = "20 kN"',
}
PUSHED = {
    "units": "us",
    "bundle": 'cables = 4\nsheath_area = "200 mm2"\n'
    + COPPER.format("lead-covered", ", count = 3").replace("41 mm", "1.5 in"),
    "pulling": 'attachment = "grip"\npusher = "300 lbf"\nassists = { "B" = "900 lbf" }\nlubricant_factor = 1.5',
    "limits": 'grip_tension = "1500 lbf"',
}


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    """The two jobs, each checked."""
    found = {}
    for name, job in {"held": HELD, "pushed": PUSHED}.items():
        folder = tmp_path_factory.mktemp(name)
        (folder / "hill.csv").write_text(ROUTE, encoding="utf-8")
        (folder / "job.toml").write_text(JOB.format(**job), encoding="utf-8")
        with (
            pytest.MonkeyPatch.context() as patch
        ):  # a process of its own for every file takes most of the time
            patch.setattr(
                read, "in_worker", lambda path, reader, task, options, limits: table.read(path, options)
            )
            found[name] = tautline.run_job(folder / "job.toml", "check").to_dict()
    return found


def test_a_slope_behind_a_bend_is_held_as_worked_by_hand():
    """Flat 90 degrees of 3 m radius, then 300 m down at 30, w 20 N/m, c 0.35: held at 680.8 N, 1181.3 N behind the bend."""
    down = -math.radians(30)
    segments = {
        "length_m": [1.5 * math.pi, 300.0],
        "grade_in_rad": [0.0, down],
        "grade_out_rad": [0.0, down],
        "turn_rad": [math.pi / 2, 0.0],
        "friction": [0.35, 0.35],
        "weight_correction": [1.0, 1.0],
    }
    page = Page.of(
        {"job": {"units": "si"}, "bundle": {"cables": []}}, {"segments": segments, "weight_N_per_m": 20.0}
    )
    held = backwards(page, 1.0)
    assert held.tension == pytest.approx(680.8, abs=0.05)
    assert [step.worked.tension for step in held.steps] == pytest.approx([1181.3, 680.8], abs=0.05)


def test_a_held_pull_says_what_its_brake_must_give(checked):
    document = checked["held"]
    pull = document["pulls"][0]
    page = explain(document, pull, 10**6)
    brake = pull["brake_tension_N"]
    assert brake > pull["holding_tension_N"]
    (worked,) = re.findall(r"what the brake must give:\n(?:    .*\n)+?    at the reel ([\d.]+) N", page)
    assert float(worked) == pytest.approx(brake, rel=1e-6)
    # with the brake so set and friction as expected, the whole profile stands there, the greatest in its check
    listed = page.split("friction as expected after all")[1].split("\n\n")[0]
    tensions = [float(t) for t in re.findall(r"\d+: ([\d.]+)", listed)]
    assert len(tensions) == len(pull["segments"]["length_m"])
    check = next(c for c in pull["checks"] if c["name"] == "braked_tension")
    assert max(tensions) == pytest.approx(check["value"], rel=1e-6)


def test_a_brake_where_friction_depends_on_pressing_is_no_hand_calculation(checked):
    document = copy.deepcopy(checked["held"])
    pull = document["pulls"][0]
    for law in pull["segments"]["laws"]:
        law |= {"pressed": 0.15, "press_force_N_per_m": 400.0}
    page = explain(document, pull)
    assert "was found by integration" in page
    assert ". backwards" not in page
    assert "DOCUMENT SAYS" not in page.split("  braked tension: ")[1].split("  clearance: ")[0]


def test_pusher_assist_and_what_the_job_overrides(checked):
    document = checked["pushed"]
    pull = document["pulls"][3]
    page = explain(document, pull, 10**6)
    assert "less the pusher's force = max(0, 0) - 300 = -300 lbf" in page
    (stated, reached, given) = re.findall(r"= min\(([\d.]+), ([\d.]+) - 0\) = ([\d.]+)", page)[0]
    assert float(given) == min(float(stated), float(reached)) > 0
    taken = -min(pull["segments"]["added_N"]) / 4.4482216152605
    assert float(given) == pytest.approx(taken, rel=1e-6)
    block = page.split("  grip tension: ")[1].split("  sheath tension")[0]
    assert "limit   1500 lbf, stated by the job" in block
    assert "stated by the job; limits.grip_tension" in block
    # metric practice, from memory: 50 N/mm2 of copper; twelve conductors share at four fifths (common practice)
    (limit,) = re.findall(r" x 12 x 0\.8 = [\d.]+ lbf \(([\d.]+) N\)", page)
    assert float(limit) == pytest.approx(0.8 * 12 * 50 * 240, rel=1e-6)


def test_both_ways_of_a_pull_give_the_same_page(checked):
    for document in checked.values():
        _, there, back, _ = document["pulls"]
        assert (there["feed"], back["feed"]) == ("B", "C")
        own, other = (explain(document, p).split("HELD BACK")[-1] for p in (back, find_pull(document, "B:C")))
        assert there["reverse"]["lubricant"] == back["lubricant"]
        turned = explain(document, {**there, **find_pull({**document, "pulls": [there]}, "C:B")})
        assert (
            turned.split("\nCHECKS\n")[1].split("\nTHE OTHER WAY")[0].split("\nNOTES")[0]
            == (own.split("\nCHECKS\n")[1].split("\nTHE OTHER WAY")[0].split("\nNOTES")[0])
        )
        assert other != own


@pytest.fixture(scope="module")
def over_a_crest(tmp_path_factory):
    """From the level over a crest down a long slope: with the reel braked, the greatest tension lies inside the crest."""
    folder = tmp_path_factory.mktemp("crest")
    lines = ROUTE.splitlines()
    kept = [*lines[:3], "bend,,,35,120,down,,", "straight,,30,,,,,", *lines[-2:], ""]
    (folder / "hill.csv").write_text("\n".join(kept), encoding="utf-8")
    job = JOB.format(**{**HELD, "limits": ""}).split("[[pull]]")
    (folder / "job.toml").write_text(job[0] + '[[pull]]\nfeed = "A"\npull = "C"\n', encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            read, "in_worker", lambda path, reader, task, options, limits: table.read(path, options)
        )
        return tautline.run_job(folder / "job.toml", "check").to_dict()


def test_the_greatest_braked_tension_inside_a_crest_is_worked_where_it_is_level(over_a_crest):
    pull = over_a_crest["pulls"][0]
    page = explain(over_a_crest, pull, 10**6)
    assert "DOCUMENT SAYS" not in page
    checks = {c["name"]: c["value"] for c in pull["checks"]}
    block = page.split("  braked tension: ")[1].split("\n    limit ")[0]
    (told,) = re.findall(r"T = ([\d.]+) N, inside segment", block)
    assert float(told) == pytest.approx(checks["braked_tension"], rel=1e-6)
    # what is printed, put into the closed form of a crest, gives that, and the balance is level there
    length, low, high, c, w, entering = map(
        float, re.findall(r"L = (.*), g from (.*) to (.*), c = (.*), w = (.*), T1 = ([\d.]+)", block)[0]
    )
    radius = length / (low - high)
    p, q = w * radius * (1 - c * c) / (1 + c * c), -2 * c * w * radius / (1 + c * c)
    constant = (entering - p * math.cos(low) - q * math.sin(low)) * math.exp(c * low)
    tension = constant * math.exp(-c * high) + p * math.cos(high) + q * math.sin(high)
    assert tension == pytest.approx(float(told), rel=1e-6)
    assert c * (tension / radius + w * math.cos(high)) == pytest.approx(-w * math.sin(high), rel=1e-5)
    block = page.split("  braked sidewall: ")[1].split("\n    limit ")[0]
    factor, greatest, around, half, pressed = map(
        float, re.findall(r"p = (.*) x (.*) / \((.*) - (.*)\) = ([\d.]+) N/m", block)[0]
    )
    assert factor * greatest / (around - half) == pytest.approx(pressed, rel=1e-6)
    assert pressed == pytest.approx(checks["braked_sidewall"], rel=1e-6)


def test_a_crest_held_taut_all_along_is_worked_in_one(over_a_crest):
    pull = over_a_crest["pulls"][0]
    page = explain(over_a_crest, pull, 10**6)
    assert "in part" not in page
    for worked, stated in zip(
        re.findall(r"    at the reel ([\d.]+) N", page),
        (pull["holding_tension_N"], pull["brake_tension_N"]),
        strict=True,
    ):
        assert float(worked) == pytest.approx(stated, rel=1e-6)
    # the crest of the brake's half friction, followed by the numbers printed: c counts negative, grades turn about
    block = page.split("what the brake must give:")[1].split("    at the reel ")[0]
    figures = re.findall(
        r"backwards: crest\n +L = (.*), g from (.*) to (.*), c = -.* = (.*), w = (.*), T1 = (.*)"
        r"(?:\n.*)+?\n +T2 = ([\d.]+)",
        block,
    )
    assert figures
    for length, low, high, c, w, entering, leaving in (map(float, row) for row in figures):
        radius = length / (low - high)
        p, q = w * radius * (1 - c * c) / (1 + c * c), -2 * c * w * radius / (1 + c * c)
        constant = (entering - p * math.cos(low) - q * math.sin(low)) * math.exp(c * low)
        assert constant * math.exp(-c * high) + p * math.cos(high) + q * math.sin(high) == pytest.approx(
            leaving, rel=1e-6
        )


def test_a_sag_that_lies_by_itself_at_its_end_is_held_in_part():
    """From 0.6 rad down to the level on 100 m: held from where tan g = -c back, as an integrator finds it."""
    w, c, rate = 20.0, 0.35, 0.006
    segments = {
        "length_m": [100.0],
        "grade_in_rad": [-0.6],
        "grade_out_rad": [0.0],
        "turn_rad": [0.0],
        "friction": [c],
        "weight_correction": [1.0],
    }
    page = Page.of(
        {"job": {"units": "si"}, "bundle": {"cables": []}}, {"segments": segments, "weight_N_per_m": w}
    )
    (step,) = backwards(page, 1.0).steps
    steep = (0.6 - math.atan(c)) / rate
    assert step.piece.length == pytest.approx(steep)
    held = solve_ivp(
        lambda s, t: w * math.sin(rate * s - 0.6) + c * abs(t[0] * rate - w * math.cos(rate * s - 0.6)),
        (steep, 0.0),
        [0.0],
        rtol=1e-10,
        atol=1e-8,
    ).y[0, -1]
    assert step.worked.tension == pytest.approx(held, rel=1e-6)


@pytest.mark.parametrize("width", [80, 100])
def test_a_page_keeps_to_its_width(checked, width):
    for document in checked.values():
        page = explain(document, document["pulls"][0], width)
        assert max(map(len, page.splitlines())) <= width
        assert "\u00a0" not in page
