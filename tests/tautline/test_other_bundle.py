"""Other cables on a stretch of a feeder: through the job file and the commands, on a route written down row by row."""

import json
import re
from importlib.resources import files

import jsonschema
import pytest

import tautline
from tautline.deliver.crew import sheet_of
from tautline.deliver.frame import pulls_of
from tautline.deliver.gis import tables
from tautline.deliver.html import page
from tautline.deliver.present import Units
from tautline.deliver.screen import render
from tautline.deliver.tables import tables_of
from tautline.document import bundle_of
from tautline.errors import JobError
from tautline.job import read_job
from tautline.main import main
from tautline.questions import Questions

SCHEMA = json.loads(files("tautline").joinpath("result.schema.json").read_text(encoding="utf-8"))
POUND_FOOT, POUND, FOOT = 14.593902937206364, 4.4482216152605, 0.3048
# Six vaults; splices may not be at MH-3, and a drop of 2 ft lies beyond MH-4.
ROUTE = """kind,tag,length [ft],angle [deg],radius [ft],direction,splice
vault,MH-1,,,,,
straight,,400,,,,
bend,,,45,12.5,left,
straight,,300,,,,
vault,MH-2,,,,,
straight,,600,,,,
vault,MH-3,,,,,no
straight,,500,,,,
bend,,,90,12.5,right,
straight,,200,,,,
vault,MH-4,,,,,
straight,,650,,,,
vault,MH-5,,,,,
straight,,700,,,,
vault,MH-6,,,,,
end,,,,,,
"""
JOB = """[job]
units = "us"
[route]
source = "spans.csv"
feeder = ["MH-1", "MH-6"]
[bundle]
cables = 3
diameter = "1.62 in"
weight = "1.75 lbf/ft"
conductor = { material = "copper", area = "500 kcmil" }
jacket = "polyethylene"
max_sidewall = "500 lbf/ft"
[duct]
trade_size = "5"
type = "PVC 40"
[friction]
lubricated = 0.35
[plan]
reel = "1800 ft"
"""
THIN = """
[[other_bundle]]
from = "MH-4"
to = "MH-6"
diameter = "1.42 in"
weight = "1.30 lbf/ft"
conductor = { material = "copper", area = "350 kcmil" }
jacket = "polyethylene"
max_sidewall = "450 lbf/ft"
reel = "1500 ft"
"""
# 12 lbf/ft of ground beside the others, as far as MH-2
GROUND = """
[[other_bundle]]
from = "MH-1"
to = "MH-2"
ground = { diameter = "0.5 in", weight = "0.60 lbf/ft", construction = "600 V", conductor = { material = "copper", area = "4/0 AWG" } }
"""


def job(folder, more, *changes):
    """The job with what more there is to say, and pairs of old and new text."""
    (folder / "spans.csv").write_text(ROUTE, encoding="utf-8")
    text = JOB + more
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    document = tautline.run_job(
        job(tmp_path_factory.mktemp("other"), THIN + GROUND), alternatives=2
    ).to_dict()
    jsonschema.validate(document, SCHEMA, cls=jsonschema.Draft202012Validator)
    return document


