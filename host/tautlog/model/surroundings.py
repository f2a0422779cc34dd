"""Surroundings: what acted on line and article before and at a drop, and what was agreed for it.

Textile lines and webbing change with moisture and temperature. ISO 139:2005 gives the standard
atmosphere for textiles as 20.0 +- 2.0 degC and 65.0 +- 4.0 % relative humidity, with 23.0 +- 2.0
degC and 50.0 +- 4.0 % as the agreed alternative (overview at standards.iteh.ai, seen 2026-11; the
limits include the uncertainty of the meters). Which atmosphere holds is the campaign's to state.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from tautlog.model import quantities as q
from tautlog.model.key import stated

CONDITIONS = ("", "conditioned", "wet", "as-found")


@dataclass(frozen=True)
class Surroundings:
    """What was told for one drop; None or "" if nobody told.

    Attributes
    ----------
    temperature_c, humidity_percent : float or None
        Of the air beside line and article; relative humidity.
    condition : str
        Of line and article, one of `CONDITIONS`: conditioned in the agreed atmosphere, wet, or as
        they were found.
    since_conditioning_h : float or None
        Hours since they left that atmosphere, or the water.
    """

    temperature_c: float | None = field(
        default=None, metadata=stated("Temperature of the air.", 20.0, q.TEMPERATURE)
    )
    humidity_percent: float | None = field(
        default=None, metadata=stated("Relative humidity of the air.", 65.0, q.HUMIDITY)
    )
    condition: str = field(
        default="",
        metadata=stated("Condition of line and article.", "conditioned", choices=CONDITIONS),
    )
    since_conditioning_h: float | None = field(
        default=None, metadata=stated("Hours since the end of conditioning.", 0.5, q.HOURS)
    )

    @property
    def text(self) -> str:
        """In words; "" if nothing was told."""
        parts = []
        if self.temperature_c is not None:
            parts.append(f"{self.temperature_c:g} degC")
        if self.humidity_percent is not None:
            parts.append(f"{self.humidity_percent:g} % relative humidity")
        if self.condition:
            parts.append(self.condition)
        if self.since_conditioning_h is not None:
            parts.append(f"{self.since_conditioning_h:g} h since conditioning")
        return ", ".join(parts)


@dataclass(frozen=True)
class Atmosphere:
    """The surroundings that were agreed for the drops of a campaign; None or "" for any."""

    temperature_low_c: float | None = field(
        default=None,
        metadata=stated(
            "Lowest temperature of the air (ISO 139: 18 to 22).", 18.0, q.TEMPERATURE, optional=True
        ),
    )
    temperature_high_c: float | None = field(
        default=None,
        metadata=stated("Highest temperature of the air.", 22.0, q.TEMPERATURE, optional=True),
    )
    humidity_low_percent: float | None = field(
        default=None,
        metadata=stated(
            "Lowest relative humidity (ISO 139: 61 to 69).", 61.0, q.HUMIDITY, optional=True
        ),
    )
    humidity_high_percent: float | None = field(
        default=None,
        metadata=stated("Highest relative humidity.", 69.0, q.HUMIDITY, optional=True),
    )
    condition: str = field(
        default="",
        metadata=stated(
            "How line and article must be: conditioned, wet, or as-found.",
            "conditioned",
            choices=CONDITIONS,
            optional=True,
        ),
    )
    most_since_conditioning_h: float | None = field(
        default=None,
        metadata=stated(
            "Longest time from the end of conditioning to the drop, in hours.",
            1.0,
            q.HOURS,
            optional=True,
        ),
    )

    def departures(self, told: Surroundings) -> tuple[str, ...]:
        """Whatever of a drop's surroundings is not as agreed, or was not told, in words."""
        found = [
            _outside("temperature", told.temperature_c, self.temperature_low_c,
                     self.temperature_high_c, "degC"),
            _outside("humidity", told.humidity_percent, self.humidity_low_percent,
                     self.humidity_high_percent, "%"),
            _outside("time since conditioning", told.since_conditioning_h, None,
                     self.most_since_conditioning_h, "h"),
        ]  # fmt: skip
        if self.condition and told.condition != self.condition:
            was = told.condition or "not stated"
            found.append(f"condition {was}: {self.condition} is agreed")
        return tuple(text for text in found if text)


def _outside(
    name: str, value: float | None, low: float | None, high: float | None, unit: str
) -> str:
    """What is wrong with one value, or ""."""
    if low is None and high is None:
        return ""
    if low is None:
        agreed = f"at most {high:g} {unit}"
    elif high is None:
        agreed = f"at least {low:g} {unit}"
    else:
        agreed = f"{low:g} to {high:g} {unit}"
    if value is None:
        return f"{name} not stated: {agreed} is agreed"
    if (low is not None and value < low) or (high is not None and value > high):
        return f"{name} {value:g} {unit}: {agreed} is agreed"
    return ""
