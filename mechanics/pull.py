"""All of one pull: friction, holding back, tension, sidewall pressure and every check, in one call."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from mechanics.cable import Attachment, Bundle
from mechanics.chain import Chain
from mechanics.errors import FloatArray
from mechanics.lubricant import LubricantPlan
from mechanics.track import Track

Verdict = Literal["pass", "fail", "attention", "note"]


@dataclass(frozen=True)
class Override:
    """A limit the user states in place of a table's.

    Parameters
    ----------
    limit : float
        In the check's own SI unit.
    binding : bool or None
        Whether it can fail a pull; None: as the table says.
    """

    limit: float | None = None
    binding: bool | None = None


@dataclass(frozen=True)
class Rules:
    """What a pull is judged by and how it is set up, all that is not the path or the bundle.

    Parameters
    ----------
    entry : float
        Entry tension the job states. [N]
    attachment : {"eye", "grip"}
        How the rope is fastened.
    max_sidewall : float or None
        Sidewall limit from the data sheet; None: the table's value for the construction. [N/m]
    overrides : mapping of str to Override
        By check name.
    practice : {"us", "metric"}
        Which conductor stresses hold.
    low_friction_factor : float or None
        Friction for sizing the brake, as a factor on the expected; None: the expected alone.
    restart_factor : float
        On the tension when a pull starts again after a stop for re-lubrication.
    slack : float
        Cable beyond the vault at each end. [m]
    reel : float or None
        Longest cable on a reel. [m]
    pusher : float
        Force of a pusher at the feed. [N]
    assists : mapping of str to float
        Vault tag to the force an assist there adds once the head has passed. [N]
    temperature : float or None
        Of the cable at the pull, for the lubricant grade and the least pulling temperature. [deg C]
    lubricant_factor : float
        Difficulty factor on the base quantity of lubricant.
    flooded : bool
        Whether ducts stand full of water.
    """

    entry: float = 0.0
    attachment: Attachment = "eye"
    max_sidewall: float | None = None
    overrides: Mapping[str, Override] = field(default_factory=dict)
    practice: Literal["us", "metric"] = "us"
    low_friction_factor: float | None = None
    restart_factor: float = 1.25
    slack: float = 0.0
    reel: float | None = None
    pusher: float = 0.0
    assists: Mapping[str, float] = field(default_factory=dict)
    temperature: float | None = None
    lubricant_factor: float = 1.0
    flooded: bool = False


@dataclass(frozen=True)
class Check:
    """A computed value held against its limit.

    Parameters
    ----------
    name : str
        Such as ``max_tension``, ``max_sidewall``, ``bending_radius``, ``clearance``.
    value : float or None
        In ``unit``; None where it could not be computed (then the verdict is ``note`` and the source says why).
    limit : float or None
        In ``unit``; for a band, its lower end.
    utilisation : float or None
        value/limit for a maximum, limit/value for a minimum, None for a band.
    unit : str
        SI.
    source : str
        Of the limit.
    binding : bool
        Whether it can fail the pull.
    verdict : {"pass", "attention", "fail", "note"}
        ``fail`` only if binding; advice that is passed over is ``attention``.
    where : float or None
        Station of the worst place. [m]
    overridden : bool
        Whether the job stated the limit.
    """

    name: str
    value: float | None
    limit: float | None
    utilisation: float | None
    unit: str
    source: str
    binding: bool
    verdict: Verdict
    where: float | None = None
    overridden: bool = False


@dataclass(frozen=True, eq=False)
class PullResult:
    """One pull, evaluated; carries its inputs.

    Parameters
    ----------
    track, bundle, rules : Track, Bundle, Rules
        The inputs.
    relube : tuple of int
        Which of ``track.vaults`` add lubricant.
    chain : Chain
        The chain as evaluated: split where friction changes and where tension peaks or bottoms.
    source_segment : ndarray of int, shape (n,)
        Segment of ``track.chain`` each piece belongs to.
    friction, weight_correction, added : ndarray, shape (n,)
        Used on each piece, before weight correction; the correction; force added at its end. [-, -, N]
    weight : float
        The bundle's, all cables, buoyancy included. [N/m]
    arrangement : str
        As it lies in the duct of the pull's greatest sidewall pressure.
    entry_tension : float
        As used: the greater of the stated and the held. [N]
    holding_tension : float
        Least entry tension that keeps the cable taut. [N]
    tension : ndarray, shape (n + 1,)
        At the start of the pull and at the end of each piece. [N]
    sidewall : ndarray, shape (n,)
        Greatest on each piece, hardest-pressed cable, weight left out, at the inside of the bend. [N/m]
    contact : ndarray, shape (n,)
        Whole contact force of the bundle, weight included, greatest on each piece. [N/m]
    checks : tuple of Check
        All of them.
    lubricant : LubricantPlan
        How much, where, how.
    notes : tuple of str
        Assumptions and safe sides taken, in words.
    sidewall_factor : ndarray, shape (n,)
        The arrangement's, on each piece: sidewall pressure over tension times curvature at the inside of the bend. [-]
    """

    track: Track
    bundle: Bundle
    rules: Rules
    relube: tuple[int, ...]
    chain: Chain
    source_segment: FloatArray
    friction: FloatArray
    weight_correction: FloatArray
    added: FloatArray
    weight: float
    arrangement: str
    entry_tension: float
    holding_tension: float
    tension: FloatArray
    sidewall: FloatArray
    contact: FloatArray
    checks: tuple[Check, ...]
    lubricant: LubricantPlan
    notes: tuple[str, ...] = ()
    sidewall_factor: FloatArray = field(default_factory=lambda: np.zeros(0))

    @property
    def verdict(self) -> Literal["pass", "fail"]:
        """``fail`` when any binding check fails."""
        return "fail" if any(c.binding and c.verdict == "fail" for c in self.checks) else "pass"

    @property
    def exit_tension(self) -> float:
        """Tension leaving the last segment. [N]"""
        return float(self.tension[-1])

    @property
    def utilisation(self) -> float:
        """Worst utilisation of a binding check (0 where none has one)."""
        return max(
            (c.utilisation for c in self.checks if c.binding and c.utilisation is not None), default=0.0
        )


def evaluate_pull(track: Track, bundle: Bundle, rules: Rules, relube: Sequence[int] = ()) -> PullResult:
    """Evaluate one pull along ``track``; see :class:`PullResult`."""
    raise NotImplementedError
