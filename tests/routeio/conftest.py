"""What the tests of the readers share: drawings and layers made by code, read in this process."""

from __future__ import annotations

import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyogrio.raw
import pytest
import shapely
from ezdxf.document import Drawing

from routeio import dxf, gis, landxml, table
from routeio.firstbytes import reader_for
from routeio.options import ReadOptions
from routeio.rawlines import RawSurvey
from routeio.read import survey_of, told
from routeio.survey import Survey

READERS = {"dxf": dxf.read, "gis": gis.read, "landxml": landxml.read, "table": table.read}


@pytest.fixture
def drawing() -> Drawing:
    """An empty drawing in metres."""
    return ezdxf.new("R2013", units=6)


@pytest.fixture
def saved(tmp_path: Path) -> Callable[..., Path]:
    """Save a drawing and return its path."""

    def save(drawing: Drawing, name: str = "route.dxf", **options: Any) -> Path:
        path = tmp_path / name
        drawing.saveas(path, **options)
        return path

    return save


@pytest.fixture
def raw() -> Callable[..., RawSurvey]:
    """Read a file as the worker does, in this process."""

    def read(path: Path, **options: Any) -> RawSurvey:
        reader, _ = reader_for(path)
        return READERS[reader](path, options_of(options))

    return read


@pytest.fixture
def survey(raw: Callable[..., RawSurvey]) -> Callable[..., Survey]:
    """Read a file to a survey, in this process."""

    def read(path: Path, **options: Any) -> Survey:
        return survey_of(raw(path, **options), options_of(options), str(path), "")

    return read


def options_of(options: dict[str, Any]) -> ReadOptions:
    rest = {k: v for k, v in options.items() if k not in {"ducts", "vaults"}}
    return told(ReadOptions(), options.get("ducts"), options.get("vaults"), rest)


@pytest.fixture
def layer(tmp_path: Path) -> Callable[..., Path]:
    """Write a layer of shapely geometries with columns of values."""

    def write(
        geometries: Sequence[Any],
        file: str = "route.gpkg",
        layer: str = "ducts",
        crs: str | None = "EPSG:32632",
        kind: str = "Unknown",
        append: bool = False,
        **columns: Sequence[Any],
    ) -> Path:
        path = tmp_path / file
        wkb = np.empty(len(geometries), dtype=object)
        wkb[:] = [None if g is None else shapely.to_wkb(g) for g in geometries]
        data = []
        for values in columns.values():
            column = np.array(values)
            if column.dtype.kind in "UO":
                column = np.empty(len(values), dtype=object)
                column[:] = values
            data.append(column)
        single = {"layer": layer} if path.suffix == ".gpkg" else {}
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a layer without a CRS is meant here
            pyogrio.raw.write(
                path, wkb, data, np.array(list(columns)), geometry_type=kind, crs=crs, append=append, **single
            )
        return path

    return write


@pytest.fixture
def codes() -> Callable[[Survey | RawSurvey], dict[str, int]]:
    """Count the findings of each code."""

    def count(survey: Survey | RawSurvey) -> dict[str, int]:
        return dict(Counter(finding.code for finding in survey.findings))

    return count


@pytest.fixture
def said() -> Callable[[Survey | RawSurvey, str], list[str]]:
    """Give the messages of one code."""

    def messages(survey: Survey | RawSurvey, code: str) -> list[str]:
        return [finding.message for finding in survey.findings if finding.code == code]

    return messages
