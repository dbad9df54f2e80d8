"""Job files: what is read, what is refused and in which words."""

import math
from pathlib import Path

import pytest

from tautline.errors import JobError
from tautline.job import read_job

GOOD = """\
[job]
name = "Quay"
units = "us"

[route]
source = "quay.dxf"
ducts = { layer = "DUCT*", size = "SIZE" }
vaults = { layer = ["VAULT", "PIT"], name = "TAG" }
units = "us_survey_foot"
snap = "1 ft"
sweep = "12.5 ft"
feeder = ["SUB-A", "RISER-9"]

[bundle]
cables = 3
diameter = "1.62 in"
weight = "1.75 lbf/ft"
conductor = { material = "copper", area = "500 kcmil" }
construction = "shielded"
max_sidewall = "500 lbf/ft"

[duct]
trade_size = "5"
type = "PVC 40"

[friction]
lubricated = 0.20
dry = 0.50
hold = "1500 ft"

[plan]
reel = "2500 ft"
slack = "15 ft"
cost = { splice = 8.0 }

[pulling]
attachment = "grip"

[limits]
max_tension = "9000 lbf"
bend_total = { limit = "270 deg", binding = true }

[[pull]]
feed = "MH-3"
pull = "MH-7"
relube = ["MH-5"]
"""


@pytest.fixture
def write(tmp_path: Path):
    (tmp_path / "quay.dxf").write_text("")

    def written(*changes: tuple[str, str]) -> Path:
        text = GOOD
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "quay.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return written


def faults(path: Path) -> tuple[str, ...]:
    with pytest.raises(JobError) as caught:
        read_job(path)
    return caught.value.faults


def test_everything_arrives_in_si(write):
    job = read_job(write())
    # exact: 1 ft = 0.3048 m, 1 in = 0.0254 m, 1 lbf = 4.4482216152605 N (NIST SP 811)
    assert job.options.snap == pytest.approx(0.3048)
    assert job.options.sweep == pytest.approx(12.5 * 0.3048)
    assert job.options.units == "us_survey_foot"
    assert job.options.vaults.patterns == ("VAULT", "PIT")
    assert job.options.ducts.fields == {"size": "SIZE"}
    assert job.feeder == ("SUB-A", "RISER-9")
    cable = job.bundle.cables[0]
    assert len(job.bundle.cables) == 3
    assert cable.diameter == pytest.approx(1.62 * 0.0254)
    assert cable.weight == pytest.approx(1.75 * 4.4482216152605 / 0.3048)
    # 1 kcmil = pi/4 (25.4 mm)^2 / 1000, exact
    assert cable.conductor_area == pytest.approx(500 * math.pi / 4 * 0.0254**2 / 1000)
    assert job.rules.max_sidewall == pytest.approx(500 * 4.4482216152605 / 0.3048)
    assert job.rules.overrides["max_tension"].limit == pytest.approx(9000 * 4.4482216152605)
    assert job.rules.overrides["bend_total"].limit == pytest.approx(math.radians(270))
    assert job.rules.overrides["bend_total"].binding is True
    assert job.rules.attachment == "grip"
    assert job.rules.reel == job.plan.reel == pytest.approx(2500 * 0.3048)
    assert (job.lining.lubricated, job.lining.dry) == (0.20, 0.50)
    assert job.plan.costs.splice == 8.0
    assert (job.pulls[0].feed, job.pulls[0].relube) == ("MH-3", ("MH-5",))


def test_entities_of_a_drawing_chosen_by_their_look(write):
    ducts = ('layer = "DUCT*", size', 'color = [3, "#12AB34"], linetype = "DASH*", size')
    vaults = ('layer = ["VAULT", "PIT"], name', 'block = "MH*", color = 3, name')
    options = read_job(write(ducts, vaults)).options
    assert (options.ducts.colors, options.ducts.linetypes) == (("3", "#12ab34"), ("DASH*",))
    assert (options.vaults.blocks, options.vaults.colors) == (("MH*",), ("3",))


