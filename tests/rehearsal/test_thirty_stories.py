"""Thirty stories of a drop rig: what happens on one, how it is made here, and what tautlog says.

`STORIES` is the table. Most are played with the firmware and a simulated rig in this process
(`stepped_drops`, with the faults of `rehearse --fault`); the others with the commands. `said` are
pieces of what the tool says then, and each has to be there; `never` must not be.
"""

import json
import random
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import h5py
import numpy as np
import pytest
from command_line import said
from fakes.stepped import Laptop
from kites import DATED, change
from made_records import SETUP, made
from stepped_drops import RATE_HZ, Play

import wire
from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json
from tautlog.archive.verdict_lines import notes, quick_look
from tautlog.board.health import read_health
from tautlog.board.readiness import arm_fields
from tautlog.board.resting import Look
from tautlog.board.session import Session
from tautlog.calibrate.hanging import hanging
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.checklist import measured_checks
from tautlog.display.quick_look import mark_new
from tautlog.drop.granting import rehearsal
from tautlog.drop.recovery import recover
from tautlog.errors import CalibrationError, TautlogError
from tautlog.files.record_path import next_record_path
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.model.trace import DropSetup
from tautlog.planning.learning import Lesson, advice, learn
from tautlog.planning.lines import Line
from tautlog.planning.prediction import PlannedDrop, predict_drop
from tautlog.record import disk, open_record

SHORT_S, WHOLE_S = 3.0, 7.0


@dataclass(frozen=True)
class Stage:
    """What a story may use."""

    folder: object
    capsys: object
    monkeypatch: object

    @property
    def path(self):
        return self.folder / "drop.h5"

    def command(self, *words):
        """What a command says, with its exit status behind it."""
        status, out, err = said(self.capsys, *words)
        return f"{out}{err}[exit {status}]"


@dataclass(frozen=True)
class Story:
    """One line of the table.

    Attributes
    ----------
    number : int
        In the order of a drop's day.
    happens, made_by, expected : str
        What happens, how it is made here, and what the tool has to do.
    play : callable
        Makes it; gets a `Stage`, returns all that the tool said.
    said, never : tuple of str
        Regular expressions that must, and must not, be found in that.
    """

    number: int
    happens: str
    made_by: str
    expected: str
    play: Callable
    said: tuple
    never: tuple = ()


# What the plays share


def told(path):
    """All that the tool says of a record, verdicts first."""
    drop = assess(open_record(path), cfc=180)
    marks = as_json(drop)
    keys = "record_verdict load_verdict trace_says article test_verdict missing_samples".split()
    verdicts = [f"{key} = {marks[key]}" for key in keys]
    reasons = [f"[{one['code']}] {one['text']}" for one in marks["reasons"]]
    return "\n".join([*verdicts, *reasons, *notes(drop), *quick_look(drop)])


def near(path, play):
    """Whether the peak is the true one within its stated uncertainty, as a word."""
    record = open_record(path)
    marks = as_json(assess(record, cfc=180))
    true = play.rig.truth(record.first_sample_index)["peak_force_n"]
    good = abs(marks["peak_force_n"] - true) <= marks["peak_force_expanded_u_n"]
    return "peak true" if good else f"peak FALSE: {marks['peak_force_n']}, true {true}"


def played(stage, fault="", record_s=WHOLE_S, **more):
    """A drop with a fault, and what is said of its record."""
    play = Play(stage.path, fault, **more)
    play.drop(record_s)
    return told(stage.path)


def refused(play, record_s=SHORT_S):
    """The error that a drop ends with."""
    try:
        play.drop(record_s)
    except TautlogError as problem:
        return f"{type(problem).__name__}: {problem}"
    return "NOT REFUSED"


def state_of(play):
    drive = "drive low" if not play.board.outputs & wire.OUTPUT_DRIVE else "DRIVE HIGH"
    pulsed = "never pulsed" if not play.board.drive_log else "pulsed"
    return f"board {wire.STATES[play.state]}, {drive}, {pulsed}, sled {play.rig.stand.sled}"


def while_in(play, state):
    """Let a drop go on until the board is in a state."""
    while play.state != state:
        play.step()


def hung(stage, fault="", mass_kg=9.0, weight_kg=None):
    """The hanging check on a rehearsed rig, with a sled that may be another than was entered."""
    play = Play(stage.path, fault)
    play.rig.bench.do("lower")
    levels = []
    for words in ("where", f"hang {weight_kg}" if weight_kg else "hang"):
        play.rig.bench.do(words)
        play.pass_s(2.5)
        head = play.instrument.history.head
        counts = np.concatenate([play.board.taken[n] for n in range(head - 8, head)])
        chain = play.rig.scene.chain
        levels.append(counts.mean() / 16 * chain.reference_v / 4096)
    looks = [Look(level, 1e-3, 0.5, 8 * 1024, ()) for level in levels]
    found = hanging(*looks, play.rig.scene.calibration, mass_kg)
    try:
        found.require()
    except CalibrationError as problem:
        return f"{found.text}; {problem}"
    return f"{found.text}; let through"
