"""What the cable slides in along each duct: the duct's own fields first, then the job's, then the tables."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from mechanics.errors import DomainError
from mechanics.tables import Tables, friction_default, inside_diameter
from mechanics.track import Bore, Friction
from routeio.findings import InputRefusedError
from routeio.layers import matcher
from routeio.survey import Duct


@dataclass(frozen=True)
class Lining:
    """What the job says of ducts and friction; None where it says nothing.

    Parameters
    ----------
    trade_size, type : str or None
        As in the table of ducts, such as ``5`` and ``PVC 40``.
    inside_diameter : float or None
        [m]
    lubricated, dry : float or None
        Friction coefficients.
    hold : float or None
        Distance over which the lubricant holds. [m]
    pressed, press_force : float or None
        Coefficient where one cable is pressed harder than that force per length, in place of ``lubricated``.
        [-, N/m]
    waviness : float
        Turn per length that coiled duct keeps when it is laid straight. [rad/m]
    flooded : bool
        Whether the ducts stand full of water.
    jacket : str
        Of the cable, for the friction defaults; empty where not stated.
    layers : tuple of str and Lining
        Layer patterns, and what holds on those layers in place of this; the first that fits rules. A drawing
        has no fields on its lines, and says by the layer what is drawn.
    tables : Tables or None
        With the job's own rows; None: the built-in tables alone.
    """

    trade_size: str | None = None
    type: str | None = None
    inside_diameter: float | None = None
    lubricated: float | None = None
    dry: float | None = None
    hold: float | None = None
    pressed: float | None = None
    press_force: float | None = None
    waviness: float = 0.0
    flooded: bool = False
    jacket: str = ""
    layers: tuple[tuple[str, Lining], ...] = ()
    tables: Tables | None = None

    def bore(self, duct: Duct) -> Bore:
        """Return what the cable slides in inside ``duct``.

        Parameters
        ----------
        duct : Duct
            Its own fields go before the job's values.

        Returns
        -------
        Bore
            With everything that was a default in ``assumed``.

        Raises
        ------
        InputRefusedError
            Neither the duct nor the job says how wide it is, or the table of ducts does not hold it.
        """
        for pattern, lining in self.layers:
            if matcher([pattern])(duct.where.layer):
                return lining.bore(duct)
        fields = duct.fields
        size = fields.size or self.trade_size
        kind = fields.type or self.type
        # a size or type of the span's own stands against a diameter that the job states for all
        own = fields.inside_diameter
        if own is None and fields.size is None and fields.type is None:
            own = self.inside_diameter
        if own is not None:
            diameter, label = own, f"{1000 * own:.1f} mm inside" + (f", {kind}" if kind else "")
        elif size is None or kind is None:
            missing = " and ".join(word for word, value in (("size", size), ("type", kind)) if value is None)
            raise InputRefusedError(
                "duct-size-unknown",
                f"duct {duct.id} between {_ends(duct)} has no {missing}, and the job states none",
                duct.where,
                'state [duct] trade_size and type, or inside_diameter, or name the fields: ducts = { size = "...", type = "..." }',
            )
        else:
            try:
                diameter = inside_diameter(size, kind, self.tables)
            except DomainError as error:
                raise InputRefusedError(
                    "duct-size-unknown",
                    f"duct {duct.id} between {_ends(duct)}: {error}",
                    duct.where,
                    "correct the field in the file, or state [duct] inside_diameter and leave the field out of ducts = { ... }",
                ) from error
            label = f"{size} {kind}"
        friction, assumed = self.friction(kind, fields.friction)
        return Bore(
            inside_diameter=diameter,
            friction=friction,
            label=label,
            assumed=assumed,
            waviness=self.waviness,
            flooded=self.flooded if fields.flooded is None else fields.flooded,
        )

    def kind(self, duct: Duct) -> str | None:
        """Return the type of a duct: its own, or the job's for its layer.

        Parameters
        ----------
        duct : Duct
            Of the survey.

        Returns
        -------
        str or None
            Such as ``PVC 40``; None where nothing says.
        """
        for pattern, lining in self.layers:
            if matcher([pattern])(duct.where.layer):
                return lining.kind(duct)
        return duct.fields.type or self.type

    def for_cable(
        self, jacket: str, lubricated: float | None, dry: float | None, hold: float | None
    ) -> Lining:
        """Return the same ducts for another cable.

        Parameters
        ----------
        jacket : str
            Of the cable, for the friction defaults.
        lubricated, dry : float or None
            Friction coefficients in place of these; None: these.
        hold : float or None
            Distance over which the lubricant holds. [m]

        Returns
        -------
        Lining
            On all its layers.
        """
        layers = tuple((name, own.for_cable(jacket, lubricated, dry, hold)) for name, own in self.layers)
        if lubricated is None:
            return replace(self, jacket=jacket, layers=layers)
        return replace(
            self,
            jacket=jacket,
            lubricated=lubricated,
            dry=dry,
            hold=hold,
            pressed=None,
            press_force=None,
            layers=layers,
        )

    def unmatched(self, ducts: Iterable[Duct]) -> tuple[str, ...]:
        """Return the layer patterns that no duct lies on.

        Parameters
        ----------
        ducts : iterable of Duct
            Of the survey.

        Returns
        -------
        tuple of str
            As the job wrote them.
        """
        names = frozenset[str]().union(*(duct.layers for duct in ducts))
        return tuple(p for p, _ in self.layers if not any(map(matcher([p]), names)))

    def friction(self, kind: str | None, own: float | None = None) -> tuple[Friction, tuple[str, ...]]:
        """Return the friction in a duct of a type, and what about it was assumed.

        Parameters
        ----------
        kind : str or None
            Duct type.
        own : float or None, optional
            Lubricated coefficient that the duct's own fields give.

        Returns
        -------
        tuple of Friction and tuple of str
            The sentences are empty where everything was stated.
        """
        lubricated, dry = (self.lubricated if own is None else own), self.dry
        assumed: tuple[str, ...] = ()
        if lubricated is None:
            lubricated, dry_default, source = friction_default(self.jacket, kind or "", self.tables)
            assumed = (f"Friction in {kind or 'duct'}: {lubricated:g} lubricated taken ({source}).",)
            if self.hold is not None and dry is None:
                dry = dry_default
                assumed = (
                    f"Friction in {kind or 'duct'}: {lubricated:g} lubricated and {dry:g} dry taken ({source}).",
                )
        hold = self.hold
        if hold is not None and dry is not None and not dry >= lubricated:
            assumed += (
                f"Friction {lubricated:g} of a duct is above the job's dry {dry:g}: kept constant there.",
            )
            hold = None
        pressed, force = self.pressed, self.press_force
        if own is not None and pressed is not None:
            assumed += (f"Friction {own:g} of a duct is its own: taken whatever the cable is pressed with.",)
            pressed = force = None
        if hold is None or dry is None:
            return Friction(lubricated, pressed=pressed, press_force=force), assumed
        return Friction(lubricated, dry, hold, pressed, force), assumed


def _ends(duct: Duct) -> str:
    return f"{duct.start_vault or 'a loose end'} and {duct.end_vault or 'a loose end'}"
