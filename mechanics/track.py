"""The track: a pull's path in its own direction, with what the cable slides in and where the vaults stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import Chain, IntArray
from mechanics.errors import DomainError, flag, instance, number, optional, settle, several, stated, whole


@dataclass(frozen=True)
class Friction:
    """Friction coefficients of a cable in a duct, before weight correction.

    Parameters
    ----------
    lubricated : float
        While the distance slid since the last lubrication is at most ``hold``.
    dry : float, optional
        What it tends to beyond ``hold``; None: the friction stays ``lubricated``.
    hold : float, optional
        Distance over which the lubricant holds; None: it always does. [m]
    pressed : float, optional
        In place of ``lubricated`` where the cable is pressed harder than ``press_force``; drying changes both in
        proportion. None: the contact force does not matter.
    press_force : float, optional
        Contact force per length of one cable between the two. [N/m]

    Raises
    ------
    DomainError
        A coefficient, hold or force not above 0, dry below lubricated, or one of the last two without the other.
    """

    lubricated: float
    dry: float | None = None
    hold: float | None = None
    pressed: float | None = None
    press_force: float | None = None

    def __post_init__(self) -> None:
        above = optional(number, above=0.0)
        settle(
            self,
            "friction",
            lubricated=stated(number, above=0.0),
            hold=above,
            pressed=above,
            press_force=above,
        )
        settle(self, "friction", dry=optional(number, at_least=self.lubricated))
        if (self.pressed is None) != (self.press_force is None):
            raise DomainError("friction.pressed and friction.press_force must be given together")


@dataclass(frozen=True)
class Bore:
    """What the cable slides in along a stretch: the inside of a duct, or the guides at a vault.

    Parameters
    ----------
    inside_diameter : float or None
        None for guides. [m]
    friction : Friction
        Guides use ``lubricated`` only; they do not age the lubricant and their weight correction is 1.
    guide : bool, optional
        True for guides at a vault.
    label : str, optional
        As a person reads it, such as ``5 in PVC 40``.
    assumed : tuple of str, optional
        What about it was a default rather than stated, in words.
    waviness : float, optional
        Turn per length that coiled duct keeps when it is laid straight. [rad/m]
    flooded : bool, optional
        Whether it stands full of water, in which a cable is lighter by the water it displaces.

    Raises
    ------
    DomainError
        Names the field and the legal range.
    """

    inside_diameter: float | None
    friction: Friction
    guide: bool = False
    label: str = ""
    assumed: tuple[str, ...] = ()
    waviness: float = 0.0
    flooded: bool = False

    def __post_init__(self) -> None:
        settle(
            self,
            "bore",
            inside_diameter=optional(number, above=0.0),
            friction=stated(instance, Friction),
            guide=flag,
            label=stated(instance, str),
            assumed=stated(several, str),
            waviness=stated(number, at_least=0.0),
            flooded=flag,
        )


@dataclass(frozen=True, eq=False)
class Track:
    """A path in the direction of travel: its chain, the bore of each segment, its pass-through vaults.

    Parameters
    ----------
    chain : Chain
        One chain, guides and vault crossings included.
    bore : ndarray of int, shape (n,)
        Index into ``bores`` of each segment.
    bores : tuple of Bore
        The different bores along the path.
    vaults : tuple of (int, int), optional
        For each pass-through vault in order, the segments ``start:stop`` of its crossing (empty where
        the ducts meet face to face). Lubricant added there counts from segment ``stop`` on.
    tags : tuple of str, optional
        Tags of those vaults.

    Raises
    ------
    DomainError
        Names the field, the first bad index and the legal range.
    """

    chain: Chain
    bore: IntArray
    bores: tuple[Bore, ...]
    vaults: tuple[tuple[int, int], ...] = ()
    tags: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(instance("chain", self.chain, Chain))
        if self.chain.count != 1:
            raise DomainError(f"chain must be a single chain, got {self.chain.count}")
        try:
            index = np.asarray(self.bore)
        except ValueError as error:
            raise DomainError(f"bore must be whole numbers, one a segment, got {self.bore!r}") from error
        if index.size and not np.issubdtype(index.dtype, np.integer):
            raise DomainError(f"bore must be whole numbers, one a segment, got {self.bore!r}")
        object.__setattr__(self, "bore", index.astype(np.int64, copy=False))
        object.__setattr__(self, "bores", several("bores", self.bores, Bore))
        object.__setattr__(self, "tags", several("tags", self.tags, str))
        object.__setattr__(
            self, "vaults", tuple(_range(k, v) for k, v in enumerate(several("vaults", self.vaults, object)))
        )
        if self.bore.shape != (n,):
            raise DomainError(f"bore must have shape ({n},), got {self.bore.shape}")
        if n and not (int(self.bore.min()) >= 0 and int(self.bore.max()) < len(self.bores)):
            raise DomainError(f"bore must index the {len(self.bores)} bores")
        if len(self.tags) != len(self.vaults):
            raise DomainError(
                f"tags must name the {len(self.vaults)} pass-through vaults, got {len(self.tags)}"
            )
        last = 0
        for start, stop in self.vaults:
            if not last <= start <= stop <= n:
                raise DomainError(f"vaults must be rising segment ranges within 0..{n}, got {self.vaults}")
            last = stop

    @property
    def guide(self) -> NDArray[np.bool_]:
        """Which segments lie on guides, shape (n,)."""
        return np.array([b.guide for b in self.bores], dtype=bool)[self.bore]

    def reversed(self) -> Track:
        """Return the same path travelled the other way."""
        n = len(self.chain)
        return Track(
            self.chain.reversed(),
            self.bore[::-1].copy(),
            self.bores,
            tuple((n - stop, n - start) for start, stop in reversed(self.vaults)),
            tuple(reversed(self.tags)),
        )


def _range(k: int, vault: object) -> tuple[int, int]:
    if type(vault) is tuple and len(vault) == 2 and type(vault[0]) is int and type(vault[1]) is int:
        return vault  # as nearly always: a feeder has thousands
    pair = several(f"vaults[{k}]", vault, object)
    if len(pair) != 2:
        raise DomainError(f"vaults[{k}] must be start and stop of its crossing, got {vault!r}")
    return whole(f"vaults[{k}][0]", pair[0]), whole(f"vaults[{k}][1]", pair[1])
