"""Notebook: records, plans and simulated drops for scripts and notebooks.

What stands here is the public interface, handed on by `import tautlog`. It computes nothing by
itself: each answer comes from the wing that the commands ask, too.
"""

from __future__ import annotations

import html
import os
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.assess import assess
from tautlog.archive.assessment import Assessment
from tautlog.campaign.campaign import Campaign as CampaignFile
from tautlog.campaign.campaign import read_campaign
from tautlog.errors import CampaignError
from tautlog.model.marks import Marks
from tautlog.model.trace import DropSetup, Trace
from tautlog.model.verdict import Verdict
from tautlog.planning.plan import Plan
from tautlog.planning.plan import plan as planned
from tautlog.planning.wanted import Wanted
from tautlog.record import Record, open_record
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.scene import default_scene
from tautlog.rehearsal.simulated import Simulated
from tautlog.rehearsal.simulated import simulate as let_fall

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FloatArray = npt.NDArray[np.float64]
CLASS = 180  # channel frequency class where nobody asks for another


class Drop:
    """A trace with its set-up, marked and judged when it is asked for."""

    trace: Trace
    setup: DropSetup
    name: str

    def assess(self, cfc: int | None = CLASS) -> Assessment:
        """Marks, verdicts and what stands beside them, in a channel frequency class.

        Parameters
        ----------
        cfc : int or None
            60, 180, 600 or 1000; None for the force as it was sampled.
        """
        return self._assessed(cfc)

    @cached_property
    def _known(self) -> dict[int | None, Assessment]:
        return {}

    def _assessed(self, cfc: int | None) -> Assessment:
        if cfc not in self._known:
            self._known[cfc] = self._assess(cfc)
        return self._known[cfc]

    def _assess(self, cfc: int | None) -> Assessment:
        marks = mark(self.trace, self.setup, cfc=cfc)
        return Assessment(marks, judge(marks, self.setup), self.setup)

    @property
    def marks(self) -> Marks:
        """Figures in class 180; `model.marks.Marks` defines each of them."""
        return self.assess().marks

    @property
    def verdict(self) -> Verdict:
        """The three questions and their combination, in class 180."""
        return self.assess().verdict

    @property
    def time(self) -> FloatArray:
        """Seconds from the start of the trace, shape (n_samples,)."""
        return self.trace.time_s

    def force(self, cfc: int | None = CLASS) -> FloatArray:
        """Force in newtons with the zero removed, shape (n_samples,); NaN where samples miss.

        Parameters
        ----------
        cfc : int or None
            Channel frequency class; None for the force as it was sampled.
        """
        return self.assess(cfc).curve.force_n

    def plot(self, ax: Axes | None = None, *, cfc: int | None = CLASS, label: str = "") -> Axes:
        """Draw the first pull over the time since onset.

        Parameters
        ----------
        ax : Axes, optional
            To draw into; new ones without.
        cfc : int or None
            Channel frequency class.
        label : str
            For the legend; the name of the drop where it is empty.

        Returns
        -------
        Axes
            Those that were drawn into.
        """
        from tautlog.display.pictures.on_axes import draw_pull

        if ax is None:
            from matplotlib import pyplot

            ax = pyplot.figure().add_subplot()
        found = self.assess(cfc)
        draw_pull(ax, found.curve, found.marks, label or self.name)
        return ax

    def to_frame(self, cfc: int | None = CLASS) -> Any:
        """A pandas DataFrame of the trace: `force_n` over `time_s`.

        Raises
        ------
        ImportError
            If pandas is not installed; nothing else of tautlog needs it.
        """
        import pandas

        index = pandas.Index(self.time, name="time_s")
        return pandas.DataFrame({"force_n": self.force(cfc)}, index=index)

    @property
    def _lines(self) -> list[tuple[str, str]]:
        marks, verdict = self.marks, self.verdict
        peak = "none found"
        if marks.peak_force_n is not None:
            u_n = marks.peak_force_expanded_u_n
            peak = f"{marks.peak_force_n:.0f} N" + ("" if u_n is None else f" ± {u_n:.0f} N")
        return [
            ("peak", peak),
            ("record", verdict.record_verdict),
            ("load", verdict.load_verdict),
            ("trace says", verdict.trace_says or "nothing"),
            ("test", verdict.test_verdict or "not combined yet"),
        ]

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><th>{html.escape(name)}</th><td>{html.escape(text)}</td></tr>"
            for name, text in self._lines
        )
        return f"<table><caption>{html.escape(self.name)}</caption>{rows}</table>"