def test_what_is_not_stated_is_on_record_with_its_source(write):
    job = read_job(write(('attachment = "grip"', ""), ("cost = { splice = 8.0 }", "")))
    assert job.rules.attachment == "eye"
    said = "\n".join(job.assumed)
    for name in ("pulling.attachment", "pulling.entry", "guides.radius", "plan.cost.splice"):
        assert name in said
    assert "plan.reel" not in said
    radius = next(s for s in job.settings if s.name == "guides.radius")
    assert radius.value == pytest.approx(0.9144)
    assert (radius.unit, radius.source != "job") == ("m", True)
    reel = next(s for s in job.settings if s.name == "plan.reel")
    assert reel.source == "job"


def test_overrides_are_on_record(write):
    said = "\n".join(read_job(write()).overridden)
    assert "max_tension" in said
    assert "9000 lbf" in said


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("lubricated =", "lubricatd =", ["friction.lubricatd", "lubricated", "[friction]"]),
        ("[friction]", "[frictoin]", ["frictoin", '"friction"']),
        ('slack = "15 ft"', 'sweep = "15 ft"', ["plan.sweep", "[route]"]),
        ('reel = "2500 ft"', "reel = 2500", ["plan.reel", "2500", "ft", "m,", "[plan]"]),
        ('reel = "2500 ft"', 'reel = "2500"', ["plan.reel", "unit", "ft"]),
        ('reel = "2500 ft"', 'reel = "2500 lbf"', ["plan.reel", "ft"]),
        ('reel = "2500 ft"', 'reel = "-5 ft"', ["plan.reel", "above 0", "-5 ft"]),
        ('reel = "2500 ft"', "reel = nan", ["plan.reel", "nan"]),
        ('reel = "2500 ft"', 'reel = "9**9**9 ft"', ["plan.reel"]),
        ("lubricated = 0.20", "lubricated = 0.0", ["friction.lubricated", "above 0", "0.0"]),
        ("lubricated = 0.20", "lubricated = nan", ["friction.lubricated", "nan"]),
        ("lubricated = 0.20", "lubricated = inf", ["friction.lubricated", "inf"]),
        ("lubricated = 0.20", "lubricated = true", ["friction.lubricated", "plain number", "true"]),
        ("lubricated = 0.20", 'lubricated = "0.2"', ["friction.lubricated", "without quotes"]),
        ("lubricated = 0.20", f"lubricated = {10**400}", ["friction.lubricated", "at most 2"]),
        ("lubricated = 0.20", "lubricated = 0.6", ["friction.dry", "at least lubricated"]),
        ('hold = "1500 ft"', "", ["friction.hold", "beside dry"]),
        ("dry = 0.50", "", ["friction.dry", "beside hold"]),
        ("cables = 3", "cables = 3.0", ["bundle.cables", "whole number"]),
        ("cables = 3", "cables = 7", ["bundle.cables", "1 to 6"]),
        ("cables = 3", "cables = true", ["bundle.cables", "true"]),
        ("cables = 3", "", ["bundle.cables", "missing"]),
        ('diameter = "1.62 in"', "", ["bundle.diameter", "missing", "unit"]),
        ('material = "copper"', 'material = "coper"', ["bundle.conductor.material", '"copper"']),
        ('construction = "shielded"', 'construction = "sheilded"', ["construction", '"shielded"']),
        ('units = "us"\n', 'units = "imperial"\n', ["job.units", '"us"', '"si"']),
        ('trade_size = "5"', 'trade_size = "5 1/4"', ["duct.trade_size", "PVC 40"]),
        ('source = "quay.dxf"', 'source = "qay.dxf"', ["route.source", "qay.dxf", "no such file"]),
        ('feeder = ["SUB-A", "RISER-9"]', 'feeder = ["SUB-A"]', ["route.feeder", "at least two"]),
        ('feeder = ["SUB-A", "RISER-9"]', "feeder = [1, 2]", ["route.feeder", "names in quotes"]),
        ('pull = "MH-7"', 'pull = "MH-3"', ["pull[1].pull", "another vault"]),
        ('feed = "MH-3"', "", ["pull[1].feed", "missing"]),
        ("[pulling]", "[guides]\nfriction = 0.0\n[pulling]", ["guides.friction", "above 0"]),
        ("[[pull]]", "[pull]", ["pull", "[[pull]]"]),
        ("splice = 8.0", "splice = -1", ["plan.cost.splice", "at least 0"]),
        ("splice = 8.0", "splice = nan", ["plan.cost.splice", "nan"]),
        ("cost = { splice = 8.0 }", "cost = 8", ["plan.cost", "table"]),
        ('max_tension = "9000 lbf"', "max_tension = 9000", ["limits.max_tension", "lbf"]),
        ('max_tension = "9000 lbf"', 'max_tention = "9000 lbf"', ["limits.max_tention", '"max_tension"']),
        ('layer = "DUCT*"', 'layer = "DUCT*", color = 256', ["route.ducts.color", "1 to 255", "256"]),
        ('layer = "DUCT*"', 'layr = "DUCT*"', ["route.ducts.layr", '"layer"']),
    ],
)
def test_a_fault_names_the_key_and_what_would_be_right(write, old, new, words):
    found = faults(write((old, new)))
    told = "\n".join(found)
    for word in [*words, "quay.toml"]:
        assert word in told


