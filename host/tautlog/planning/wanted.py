"""Wanted: the values given for a plan; the campaign fills in the rest."""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.errors import PlanError
from tautlog.model import quantities as q
from tautlog.model.flight import FlightLoad

SOLVABLE = ("mass", "height", "stiffness", "length")
_RANGES = {
    "mass_kg": q.MASS,
    "height_m": q.HEIGHT,
    "target_n": q.FORCE,
    "limit_n": q.FORCE,
    "stiffness_n_per_m": q.STIFFNESS,
    "modulus_n": q.MODULUS,
    "length_m": q.LENGTH,
    "hardening_per_m2": q.HARDENING,
    "damping_ratio": q.DAMPING,
    "friction_n": q.FRICTION,
    "factor": q.FACTOR,
}


@dataclass(frozen=True)
class Wanted:
    """Values given for a plan; None or "" if not given.

    Attributes
    ----------
    mass_kg, height_m : float or None
        Mass of all that moves; free travel until the line is taut.
    target_n, limit_n : float or None
        Force to reach; force above which the article is overloaded.
    article, line, mount : str
        Their names in the campaign.
    stiffness_n_per_m : float or None
        Stiffness of line and rig at zero stretch.
    modulus_n, length_m : float or None
        EA of the line and its length, instead of a stiffness.
    pulls : tuple of (float, float)
        Points of a static pull, force and stretch, instead of a stiffness.
    hardening_per_m2, damping_ratio : float or None
        Hardening and damping of the line.
    friction_n : float or None
        Friction of the rails.
    flight : FlightLoad or None
        Load in flight; it gives the target.
    factor : float or None
        Design factor times test factor on that load.
    solve : str
        Value to solve for so that the drop meets the aim, one of `SOLVABLE`; the campaign's value
        of it does not count.

    Raises
    ------
    QuantityError, PlanError
        If a value is out of its range, or two contradict each other.
    """

    mass_kg: float | None = None
    height_m: float | None = None
    target_n: float | None = None
    limit_n: float | None = None
    article: str = ""
    line: str = ""
    mount: str = ""
    stiffness_n_per_m: float | None = None
    modulus_n: float | None = None
    length_m: float | None = None
    pulls: tuple[tuple[float, float], ...] = ()
    hardening_per_m2: float | None = None
    damping_ratio: float | None = None
    friction_n: float | None = None
    flight: FlightLoad | None = None
    factor: float | None = None
    solve: str = ""

    def __post_init__(self) -> None:
        for name, quantity in _RANGES.items():
            if getattr(self, name) is not None:
                quantity.require(name, getattr(self, name))
        for force_n, stretch_m in self.pulls:
            q.FORCE.require("force of a pull", force_n)
            q.STRETCH.require("stretch of a pull", stretch_m)
        ways = self.stiffness_given_by
        if len(ways) > 1:
            raise PlanError(f"{' and '.join(ways)} both state the stiffness: give one of them")
        if self.solve and self.solve not in SOLVABLE:
            raise PlanError(f"solve {self.solve!r}: allowed are {', '.join(SOLVABLE)}")
        if self.solve == "length":
            if not self.modulus_n or self.length_m:
                raise PlanError("--solve length needs --modulus (EA of the line) and no --length")
        elif self.modulus_n and not self.length_m:
            raise PlanError("--modulus needs --length: the stiffness is EA / L")
        if self.flight is not None and self.target_n:
            raise PlanError("--flight and --target both state the target: give one of them")

    @property
    def stiffness_given_by(self) -> tuple[str, ...]:
        """Ways in which the stiffness of the line is given."""
        ways = {
            "stiffness": self.stiffness_n_per_m,
            "modulus": self.modulus_n,
            "pulls": self.pulls,
        }
        return tuple(name for name, value in ways.items() if value)
