"""Starting: a process that reads one file loads what that takes, and every name of a package is where it says."""

import importlib
import subprocess
import sys

import pytest

#: Libraries that take a tenth of a second and more to load.
HEAVY = ("ezdxf", "pint", "pandas", "pyogrio", "pyproj", "networkx", "scipy", "openpyxl", "lxml")


@pytest.mark.parametrize("name", ["routeio", "mechanics"])
def test_names_are_where_they_are_said_to_be(name):
    package = importlib.import_module(name)
    homes = {public: home for home, names in package._HOMES.items() for public in names}
    assert sorted(homes) == sorted(package.__all__)
    for public, home in homes.items():
        assert getattr(package, public) is getattr(importlib.import_module(f"{name}.{home}"), public)
    with pytest.raises(AttributeError, match="'nothing'"):
        _ = package.nothing


def test_a_worker_starts_without_what_only_some_files_need():
    code = f"import sys, routeio.worker\nprint([name for name in {HEAVY} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