def test_every_fault_is_told_at_once(write):
    found = faults(
        write(
            ('reel = "2500 ft"', "reel = 2500"),
            ("lubricated = 0.20", "lubricated = 0.0"),
            ('snap = "1 ft"', 'snpa = "1 ft"'),
            ("cables = 3", "cables = 0"),
        )
    )
    assert len(found) == 4


def test_a_conductor_may_be_left_out_only_where_the_job_states_the_tension(write):
    conductor = 'conductor = { material = "copper", area = "500 kcmil" }\n'
    assert read_job(write((conductor, ""))).bundle.cables[0].conductor_area is None
    assert "bundle.conductor" in faults(write((conductor, ""), ('max_tension = "9000 lbf"\n', "")))[0]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", ["empty", "tautline new"]),
        (b"AC1032\0\0\0\0", ["not a job file", "tautline new"]),
        (b"  0\nSECTION\n  2\nHEADER\n", ["not valid TOML"]),
        (b"[job]\nname = 'caf\xe9'\n", ["UTF-8"]),
        (b"a = " + b"[" * 5000, ["job"]),
    ],
)
def test_what_is_no_job_file_is_named(tmp_path, data, words):
    path = tmp_path / "some.dxf"
    path.write_bytes(data)
    told = "\n".join(faults(path))
    for word in words:
        assert word in told


def test_no_job_file_there(tmp_path):
    assert "no job file" in faults(tmp_path / "none.toml")[0]


def test_a_byte_order_mark_is_no_fault(write):
    path = write()
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert read_job(path).name == "Quay"


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize(
    ("area", "practice"), [("500 kcmil", "us"), ("240 mm2", "metric"), ("240 sq mm", "metric")]
)
def test_what_people_read_changes_no_limit(
    tmp_path: Path, units: str, area: str, practice: str
) -> None:  # a display choice must never be a judgement
    (tmp_path / "quay.dxf").write_text("")
    file = tmp_path / "job.toml"
    file.write_text(GOOD.replace('units = "us"', f'units = "{units}"', 1).replace("500 kcmil", area))
    job = read_job(file)
    assert job.rules.practice == practice
    assert any(f"{practice} practice taken" in said and area in said for said in job.assumed)


def test_a_misspelled_jacket_is_refused_and_the_nearest_named(write):
    given = ('construction = "shielded"', 'construction = "shielded"\njacket = "polyethelene"')
    said = faults(write(given))
    assert len(said) == 1
    assert "bundle.jacket must be one of" in said[0]
    assert 'did you mean "polyethylene"?' in said[0]
    for good in ("polyethylene", "PE", "xlpe", "pvc", "LSZH"):  # common abbreviations of the trade
        read_job(write((given[0], f'{given[0]}\njacket = "{good}"')))


def test_a_misspelled_type_of_duct_is_refused_where_its_diameter_is_stated(write):
    said = faults(write(('trade_size = "5"', 'inside_diameter = "5 in"'), ('"PVC 40"', '"PVV 40"')))
    assert len(said) == 1
    assert "duct.type must be one of" in said[0]
    assert 'did you mean "PVC 40"?' in said[0]
    read_job(write(('trade_size = "5"', 'inside_diameter = "5 in"')))
