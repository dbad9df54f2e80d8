"""Files to routes: readers, cleaning, curve recovery, findings.

>>> from routeio import read_survey
>>> survey = read_survey("harbour.dxf", ducts="DUCT*", vaults="VAULT*", sweep=3.81)  # doctest: +SKIP
"""

from routeio.findings import Finding, InputRefusedError, Where
from routeio.limits import Limits
from routeio.options import ReadOptions, Selection
from routeio.read import read_survey
from routeio.survey import Duct, DuctFields, Ground, Origin, Survey, Vault

__all__ = [
    "Duct",
    "DuctFields",
    "Finding",
    "Ground",
    "InputRefusedError",
    "Limits",
    "Origin",
    "ReadOptions",
    "Selection",
    "Survey",
    "Vault",
    "Where",
    "read_survey",
]
