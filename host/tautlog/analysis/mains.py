"""Mains hum: a component between 45 and 65 Hz in a quiet signal.

It lies in the band of the pulse: no filter takes it away, better grounding does.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

MAINS_HZ = np.arange(45.0, 65.25, 0.25)  # 50 and 60 Hz, and 5 Hz around them; own choice
MAINS_SIGMAS = 6.0  # of what noise alone gives: 81 frequencies are looked at; own choice
ENOUGH_HZ = 2000.0  # samples a second that are plenty for 65 Hz


def mains_component(
    force_n: npt.NDArray[np.float64], sample_rate_hz: float
) -> tuple[float | None, float]:
    """Frequency and amplitude of the mains hum in a quiet signal.

    Parameters
    ----------
    force_n : ndarray of float64, shape (n_samples,)
        Half a second or more tells the frequency well; 0.2 s tells it to some hertz.
    sample_rate_hz : float
        Samples per second.

    Returns
    -------
    tuple
        Hertz, or None when nothing stands out of the noise; amplitude in newtons
        of the strongest component between 45 and 65 Hz, by projection on sine and
        cosine under a Hann window.
    """
    floor = float(force_n.std()) * np.sqrt(2.0 / max(force_n.size, 1)) if force_n.size else 0.0
    few = max(int(sample_rate_hz / ENOUGH_HZ), 1)
    means = force_n[: force_n.size // few * few].reshape(-1, few).mean(axis=1)
    if means.size < 16:
        return None, 0.0
    window = np.hanning(means.size)
    signal = (means - means.mean()) * window
    time_s = np.arange(means.size) * (few / sample_rate_hz)
    parts = np.exp(-2j * np.pi * MAINS_HZ[:, None] * time_s) @ signal
    # A mean over `few` samples takes a little of the amplitude away: sinc.
    kept = np.sinc(MAINS_HZ * few / sample_rate_hz)
    amplitudes = 2.0 * np.abs(parts) / kept / max(float(window.sum()), 1e-12)
    best = int(np.argmax(amplitudes))
    amplitude = float(amplitudes[best])
    return (float(MAINS_HZ[best]) if amplitude > MAINS_SIGMAS * floor else None), amplitude
