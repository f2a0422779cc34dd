"""Notebook: records, plans and simulated drops for scripts and notebooks.

This is the public interface; `import tautlog` exports it. It computes nothing itself: each answer
comes from the same wing as that of the commands.
"""

from __future__ import annotations

import html
import os
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from tautlog.analysis.filters import require_class
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
from tautlog.record import Record, excerpted, open_record
from tautlog.rehearsal.faults import FAULTS
from tautlog.rehearsal.scene import default_scene
from tautlog.rehearsal.simulated import Simulated
from tautlog.rehearsal.simulated import simulate as let_fall

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FloatArray = npt.NDArray[np.float64]
CLASS = 180  # default channel frequency class


class Drop:
    """A trace with its set-up, marked and judged on demand."""

    trace: Trace
    setup: DropSetup
    name: str

    def assess(self, cfc: int | None = CLASS) -> Assessment:
        """Marks and verdicts in a channel frequency class.

        Parameters
        ----------
        cfc : int or None
            60, 180, 600 or 1000; None for the unfiltered force.

        Raises
        ------
        ValueError
            If there is no such class.
        """
        if cfc is not None:
            require_class(cfc)
        if cfc not in self._known:
            self._known[cfc] = self._assess(cfc)
        return self._known[cfc]

    @cached_property
    def _known(self) -> dict[int | None, Assessment]:
        return {}

    def _assess(self, cfc: int | None) -> Assessment:
        marks = mark(self.trace, self.setup, cfc=cfc)
        return Assessment(marks, judge(marks, self.setup), self.setup)

    @property
    def marks(self) -> Marks:
        """Figures in class 180; `model.marks.Marks` defines each figure."""
        return self.assess().marks

    @property
    def verdict(self) -> Verdict:
        """The three verdicts and their combination, in class 180."""
        return self.assess().verdict

    @property
    def time(self) -> FloatArray:
        """Seconds from the start of the trace, shape (n_samples,)."""
        return self.trace.time_s

    def force(self, cfc: int | None = CLASS) -> FloatArray:
        """Force in newtons, zero removed, shape (n_samples,); NaN where a sample is missing.

        Parameters
        ----------
        cfc : int or None
            Channel frequency class; None for the unfiltered force.
        """
        return self.assess(cfc).curve.force_n

    def plot(self, ax: Axes | None = None, *, cfc: int | None = CLASS, label: str = "") -> Axes:
        """Draw the first pull against time since onset.

        Parameters
        ----------
        ax : Axes, optional
            Axes to draw on; default: new axes.
        cfc : int or None
            Channel frequency class.
        label : str
            Text for the legend; default: the drop's name.

        Returns
        -------
        Axes
            The axes with the curve.
        """
        from tautlog.display.pictures.on_axes import draw_pull

        if ax is None:
            from matplotlib import pyplot

            ax = pyplot.figure().add_subplot()
        found = self.assess(cfc)
        draw_pull(ax, found.curve, found.marks, label or self.name)
        return ax

    def to_frame(self, cfc: int | None = CLASS) -> Any:
        """A pandas DataFrame of the trace: `force_n` against `time_s`.

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
        verdict, peak = self.verdict, self.assess().shown(self.marks)
        return [
            ("peak, N", peak.interval if peak else "-"),
            ("record", verdict.record_verdict),
            ("load", verdict.load_verdict or "not judged"),
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
        The file's content: events, blocks, calibration, entries.
    """

    def __init__(self, record: Record) -> None:
        self.record = record
        self.setup = record.setup
        self.name = record.path.name

    @cached_property
    def trace(self) -> Trace:  # type: ignore[override]
        """The force on a uniform time grid, zero not removed.

        Of a record of minutes, the stretch around its drop that is judged; `record.trace()` reads
        all of it, which takes its memory.
        """
        return self._judged.trace()

    @cached_property
    def _judged(self) -> Record:
        return excerpted(self.record)

    def _assess(self, cfc: int | None) -> Assessment:
        return assess(self._judged, trace=self.trace, cfc=cfc)

    def __repr__(self) -> str:
        return f"<tautlog record {self.name}, {self.record.utc[:10]}, {self.record.status}>"


class SimulatedDrop(Drop):
    """A drop of the simulated rig; `simulate` returns one.

    Attributes
    ----------
    truth : dict
        The true figures, under the names in `marks`.
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
        If campaign.toml is missing or has mistakes.

    Attributes
    ----------
    file : campaign.campaign.Campaign
        The content of campaign.toml.
    """

    def __init__(self, folder: str | os.PathLike[str] = ".") -> None:
        found = read_campaign(Path(folder), to_drop=False)
        if found is None:
            raise CampaignError(f"{folder} has no campaign.toml: create it with `tautlog init`")
        self.file: CampaignFile = found

    @property
    def name(self) -> str:
        """The name in campaign.toml."""
        return self.file.name

    @property
    def records(self) -> list[DropRecord]:
        """The campaign's records by name, without rehearsals: those have their own folder."""
        return [open(path) for path in sorted(self.file.folder.glob("*.h5"))]

    def plan(self, **asked: Any) -> Plan:
        """Plan a drop; missing values come from the campaign. See `tautlog.plan`."""
        return planned(self.file, Wanted(**asked))

    def __repr__(self) -> str:
        count = len(list(self.file.folder.glob("*.h5")))
        return f"<tautlog campaign {self.name}, {count} record{'s' * (count != 1)}>"


def open(path: str | os.PathLike[str]) -> DropRecord:
    """Open a record.

    Parameters
    ----------
    path : path
        An HDF5 file that tautlog wrote.

    Raises
    ------
    RecordError
        If the file is not a record, or is damaged; the message says where.
    """
    return DropRecord(open_record(path))


def plan(**asked: Any) -> Plan:
    """Predict a drop, or find the drop that meets a target, without a campaign.

    Parameters
    ----------
    **asked
        The attributes of `planning.wanted.Wanted`: mass_kg, height_m, target_n,
        stiffness_n_per_m, damping_ratio, friction_n, solve and others.

    Raises
    ------
    PlanError
        If a value is missing or contradicts another; the message says how to mend it.

    Examples
    --------
    A mass falls on an elastic line. The closed form is m g (1 + sqrt(1 + 2 k h / (m g))).

    >>> import tautlog
    >>> planned = tautlog.plan(mass_kg=9.0, height_m=1.2, stiffness_n_per_m=21000.0)
    >>> weight_n = 9.0 * 9.80665
    >>> closed_form_n = weight_n * (1 + (1 + 2 * 21000.0 * 1.2 / weight_n) ** 0.5)
    >>> abs(planned.prediction.peak_force_n / closed_form_n - 1) < 1e-6
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
    """Simulate a drop. Nothing moves, and the result is no evidence.

    Parameters
    ----------
    mass_kg, height_m, target_n : float
        The drop. Its line is chosen so that the peak is 5 % above the target.
    fault : str
        The fault to simulate, named as in `tautlog rehearse --fault list`.
    seed : int
        Seed for noise and bounce.

    Raises
    ------
    ValueError
        If no line gives that peak, or the fault is unknown.

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
            raise ValueError(f"fault {fault!r} is unknown: choose from {', '.join(FAULTS)}")
        scene = FAULTS[fault].change(scene)
    suffix = f", {fault}" if fault else ""
    return SimulatedDrop(
        let_fall(scene, seed=seed), f"simulated drop, {mass_kg:g} kg from {height_m:g} m{suffix}"
    )
