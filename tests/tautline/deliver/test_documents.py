import json
import os
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from tautline.outputs import COPY, DELIVERABLES, write_outputs

HERE = Path(__file__).parent
SCHEMA = json.loads(files("tautline").joinpath("result.schema.json").read_text(encoding="utf-8"))


def test_every_document_used_here_is_valid(document):
    jsonschema.validate(document, SCHEMA)


def test_a_wrong_document_is_not(harbour):
    del harbour["sections"][0]["pulls"][0]["profile"]
    with pytest.raises(jsonschema.ValidationError, match="profile"):
        jsonschema.validate(harbour, SCHEMA)


def test_the_handwritten_document_is_the_one_the_script_makes(harbour, made):
    assert harbour == json.loads(json.dumps(made["harbour"]()))


AGAIN = """
import json, sys
from pathlib import Path
from tautline.outputs import COPY, DELIVERABLES, write_outputs
document = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
write_outputs(document, Path(sys.argv[2]), names=[name for name in DELIVERABLES if name != COPY])
"""


def test_the_same_document_gives_the_same_files_to_the_byte(harbour, tmp_path):
    """Made here, and by a process whose sets come in another order, more than a second apart."""
    write_outputs(harbour, tmp_path / "1", names=[name for name in DELIVERABLES if name != COPY])
    command = [sys.executable, "-c", AGAIN, str(HERE / "handwritten.json"), str(tmp_path / "2")]
    subprocess.run(command, check=True, env={**os.environ, "PYTHONHASHSEED": "7"})
    first, second = (
        {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
        for folder in (tmp_path / "1", tmp_path / "2")
    )
    assert len(first) > 10
    assert list(first) == [path for path in first if second[path] == first[path]]
