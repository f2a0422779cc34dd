"""A drop within all limits, to be changed by one thing at a time."""

from __future__ import annotations

from brought_up import BOARD, step_done

from tautlog.campaign.sections import RigLimits
from tautlog.model.calibration import Calibration
from tautlog.model.commissioning import Parts
from tautlog.model.commissioning_steps import steps_for
from tautlog.model.line import Line
from tautlog.model.load_path import Element, Mount
from tautlog.model.proven_wiring import Proving
from tautlog.model.timestamp import today
from tautlog.model.wiring import read_wiring
from tautlog.planning.electronics_advice import Electrics
from tautlog.planning.gate import Intended

DATED = Calibration(zero_v=0.45, date=today())
_STEPS = steps_for(Parts(), read_wiring(BOARD.wiring))
PROVEN = Proving(done=tuple(step_done(step.name) for step in _STEPS), board=BOARD)
GOOD = Intended(
    mass_kg=9.0,
    height_m=1.2,
    line=Line("l", 21e3, 4.0, 0.12),
    friction_n=3.5,
    line_name="l",
    article="a",
    mount_name="m",
    mount=Mount("m", 3000.0, "2026-03-01"),
    drops_since_proof=3,
    rig=RigLimits(
        rails_m=2.6, margin_m=0.1, catch_energy_j=300.0, most_mass_kg=25.0, friction_n=3.5
    ),
    elements=(Element("shackle", 10_000.0, "working", part="line"),),
    electrics=Electrics(rated_n=5000.0),
    calibration=DATED,
    promised_newton_per_volt=1000.0,
    target_n=1800.0,
    lines=("l",),
    articles=("a",),
    mounts=("m",),
    proving=PROVEN,
)
