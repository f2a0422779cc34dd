"""Leg facts: what people state of each leg of a bridle: its angles, its target and its limit.

A record keeps them as text in its set-up, so that a later change of campaign.toml changes no drop.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, fields

from tautlog.errors import JsonError, QuantityError
from tautlog.model import quantities as q
from tautlog.model.key import stated
from tautlog.model.limits import K_FACTOR
from tautlog.model.names import short


@dataclass(frozen=True)
class LegFacts:
    """What is stated of one leg; None for what is not.

    Angles are those of the loaded leg: from the direction in which the sled falls, and around it.
    """

    name: str = field(
        metadata=stated("Name of its force channel, the first one or another.", "force right")
    )
    from_vertical_deg: float | None = field(
        default=None,
        metadata=stated("Angle of the loaded leg to the vertical.", 30.0, q.LEG_DEG),
    )
    azimuth_deg: float | None = field(
        default=None,
        metadata=stated("Its direction seen from above, from any one mark.", 180.0, q.AZIMUTH_DEG),
    )
    angle_expanded_u_deg: float | None = field(
        default=None,
        metadata=stated("Expanded uncertainty (k = 2) of each angle.", 2.0, q.ANGLE_U_DEG),
    )
    target_n: float | None = field(
        default=None, metadata=stated("Force that this leg must reach.", 900.0, q.FORCE)
    )
    limit_n: float | None = field(
        default=None,
        metadata=stated(
            "Force above which it is overloaded (default: 1.1 x target).", 990.0, q.FORCE
        ),
    )

    @property
    def cosine(self) -> float:
        """Part of its force along the vertical."""
        return math.cos(math.radians(self.from_vertical_deg or 0.0))

    @property
    def sine(self) -> float:
        """Part of its force across."""
        return math.sin(math.radians(self.from_vertical_deg or 0.0))

    @property
    def angle_u_rad(self) -> float:
        """Standard uncertainty of each angle."""
        return math.radians(self.angle_expanded_u_deg or 0.0) / K_FACTOR

    @property
    def limited(self) -> bool:
        """Whether a force of its own is asked of it."""
        return self.target_n is not None or self.limit_n is not None

    def mistakes(self) -> list[str]:
        """What contradicts itself, or lacks what it needs."""
        found = []
        angled = self.from_vertical_deg is not None
        if angled and self.angle_expanded_u_deg is None:
            found.append("from_vertical_deg is stated without angle_expanded_u_deg: state both")
        if not angled and (self.azimuth_deg, self.angle_expanded_u_deg) != (None, None):
            found.append("from_vertical_deg is missing: state it, or delete the other angles")
        if self.target_n and self.limit_n and self.limit_n <= self.target_n:
            found.append(
                f"limit_n = {self.limit_n:g}: allowed is a number > target_n, which is "
                f"{self.target_n:g}"
            )
        return found


def as_text(facts: Sequence[LegFacts]) -> str:
    """The facts as a record keeps them; "" without any."""
    told = [
        {key: value for key, value in asdict(one).items() if value is not None} for one in facts
    ]
    return json.dumps(told, allow_nan=False) if told else ""


def read_leg_facts(text: str) -> tuple[LegFacts, ...]:
    """Facts from a record's text.

    Raises
    ------
    JsonError
        If it is not what `as_text` writes, or holds what nobody may state.
    """
    if not text:
        return ()
    try:
        content = json.loads(text)
    except (ValueError, RecursionError) as problem:
        raise JsonError(f"the legs are no JSON: {problem}") from problem
    if not isinstance(content, list):
        raise JsonError(f"the legs: expected a list, got {short(content, 40)}")
    facts = tuple(map(_fact, content))
    if len({one.name for one in facts}) < len(facts):
        raise JsonError("the legs: a name is there twice")
    return facts


def _fact(content: object) -> LegFacts:
    known = {part.name for part in fields(LegFacts)}
    if not isinstance(content, dict) or not isinstance(content.get("name"), str):
        raise JsonError(f"a leg: expected an object with a name, got {short(content, 40)}")
    if not set(content) <= known:
        raise JsonError(f"a leg: unknown name {short(sorted(set(content) - known)[0])}")
    try:
        for name, value in content.items():
            if name != "name":
                _RANGES[name].require(name, value)
    except QuantityError as problem:
        raise JsonError(f"a leg: {problem}") from problem
    fact = LegFacts(**content)
    if fact.mistakes():
        raise JsonError(f"leg {short(fact.name)}: {fact.mistakes()[0]}")
    return fact


_RANGES = {
    "from_vertical_deg": q.LEG_DEG,
    "azimuth_deg": q.AZIMUTH_DEG,
    "angle_expanded_u_deg": q.ANGLE_U_DEG,
    "target_n": q.FORCE,
    "limit_n": q.FORCE,
}


def leaning(facts: Sequence[LegFacts], names: Sequence[str]) -> tuple[LegFacts, ...]:
    """The facts of these legs in their order, if the angle of each is stated; else none."""
    by_name = {one.name: one for one in facts}
    found = tuple(by_name[name] for name in names if name in by_name)
    whole = len(found) == len(names) and all(one.from_vertical_deg is not None for one in found)
    return found if whole else ()