def test_every_section_has_one_bundle_with_its_own_limits_weight_and_reel(planned):
    assert planned["verdict"] == "pass"
    ends = [(s["from"], s["to"]) for s in planned["sections"]]
    assert {"MH-2", "MH-4"} <= {end for _, end in ends[:-1]}
    forced = {s["vault"]: s["forced"] for s in planned["splices"]}
    assert forced["MH-2"]
    assert forced["MH-4"]
    # weights of all cables of the bundle; conductors of soft copper carry 0.008 lbf a circular mil: handbook rule [nema-wc74]
    weights = {None: 3 * 1.75, 0: 3 * 1.30, 1: 3 * 1.75 + 0.60}
    stress = {None: 3 * 500e3 * 0.008, 0: 3 * 350e3 * 0.008, 1: 3 * 500e3 * 0.008}
    seen = set()
    for section in planned["sections"]:
        other = section.get("other_bundle")
        seen.add(other)
        want = 1 if section["to"] == "MH-2" else 0 if section["to"] in ("MH-5", "MH-6") else None
        assert other == want
        bundle = bundle_of(planned, section)
        assert bundle["weight_N_per_m"] == pytest.approx(weights[other] * POUND_FOOT)
        for pull in section["pulls"]:
            assert pull.get("other_bundle") == other
            assert pull["weight_N_per_m"] == pytest.approx(weights[other] * POUND_FOOT)
            (tension,) = [c for c in pull["checks"] if c["name"] == "conductor_tension"]
            assert tension["limit"] == pytest.approx(stress[other] * POUND, rel=1e-6)
            sidewall = 450 if other == 0 else 500
            assert pull["limits"]["max_sidewall_N_per_m"] == pytest.approx(sidewall * POUND_FOOT)
    assert seen == {None, 0, 1}
    assert [o["reel"]["longest_m"] / FOOT for o in planned["other_bundles"]] == pytest.approx([1500, 1800])
    assert {(r["from"], r.get("other_bundle")) for r in planned["route"]} == {
        ("MH-1", 1), ("MH-2", None), ("MH-3", None), ("MH-4", 0), ("MH-5", 0),
    }  # fmt: skip


@pytest.mark.slow
def test_parts_planned_alone_add_up(planned, tmp_path):
    """Each stretch as a feeder of its own, with the other cable as its only one: costs add, with a splice between."""
    thin = THIN.split("\n", 4)[4]
    own = JOB[JOB.index("diameter") : JOB.index("[duct]")]
    alone = []
    for ends, cable, reel, more in (
        (("MH-1", "MH-2"), own, "1800 ft", GROUND.split("\n", 4)[4]),
        (("MH-2", "MH-4"), own, "1800 ft", ""),
        (("MH-4", "MH-6"), thin.replace('reel = "1500 ft"\n', ""), "1500 ft", ""),
    ):
        changes = [(own, cable + more), ('"MH-1", "MH-6"', '"{}", "{}"'.format(*ends)), ("1800 ft", reel)]
        alone.append(tautline.run_job(job(tmp_path, "", *changes)).to_dict())
    assert planned["cost"]["total"] == pytest.approx(sum(a["cost"]["total"] for a in alone) + 2 * 10.0)
    worst = [max(p["utilisation"] for s in d["sections"] for p in s["pulls"]) for d in (planned, *alone)]
    assert worst[0] == pytest.approx(max(worst[1:]))


def test_a_check_takes_each_span_with_the_bundle_that_goes_through_it(tmp_path):
    path = job(tmp_path, THIN + GROUND)
    document = tautline.run_job(path, "check", asked=Questions(longest_from=("MH-4",))).to_dict()
    jsonschema.validate(document, SCHEMA, cls=jsonschema.Draft202012Validator)
    assert [a["to"] for a in document["answers"]] == ["MH-6", "MH-2"]  # as far as the bundle is the same
    found = {tuple(sorted((p["feed"], p["pull"]))): p.get("other_bundle") for p in document["pulls"]}
    assert found == {
        ("MH-1", "MH-2"): 1, ("MH-2", "MH-3"): None, ("MH-3", "MH-4"): None, ("MH-4", "MH-5"): 0, ("MH-5", "MH-6"): 0,
    }  # fmt: skip
    with pytest.raises(JobError, match=r"pull\[1\] from MH-5 to MH-3 passes MH-4, where the bundle changes"):
        tautline.run_job(job(tmp_path, THIN, ('reel = "1800 ft"\n', PULL)), "check")


PULL = 'reel = "1800 ft"\n[[pull]]\nfeed = "MH-5"\npull = "MH-3"\n'
FROM, TO = 'from = "MH-4"', 'to = "MH-6"'


