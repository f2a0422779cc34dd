"""Stage 5 of marking, what comes after the contact: bounces, rest, and the zero once more.

Also what the loss of load left behind, and what the break wires say of it.
"""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.analysis.bounces import Pull, find_pulls
from tautlog.analysis.ringing import ring_after
from tautlog.analysis.stage2_place import taut_speed_m_s
from tautlog.analysis.stage3_loss import Measured
from tautlog.analysis.stage4_contact import Wholeness
from tautlog.analysis.stretch import motion
from tautlog.analysis.zero import false_floor, flight_window, rest_of
from tautlog.model.limits import CONTACT_SHARE, REBOUND_MOST, STAMP_SAMPLES
from tautlog.model.marks import Bounce, Finding

# What counts as still: of the noise, of the weight, of the peak; own choice.
STILL_SIGMAS, STILL_WEIGHT, STILL_PEAK = 4.0, 0.02, 0.004
# Times m g: a sled that swings on a taut line pulls by 2 m g at its most, when it came to hang
# at no stretch (closed form); a tenth for noise.
TAUT_SWING = 2.2


@dataclass(frozen=True)
class After:
    """What comes after the contact; figures as in `marks.Marks`.

    `pulls` are all pulls of the line, the measured one first; none where it has a gap.
    """

    rest_force_n: float | None
    bounces: int
    bounce_list: tuple[Bounce, ...]
    zero_shift_n: float | None
    pulls: tuple[Pull, ...]
    findings: tuple[Finding, ...]


def tell_after(pull: Measured, whole: Wholeness) -> After:
    """Tell bounces, rest, and whether the zero came back."""
    rest_n = None if pull.signal.dead is not None else _rest(pull)
    bounces = _bounces(pull)
    pulls: tuple[Pull, ...] = ()
    if not whole.gap_in_contact:
        pulls = find_pulls(
            pull.force_n,
            pull.edge_n,
            pull.rate_hz,
            [pull.contact, *pull.later],
            pull.threshold_n,
            pull.reach,
        )
    text = "the record ends before everything hangs still: no rest force"
    return After(
        rest_force_n=rest_n,
        bounces=len(bounces),
        bounce_list=bounces,
        zero_shift_n=_zero_shift(pull, rest_n, pulls),
        pulls=pulls,
        findings=(Finding("no-rest", text),) if rest_n is None else (),
    )


def _rest(pull: Measured) -> float | None:
    weight_n = pull.signal.setup.weight_n or 0.0
    still_n = max(STILL_SIGMAS * pull.noise_n, STILL_WEIGHT * weight_n, STILL_PEAK * pull.top_n)
    return rest_of(
        pull.signal.filtered_n - pull.zero_n,
        pull.rate_hz,
        after=pull.slack if pull.slack is not None else pull.peak,
        last_slack=pull.later[-1].stop if pull.later else (pull.slack or pull.peak),
        still_n=still_n,
        taut_speed_m_s=taut_speed_m_s(pull),
    )


def _bounces(pull: Measured) -> tuple[Bounce, ...]:
    """Later pulls of the line; none after a loss, where the unloaded beam rings in the cell."""
    if pull.loss is not None and not pull.thrown_back:
        return ()
    found = []
    slack = pull.slack if pull.slack is not None else float(pull.contact.stop)
    for contact in pull.later:
        peak_n = float(pull.pulse_n[contact.start : contact.stop].max())
        if peak_n > CONTACT_SHARE * pull.top_n:
            flight_s = (contact.start - slack) / pull.rate_hz
            found.append(Bounce(pull.at_s(contact.start), pull.sign * peak_n, flight_s))
        slack = float(contact.stop)
    return tuple(found)


def _zero_shift(pull: Measured, rest_n: float | None, pulls: tuple[Pull, ...]) -> float | None:
    """Zero of a slack line after the first pull, against that before."""
    if pull.loss is not None:
        return rest_n
    rate = pull.rate_hz
    if len(pulls) > 1:
        window = flight_window(pulls[0].slack_s * rate, pulls[1].onset_s * rate)
        return None if window is None else pull.sign * float(pull.force_n[window].mean())
    if pull.signal.dead is not None:
        return None
    floor_n = false_floor(
        pull.even_n,
        rate,
        pull.even_noise_n,
        pull.peak,
        pull.threshold_n,
        TAUT_SWING * (pull.signal.setup.weight_n or 0.0),
    )
    return None if floor_n is None else pull.sign * floor_n


