"""Files to routes: readers, cleaning, curve recovery, findings.

>>> from routeio import read_survey
>>> survey = read_survey("harbour.dxf", ducts="DUCT*", vaults="VAULT*", sweep=3.81)  # doctest: +SKIP
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from routeio.findings import Finding, InputRefusedError, Where
    from routeio.limits import Limits
    from routeio.options import ReadOptions, Selection
    from routeio.peeking import LayerPeek, Peek, peek
    from routeio.read import read_survey
    from routeio.summary import Summary, summarise
    from routeio.survey import Duct, DuctFields, Ground, Origin, Survey, Vault

__all__ = [
    "Duct",
    "DuctFields",
    "Finding",
    "Ground",
    "InputRefusedError",
    "LayerPeek",
    "Limits",
    "Origin",
    "Peek",
    "ReadOptions",
    "Selection",
    "Summary",
    "Survey",
    "Vault",
    "Where",
    "peek",
    "read_survey",
    "summarise",
]

#: Where the names are. A worker that reads one file starts with this package, and needs few of them.
_HOMES = {
    "findings": ("Finding", "InputRefusedError", "Where"),
    "limits": ("Limits",),
    "options": ("ReadOptions", "Selection"),
    "peeking": ("LayerPeek", "Peek", "peek"),
    "read": ("read_survey",),
    "summary": ("Summary", "summarise"),
    "survey": ("Duct", "DuctFields", "Ground", "Origin", "Survey", "Vault"),
}


def __getattr__(name: str) -> object:
    """Import a name when it is first asked for."""
    for home, names in _HOMES.items():
        if name in names:
            found = globals()[name] = getattr(import_module(f"{__name__}.{home}"), name)
            return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