def test_stretches_that_are_none_are_refused_all_at_once(tmp_path, capsys):
    ends = (("MH-6", "MH-5"), ("MH-3", "MH-4"), ("MH-1", "MH-4"), ("MH-2", "MH-5"))
    more = "".join(f'[[other_bundle]]\nfrom = "{a}"\nto = "{b}"\ncables = 2\n' for a, b in ends)
    changes = ('["MH-1", "MH-6"]', '["MH-2", "MH-6"]'), ("reel =", 'no_splice = ["MH-5"]\nreel =')
    assert main(["plan", str(job(tmp_path, more, *changes))]) == 3
    told = " ".join(capsys.readouterr().err.split())
    assert (
        "other_bundle[1] runs from MH-6 to MH-5, and the feeder from MH-2 to MH-6 comes to MH-5 first" in told
    )
    assert "other_bundle[2]: the bundle changes at MH-3, and spans.csv allows no splice there" in told
    assert 'other_bundle[3].from names "MH-1", and the feeder from MH-2 to MH-6 does not pass it' in told
    assert "other_bundle[4]: the bundle changes at MH-5, and [plan] no_splice allows no splice there" in told
    assert "two other bundles go through the same ducts: MH-2 to MH-5 and MH-3 to MH-4" in told


@pytest.mark.slow
def test_a_vault_that_is_not_there_is_refused(tmp_path, capsys):
    assert main(["plan", str(job(tmp_path, THIN, (FROM, 'from = "MH-44"')))]) == 3
    assert "there is no vault 'MH-44', which other_bundle[1] names" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('weight = "1.30 lbf/ft"\n', "", "other_bundle[1].weight is missing"),
        (TO, 'to = "MH-4"', "other_bundle[1].to must be another vault than from"),
        (FROM, "", "other_bundle[1].from is missing"),
        ('diameter = "1.42 in"', 'diameter = "1.42 in"\ncolour = 3', "other_bundle[1].colour is not a key of this table"),
        ("350 kcmil", "-350 kcmil", "other_bundle[1].conductor.area must be above 0"),
        ('area = "350 kcmil"', 'area = "350 kcmil", cables = 3', "other_bundle[1].conductor.cables is not a key"),
        ("[friction]", '[limits]\nmax_tension = "9000 lbf"\n[friction]', "other_bundle[1].limits.max_tension is missing"),
        ('reel = "1500 ft"', 'friction = { dry = 0.5, hold = "900 ft" }', "other_bundle[1].friction.lubricated is missing"),
        ('reel = "1500 ft"', "cables = 7", "other_bundle[1].cables must be a whole number from 1 to 6"),
    ],
)  # fmt: skip
def test_what_is_pulled_there_is_read_strictly(tmp_path, old, new, said):
    with pytest.raises(JobError) as caught:
        read_job(job(tmp_path, THIN, (old, new)))
    assert said in str(caught.value)


def test_half_a_data_sheet_is_never_taken_and_nothing_new_is_a_fault(tmp_path):
    (thin,) = read_job(job(tmp_path, THIN)).others
    assert thin.bundle.cables[0].name == ""
    assert len(thin.bundle.cables) == 3
    metric = read_job(job(tmp_path, THIN.replace("350 kcmil", "185 mm2")))
    assert [metric.rules.practice, metric.others[0].rules.practice] == ["us", "metric"]
    assert "other_bundle[1]: conductor stresses of metric practice" in " ".join(metric.assumed)
    (ground,) = read_job(job(tmp_path, GROUND)).others
    assert [c.role for c in ground.bundle.cables] == ["power"] * 3 + ["ground"]
    assert ground.bundle.cables[0].diameter == pytest.approx(1.62 * 0.0254)
    with pytest.raises(JobError, match="what is pulled here that is not as in"):
        read_job(job(tmp_path, '[[other_bundle]]\nfrom = "MH-4"\nto = "MH-6"\n'))


