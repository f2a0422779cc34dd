"""True figures: what a rehearsed drop really was, by the names of ``tautlog mark --json``."""

from __future__ import annotations

from tautlog.mechanics.motion import Motion
from tautlog.rehearsal.scene import Scene

_TIMES = ("onset", "slack", "peak", "break")
_FIGURES = (
    "peak_force_n rise_time_s duration_s fwhm_s base_duration_s impulse_ns rest_force_n bounces "
    "fall_time_s taut_speed_m_s restitution energy_absorbed_j break_force_n"
)


def true_figures(
    scene: Scene, motion: Motion | None, release_s: float | None, late_s: float = 0.0
) -> dict[str, object]:
    """The true figures of a drop.

    Parameters
    ----------
    scene : Scene
        The rig.
    motion : Motion or None
        How its sled fell; None if it did not.
    release_s : float or None
        When the latch let go, in seconds since the trace begins; None if it did not.
    late_s : float
        By how much the sled left later than that.
    """
    setup = scene.setup
    figures: dict[str, object] = {
        "target_force_n": setup.target_n,
        "limit_force_n": setup.upper_n,
        "release_time_s": None,
        "trace_says": "unclear",
    }
    if release_s is None or motion is None:
        return figures
    true, model = motion.truth(), scene.model
    for name in _TIMES:
        since_s = getattr(true, f"{name}_time_s")
        figures[f"{name}_time_s"] = None if since_s is None else since_s + release_s + late_s
    for name in _FIGURES.split():
        figures[name] = getattr(true, name)
    if true.fall_time_s is not None:
        figures["fall_time_s"] = true.fall_time_s + late_s  # from the release, as it is marked
    figures["release_time_s"] = release_s
    figures["line_stiffness_n_per_m"] = model.stiffness_n_per_m
    figures["damping_ratio"] = model.damping_ratio
    figures["friction_n"] = model.friction_n
    figures["clipped"] = scene.chain.clips(true.peak_force_n or 0.0)
    figures["trace_says"] = _trace_says(motion)
    return figures


def _trace_says(motion: Motion) -> str:
    true = motion.truth()
    if true.break_time_s is not None:
        return "let-go"
    if true.slipped_m > 0:
        return "slipped"
    return "held" if true.peak_force_n is not None else "unclear"
