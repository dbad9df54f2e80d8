"""What a pull is judged by and how it is set up, and the checks that come of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal, get_args

from mechanics.cable import Attachment
from mechanics.errors import DomainError, flag, instance, number, one_of, optional, settle, stated
from mechanics.tables import Tables

Practice = Literal["us", "metric"]
Verdict = Literal["pass", "fail", "attention", "note"]

SUPPLY = ("reel_length",)
"""Checks of what is bought, not of what the cable bears: they can fail a pull, yet a full reel is no strain on it."""


@dataclass(frozen=True)
class Override:
    """A limit the user states in place of a table's.

    Parameters
    ----------
    limit : float
        In the check's own SI unit.
    binding : bool or None
        Whether it can fail a pull; None: as the table says.

    Raises
    ------
    DomainError
        A limit that is not one finite number, or a ``binding`` that is not yes or no. What range a limit has is seen
        with the check it is for.
    """

    limit: float | None = None
    binding: bool | None = None

    def __post_init__(self) -> None:
        settle(self, "override", limit=optional(number), binding=optional(flag))


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
        The lowest friction that may turn out, as a factor on the expected. Stated, every check runs with the reel
        braked for it; None: the table's, by which the brake is sized, and the checks run with what the expected
        friction needs.
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
    puller : float or None
        Greatest rope tension that the winch or its rope may give; None: not checked. [N]
    rope_friction : float or None
        Of the dry rope in the ducts ahead of the cable; None: the table's.
    tables : Tables or None
        With a user's own rows; None: the built-in tables alone.

    Raises
    ------
    DomainError
        Names the field and the legal range.
    """

    entry: float = 0.0
    attachment: Attachment = "eye"
    max_sidewall: float | None = None
    overrides: Mapping[str, Override] = field(default_factory=dict)
    practice: Practice = "us"
    low_friction_factor: float | None = None
    restart_factor: float = 1.25
    slack: float = 0.0
    reel: float | None = None
    pusher: float = 0.0
    assists: Mapping[str, float] = field(default_factory=dict)
    temperature: float | None = None
    lubricant_factor: float = 1.0
    puller: float | None = None
    rope_friction: float | None = None
    tables: Tables | None = None

    def __post_init__(self) -> None:
        least, above = stated(number, at_least=0.0), optional(number, above=0.0)
        settle(
            self,
            "rules",
            entry=least,
            attachment=stated(one_of, get_args(Attachment)),
            max_sidewall=above,
            overrides=stated(_mapping, stated(instance, Override)),
            practice=stated(one_of, get_args(Practice)),
            low_friction_factor=above,
            restart_factor=stated(number, at_least=1.0),
            slack=least,
            reel=above,
            pusher=least,
            assists=stated(_mapping, stated(number, above=0.0)),
            temperature=optional(number, above=-273.15),
            lubricant_factor=stated(number, above=0.0),
            puller=above,
            rope_friction=above,
            tables=optional(instance, Tables),
        )


def _mapping(name: str, value: object, check: Callable[[str, object], object]) -> Mapping[str, object]:
    """Return a mapping of words to what a check accepts."""
    if not isinstance(value, Mapping):
        raise DomainError(f"{name} must be a mapping by name, got {value!r}")
    return {
        instance(f"key of {name}", key, str): check(f"{name}[{key!r}]", one) for key, one in value.items()
    }


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
    upper : float or None
        For a band, its upper end; None for a single limit.
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
    upper: float | None = None

    @property
    def strains(self) -> bool:
        """Whether its utilisation counts in the pull's: it binds and has one, and is no matter of supply."""
        return self.binding and self.utilisation is not None and self.name not in SUPPLY