def test_everything_handed_over_says_which_cables_a_section_has(planned):
    """Each in its own way: the screen, the page, the tables, the layer, the crew's sheet, the hand calculation."""
    thin, thick = "3 x 350 kcmil copper, shielded", "3 x 500 kcmil copper, shielded"
    told = render(planned)
    assert f"from MH-4 to MH-6: {thin}, 1.42 in over the jacket" in " ".join(told.split())
    assert told.count(thin) >= 1 + len([s for s in planned["sections"] if s.get("other_bundle") == 0])
    assert "MH-4: the bundle changes here" in told
    written = page(planned)
    assert thin in written
    assert re.findall(r">([^<>]*bundle changes)<", written) != []
    sheets = {t.name: t for t in tables_of(planned)}
    reels = {(r[0], r[3]) for r in sheets["Reels"].rows}
    materials = {r[0]: r[1:3] for r in sheets["Materials"].rows}
    rows = tables(planned)["sections"]
    for number, (section, row) in enumerate(zip(planned["sections"], rows, strict=True), 1):
        cables = thin if section.get("other_bundle") == 0 else thick
        assert row["cables"].startswith(cables)
        assert (number, cables.removeprefix("3 x ")) in reels
    length = sum(s["cable_length_m"] for s in planned["sections"] if s.get("other_bundle") == 0)
    many = sum(s.get("other_bundle") == 0 for s in planned["sections"])
    assert materials["cable, 350 kcmil copper, shielded: reels"] == (3 * many, pytest.approx(3 * length))
    # four cables up to MH-2, three beyond; three at MH-4
    assert materials["splices where the bundle changes, one a cable"][0] == 4 + 3
    units = Units.of(planned)
    for p in pulls_of(planned):
        facts = dict(tuple(fact) for fact in sheet_of(planned, p, units)["facts"])
        ground = p.data.get("other_bundle") == 1
        assert facts["Reels, cut length"].startswith("4 x" if ground else "3 x")
        assert ("350 kcmil" in facts["Cable"]) == (p.data.get("other_bundle") == 0)


def narrowed(folder, size):
    """The route with another duct from MH-2 to MH-3."""
    path = job(folder, THIN)
    rows = ROUTE.replace("splice\n", "splice,size,type\n")
    rows = rows.replace("straight,,600,,,,\n", f"straight,,600,,,,,{size},PVC 40\n")
    rows = rows.replace("straight,,500,,,,\n", "straight,,500,,,,,5,PVC 40\n")
    (folder / "spans.csv").write_text(rows, encoding="utf-8")
    return path


def test_a_duct_too_small_is_named_with_the_smallest_that_does(tmp_path):
    """Three cables of 1.62 in need a circle of (1 + 2/sqrt(3)) 1.62 = 3.49 in, and a quarter inch of clearance
    (common practice): neither 3 nor 3 1/2 of PVC 40 (3.042 and 3.521 in by NEC chapter 9, table 4, from memory) has it, 4 has."""
    document = tautline.run_job(narrowed(tmp_path, "3")).to_dict()
    jsonschema.validate(document, SCHEMA, cls=jsonschema.Draft202012Validator)
    assert document["verdict"] == "no-plan"
    (narrow,) = document["no_plan"]["narrow"]
    assert (narrow["from"], narrow["to"], narrow["bore"]) == ("MH-2", "MH-3", "3 PVC 40")
    assert narrow["inside_diameter_m"] / 0.0254 == pytest.approx(3.042, abs=1e-6)
    assert "clearance" in {c["name"] for c in narrow["checks"]}
    assert narrow["smallest"]["bore"] == "4 PVC 40"
    told = " ".join(render(document).split())
    assert "3 x 500 kcmil copper, shielded does not fit 3 PVC 40" in told
    assert "the smallest that does is 4 PVC 40" in told
    assert "MH-2 to MH-3" in told
    assert "first a duct that the bundle fits" in told
    assert "the smallest that does is 4 PVC 40" in page(document)
    # doing as told does it
    assert main(["plan", str(narrowed(tmp_path, "4"))]) == 0
