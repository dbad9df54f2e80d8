"""The page on job files names every key there is, and no default that is not so."""

import re
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

from tautline import job
from tautline.job_table import Record
from tautline.main import parser
from tautline.outputs import DELIVERABLES

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "job.md").read_text(encoding="utf-8")
CODE = set(re.findall(r"`([a-z_]+)`", PAGE))


@pytest.fixture(scope="module")
def known() -> dict[str, set[str]]:
    records = []

    class Kept(Record):
        def __init__(self, file):
            super().__init__(file)
            records.append(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(job, "Record", Kept)
        job.read_job(ROOT / "sample_routes" / "harbour_dxf.toml")
    return records[0].known


def test_every_key_is_on_the_page(known):
    # sub-tables are shown written out, so their keys may stand inside an example
    words = set(re.findall(r"[a-z_]+", PAGE))
    for table, keys in known.items():
        assert not table or f"[{table.split('.')[0]}]" in PAGE
        missing = {key for key in keys if key not in (words if "." in table or not table else CODE)}
        assert missing == set(), table


def test_every_default_is_on_the_page():
    defaults = tomllib.loads(files("tautline").joinpath("data/defaults.toml").read_text(encoding="utf-8"))
    for table, keys in defaults.items():
        for key, default in keys.items():
            if "." in table:
                continue  # prices and tempers stand together in one row
            (row,) = [
                line
                for section in PAGE.split("\n## ")
                if section.startswith(f"[{table}]")
                for line in section.splitlines()
                if line.startswith(f"| `{key}`")
            ]
            value = default["value"]
            assert (str(value).lower() if isinstance(value, bool) else str(value)) in row


def test_every_deliverable_is_on_the_page():
    assert set(DELIVERABLES) <= CODE
    assert all(f"`{d.place}{'/' * d.folder}`" in PAGE for d in DELIVERABLES.values())


def test_help_names_every_deliverable(capsys):
    with pytest.raises(SystemExit):
        parser().parse_args(["plan", "--help"])
    told = capsys.readouterr().out.split("--only NAMES")[2].split("to write")[0]
    assert re.findall(r"[a-z]+", told)[2:] == list(DELIVERABLES)
