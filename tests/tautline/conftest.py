"""The sample route, planned and checked once for all tests."""

from pathlib import Path

import pytest

import tautline

SAMPLES = Path(__file__).resolve().parents[2] / "sample_routes"


@pytest.fixture(scope="session")
def sample_plan():
    return tautline.run_job(SAMPLES / "harbour_dxf.toml")


@pytest.fixture(scope="session")
def sample_check():
    return tautline.run_job(SAMPLES / "harbour_dxf.toml", "check")
