"""``inspect`` and ``new``: what they say of a file, and a first job that is refused until it is filled in."""

import json
import tomllib
from importlib.resources import files
from pathlib import Path

import ezdxf
import pytest
from jsonschema import Draft202012Validator

from routeio.write import read_chains
from tautline.job import read_job
from tautline.main import main

SAMPLES = Path(__file__).resolve().parents[2] / "sample_routes"


@pytest.mark.parametrize(("file", "ducts"), [("harbour.dxf", "17 ducts"), ("harbour.gpkg", "ducts")])
def test_inspect_says_what_is_in_a_file(file, ducts, capsys):
    assert main(["inspect", str(SAMPLES / file)]) == 0
    out = capsys.readouterr().out
    # the design of the sample: survey feet, 18 vaults from SUB-A to RISER-9, 17 spans; the layer holds an abandoned line too
    for word in (
        file,
        "us_survey_foot",
        "LAYERS",
        "taken for ducts",
        ducts,
        "18 vaults",
        "RISER-9",
        "FINDINGS",
    ):
        assert word in out


def test_inspect_as_json_is_json_and_nothing_else(capsys):
    assert main(["inspect", str(SAMPLES / "harbour.dxf"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert len(found["ducts"]) == 17
    assert len(found["vaults"]) == 18
    assert found["units"] == "us_survey_foot"
    assert {"code", "severity", "message", "where", "remedy"} <= set(found["findings"][0])


def test_inspect_wants_units_with_its_lengths(capsys):
    assert main(["inspect", str(SAMPLES / "harbour.dxf"), "--sweep", "12.5"]) == 2
    assert "--sweep" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["out.dxf", "out.gpkg"])
def test_inspect_writes_what_it_read_to_a_new_file(name, tmp_path, capsys):
    path = tmp_path / name
    assert main(["inspect", str(SAMPLES / "harbour.dxf"), "--write", str(path)]) == 0
    assert f"Written: {path}" in capsys.readouterr().out
    assert len(read_chains(path)) == 17
    before = path.read_bytes()
    assert main(["inspect", str(SAMPLES / "harbour.dxf"), "--write", str(path)]) == 4
    assert "there already" in capsys.readouterr().err
    assert path.read_bytes() == before
    assert main(["inspect", str(SAMPLES / "harbour.dxf"), "--write", str(tmp_path / "out.shp")]) == 2
    assert ".dxf or .gpkg" in capsys.readouterr().err


def test_new_writes_a_job_that_is_refused_until_it_is_filled_in(tmp_path, capsys):
    path = tmp_path / "first.toml"
    assert main(["new", str(SAMPLES / "harbour.dxf"), "--job", str(path)]) == 0
    text = path.read_text(encoding="utf-8")
    plain = tomllib.loads(text)
    assert plain["route"]["feeder"] == ["SUB-A", "RISER-9"]
    assert plain["route"]["vaults"]["name"] == "TAG"
    assert "because" in text
    assert main(["plan", str(path)]) == 3
    err = capsys.readouterr().err
    for key in (
        "route.sweep",
        "bundle.diameter",
        "bundle.weight",
        "bundle.conductor.area",
        "duct.trade_size",
    ):
        assert key in err
    filled = text
    for key, value in {
        "sweep": "12.5 ft",
        "diameter": "1.62 in",
        "weight": "1.75 lbf/ft",
        "trade_size": "5",
        "type": "PVC 40",
    }.items():
        filled = filled.replace(f'{key} = "FILL IN"', f'{key} = "{value}"')
    filled = filled.replace(
        'material = "FILL IN", area = "FILL IN"', 'material = "copper", area = "500 kcmil"'
    )
    filled = filled.replace('cables = "FILL IN"', "cables = 3")
    assert "FILL IN" not in "".join(line.split("#")[0] for line in filled.splitlines())
    path.write_text(filled, encoding="utf-8")
    assert read_job(path).feeder == ("SUB-A", "RISER-9")


def test_new_never_overwrites(tmp_path, capsys):
    path = tmp_path / "first.toml"
    path.write_text("mine", encoding="utf-8")
    assert main(["new", str(SAMPLES / "harbour.dxf"), "--job", str(path)]) == 4
    assert "there already" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == "mine"


def test_new_asks_for_the_units_of_a_drawing_that_has_none(tmp_path):
    import ezdxf

    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 0
    space = document.modelspace()
    # a layer whose name would leave its comment, or its string
    space.add_line((0, 0), (100, 0), dxfattribs={"layer": "DUCT é"})
    space.add_point((0, 0), dxfattribs={"layer": "VAULT"})
    document.saveas(tmp_path / "plain.dxf")
    assert main(["new", str(tmp_path / "plain.dxf")]) == 0
    plain = tomllib.loads((tmp_path / "plain.toml").read_text(encoding="utf-8"))
    assert plain["route"]["units"] == "FILL IN"
    assert plain["route"]["ducts"]["layer"] == "DUCT é"


@pytest.mark.parametrize("file", ["harbour.dxf", "harbour.gpkg", "unitless.dxf"])
def test_an_inspection_keeps_to_its_schema(file, tmp_path, capsys):
    path = SAMPLES / file
    if file == "unitless.dxf":  # refused, and yet all that could be seen is told
        path = tmp_path / file
        drawing = ezdxf.new("R2010")
        drawing.header["$INSUNITS"] = 0
        drawing.modelspace().add_line((0, 0), (300, 0), dxfattribs={"layer": "DUCTS"})
        drawing.saveas(path)
    assert main(["inspect", str(path), "--json"]) == (3 if file == "unitless.dxf" else 0)
    found = json.loads(capsys.readouterr().out)
    schema = json.loads(files("tautline").joinpath("inspection.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(found)
    assert (found["refused"] is None) == bool(found["ducts"])
