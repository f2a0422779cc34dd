"""Pull: a static pull of a mount, read by the calibrated cell of a board at rest.

What a pull proves is the force that was held without a break, not its highest instant. A reading
that cannot be believed ends a hold. What comes out is a `Proof` like one that was typed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from tautlog.board.health import READING_S_OF_SAMPLES
from tautlog.board.resting import Look
from tautlog.calibrate.validity import validity
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.proofs import LEAST_HELD_S, Proof
from tautlog.errors import CampaignError
from tautlog.model import quantities as q
from tautlog.model.calibration import Calibration
from tautlog.model.display_units import SI, Units
from tautlog.model.load_path import Mount
from tautlog.model.shown import shown
from tautlog.model.timestamp import stamp, today

HELD_SHARE = 0.95  # of the highest force so far, that still counts as held; own choice
MOST_GAP_S = 3.0  # between two readings of one hold; a force is not known in between


@dataclass(frozen=True)
class Hold:
    """A force that was held without a break.

    Attributes
    ----------
    since_s, until_s : float
        From the beginning of its first reading to the end of its last, on the board's clock.
    lowest_n : float
        Lowest force in it.
    """

    since_s: float
    until_s: float
    lowest_n: float

    @property
    def held_s(self) -> float:
        """How long it was held, at least."""
        return self.until_s - self.since_s


@dataclass(frozen=True)
class Pull:
    """A pull while it goes on.

    Attributes
    ----------
    target_n : float
        Force to hold.
    calibration : Calibration
        That of the cell.
    zero_v : float
        Reading of the slack line, in V.
    force_n, peak_n : float or None, float
        Force of the last reading, None if it cannot be believed; highest so far.
    now, best : Hold or None
        The hold that goes on, and the longest one at or above what counts.
    problem : str
        What is wrong with the last reading, or "".
    """

    target_n: float
    calibration: Calibration
    zero_v: float
    force_n: float | None = None
    peak_n: float = 0.0
    now: Hold | None = None
    best: Hold | None = None
    problem: str = ""

    @property
    def counts_n(self) -> float:
        """Force at or above which a hold counts: the target, or nearly a peak that is below it."""
        reached = self.peak_n >= self.target_n
        return self.target_n if reached else HELD_SHARE * self.peak_n

    @property
    def held_s(self) -> float:
        """Longest time that counts."""
        return self.best.held_s if self.best else 0.0

    @property
    def left_s(self) -> float:
        """How long the hold that goes on is still to be held."""
        held = self.now.held_s if self.now and self.peak_n >= self.target_n else 0.0
        return max(LEAST_HELD_S - held, 0.0)

    @property
    def beyond(self) -> str:
        """Say that the force is beyond what the calibration covers, or ""; in SI."""
        return self.beyond_in(SI)

    def beyond_in(self, units: Units) -> str:
        """As `beyond`, in other units."""
        range_n, most_n = self.calibration.range_n, max(self.target_n, self.peak_n)
        if range_n and most_n <= range_n:
            return ""
        pull = shown(most_n, "N", (range_n or None,), units)
        covers = f"covers {pull.level()}" if range_n else "does not say what it covers"
        return (
            f"the calibration {covers}, the pull is {pull.text}: what is read beyond is "
            "extrapolated"
        )

    def seen(self, look: Look) -> Pull:
        """The pull after one reading more."""
        force_n = None if look.problem else self._force_n(look.level_v)
        peak_n = max(self.peak_n, force_n or 0.0)
        after = replace(self, force_n=force_n, peak_n=peak_n, problem=look.problem)
        counts_n = after.counts_n
        now = _going_on(self.now, force_n, look.at_s, counts_n)
        best = self.best if self.best and self.best.lowest_n >= counts_n else None
        if now and (best is None or now.held_s > best.held_s):
            best = now
        return replace(after, now=now, best=best)

    def _force_n(self, volt: float) -> float:
        """Force at a voltage, from the slack line on."""
        used = self.calibration
        true, zero = used.true_v([volt, self.zero_v]).tolist()
        origin = zero if used.zero_v is None else float(used.zero_v)
        bent = (true - origin) ** 2 - (zero - origin) ** 2
        return float(used.newton_per_volt * (true - zero) + used.newton_per_square_volt * bent)


def _going_on(now: Hold | None, force_n: float | None, at_s: float, counts_n: float) -> Hold | None:
    """The hold after a reading: it goes on, begins anew, or has ended."""
    if force_n is None or force_n <= 0.0 or force_n < counts_n:
        return None
    unbroken = now and now.lowest_n >= counts_n and 0.0 < at_s - now.until_s <= MOST_GAP_S
    if now is None or not unbroken:
        return Hold(at_s - READING_S_OF_SAMPLES, at_s, force_n)
    return Hold(now.since_s, at_s, min(now.lowest_n, force_n))


@dataclass(frozen=True)
class Dial:
    """A gauge at the mount, read before the pull, under the force and after it, in mm.

    Attributes
    ----------
    before_mm, under_mm, after_mm : float or None
        None if it was not read.
    """

    before_mm: float | None = None
    under_mm: float | None = None
    after_mm: float | None = None

    def __post_init__(self) -> None:
        for name in ("before_mm", "under_mm", "after_mm"):
            value = getattr(self, name)
            if value is not None:
                q.DIAL_MM.require(name, value)
        if self.before_mm is None and (self.under_mm, self.after_mm) != (None, None):
            raise CampaignError(
                "the gauge was not read before the pull: without that reading the others say "
                "nothing; leave them out, and the proof does not state them"
            )
        if self.before_mm is not None and self.before_mm == self.under_mm:
            raise CampaignError(
                "the gauge did not move under the force: does its tip touch the mount?"
            )

    @property
    def deflection_m(self) -> float | None:
        """How far the mount moved under the force, whichever way the gauge counts."""
        return _moved_m(self.before_mm, self.under_mm)

    @property
    def set_m(self) -> float | None:
        """How far it did not come back, either way."""
        return _moved_m(self.before_mm, self.after_mm)


def _moved_m(first_mm: float | None, then_mm: float | None) -> float | None:
    if first_mm is None or then_mm is None:
        return None
    # Nanometres are what floats add; no gauge reads them.
    return round(abs(then_mm - first_mm), 6) / 1000.0


def force_doubts(campaign: Campaign, look: Look) -> tuple[str, ...]:
    """Why the forces that a board reads prove nothing; empty if they do.

    Parameters
    ----------
    campaign : Campaign
        With the calibration in force; see `Campaign.for_channel`.
    look : Look
        What the board reads with it.
    """
    found = list(campaign.calibration_doubts)
    if not campaign.calibration_stated:
        found.append("no calibration is in force: calibrate first")
    found += [check.text for check in validity(campaign.calibration, today()) if check.refuses]
    return (*found, *([look.converter_problem] if look.converter_problem else []))


def target_n(campaign: Campaign) -> float | None:
    """Force to hold for the highest planned peak, in newtons, or None if none is planned."""
    planned_n = campaign.setup.upper_n
    return None if not planned_n else campaign.decision.proof_factor * planned_n


def begin(campaign: Campaign, zero: Look, aim_n: float) -> Pull:
    """A pull that begins, from the reading of the slack line.

    Raises
    ------
    CalibrationError
        If that reading may not be taken.
    CampaignError
        If the forces prove nothing, or it cannot be the reading of a slack line.
    QuantityError
        If nobody pulls so.
    """
    zero_v = zero.require()
    doubts = force_doubts(campaign, zero)
    if doubts:
        raise CampaignError(
            f"the cell cannot tell how far the mount is pulled: {'; '.join(doubts)}"
        )
    if zero.zero_problem:
        raise CampaignError(zero.zero_problem)
    return Pull(q.PULL.require("target", aim_n), campaign.calibration, zero_v)


def proof_from(pull: Pull, mount: Mount, by: str, dial: Dial, note: str = "") -> Proof:
    """What a pull proves, or how it failed.

    Raises
    ------
    CampaignError
        If nothing was held, or it is not signed.
    QuantityError
        If a number is out of range.
    """
    if pull.best is None:
        raise CampaignError("nothing was pulled yet: there is nothing to enter")
    told = (
        f"read by the board's cell: target {pull.target_n:.0f} N, peak {pull.peak_n:.0f} N, "
        f"U {pull.calibration.expanded_u_at_n(pull.best.lowest_n):.0f} N"
    )
    return Proof(
        stamp(),
        by,
        mount.name,
        pull.best.lowest_n,
        pull.best.held_s,
        deflection_m=dial.deflection_m,
        set_m=dial.set_m,
        note="; ".join(part for part in (note.strip(), told, pull.beyond) if part),
        most_deflection_m=mount.most_deflection_m,
    )
