"""What `tautlog plan --json` prints."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from tautlog.model.flight import Opening, Snatch
from tautlog.planning.ladder import HOLD, STOP_RULES, Step
from tautlog.planning.odds import Odds
from tautlog.planning.plan import Plan
from tautlog.planning.prediction import Prediction


def as_json(planned: Plan, rungs: tuple[Step, ...], odds: Odds | None = None) -> dict[str, Any]:
    """The plan as one object; NaN becomes None."""
    drop, line, aim = planned.drop, planned.drop.line, planned.aim
    return {
        **_figures(planned.prediction),
        "hardening_per_m2": line.hardening_per_m2,
        "damping_ratio": line.damping_ratio,
        "friction_n": drop.friction_n,
        "line": line.name,
        "stiffness_source": "solved" if planned.solved in ("stiffness", "length") else line.source,
        "length_m": planned.length_m,
        "solved": planned.solved or None,
        "target_force_n": planned.target_n,
        "limit_force_n": planned.limit_n,
        "aim_force_n": aim.force_n if aim else None,
        "proven_low_n": aim.low_n if aim else None,
        "proven_high_n": aim.high_n if aim else None,
        **_flight(planned),
        "misses": asdict(planned.missed) if planned.missed else None,
        "checks": [asdict(check) for check in planned.checks],
        "ladder": [
            {"fraction": step.fraction, "purpose": step.purpose, **_figures(step.prediction)}
            for step in rungs
        ],
        "odds": asdict(odds) if odds else None,
        "hold": HOLD if rungs else None,
        "stop_rules": list(STOP_RULES) if rungs else [],
    }


def _figures(prediction: Prediction) -> dict[str, float | None]:
    return {
        name: value if math.isfinite(value) else None for name, value in asdict(prediction).items()
    }


def _flight(planned: Plan) -> dict[str, dict[str, float] | None]:
    flight = planned.flight
    if isinstance(flight, Opening):
        load = {
            "infinite_mass_load_n": flight.infinite_mass_load_n,
            "finite_mass_factor": flight.finite_mass_factor,
            "force_n": flight.force_n,
            "factor": planned.factor,
        }
        return {"flight": None, "opening": asdict(flight) | load}
    return {"flight": None if flight is None else _snatch(planned, flight)}


def _snatch(planned: Plan, flight: Snatch) -> dict[str, float]:
    return {
        **asdict(flight),
        "reduced_mass_kg": flight.reduced_mass_kg,
        "force_n": flight.force_n,
        "duration_s": flight.duration_s,
        "factor": planned.factor,
        "rig_over_flight_duration": planned.prediction.pulse_s / flight.duration_s,
    }
