"""What a small record is made with."""

from __future__ import annotations

from tautlog.model.calibration import Calibration
from tautlog.model.stream import Instrument
from tautlog.model.trace import DropSetup

PER_BLOCK = 1024
INSTRUMENT = Instrument("0.3", "pico", "e661", 62500.0, 8, ("force",), PER_BLOCK, 68, 12, "armed")


SETUP = DropSetup(
    mass_kg=9,
    height_m=1.2,
    target_n=1800.0,
    article="bridle-3",
    line="8 mm \u00fcber",
    operator="A. B.",
    note="two\nlines",
)


CALIBRATION = Calibration(newton_per_volt=-950.25, expanded_u_fraction=0.03, date="2026-03-01")
