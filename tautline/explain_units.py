"""The units in which a hand calculation is written: feet and pounds-force, or metres and newtons."""

from __future__ import annotations

from dataclasses import dataclass

from mechanics.units import System, quantity, show
from tautline.explain_piece import number


@dataclass(frozen=True)
class Units:
    """Units of a hand calculation; the equations hold in any that belong together.

    Parameters
    ----------
    system : {"us", "si"}
        The job's.
    length_name, force_name : str
        As a person writes them.
    length_unit, force_unit : float
        One of each. [m, N]
    """

    system: System
    length_name: str
    force_name: str
    length_unit: float
    force_unit: float

    @staticmethod
    def of(system: System) -> Units:
        """Return the units of a job.

        Parameters
        ----------
        system : {"us", "si"}
            The job's.

        Returns
        -------
        Units
            Feet and pounds-force, or metres and newtons.

        Examples
        --------
        >>> Units.of("us").force(44482.216152605)
        '10000'
        """
        if system == "us":
            return Units(system, "ft", "lbf", quantity("1 ft", "length"), quantity("1 lbf", "force"))
        return Units(system, "m", "N", 1.0, 1.0)

    def length(self, metres: float) -> str:
        """Return a length as a bare number."""
        return number(metres / self.length_unit)

    def force(self, newtons: float) -> str:
        """Return a force as a bare number."""
        return number(newtons / self.force_unit)

    def per_length(self, value: float) -> str:
        """Return a force per length, given in N/m, as a bare number."""
        return number(value * self.length_unit / self.force_unit)

    def told_length(self, metres: float, figures: int = 7) -> str:
        """Return a length with its unit, rounded to so many figures."""
        return f"{number(float(f'{metres / self.length_unit:.{figures}g}'))} {self.length_name}"

    def told_force(self, newtons: float) -> str:
        """Return a force with its unit; in US units the newtons of the document stand behind it."""
        behind = f" ({number(newtons)} N)" if self.system == "us" else ""
        return f"{self.force(newtons)} {self.force_name}{behind}"

    def told_per_length(self, value: float) -> str:
        """Return a force per length, given in N/m, with its unit."""
        return f"{self.per_length(value)} {self.force_name}/{self.length_name}"

    @property
    def small_unit(self) -> float:
        """Of diameters and bending radii: an inch, or a millimetre. [m]"""
        return quantity("1 in", "length") if self.system == "us" else 1e-3

    @property
    def small_name(self) -> str:
        """Of diameters and bending radii, as a person writes it."""
        return "in" if self.system == "us" else "mm"

    def small(self, metres: float) -> str:
        """Return a diameter or a bending radius as a bare number, in inches or millimetres."""
        return number(metres / self.small_unit)

    def told_diameter(self, metres: float) -> str:
        """Return a diameter as one is read, in inches or millimetres."""
        return show(metres, "diameter", self.system)
