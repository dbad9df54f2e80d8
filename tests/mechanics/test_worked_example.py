"""The example that docs/mechanics.md works by hand, repeated."""

from __future__ import annotations

import doctest
from pathlib import Path

PAGE = Path(__file__).parents[2] / "docs" / "mechanics.md"


def test_the_page_says_what_the_solver_says() -> None:
    done = doctest.testfile(str(PAGE), module_relative=False)
    assert done.attempted > 10
    assert done.failed == 0
