"""The command line: what it prints where, exit status, and that no traceback reaches a user."""

import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import ezdxf
import pytest

from tautline.main import main, parser

SAMPLE = Path(__file__).resolve().parents[2] / "sample_routes" / "harbour_dxf.toml"
HANDWRITTEN = Path(__file__).parent / "deliver" / "handwritten.json"


def process(*arguments, **more):
    """Run the command line in a process of its own."""
    return subprocess.run(
        [sys.executable, "-c", "from tautline.main import entry; entry()", *map(str, arguments)],
        capture_output=True,
        check=False,
        timeout=120,
        **more,
    )


def test_help_names_every_command_and_loads_nothing_heavy():
    code = (
        "import sys; from tautline.main import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted({'numpy','pint','ezdxf','pandas','geopandas','shapely','networkx','jsonschema','plotly'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
    for command in ("inspect", "new", "check", "plan", "explain", "report", "demo"):
        assert f"    {command} " in done.stdout


@pytest.mark.parametrize("command", ["inspect", "new", "check", "plan", "explain", "report", "demo"])
def test_every_command_has_help_with_an_example(command, capsys):
    with pytest.raises(SystemExit) as ended:
        parser().parse_args([command, "--help"])
    assert ended.value.code == 0
    assert "example: tautline " + command in capsys.readouterr().out


@pytest.mark.parametrize("arguments", [["plan"], ["pln", "x"], ["plan", "x", "--jsn"], ["report", "x"]])
def test_a_line_that_cannot_be_read_is_usage(arguments, capsys):
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert "usage:" in capsys.readouterr().err


def test_no_command_is_usage(capsys):
    assert main([]) == 2
    assert "tautline demo" in capsys.readouterr().err


def test_version(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("tautline ")


def test_a_refused_job_says_every_fault_on_standard_error(tmp_path, capsys):
    job = tmp_path / "bad.toml"
    job.write_text("[plan]\nreel = 2500\n[frictoin]\n", encoding="utf-8")
    assert main(["plan", str(job)]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert "plan.reel" in err
    assert '"friction"' in err
    assert "Traceback" not in err


def test_debug_shows_the_traceback(tmp_path, capsys):
    assert main(["plan", str(tmp_path / "none.toml"), "--debug"]) == 3
    assert "Traceback" in capsys.readouterr().err


def test_a_fault_of_ours_is_told_without_a_traceback(monkeypatch, capsys):
    def broken(*_):
        raise ZeroDivisionError("float division by zero")

    monkeypatch.setattr("tautline.run.run_job", broken)
    assert main(["plan", "any.toml"]) == 70
    err = capsys.readouterr().err
    assert "fault of this program" in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not a result document"),
        ("[1]", "schema"),
        ('{"schema": "other/1"}', "other/1"),
        ('{"schema": "tautline-result/1"}', "not a whole result document"),
        ("[" * 100000, "not a result document"),
    ],
)
def test_what_is_no_result_document_is_refused(tmp_path, capsys, text, words):
    path = tmp_path / "result.json"
    path.write_text(text, encoding="utf-8")
    assert main(["explain", str(path), "1"]) == 3
    assert words in capsys.readouterr().err


def test_explain_prints_a_pull_and_refuses_another(capsys):
    assert main(["explain", str(HANDWRITTEN), "1"]) == 0
    assert capsys.readouterr().out.startswith("PULL ")
    assert main(["explain", str(HANDWRITTEN), "NO:WHERE"]) == 2
    assert "there is no pull" in capsys.readouterr().err


def test_output_goes_through_a_terminal_that_knows_no_letters():
    done = process("explain", HANDWRITTEN, "1", env=os.environ | {"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0
    assert done.stderr == b""


def test_plan_prints_json_and_nothing_else_and_writes_nothing(tmp_path):
    done = process("plan", SAMPLE, "--json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["verdict"] == "pass"
    assert list(tmp_path.iterdir()) == []


def test_plan_writes_the_deliverables_and_report_makes_them_again(tmp_path, capsys):
    out, again = tmp_path / "out", tmp_path / "again"
    assert main(["plan", str(SAMPLE), "--out", str(out)]) == 0
    screen = capsys.readouterr().out
    names = {
        *("result.json", "result.html", "result.gpkg", "result.dxf", "result.xlsx", "result.svg"),
        *("tables", "report.pdf", "crew.pdf", "drawing.dxf"),
    }
    assert {p.name for p in out.iterdir()} == names
    assert str(out / "result.html") in screen
    drawing = SAMPLE.with_name("harbour.dxf")
    assert main(["report", str(out / "result.json"), "--out", str(again), "--drawing", str(drawing)]) == 0
    assert {p.name for p in again.iterdir()} == names
    assert (again / "result.html").read_bytes() == (out / "result.html").read_bytes()
    assert (again / "result.json").read_bytes() == (out / "result.json").read_bytes()


def test_an_input_is_never_written_to(tmp_path, capsys):
    text = SAMPLE.read_text(encoding="utf-8").replace("harbour.dxf", "result.dxf")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    drawing = SAMPLE.with_name("harbour.dxf").read_bytes()
    (tmp_path / "result.dxf").write_bytes(drawing)
    assert main(["plan", str(tmp_path / "job.toml"), "--out", str(tmp_path)]) == 4
    assert "an input of this run" in capsys.readouterr().err
    assert (tmp_path / "result.dxf").read_bytes() == drawing
    assert not (tmp_path / "result.json").exists()


def test_only_what_is_asked_for_is_written(tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["report", str(HANDWRITTEN), "--out", str(out), "--only", "svg,json"]) in (0, 1)
    assert {p.name for p in out.iterdir()} == {"result.json", "result.svg"}
    assert main(["report", str(HANDWRITTEN), "--out", str(out), "--only", "htm"]) == 2
    assert '"html"' in capsys.readouterr().err
    assert main(["plan", "none.toml", "--only", "html"]) == 2
    assert "--out is missing" in capsys.readouterr().err


def test_an_output_that_cannot_be_written_is_named(tmp_path, capsys):
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    assert main(["report", str(HANDWRITTEN), "--out", str(tmp_path / "file")]) == 4
    assert "cannot write" in capsys.readouterr().err
    assert (tmp_path / "file").read_text(encoding="utf-8") == "in the way"


def test_the_demo_says_where_its_results_are(tmp_path):
    done = process("demo", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "tautline-demo" / "result.html").is_file()
    assert b"tautline-demo" in done.stdout


def test_a_reader_that_goes_away_is_no_fault():
    done = subprocess.run(
        f"{sys.executable} -c 'from tautline.main import entry; entry()' explain {HANDWRITTEN} 1 | head -1",
        shell=True,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.startswith("PULL")
    assert done.stderr == ""


def test_the_annotated_copy_needs_the_drawing_of_the_result(tmp_path, capsys):
    out, again = tmp_path / "out", tmp_path / "again"
    picture = tmp_path / "plan.png"
    line = ["plan", str(SAMPLE), "--out", str(out), "--only", "json,drawing", "--picture", str(picture)]
    drawing = SAMPLE.with_name("harbour.dxf")
    before = drawing.read_bytes()
    assert main(line) == 0
    assert drawing.read_bytes() == before
    assert str(picture) in capsys.readouterr().out
    assert picture.read_bytes().startswith(b"\x89PNG")
    report = ["report", str(out / "result.json"), "--out", str(again), "--only", "drawing"]
    assert main(report) == 0
    assert "--drawing" in capsys.readouterr().err
    assert [path.name for path in again.iterdir()] == ["result.dxf"]
    assert main([*report, "--drawing", str(drawing)]) == 0
    copies = [ezdxf.readfile(folder / "drawing.dxf").modelspace() for folder in (out, again)]
    layers = [Counter(entity.dxf.layer for entity in copy) for copy in copies]
    assert layers[0] == layers[1]
    held = Counter(entity.dxf.layer for entity in ezdxf.readfile(drawing).modelspace())
    assert held < layers[0]
    assert all(name in held or name.startswith("TAUTLINE-") for name in layers[0])
    (tmp_path / "other.dxf").write_bytes(before + b"\n")
    assert main([*report, "--drawing", str(tmp_path / "other.dxf")]) == 3
    assert "sha256" in capsys.readouterr().err


def test_a_layer_has_no_annotated_copy(tmp_path, capsys):
    job = SAMPLE.with_name("harbour_gis.toml")
    assert main(["check", str(job), "--picture", str(tmp_path / "check.pdf")]) == 2
    assert main(["check", str(job), "--picture", str(job)]) == 2
    assert list(tmp_path.iterdir()) == []
    capsys.readouterr()
    assert main(["check", str(job), "--out", str(tmp_path), "--only", "drawing"]) in (0, 1)
    assert "no DXF drawing here to copy: result.dxf is a drawing of our own" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["result.dxf"]
