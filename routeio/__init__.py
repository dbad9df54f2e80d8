"""Files to routes: readers, cleaning, curve recovery, findings.

>>> from routeio import read_survey
>>> survey = read_survey("harbour.dxf", ducts="DUCT*", vaults="VAULT*", sweep=3.81)  # doctest: +SKIP
"""

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
