"""How much pulling lubricant, where, and how it gets in."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LubricantAt:
    """Lubricant used at one vault.

    Parameters
    ----------
    vault : int or None
        Index of the pass-through vault; None for the feed.
    litres : float
        How much.
    how : str
        Such as ``by hand or pump at the duct mouth`` or ``3 bags of half a US gallon ahead of the cable``.
    """

    vault: int | None
    litres: float
    how: str


@dataclass(frozen=True)
class LubricantPlan:
    """Lubricant for one pull.

    Parameters
    ----------
    litres : float
        In all.
    at : tuple of LubricantAt
        The split.
    grade : str
        ``regular`` or ``winter``.
    notes : tuple of str
        Assumptions.
    """

    litres: float
    at: tuple[LubricantAt, ...]
    grade: str = "regular"
    notes: tuple[str, ...] = ()
