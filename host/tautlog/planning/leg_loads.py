"""Leg loads: what each leg of a bridle may get of a planned pull, against its own limit.

How legs share a pull depends on lengths and knots, and is known only after a drop. Before it, three
things are. Equal legs share alike. Of two legs that meet in a ring the stated angles tell the
shares, for across the pull the ring is in balance: F sin b / sin (a + b) for the leg at an angle a,
the other at b (Lami's theorem, any textbook of statics). And no leg that
pulls downwards with the others gets more than all of it. A leg at an angle a to the vertical pulls
with 1 / cos a of its part (statics; a value of any sling angle table). The less favourable of the
first two is what a leg is taken to get, the angles at the ends of their uncertainties.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from tautlog.model.display_units import SI, Units
from tautlog.model.leg_facts import LegFacts, leaning
from tautlog.model.limits import K_FACTOR, upper_of
from tautlog.model.load_path import PathCheck
from tautlog.model.shown import shown_force

_MOST_RAD = math.radians(89.0)  # of an end of an angle: legs in one level line bear no weight
_LEAST_OFF_DEG = 5.0  # by which azimuths that are read by eye may miss each other; own choice


def leg_checks(
    facts: Sequence[LegFacts],
    names: Sequence[str],
    force_n: float,
    basis: str,
    units: Units = SI,
) -> Iterator[PathCheck]:
    """Each leg with a limit of its own: over it as taken, perhaps over it, or never.

    Parameters
    ----------
    facts : sequence of LegFacts
        What is stated of the legs.
    names : sequence of str
        All force channels, which are the legs.
    force_n, basis : float, str
        The largest pull that is reckoned with, and where it comes from.
    units : Units
        Units in which it is said.
    """
    lean = {one.name: one.cosine for one in leaning(facts, tuple(names))}
    for one in facts:
        limit_n = upper_of(one.target_n, one.limit_n)
        if limit_n is None:
            continue
        if one.name not in names or len(names) < 2:
            text = f"leg {one.name!r}: it has a limit, and no force channel of a bridle"
            yield PathCheck("leg-unknown", False, text, refuses=True)
            continue
        alone_n = force_n / lean.get(one.name, 1.0)
        taken_n, how = leg_force_n(facts, names, one.name, force_n)
        taken = shown_force(taken_n, None, (limit_n,), units)
        alone = shown_force(alone_n, None, (limit_n,), units)
        told = f"leg {one.name!r}: {taken.text} {how}"
        if taken_n > limit_n:
            text = f"{told}, above its limit of {taken.level()} ({basis})"
            yield PathCheck("leg-over", False, text, refuses=True)
        elif alone_n > limit_n:
            text = (
                f"{told}, of its limit of {taken.level()}; how they share is not known before the "
                f"drop, and more than {limit_n / alone_n:.0%} of the pull is above it"
            )
            yield PathCheck("leg-share", False, text)
        else:
            text = f"leg {one.name!r}: all of the pull, {alone.text}, is below {alone.level()}"
            yield PathCheck("leg-share", True, text)


def leg_force_n(
    facts: Sequence[LegFacts], names: Sequence[str], name: str, force_n: float
) -> tuple[float, str]:
    """What a leg is taken to get of a pull, and by which assumption, in words.

    Parameters
    ----------
    facts, names : sequence of LegFacts, sequence of str
        As for `leg_checks`.
    name : str
        Its force channel, one of `names`.
    force_n : float
        The pull.
    """
    legs = leaning(facts, tuple(names))
    cosine = next((one.cosine for one in legs if one.name == name), 1.0)
    alike_n = force_n / cosine / len(names)
    alike = f"if all {len(names)} legs share alike"
    if len(legs) != 2 or not _opposite(*legs):
        return alike_n, alike
    own, other = legs if legs[0].name == name else legs[::-1]
    balanced_n = force_n * max(
        math.sin(b) / math.sin(a + b) for a in _ends_rad(own) for b in _ends_rad(other) if a + b
    )
    return (
        (balanced_n, "by the stated angles and their uncertainty")
        if balanced_n > alike_n
        else (alike_n, alike)
    )


def _ends_rad(leg: LegFacts) -> tuple[float, float]:
    """The ends between which a leg's angle to the vertical lies; between them nothing is worse."""
    angle, spread = math.radians(leg.from_vertical_deg or 0.0), K_FACTOR * leg.angle_u_rad
    return max(angle - spread, 0.0), min(angle + spread, _MOST_RAD)


def _opposite(one: LegFacts, other: LegFacts) -> bool:
    """Whether two legs can be in balance across the pull: seen from above they are in one line."""
    if not one.from_vertical_deg or not other.from_vertical_deg:
        return False  # one that hangs straight down may get all or nothing: not told
    if one.azimuth_deg is None or other.azimuth_deg is None:
        return True  # two that are in balance are
    off = abs((one.azimuth_deg - other.azimuth_deg) % 360.0 - 180.0)
    spread = math.degrees(K_FACTOR * (one.angle_u_rad + other.angle_u_rad))
    return off <= max(spread, _LEAST_OFF_DEG)
