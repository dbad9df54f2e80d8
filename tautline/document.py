"""The result document as a file: its schema, written as JSON and read back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator
from jsonschema.exceptions import best_match

from tautline.errors import ResultError

SCHEMA = "tautline-result/1"

Document = dict[str, Any]


def read_document(path: str | Path) -> Document:
    """Read a result document written earlier.

    Parameters
    ----------
    path : str or Path
        ``result.json``.

    Returns
    -------
    dict
        The document.

    Raises
    ------
    ResultError
        Not there, not JSON, or not a result of this program.
    """
    file = Path(path)
    try:
        document = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise ResultError(f"there is no result document {file}") from error
    except OSError as error:
        raise ResultError(f"cannot read {file}: {error.strerror or error}") from error
    except (ValueError, RecursionError) as error:
        raise ResultError(f"{file} is not a result document (JSON): {error}") from error
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        got = document.get("schema") if isinstance(document, dict) else None
        raise ResultError(f'{file} is not a result document: its "schema" must be "{SCHEMA}", got {got!r}')
    fault = best_match(_validator().iter_errors(document))
    if fault is not None:
        raise ResultError(f"{file} is not a whole result document: {fault.json_path}: {fault.message[:200]}")
    return document


def as_text(document: Document) -> str:
    """Return a document as JSON text.

    Parameters
    ----------
    document : dict
        A result document.

    Returns
    -------
    str
        With a line end at its end.
    """
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def program_version() -> str:
    """Return the version of this program.

    Returns
    -------
    str
        As installed.
    """
    try:
        return version("tautline")
    except PackageNotFoundError:  # run from a folder that was never installed
        return "unknown"


def bundle_of(document: Mapping[str, Any], part: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the bundle that a section, a pull or a span of a result has.

    Parameters
    ----------
    document : mapping
        A result document.
    part : mapping
        One of its sections, pulls or spans.

    Returns
    -------
    mapping
        ``cables`` and ``weight_N_per_m``; of another bundle also where it is, its ``rules`` and its ``reel``.
    """
    other = part.get("other_bundle")
    found: Mapping[str, Any] = document["bundle"] if other is None else document["other_bundles"][other]
    return found


@cache
def _validator() -> Draft202012Validator:
    schema = json.loads(files("tautline").joinpath("result.schema.json").read_text(encoding="utf-8"))
    return Draft202012Validator(schema)
