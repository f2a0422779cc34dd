"""Leg loads: what each leg of a bridle may get of a planned pull, against its own limit.

How legs share a pull depends on lengths and knots, and is known only after a drop. Two bounds are
known before: equal legs share alike, and no leg that pulls downwards with the others gets more than
all of it. A leg at an angle a to the vertical pulls with 1 / cos a of its part (statics; a value of
any sling angle table).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tautlog.model.display_units import SI, Units
from tautlog.model.leg_facts import LegFacts, leaning
from tautlog.model.limits import upper_of
from tautlog.model.load_path import PathCheck
from tautlog.model.shown import shown_force


def leg_checks(
    facts: Sequence[LegFacts],
    names: Sequence[str],
    force_n: float,
    basis: str,
    units: Units = SI,
) -> Iterator[PathCheck]:
    """Each leg with a limit of its own: over it by equal shares, perhaps over it, or never.

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
        equal_n = alone_n / len(names)
        equal = shown_force(equal_n, None, (limit_n,), units)
        alone = shown_force(alone_n, None, (limit_n,), units)
        told = f"leg {one.name!r}: {equal.text} if all {len(names)} legs share alike"
        if equal_n > limit_n:
            text = f"{told}, above its limit of {equal.level()} ({basis})"
            yield PathCheck("leg-over", False, text, refuses=True)
        elif alone_n > limit_n:
            text = (
                f"{told}, of its limit of {equal.level()}; how they share is not known before the "
                f"drop, and more than {limit_n / alone_n:.0%} of the pull is above it"
            )
            yield PathCheck("leg-share", False, text)
        else:
            text = f"leg {one.name!r}: all of the pull, {alone.text}, is below {alone.level()}"
            yield PathCheck("leg-share", True, text)
