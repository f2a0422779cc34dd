"""How damage looks: made by scipy's solver from laws of lines that rip, yield or have two legs.

Nothing here comes from the project's own mechanics.
"""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from traces import BEFORE_S, RATE_HZ, G, arrest, half_sine, plain, recorded

from tautlog.analysis.clipping import flat_top
from tautlog.analysis.damage import dead_from, find_serration, two_peaks
from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.analysis.ringing import ring_after
from tautlog.model.trace import DropSetup

SETUP = DropSetup(mass_kg=10.0, height_m=1.0, target_n=1000.0)


def codes(marks):
    return {one.code for one in marks.findings}


def text_of(marks, code):
    return next(one.text for one in marks.findings if one.code == code)


def falls_on(line_n, *, mass_kg=10.0, height_m=1.0, total_s=5.0):
    """Force of a line that is given as a function of stretch, speed and largest stretch.

    The largest stretch so far is the third state: what rips or yields remembers it.
    """

    def motion(_, state):
        x, v, far = state
        return v, G - line_n(x, v, far) / mass_kg, max(v, 0.0) if x >= far else 0.0

    time_s = np.arange(int(total_s * RATE_HZ)) / RATE_HZ
    got = solve_ivp(
        motion, (0, total_s), (-height_m, 0.0, 0.0), t_eval=time_s, rtol=1e-8, max_step=5e-4
    )
    return np.array([line_n(*state) for state in got.y.T])


def damped(stretch_m, speed_m_s, stiffness=5000.0, damping=30.0):
    return max(stiffness * stretch_m + damping * speed_m_s, 0.0) if stretch_m > 0 else 0.0


def test_stitches_that_rip():
    """Each 20 mm of stretch a row gives way: the line is 12 mm longer from then on."""

    def line_n(x, v, far):
        return damped(x - 0.012 * np.floor(far / 0.02), v, 9000.0)

    marks = mark(recorded(falls_on(line_n)), SETUP)
    assert marks.serrations >= 3
    assert "ripping" in codes(marks)
    first_n = marks.first_damage_force_n
    assert first_n == pytest.approx(9000.0 * 0.02 + 30 * 4.4, rel=0.15)
    assert marks.first_damage_time_s < marks.peak_time_s
    assert judge(marks, SETUP).trace_says != "held"


def test_a_link_that_yields():
    """The force stays at 550 N while it draws out, and the sled ends lower."""

    def line_n(x, v, far):
        drawn = max(far - 550.0 / 6000.0, 0.0)
        return min(damped(x - drawn, v, 6000.0, 10.0), 550.0)

    marks = mark(recorded(falls_on(line_n)), SETUP)
    assert {"flat-top", "slip"} <= codes(marks)
    assert marks.first_damage_force_n == pytest.approx(550.0, rel=0.03)
    verdict = judge(marks, SETUP)
    assert verdict.trace_says == "slipped"
    assert verdict.load_verdict == "at-least"


def test_a_flat_top_without_a_longer_line_is_no_yield():
    _, force = arrest(10.0, 1.0, 5000.0, 0.1)
    marks = mark(recorded(np.minimum(force, 0.7 * force.max())), SETUP)
    verdict = judge(marks, SETUP)
    assert verdict.trace_says == "unclear"
    assert verdict.load_verdict == "at-least"


def test_two_legs_of_unequal_length():
    """The first leg parts at 500 N, the second is 60 mm longer."""

    def line_n(x, v, far):
        first = damped(x, v) if far < 0.1 else 0.0
        return first + damped(x - 0.16, v)

    marks = mark(recorded(falls_on(line_n)), SETUP)
    assert marks.peak_force_n > 600.0
    assert judge(marks, SETUP).trace_says != "held"


def test_two_peaks_of_two_springs():
    """A second spring joins in while the first one swings back: legs, the impulse is whole."""
    one, two = half_sine(600.0, 0.05, start_s=0.8), half_sine(900.0, 0.05, start_s=0.835)
    marks = mark(plain(one + two), DropSetup())
    assert "two-peaks" in codes(marks)
    # The two pulses overlap: their tops are a little nearer than 35 ms.
    assert "no impulse check" in text_of(marks, "two-peaks")
    apart_ms = float(text_of(marks, "two-peaks").split(" N ")[-1].split()[0])
    assert 28.0 < apart_ms <= 35.0


def test_one_round_peak_is_one():
    pulse = half_sine(600.0, 0.05)
    start, stop = int(0.5 * RATE_HZ), int(0.55 * RATE_HZ)
    assert two_peaks(pulse, RATE_HZ, start, stop) is None
    assert find_serration(pulse, start, int(0.525 * RATE_HZ), 0.1).count == 0


@pytest.mark.parametrize("teeth", [1, 3, 6])
def test_serrations_are_counted(teeth):
    rise = np.linspace(0.0, 1000.0, 6001)
    for tooth in range(teeth):
        at = 1500 + 700 * tooth
        rise[at : at + 200] -= np.linspace(0.0, 200.0, 200)
    found = find_serration(rise, 0, 6000, 0.5)
    assert found.count == teeth
    assert found.first == pytest.approx(1499, abs=2)


