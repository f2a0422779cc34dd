"""Series: known loads hung on a board at rest, one after another, and what was read of each.

Terminal and desk take their points here. A point is taken only from a reading that is steady and
can be believed. A point that is taken back stays noted, with the reason, in what is kept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from tautlog.board.resting import Look
from tautlog.calibrate.calibrating import LEAST_LOADS, Point
from tautlog.errors import CalibrationError
from tautlog.model import quantities as q
from tautlog.model.calibration import Calibration
from tautlog.model.signature import signed
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2

MOST_TAKEN = 200


@dataclass(frozen=True)
class Taken:
    """One point as it was taken.

    Attributes
    ----------
    load_n, volt, noise_v : float
        What hung, what was read, and the rms noise of one sample.
    back : str
        Why it was taken back; "" while it stands.
    """

    load_n: float
    volt: float
    noise_v: float
    back: str = ""


@dataclass(frozen=True)
class Series:
    """Points of a calibration that is being made.

    Attributes
    ----------
    base : Calibration
        Knows limits and converter of the board; see `new_calibration`.
    taken : tuple of Taken
        Every point in order, those taken back, too.
    """

    base: Calibration
    taken: tuple[Taken, ...] = ()

    def take(self, look: Look, load_n: float) -> Series:
        """The series with one point more.

        Raises
        ------
        CalibrationError
            If the reading may not be taken.
        QuantityError
            If nobody hangs such a load.
        """
        q.LOAD.require("load_n", load_n)
        if len(self.taken) >= MOST_TAKEN:
            raise CalibrationError(f"{MOST_TAKEN} points are taken: keep them, or begin again")
        return replace(self, taken=(*self.taken, Taken(load_n, look.require(), look.noise_v)))

    def take_back(self, number: int, why: str) -> Series:
        """The series without point `number`, counted from 1; it stays noted.

        Raises
        ------
        CalibrationError
            If there is no such point, it is taken back already, or nobody says why.
        """
        if not 1 <= number <= len(self.taken) or self.taken[number - 1].back:
            raise CalibrationError(f"there is no point {number} to take back")
        if not signed(why):
            raise CalibrationError(f"say why point {number} is taken back: the reason is kept")
        gone = replace(self.taken[number - 1], back=" ".join(why.split()))
        return replace(self, taken=(*self.taken[: number - 1], gone, *self.taken[number:]))

    @property
    def points(self) -> list[Point]:
        """The points that stand."""
        return [Point(one.load_n, one.volt) for one in self.taken if not one.back]

    @property
    def missing(self) -> tuple[str, ...]:
        """What a whole series has and this one lacks yet, in words."""
        loads = [point.load_n for point in self.points]
        found = []
        if not loads or loads[0] != 0.0:
            found.append("zero at the beginning")
        if len(set(loads)) < LEAST_LOADS:
            found.append(f"{LEAST_LOADS} different loads or more")
        top = loads.index(max(loads)) if loads else 0
        if not any(0.0 < load < loads[top] for load in loads[top + 1 :]):
            found.append("loads on the way down")
        if len(loads) < 2 or loads[-1] != 0.0:
            found.append("zero at the end")
        return tuple(found)

    def note(self, text: str) -> str:
        """The note to keep: what people say, and every point that was taken back."""
        gone = [
            f"point {number} was taken back: {one.load_n:.6g} N read {one.volt:.6g} V ({one.back})"
            for number, one in enumerate(self.taken, start=1)
            if one.back
        ]
        return "; ".join(part for part in (text.strip(), *gone) if part)


def known_load_n(
    mass_kg: float | None, force_n: float | None, gravity_m_s2: float = STANDARD_GRAVITY_M_PER_S2
) -> float:
    """What hangs, in newtons, from a mass or a known force.

    Raises
    ------
    CalibrationError
        If neither or both are given.
    QuantityError
        If nobody hangs such a load.
    """
    if (mass_kg is None) == (force_n is None):
        raise CalibrationError("say what hangs: its mass in kg, or a known force in N, not both")
    if mass_kg is not None:
        weight_n = q.WEIGHT.require("mass", mass_kg) * q.GRAVITY.require("gravity", gravity_m_s2)
        return weight_n
    assert force_n is not None
    return q.LOAD.require("force", force_n)
