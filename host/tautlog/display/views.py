"""Views of records: the whole drop, the contact, force against stretch, spectra.

A view holds the curves and their axes; `pictures` draws it on paper, `window` on a screen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from tautlog.analysis.spectrum import HIGHEST_HZ, LOWEST_HZ, response_spectrum
from tautlog.analysis.stretch import motion
from tautlog.archive.assessment import Assessment
from tautlog.errors import RecordError
from tautlog.model.display_units import Units
from tautlog.model.limits import QUASI_STATIC_FACTOR

FloatArray = npt.NDArray[np.float64]

BEFORE, AFTER = 0.5, 2.0  # shown around the contact, in lengths of the contact
SPECTRUM_POINTS = 90


@dataclass(frozen=True)
class Curve:
    """One curve: its name, x and y.

    A faint curve is drawn behind the others, for comparison.
    """

    name: str
    x: FloatArray
    y: FloatArray
    faint: bool = False

    @cached_property
    def is_monotonic(self) -> bool:
        """Whether x never decreases; against stretch it does."""
        return bool(np.all(np.diff(self.x) >= 0))


@dataclass(frozen=True)
class Panel:
    """Curves on one pair of axes.

    Attributes
    ----------
    curves : tuple of Curve
        The curves.
    x, y : tuple of (str, str)
        Label of the axis and its unit, "" for no unit.
    levels, times : tuple of (str, float)
        Horizontal and vertical lines, with their names.
    x_log, y_log : bool
        Whether an axis is logarithmic.
    """

    curves: tuple[Curve, ...]
    x: tuple[str, str]
    y: tuple[str, str]
    levels: tuple[tuple[str, float], ...] = ()
    times: tuple[tuple[str, float], ...] = ()
    x_log: bool = False
    y_log: bool = False


@dataclass(frozen=True)
class View:
    """A page: its title, and panels from top to bottom."""

    title: str
    panels: tuple[Panel, ...]


@dataclass(frozen=True)
class NamedDrop:
    """A drop, and its name in a view."""

    name: str
    drop: Assessment


def view(page: str, shown: list[NamedDrop]) -> View:
    """One of the `PAGES` for one or more drops.

    Raises
    ------
    RecordError
        If the page has nothing to show for a drop.
    """
    units = shown[0].drop.units
    panels = tuple(_in_units(panel, units) for panel in PAGES[page](shown))
    return View(", ".join(named.name for named in shown), panels)


def _in_units(panel: Panel, units: Units) -> Panel:
    """A panel whose numbers, SI until now, are in the units of display."""
    x, y = units.of(panel.x[1]), units.of(panel.y[1])
    if x.size == y.size == 1.0:
        return panel
    return replace(
        panel,
        curves=tuple(replace(one, x=one.x / x.size, y=one.y / y.size) for one in panel.curves),
        x=(panel.x[0], x.name),
        y=(panel.y[0], y.name),
        levels=tuple((name, level / y.size) for name, level in panel.levels),
    )


def whole_page(shown: list[NamedDrop]) -> tuple[Panel, ...]:
    """One whole drop, filtered and unfiltered, with its times; several drops aligned at onset."""
    if len(shown) > 1:
        curves = _all_of(shown, [aligned(named) for named in shown])
        return (Panel(curves, _SINCE_ONSET, _FORCE, _levels(shown[0].drop)),)
    (named,) = shown
    force, marks = named.drop.curve, named.drop.marks
    found = [Curve("unfiltered", force.time_s, force.unfiltered_n, faint=bool(force.cfc))]
    if force.cfc:
        found.append(Curve(force.name, force.time_s, force.force_n))
    found += _legs(named)
    known = [(name, getattr(marks, key)) for key, name in TIMES.items()]
    times = tuple((name, time_s) for name, time_s in known if time_s is not None)
    x = ("time from the start of the trace", "s")
    return (Panel(tuple(found), x, _FORCE, _levels(named.drop), times),)


def contact_page(shown: list[NamedDrop]) -> tuple[Panel, ...]:
    """The contacts of all drops, aligned at onset; of a single one its legs, too."""
    curves = _all_of(shown, [since_onset(named) for named in shown])
    if len(shown) == 1:
        curves += tuple(_since_onset_of(shown[0], leg) for leg in _legs(shown[0]))
    return (Panel(curves, _SINCE_ONSET, _FORCE, _levels(shown[0].drop)),)


def stretch_page(shown: list[NamedDrop]) -> tuple[Panel, ...]:
    """Force against stretch of each drop."""
    found = [over_stretch(named) for named in shown]
    curves = _all_of(shown, found, needs="a contact, mass and height")
    x = ("stretch of line and rig", "m")
    return (Panel(curves, x, ("force, unfiltered", "N"), _levels(shown[0].drop)),)


def spectrum_page(shown: list[NamedDrop]) -> tuple[Panel, ...]:
    """Amplitude spectrum and shock response spectrum of each drop."""
    pairs = [spectra(named) for named in shown]
    upper = _all_of(shown, [pair and pair[0] for pair in pairs])
    lower = _all_of(shown, [pair and pair[1] for pair in pairs])
    level = ("quasi-static below this line, to the right", QUASI_STATIC_FACTOR)
    return (
        Panel(upper, ("frequency", "Hz"), ("amplitude", "N s"), x_log=True, y_log=True),
        Panel(
            lower,
            ("natural frequency of a part", "Hz"),
            ("response / peak, Q = 10", ""),
            (level,),
            x_log=True,
        ),
    )


PAGES = {
    "drop": whole_page,
    "contact": contact_page,
    "stretch": stretch_page,
    "spectrum": spectrum_page,
}
TIMES = {
    "release_time_s": "release",
    "onset_time_s": "onset",
    "slack_time_s": "slack",
    "break_time_s": "loss of load",
}
_SINCE_ONSET = ("time since the line came taut", "s")
_FORCE = ("force", "N")


def _all_of(
    shown: list[NamedDrop], found: list[Curve | None], needs: str = "a whole contact"
) -> tuple[Curve, ...]:
    """The curves, if none is missing."""
    missing = [named.name for named, curve in zip(shown, found, strict=True) if curve is None]
    if missing:
        raise RecordError(f"{', '.join(missing)}: nothing to draw, this page needs {needs}")
    return tuple(curve for curve in found if curve is not None)


def _levels(drop: Assessment) -> tuple[tuple[str, float], ...]:
    """Target and limit, if set."""
    marks, texts = drop.marks, drop.shown_levels
    found = (("target", marks.target_force_n), ("limit", marks.limit_force_n))
    return tuple((f"{name} {texts[name]}", level) for name, level in found if level)


def aligned(named: NamedDrop) -> Curve | None:
    """The whole force against time since the line came taut; None without a contact."""
    force, onset_s = named.drop.curve, named.drop.marks.onset_time_s
    if onset_s is None:
        return None
    return Curve(named.name, force.time_s - onset_s, force.force_n)


def since_onset(named: NamedDrop) -> Curve | None:
    """The contact and its surroundings, as in `aligned`; None without a contact."""
    whole = aligned(named)
    if whole is None:
        return None
    base = named.drop.marks.base_duration_s or 0.1
    start, stop = np.searchsorted(whole.x, (-BEFORE * base, AFTER * base))
    return Curve(named.name, whole.x[start:stop], whole.y[start:stop])


def _legs(named: NamedDrop) -> list[Curve]:
    """Force of each leg over the time of the trace, in the class of the sum."""
    legs = named.drop.beside.legs
    if legs is None:
        return []
    curves = [(leg.name, leg.marks.curve) for leg in legs.legs if leg.marks is not None]
    return [Curve(name, curve.time_s, curve.force_n) for name, curve in curves if curve is not None]


def _since_onset_of(named: NamedDrop, whole: Curve) -> Curve:
    """A curve of the same trace since the sum's onset, around the contact."""
    marks = named.drop.marks
    base, x = marks.base_duration_s or 0.1, whole.x - (marks.onset_time_s or 0.0)
    start, stop = np.searchsorted(x, (-BEFORE * base, AFTER * base))
    return Curve(whole.name, x[start:stop], whole.y[start:stop], whole.faint)


