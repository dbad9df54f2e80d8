"""Cables and bundles as the data sheet gives them; what they weigh and how they lie is in :mod:`mechanics.bundle`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from mechanics.errors import flag, instance, number, one_of, optional, settle, several, stated, whole

Material = Literal["copper", "aluminium"]
Arrangement = Literal["single", "pair", "triangular", "cradled", "diamond", "circle"]
Attachment = Literal["eye", "grip"]
Role = Literal["power", "ground", "fibre"]


@dataclass(frozen=True)
class Cable:
    """One cable, from its data sheet.

    Parameters
    ----------
    diameter : float
        Over the jacket. [m]
    weight : float
        Weight (a force) per length. [N/m]
    material : {"copper", "aluminium"}
        Of the conductor.
    conductor_area : float or None
        Of one conductor; None where no conductor limit can be had (a fibre cable). [m2]
    conductors : int, optional
        Conductors of that area in this cable.
    temper : str, optional
        A key of the conductor stress table, such as ``"annealed"`` or ``"hard-drawn"``.
    construction : str, optional
        A key of the sidewall and bending-radius tables, such as ``"shielded"``, ``"600 V"``, ``"lead-covered"``.
    jacket : str, optional
        A key of the friction defaults, such as ``"polyethylene"`` or ``"PVC"``; empty where not stated.
    role : {"power", "ground", "fibre"}, optional
        A grounding conductor or fibre cable rides beside the power cables.
    sheath_area : float, optional
        Cross-section of a lead sheath. [m2]
    name : str, optional
        As a person reads it.

    Raises
    ------
    DomainError
        Names the field and the legal range. Whether the tables hold a temper, construction or jacket is seen where
        they are looked up.
    """

    diameter: float
    weight: float
    material: Material = "copper"
    conductor_area: float | None = None
    conductors: int = 1
    temper: str = "annealed"
    construction: str = "shielded"
    jacket: str = ""
    role: Role = "power"
    sheath_area: float | None = None
    name: str = ""

    def __post_init__(self) -> None:
        above, text = stated(number, above=0.0), stated(instance, str)
        settle(
            self,
            "cable",
            diameter=above,
            weight=above,
            material=stated(one_of, get_args(Material)),
            conductor_area=optional(number, above=0.0),
            conductors=stated(whole, at_least=1),
            temper=text,
            construction=text,
            jacket=text,
            role=stated(one_of, get_args(Role)),
            sheath_area=optional(number, at_least=0.0),
            name=text,
        )


@dataclass(frozen=True)
class Bundle:
    """The cables that go into one duct together.

    Parameters
    ----------
    cables : tuple of Cable
        One to six power cables, with or without a ground or fibre cable beside them.
    arrangement : str, optional
        Given by the user; None: chosen by diameter ratio.
    triplexed : bool, optional
        A factory assembly, lying triangular.
    weight_correction, sidewall_factor : float, optional
        Stated in place of the arrangement's own, in every duct; needed where no formula holds.

    Raises
    ------
    DomainError
        Names the field and the legal range. How many cables go, and which arrangement goes with how many, is seen
        where the bundle is laid in a duct.
    """

    cables: tuple[Cable, ...]
    arrangement: Arrangement | None = None
    triplexed: bool = False
    weight_correction: float | None = None
    sidewall_factor: float | None = None

    def __post_init__(self) -> None:
        above = optional(number, above=0.0)
        settle(
            self,
            "bundle",
            cables=stated(several, Cable),  # a tuple: a list would not be frozen
            arrangement=optional(instance, str),
            triplexed=flag,
            weight_correction=above,
            sidewall_factor=above,
        )
