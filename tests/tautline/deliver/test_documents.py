import json
from importlib.resources import files

import jsonschema
import pytest

SCHEMA = json.loads(files("tautline").joinpath("result.schema.json").read_text(encoding="utf-8"))


def test_every_document_used_here_is_valid(document):
    jsonschema.validate(document, SCHEMA)


def test_a_wrong_document_is_not(harbour):
    del harbour["sections"][0]["pulls"][0]["profile"]
    with pytest.raises(jsonschema.ValidationError, match="profile"):
        jsonschema.validate(harbour, SCHEMA)


def test_the_handwritten_document_is_the_one_the_script_makes(harbour, made):
    assert harbour == json.loads(json.dumps(made["harbour"]()))
