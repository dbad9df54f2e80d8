"""Findings and refusals: what is wrong with an input, where, and how to mend it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Severity = Literal["info", "warning", "error"]


@dataclass(frozen=True)
class Where:
    """A place in an input.

    Parameters
    ----------
    file, layer, id : str, optional
        The file's name, the layer, and the handle or feature id.
    x, y : float, optional
        In the survey's coordinates. [m]
    """

    file: str = ""
    layer: str = ""
    id: str = ""
    x: float | None = None
    y: float | None = None


@dataclass(frozen=True)
class Finding:
    """Something about the input that a person should know.

    Parameters
    ----------
    code : str
        Lower-case words with hyphens, one meaning a code, such as ``gap-closed``.
    severity : {"info", "warning", "error"}
        ``error``: part of the input could not be used.
    message : str
        One sentence with the figures in it.
    where : Where
        The place.
    remedy : str
        What to do about it.
    """

    code: str
    severity: Severity
    message: str
    where: Where = field(default_factory=Where)
    remedy: str = ""


def span_text(metres: float) -> str:
    """Return a length, offset or elevation in words, in metres and in feet.

    Parameters
    ----------
    metres : float
        [m]

    Returns
    -------
    str
        To the centimetre, or finer where it is small.

    Examples
    --------
    >>> span_text(0.6096), span_text(0.003)
    ('0.61 m (2.00 ft)', '0.003 m (0.010 ft)')
    """
    size = abs(metres)
    if size >= 0.1 or size == 0.0:
        return f"{metres:.2f} m ({metres / 0.3048:.2f} ft)"
    digits = 3 if size >= 1e-3 else 5
    return f"{metres:.{digits}f} m ({metres / 0.3048:.{digits}f} ft)"


def place_text(where: Where, unit: tuple[str, float] | None = None) -> str:
    """Return the coordinates of a place in words, empty where it has none.

    Parameters
    ----------
    where : Where
        A place.
    unit : tuple of (str, float), optional
        Name and metres of the file's own unit, so that the place is found in the drawing: at two million feet the US
        survey foot and the international foot lead 4 ft apart. Metres and feet where it is not known.

    Returns
    -------
    str
        To the hundredth.

    Examples
    --------
    >>> place_text(Where(x=609601.2192024384, y=0.0), ("us_survey_foot", 1200 / 3937))
    'at 2000000.00, 0.00 us_survey_foot'
    """
    if where.x is None or where.y is None:
        return ""
    if unit is not None:
        name, metres = unit
        return f"at {where.x / metres:z.2f}, {where.y / metres:z.2f} {name}"
    return f"at {where.x:z.2f}, {where.y:z.2f} m ({where.x / 0.3048:z.2f}, {where.y / 0.3048:z.2f} ft)"


class InputRefusedError(ValueError):
    """An input that cannot be used: code, place and remedy, with all findings so far.

    Parameters
    ----------
    code : str
        As in :class:`Finding`.
    message : str
        What is wrong.
    where : Where, optional
        Where.
    remedy : str, optional
        How to mend it.
    findings : tuple of Finding, optional
        What else was found before giving up.
    unit : tuple of (str, float), optional
        Name and metres of the unit in which the place is told; metres and feet where it is not known.
    """

    def __init__(
        self,
        code: str,
        message: str,
        where: Where | None = None,
        remedy: str = "",
        findings: tuple[Finding, ...] = (),
        unit: tuple[str, float] | None = None,
    ) -> None:
        self.code = code
        self.message = message
        self.where = where or Where()
        self.remedy = remedy
        self.findings = findings
        layer = f"layer {self.where.layer}" if self.where.layer else ""
        told = (self.where.file, layer, self.where.id, place_text(self.where, unit))
        place = ", ".join(part for part in told if part)
        super().__init__(
            f"{message}" + (f" ({place})" if place else "") + (f" -- {remedy}" if remedy else "")
        )