class DropRecord(Drop):
    """A record on disk; `open` returns one.

    Attributes
    ----------
    record : Record
        All that the file holds: events, blocks, calibration, entries.
    """

    def __init__(self, record: Record) -> None:
        self.record = record
        self.setup = record.setup
        self.name = record.path.name

    @cached_property
    def trace(self) -> Trace:  # type: ignore[override]
        """The force on its uniform grid, zero not removed."""
        return self.record.trace()

    def _assess(self, cfc: int | None) -> Assessment:
        return assess(self.record, trace=self.trace, cfc=cfc)

    def __repr__(self) -> str:
        return f"<tautlog record {self.name}, {self.record.utc[:10]}, {self.record.status}>"


class SimulatedDrop(Drop):
    """A drop of the simulated rig; `simulate` returns one.

    Attributes
    ----------
    truth : dict
        The true figures, by the names of `marks`.
    """

    def __init__(self, made: Simulated, name: str) -> None:
        self.trace = made.trace
        self.setup = made.setup
        self.truth = made.truth
        self.name = name

    def __repr__(self) -> str:
        return f"<tautlog {self.name}>"


class Campaign:
    """A folder of records with its campaign.toml.

    Parameters
    ----------
    folder : path
        The campaign's folder.

    Raises
    ------
    CampaignError
        If it has no campaign.toml, or one with mistakes.

    Attributes
    ----------
    file : campaign.campaign.Campaign
        What campaign.toml says.
    """

    def __init__(self, folder: str | os.PathLike[str] = ".") -> None:
        found = read_campaign(Path(folder), to_drop=False)
        if found is None:
            raise CampaignError(f"{folder} has no campaign.toml: make one with `tautlog init`")
        self.file: CampaignFile = found

    @property
    def name(self) -> str:
        """As campaign.toml names it."""
        return self.file.name

    @property
    def records(self) -> list[DropRecord]:
        """Its records by name; rehearsals lie in a folder of their own and are not among them."""
        return [open(path) for path in sorted(self.file.folder.glob("*.h5"))]

    def plan(self, **asked: Any) -> Plan:
        """Plan a drop; what is not asked for comes from the campaign. See `tautlog.plan`."""
        return planned(self.file, Wanted(**asked))

    def __repr__(self) -> str:
        return f"<tautlog campaign {self.name}, {len(list(self.file.folder.glob('*.h5')))} records>"


def open(path: str | os.PathLike[str]) -> DropRecord:
    """Open a record.

    Parameters
    ----------
    path : path
        An HDF5 file that tautlog wrote.

    Raises
    ------
    RecordError
        If it is none, or damaged; the message says where.
    """
    return DropRecord(open_record(path))


def plan(**asked: Any) -> Plan:
    """Predict a drop, or find the one that meets a target, without a campaign.

    Parameters
    ----------
    **asked
        The attributes of `planning.wanted.Wanted`: mass_kg, height_m, target_n,
        stiffness_n_per_m, damping_ratio, friction_n, solve and others.

    Raises
    ------
    PlanError
        With what is missing or contradicts, and how to mend it.

    Examples
    --------
    A weight that falls on an elastic line: m g (1 + sqrt(1 + 2 k h / (m g))), the closed form.

    >>> import tautlog
    >>> told = tautlog.plan(mass_kg=9.0, height_m=1.2, stiffness_n_per_m=21000.0)
    >>> weight_n = 9.0 * 9.80665
    >>> closed_n = weight_n * (1 + (1 + 2 * 21000.0 * 1.2 / weight_n) ** 0.5)
    >>> abs(told.prediction.peak_force_n / closed_n - 1) < 1e-6
    True
    """
    return planned(None, Wanted(**asked))


def simulate(
    *,
    mass_kg: float = 9.0,
    height_m: float = 1.2,
    target_n: float = 1800.0,
    fault: str = "",
    seed: int = 0,
) -> SimulatedDrop:
    """Let a simulated sled fall; nothing moves, and it counts for nothing.

    Parameters
    ----------
    mass_kg, height_m, target_n : float
        The drop; its line is chosen so that it pulls 5 % more than the target.
    fault : str
        What goes wrong: a name of `tautlog rehearse --fault list`.
    seed : int
        Of noise and bounce.

    Raises
    ------
    ValueError
        If no line gives that peak, or the fault is not known.

    Examples
    --------
    >>> import tautlog
    >>> drop = tautlog.simulate(target_n=1800.0, seed=3)
    >>> drop
    <tautlog simulated drop, 9 kg from 1.2 m>
    >>> drop.verdict.trace_says, drop.verdict.load_verdict
    ('held', 'on-target')
    >>> abs(drop.marks.peak_force_n - 1890.0) < drop.marks.peak_force_expanded_u_n
    True
    """
    scene = default_scene(mass_kg, height_m, target_n)
    if fault:
        if fault not in FAULTS:
            raise ValueError(f"fault {fault!r}: known are {', '.join(FAULTS)}")
        scene = FAULTS[fault].change(scene)
    told = f", {fault}" if fault else ""
    return SimulatedDrop(
        let_fall(scene, seed=seed), f"simulated drop, {mass_kg:g} kg from {height_m:g} m{told}"
    )
