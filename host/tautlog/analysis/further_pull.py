"""Further pull: the line is pulled again when no bounce of the drop can pull it any more.

A sled that leaves the line flies for at most twice its fall, for no bounce gives it more than it
came with. What pulls later, and hard, is another drop, or somebody: the record holds two loads of
the article, and nobody knows which of them was meant.
"""

from __future__ import annotations

import numpy as np

from tautlog.analysis.beyond import FURTHER_PULL
from tautlog.analysis.stage2_place import fall_time_s
from tautlog.analysis.stage3_loss import Measured
from tautlog.analysis.stage5_after import After
from tautlog.model.free_fall import free_fall_s
from tautlog.model.marks import Finding

FLIGHTS = 1.5  # of the longest flight: for a height that is not exact; own choice
LONGEST_FALL_S = (
    1.0  # where neither height nor time of the fall is known, a fall of 5 m; own choice
)


def tell_further_pull(pull: Measured, after: After) -> tuple[Finding, ...]:
    """Tell pulls that lie further apart than bounces can."""
    rest_n = max(after.rest_force_n or 0.0, pull.signal.setup.weight_n or 0.0)
    high = np.flatnonzero(pull.even_n > FURTHER_PULL * pull.even_top_n + rest_n)
    apart = np.diff(high) / pull.rate_hz
    longest_s = _longest_s(pull)
    if not apart.size or apart.max() <= longest_s:
        return ()
    first = int(np.argmax(apart > longest_s))
    ends_s, again_s = pull.at_s(int(high[first])), pull.at_s(int(high[first + 1]))
    text = (
        f"the line is pulled again at {again_s:.3f} s, {again_s - ends_s:.2f} s after the pull "
        f"before it, and a bounce comes within {longest_s:.2f} s: the record holds two loads, and "
        "only one of them is judged"
    )
    return (Finding("further-pull", text),)


def _longest_s(pull: Measured) -> float:
    """Longest time between two high forces of one drop: a flight, and the ends of two contacts."""
    height_m = pull.signal.setup.height_m
    falls = [fall_time_s(pull), None if height_m is None else free_fall_s(height_m)]
    known = [fall for fall in falls if fall is not None and fall > 0.0]
    stop = pull.contact.stop if pull.slack is None else int(pull.slack)
    contact_s = (stop - pull.contact.start) / pull.rate_hz
    flight_s = 2.0 * max(known, default=LONGEST_FALL_S)
    return FLIGHTS * flight_s + 2.0 * min(contact_s, flight_s)