@dataclass(frozen=True)
class LossTold:
    """What is told of a loss of load; figures as in `marks.Marks`."""

    break_time_s: float | None = None
    break_force_n: float | None = None
    findings: tuple[Finding, ...] = ()


def tell_loss(pull: Measured, whole: Wholeness, v_in_m_s: float | None) -> LossTold:
    """Tell where the load path let go, and what the cell and the sled did then."""
    loss = pull.loss
    if loss is None:
        return LossTold()
    at_s = pull.at_s(loss.index)
    found = []
    if pull.thrown_back:
        text = "the sled was thrown back and caught after that all the same"
        found.append(Finding("held-after", text))
    text = (
        f"the force collapses from {loss.force_n:.0f} N at {at_s:.4f} s, far faster than "
        "an elastic line unloads"
    )
    found.append(Finding("loss-of-load", text))
    ring = ring_after(pull.force_n, pull.rate_hz, int(loss.index), pull.top_n, pull.noise_n)
    if ring is not None:
        text = (
            f"after it the cell rings with +/- {ring[1]:.0f} N at {ring[0]:.0f} Hz: the "
            "unloaded beam springs back; no load is left"
        )
        found.append(Finding("beam-ring", text))
    kept = None if whole.clipped else _momentum_kept(pull, int(loss.index), v_in_m_s)
    return LossTold(
        break_time_s=at_s,
        break_force_n=pull.sign * loss.force_n,
        findings=(*found, *(() if kept is None else (kept,))),
    )


def _momentum_kept(pull: Measured, broke: int, v_in_m_s: float | None) -> Finding | None:
    """What the sled still had when it was let go: v - (J - m g t) / m."""
    mass = pull.signal.setup.mass_kg
    if not mass or not v_in_m_s or broke <= pull.first:
        return None
    force = pull.force_n[pull.first : broke + 1]
    kept = float(motion(force, pull.rate_hz, pull.since_onset_s, mass, v_in_m_s)[1][-1])
    if kept < -REBOUND_MOST * v_in_m_s:
        text = "the line took more momentum than the sled can have had: gain, mass or height"
        return Finding("impulse-too-large", text)
    if kept <= 0.0:
        return None
    text = (
        f"the sled was still falling at {kept:.1f} m/s when it was let go, by the "
        "momentum that the line had not taken"
    )
    return Finding("let-go-speed", text)


def tell_wires(pull: Measured) -> tuple[Finding, ...]:
    """Tell which break wire opened first, and at what force."""
    trace, rate = pull.signal.trace, pull.rate_hz
    wires = ((trace.article_wire_s, "article"), (trace.mount_wire_s, "mount"))
    opened = sorted((at_s, name) for at_s, name in wires if at_s is not None)
    if not opened:
        return ()
    (first_s, first), (last_s, last) = opened[0], opened[-1]
    together = len(opened) == 2 and (last_s - first_s) * rate < STAMP_SAMPLES + 0.5
    at = min(round(trace.place_of(first_s)), pull.force_n.size - 1)
    force = f"{pull.sign * pull.force_n[at]:.0f} N"
    if len(opened) == 1:
        text = f"the break wire of the {first} opened at {first_s:.4f} s, at {force}"
    elif together:
        text = (
            f"both break wires opened at {first_s:.4f} s, at {force}: they are no more than "
            f"{1e6 * STAMP_SAMPLES / rate:.0f} us apart, and their order is not known"
        )
    else:
        text = (
            f"the break wire of the {first} opened first, at {first_s:.4f} s and {force}, "
            f"{1000 * (last_s - first_s):.2f} ms before that of the {last}"
        )
    if first != "mount" and not together:
        return (Finding("wires", text),)
    moved = Finding("mount-moved", "the mount may have gone first: re-proof it")
    return Finding("wires", text), moved