def test_a_beam_that_rings_is_no_load():
    """250 N at 110 Hz, decaying, after a break: frequency and amplitude come out."""
    _, force = arrest(10.0, 1.0, 5000.0, 0.05, breaks_at_n=800.0)
    broke = int(np.flatnonzero(force)[-1])
    after_s = (np.arange(force.size) - broke) / RATE_HZ
    ring = 250.0 * np.exp(-20.0 * after_s) * np.sin(2 * np.pi * 110.0 * after_s)
    marks = mark(recorded(np.where(after_s > 0, ring, force)), SETUP)
    assert marks.break_force_n == pytest.approx(800.0, rel=0.02)
    assert marks.bounces == 0
    text = text_of(marks, "beam-ring")
    assert "no load is left" in text
    found = ring_after(np.where(after_s > 0, ring, 0.0), RATE_HZ, broke, 800.0, 0.5)
    assert found[0] == pytest.approx(110.0, abs=6.0)
    assert 150.0 < found[1] <= 250.0
    assert judge(marks, SETUP).trace_says == "let-go"


def test_a_break_before_the_rise_is_done():
    """A rise as steep as the break: momentum says that the sled was let go."""
    _, force = arrest(10.0, 1.0, 400_000.0, 0.1, breaks_at_n=3000.0, total_s=3.0)
    marks = mark(recorded(force), SETUP)
    assert marks.break_time_s is not None
    assert marks.break_force_n == pytest.approx(3000.0, rel=0.05)
    assert marks.peak_force_n == pytest.approx(3000.0, abs=marks.peak_force_expanded_u_n)
    assert "let-go-speed" in codes(marks)


@pytest.mark.parametrize("level", [3000.0, -60.0])
def test_a_pulled_cable_is_no_broken_article(level):
    """In the contact the signal goes to a limit and stays there."""
    _, force = arrest(10.0, 1.0, 5000.0, 0.1)
    trace = recorded(force)
    pulled = int((BEFORE_S + np.sqrt(2 / G) + 0.05) * RATE_HZ)
    lost = trace.force_n.copy()
    lost[pulled:] = level
    clipped = np.zeros(lost.size, dtype=bool)
    clipped[pulled:] = True
    marks = mark(dataclasses.replace(trace, force_n=lost, clipped=clipped), SETUP)
    assert "cable-lost" in codes(marks)
    assert marks.break_time_s is None
    assert marks.gap_in_contact
    assert marks.peak_force_n <= force.max() * 1.01
    verdict = judge(marks, SETUP)
    assert (verdict.record_verdict, verdict.load_verdict) == ("invalid", "at-least")
    assert verdict.trace_says == "unclear"


def test_a_dead_signal_without_a_limit():
    trace = recorded(arrest(10.0, 1.0, 5000.0, 0.1)[1])
    lost = trace.force_n.copy()
    lost[60_000:] = 5000.0
    assert dead_from(lost, np.zeros(lost.size, dtype=bool), RATE_HZ, 0.1) == 60_000


def test_what_is_alive_is_not_dead():
    for force in (arrest(10.0, 1.0, 5000.0, 0.1)[1], np.zeros(100_000), half_sine(500.0, 0.002)):
        assert dead_from(force, np.zeros(force.size, dtype=bool), RATE_HZ, 0.0) is None


def test_a_cell_that_does_not_return():
    """60 N more after the pull: invalid until the cell is checked again."""
    _, force = arrest(10.0, 1.0, 5000.0, 0.1)
    start = np.flatnonzero(force)[0]
    shifted = force.copy()
    shifted[start + 3000 :] += 60.0
    marks = mark(recorded(shifted), SETUP)
    assert marks.zero_shift_n == pytest.approx(60.0, abs=1.0)
    told = {one.code for one in judge(marks, SETUP).reasons}
    assert "cell-overloaded" in told
    good = mark(recorded(force), SETUP)
    assert good.zero_shift_n == pytest.approx(0.0, abs=0.2)
    assert "cell-overloaded" not in {one.code for one in judge(good, SETUP).reasons}


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_is_named_with_its_frequency(mains_hz):
    _, force = arrest(10.0, 1.0, 5000.0, 0.1)
    trace = recorded(force)
    hum = 30.0 * np.sin(2 * np.pi * mains_hz * trace.time_s)
    marks = mark(dataclasses.replace(trace, force_n=trace.force_n + hum), SETUP)
    assert marks.mains_hz == pytest.approx(mains_hz, abs=0.5)
    assert marks.mains_n == pytest.approx(30.0, rel=0.03)
    assert "mains-hum" in codes(marks)
    assert not marks.clipped
    quiet = mark(trace, SETUP)
    assert quiet.mains_n is None
    assert "mains-hum" not in codes(quiet)


@pytest.mark.parametrize("noise_n", [0.2, 2.0, 10.0])
@pytest.mark.parametrize("rail", [0.6, 0.9, 0.95])
def test_noise_that_is_cut_off_shows_a_rail(noise_n, rail):
    rng = np.random.default_rng(3)
    pulse = half_sine(1500.0, 0.06)[int(0.5 * RATE_HZ) : int(0.56 * RATE_HZ)]
    noisy = pulse + rng.normal(0.0, noise_n, pulse.size)
    assert not flat_top(noisy, 0.05, noise_n, noise_n)
    assert flat_top(np.minimum(noisy, rail * 1500.0), 0.05, noise_n, noise_n)
