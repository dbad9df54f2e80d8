"""Where the sample route is: inside an installed package, or beside it in a checkout."""

from __future__ import annotations

from pathlib import Path

from tautline.errors import UsageError

_JOB = "harbour_dxf.toml"


def sample_job() -> Path:
    """Return the job file of the sample route.

    Returns
    -------
    Path
        Its drawing lies beside it.

    Raises
    ------
    UsageError
        The sample did not come with this installation.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "sample_routes", package.parent / "sample_routes"):
        if (folder / _JOB).is_file():
            return folder / _JOB
    raise UsageError("the sample route is missing from this installation; install tautline again")
