"""Reckoned: the force against which mount, load path, cell and amplifier are checked.

A prediction is only as good as the stiffness that somebody typed. So the target and the measured
pulls of earlier drops count, too: the highest of all decides.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tautlog.archive.summary import RecordSummary
from tautlog.model.display_units import SI, Units
from tautlog.model.limits import HEIGHT_U_M, MASS_U_FRACTION
from tautlog.model.names import alike
from tautlog.planning.prediction import Prediction


@dataclass(frozen=True)
class Load:
    """A force to expect, and its source.

    Attributes
    ----------
    force_n : float
        The force.
    basis : str
        Its source, in words.
    """

    force_n: float
    basis: str


def highest(
    predicted: Prediction | None, target_n: float | None, earlier: tuple[Load, ...]
) -> Load | None:
    """The highest force to expect, or None if nothing is known.

    Parameters
    ----------
    predicted : Prediction or None
        The upper end of its band counts.
    target_n : float or None
        Target of the test.
    earlier : tuple of Load
        Earlier measurements; see `earlier_loads`.
    """
    loads = list(earlier)
    if target_n is not None:
        loads.append(Load(target_n, "the stated target"))
    if predicted is not None:
        loads.append(Load(predicted.peak_high_n, "the upper end of the prediction"))
    return max(loads, key=lambda load: load.force_n, default=None)


def earlier_loads(
    records: Iterable[RecordSummary],
    *,
    line: str,
    mass_kg: float | None,
    height_m: float | None,
    units: Units = SI,
) -> tuple[Load, ...]:
    """Measured peaks of earlier drops of a line with no more mass and height than this drop.

    The peak on one line rises with mass and height, so these peaks are the least to expect. The
    expanded uncertainty is added. Rehearsals and invalid records do not count.
    """
    if not line or mass_kg is None or height_m is None:
        return ()
    most_kg = mass_kg * (1.0 + 2.0 * MASS_U_FRACTION)
    most_m = height_m + 2.0 * HEIGHT_U_M
    return tuple(
        Load(
            abs(record.peak_force_n) + (record.peak_force_expanded_u_n or 0.0),
            f"measured in {record.name} with {units.text(record.mass_kg, 'kg', 'g')} from "
            f"{units.text(record.height_m, 'm', 'g')}, with its uncertainty",
        )
        for record in records
        if record.peak_force_n is not None
        and record.mass_kg is not None
        and record.height_m is not None
        and not record.rehearsed
        and record.record_verdict != "invalid"
        and alike(record.line, line)
        and record.mass_kg <= most_kg
        and record.height_m <= most_m
    )
