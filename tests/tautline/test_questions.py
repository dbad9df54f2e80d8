"""Questions the other way round on the sample route, by the command line."""

import json
from pathlib import Path

import pytest
from jsonschema import validate

from tautline.deliver.screen import render
from tautline.errors import UsageError
from tautline.main import main
from tautline.questions import stretch

ROOT = Path(__file__).resolve().parents[2]
JOB = str(ROOT / "sample_routes" / "harbour_dxf.toml")
SCHEMA = json.loads((ROOT / "tautline" / "result.schema.json").read_text(encoding="utf-8"))


def test_answers_in_the_document(capsys):
    asked = ["--longest-from", "MH-5", "--smallest-radius", "MH-3:MH-4", "--smallest-duct", "MH-3:MH-4"]
    main(["check", JOB, "--json", *asked])
    document = json.loads(capsys.readouterr().out)
    validate(document, SCHEMA)
    on, back, radius, duct = document["answers"]
    assert (on["from"], on["to"], back["to"]) == ("MH-5", "RISER-9", "SUB-A")
    assert all(a["length_m"] > a["past_m"] >= 0.0 and a["stopped_by"] for a in (on, back))
    assert radius["radius_m"] > 0.0
    assert radius["utilisation"] <= 1.0
    # three cables of 1.62 in in 4 in PVC 40 have less than half an inch of clearance in their bends
    assert duct["type"] == "PVC 40"
    assert duct["trade_size"] in ("4", "5")
    assert duct["stopped_by"]
    told = " ".join(render(document).split())
    assert "longest pull from MH-5 towards RISER-9: " in told
    assert "narrowest duct from MH-3 to MH-4: 4 PVC 40" in told or "5 PVC 40" in told


def test_what_cannot_be_asked(capsys):
    for wrong in ("MH-3", "MH-3:", "MH-3:MH-3"):
        with pytest.raises(UsageError):
            stretch(wrong)
    assert main(["check", JOB, "--smallest-radius", "MH-3"]) == 2
    assert main(["check", JOB, "--longest-from", "MH-99"]) == 3
    assert "MH-99" in capsys.readouterr().err