def over_stretch(named: NamedDrop) -> Curve | None:
    """Force against the stretch of line and rig, from onset to slack; None if unknown."""
    curve, marks = named.drop.curve, named.drop.marks
    onset, slack = marks.onset_time_s, marks.break_time_s or marks.slack_time_s
    speed, mass = marks.taut_speed_m_s, named.drop.setup.mass_kg
    if onset is None or slack is None or speed is None or mass is None or marks.gap_in_contact:
        return None
    rate = curve.sample_rate_hz
    first, last = int(np.ceil(curve.place_of(onset))), int(curve.place_of(slack))
    force = curve.sign * curve.unfiltered_n[first : last + 1]
    if force.size < 3:
        return None
    since_s = curve.begins_s + first / rate - onset
    way, _ = motion(force, rate, since_s, mass, speed, marks.friction_n or 0.0)
    return Curve(named.name, way, force)


def spectra(named: NamedDrop) -> tuple[Curve, Curve] | None:
    """Amplitude spectrum of the force around the contact, and its shock response (Q = 10).

    The shock response is given over the peak: the load that a part with a given natural
    frequency sees (ISO 18431-4). None without a contact, or if samples are missing in it.
    """
    curve = since_onset(named)
    if curve is None or curve.y.size < 32 or not np.isfinite(curve.y).all():
        return None
    rate = named.drop.curve.sample_rate_hz
    onset = int(np.searchsorted(curve.x, 0.0))
    base = named.drop.marks.base_duration_s or 0.1
    pulse = curve.y[onset : onset + max(int(base * rate), 4)]
    size = 1 << int(np.ceil(np.log2(4 * curve.y.size)))
    amplitude = np.asarray(np.abs(np.fft.rfft(pulse, size)) / rate, np.float64)
    frequency = np.asarray(np.fft.rfftfreq(size, 1.0 / rate), np.float64)
    seen = (frequency >= LOWEST_HZ) & (frequency <= min(HIGHEST_HZ, 0.4 * rate))
    natural = np.geomspace(LOWEST_HZ, min(HIGHEST_HZ, 0.1 * rate), SPECTRUM_POINTS)
    response = response_spectrum(pulse, rate, natural) / float(np.abs(pulse).max())
    return Curve(named.name, frequency[seen], amplitude[seen]), Curve(named.name, natural, response)
