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
        To the centimetre, or the millimetre where it is small.

    Examples
    --------
    >>> span_text(0.6096), span_text(0.003)
    ('0.61 m (2.00 ft)', '0.003 m (0.010 ft)')
    """
    digits = 3 if abs(metres) < 0.1 and metres != 0.0 else 2
    return f"{metres:.{digits}f} m ({metres / 0.3048:.{digits}f} ft)"


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
    """

    def __init__(
        self,
        code: str,
        message: str,
        where: Where | None = None,
        remedy: str = "",
        findings: tuple[Finding, ...] = (),
    ) -> None:
        self.code = code
        self.message = message
        self.where = where or Where()
        self.remedy = remedy
        self.findings = findings
        place = ", ".join(
            part
            for part in (
                self.where.file,
                f"layer {self.where.layer}" if self.where.layer else "",
                self.where.id,
                f"at {self.where.x:.2f}, {self.where.y:.2f} m "
                f"({self.where.x / 0.3048:.2f}, {self.where.y / 0.3048:.2f} ft)"
                if self.where.x is not None and self.where.y is not None
                else "",
            )
            if part
        )
        super().__init__(
            f"{message}" + (f" ({place})" if place else "") + (f" -- {remedy}" if remedy else "")
        )
