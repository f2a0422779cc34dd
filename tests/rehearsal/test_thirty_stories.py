"""Thirty stories of a drop rig: what happens on one, how it is made here, and what tautlog says.

`STORIES` is the table. Most are played with the firmware and a simulated rig in this process
(`stepped_drops`, with the faults of `rehearse --fault`); the others with the commands. `said` are
pieces of what the tool says then, and each has to be there; `never` must not be.
"""

import json
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import h5py
import numpy as np
import pytest
from command_line import said
from made_records import SETUP, made
from stepped_drops import Play

import wire
from tautlog.archive.assess import assess
from tautlog.archive.kept_marks import as_json
from tautlog.archive.verdict_lines import notes, quick_look
from tautlog.board.resting import Look
from tautlog.board.session import Session
from tautlog.calibrate.hanging import hanging
from tautlog.calibrate.kept import FORMAT
from tautlog.display.quick_look import mark_new
from tautlog.drop.recovery import recover
from tautlog.errors import CalibrationError, TautlogError
from tautlog.files.record_path import next_record_path
from tautlog.model.line import Line
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2 as G
from tautlog.planning.learning import Lesson, advice, learn
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import predict_drop
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
    looks = [Look(level, 1e-3, 1.0, level) for level in levels]
    found = hanging(*looks, play.rig.scene.calibration, mass_kg)
    try:
        found.require()
    except CalibrationError as problem:
        return f"{found.text}; {problem}"
    return f"{found.text}; let through"


# The plays, in the order of the table


def switch_bounces(stage):
    play = Play(stage.path, change=lambda scene: behaving(scene, bounce_s=0.012))
    play.drop(1.0)
    record = open_record(stage.path)
    names = [event.name for event in record.events]
    opened = next(event for event in record.events if event.name == "release-opened")
    true = play.rig.release_at - record.first_sample_index
    off = "first edge kept" if abs(opened.sample_index - true) <= 1 else "ANOTHER EDGE"
    return f"{names.count('release-opened')} release, {names.count('release-edge')} edges; {off}"


def behaving(scene, **changes):
    return replace(scene, behaviour=replace(scene.behaviour, **changes))


def cable_rips(stage):
    play = Play(stage.path, "cell-cable-rips")
    play.drop(SHORT_S)
    return told(stage.path) + near_bound(stage.path, play)


def near_bound(path, play):
    record = open_record(path)
    peak = as_json(assess(record, cfc=180))["peak_force_n"]
    true = play.rig.truth(record.first_sample_index)["peak_force_n"]
    return "\nbound true" if abs(peak) <= true * 1.01 else f"\nBOUND FALSE: {peak} of {true}"


def laptop_sleeps(stage):
    play = Play(stage.path)
    play.start()
    while_in(play, wire.ARMED)
    play.pass_s(3.0, laptop=False)
    armed = state_of(play)
    ended = refused_end(play)
    again = Play(stage.folder / "again.h5").start(2.0)
    while_in(again, wire.RECORDING)
    again.pass_s(4.0, laptop=False)
    kept = state_of(again)
    again.end()
    text = told(again.path)
    return "\n".join([f"asleep: {armed}", ended, f"asleep: {kept}", near(again.path, again), text])


def refused_end(play):
    try:
        play.end()
    except TautlogError as problem:
        return f"{type(problem).__name__}: {problem}"
    return "NOT REFUSED"


def packets_lost(stage):
    play = Play(stage.path).start(SHORT_S)
    while_in(play, wire.RECORDING)
    play.to_laptop.loss = play.to_board.loss = 0.3
    play.pass_s(1.0)
    play.to_laptop.loss = play.to_board.loss = 0.0
    play.end()
    return f"{near(stage.path, play)}\n{told(stage.path)}"


def packets_gone(stage):
    """Three blocks of the pull never come, however often the laptop asks."""
    play = Play(stage.path).start(SHORT_S)
    while_in(play, wire.RECORDING)
    first = play.instrument._release_block + 16
    put = play.to_laptop.put

    def without(data, now_us):
        number = int.from_bytes(data[10:14], "little")
        if data[3] != wire.BLOCK or not first <= number < first + 3:
            put(data, now_us)

    play.to_laptop.put = without
    result = play.end()
    return told(stage.path) + "\n" + "; ".join(result.notes) + f"\n{state_of(play)}"


def reversed_cell(stage):
    record = played(stage, "cell-reversed")
    return f"{record}\nhanging check: {hung(stage, 'cell-reversed')}"


def gain_wrong(stage):
    """The jumper gives a tenth; a later calibration of ten times the slope is a new revision."""
    play = Play(stage.path, "gain-ten-times")
    play.drop()
    first = told(stage.path)
    slope = 10.0 * play.rig.scene.calibration.newton_per_volt
    stage.monkeypatch.chdir(stage.folder)
    calibration = kept_calibration(stage.folder, play.rig.scene.calibration, slope)
    given = ("--calibration", calibration, "--by", "A. Rigger", "--reason", "gain jumper")
    corrected = stage.command("mark", stage.path, *given)
    record = open_record(stage.path)
    seal = f"seal {record.verify_seal().state}, {len(record.marks)} revision"
    return "\n".join([first, f"hanging check: {hung(stage, 'gain-ten-times')}", corrected, seal])


def kept_calibration(folder, calibration, slope):
    """A calibration's file as a campaign keeps it."""
    values = vars(replace(calibration, newton_per_volt=slope, date="2026-03-10", note="later"))
    points = [
        {"load_n": slope * volt, "volt": calibration.zero_v + volt, "run": 1, "by_meter": True}
        for volt in (0.0, 0.1, 0.2)
    ]
    content = {"format": FORMAT, "version": 1, "calibration": values, "points": points}
    path = folder / "0001_2026-03-10.json"
    path.write_text(json.dumps(content))
    return path


def zero_forgotten(stage):
    """The zero that is believed was taken with the sled hanging."""

    def believes(scene):
        off_v = 9.0 * G / scene.calibration.newton_per_volt
        moved = replace(scene.calibration, zero_v=scene.calibration.zero_v + off_v)
        return replace(scene, calibration=moved)

    play = Play(stage.path, believes=believes)
    play.drop()
    found = "; ".join(one.text for one in play.crew.findings)
    return f"{near(stage.path, play)}\n{found}\n{told(stage.path)}"


def zone_entered(stage):
    play = Play(stage.path, "gate-opens")
    return f"{refused(play)}\n{state_of(play)}"


def disk_full(stage):
    """Full before the drop, then while armed, then after the release."""
    said_of = []
    for full_in in (wire.SAFE, wire.ARMED, wire.RECORDING):
        path = stage.folder / f"full-in-{full_in}.h5"
        play = Play(path)
        with stage.monkeypatch.context() as patch:
            fill = fills(patch)
            if full_in == wire.SAFE:
                fill()
                said_of.append(f"{refused(play)} | {state_of(play)}")
                continue
            play.start(SHORT_S)
            while_in(play, full_in)
            play.pass_s(0.1)
            fill()
            said_of.append(f"{refused_end(play)} | {state_of(play)}")
    play.pass_s(3.0)
    play.start(does=lambda link: recover(Session(link, clock=link.clock), path)).end()
    return "\n".join([*said_of, near(path, play), told(path)])


def fills(patch):
    def fill():
        def write(*_):
            raise OSError(28, "No space left on device")

        patch.setattr(disk, "write_all", write)

    return fill


def recorder_idle(stage):
    given = ("--article", "bridle-1", "--by", "A. Rigger", "--peak-at-most", "2500")
    stage.monkeypatch.chdir(stage.folder)
    stage.command("init", "kite")
    stage.monkeypatch.chdir(stage.folder / "kite")
    return stage.command("ledger", "--add", *given) + stage.command("ledger")


def hand_bumps(stage):
    """A hand pulls at the line and knocks at the latch while armed; then the drop goes on."""
    play = Play(stage.path)
    play.start(SHORT_S)
    while_in(play, wire.ARMED)
    play.pass_s(0.3)
    for words in ("pull 150", "open switch", "mend switch", "pull 0"):
        play.rig.bench.do(words)
        play.step()
    bumped = state_of(play)
    play.end()
    names = [event.name for event in open_record(stage.path).events]
    counted = f"{names.count('knock')} knock, {names.count('release-opened')} release"
    return "\n".join([bumped, counted, near(stage.path, play), told(stage.path)])


def coil_spike(stage):
    play = Play(stage.path, "glitch")
    play.drop(SHORT_S)
    return f"{near(stage.path, play)}\n{told(stage.path)}"


def wrong_plate(stage):
    return hung(stage, mass_kg=10.0, weight_kg=12.0)


def clock_wrong(stage):
    """Two drops in one minute of a clock that stands at 1970; a third a day before them."""
    now = datetime(1970, 1, 1, tzinfo=UTC)
    paths = []
    for _ in range(2):
        path = next_record_path(stage.folder, "bridle-1", now=now)
        made(path, utc="1970-01-01T00:00:00.000Z")
        paths.append(path)
    one, two = (open_record(path) for path in paths)
    verified = stage.command("verify", *paths)
    ids = "two identities" if one.record_id != two.record_id else "ONE IDENTITY"
    return f"{paths[0].name}\n{paths[1].name}\n{ids}\n{verified}"


def second_drop_harder(stage):
    """12 % more with the same set-up; the line was new."""
    peak = predict_drop(PlannedDrop(9.0, 1.0, Line("x", 2e4), 0.0)).peak_force_n
    lessons = [
        Lesson("x", 9.0, 1.0, peak * factor, 2e4 * factor**2, 0.0, 0.0, 0.0, None, number)
        for number, factor in enumerate((1.0, 1.12))
    ]
    go, why = advice(learn("x", lessons, [], 2))
    after_one = advice(learn("x", lessons[:1], [], 1))[1]
    return f"after one: {after_one}\nafter two, go on {go}: {why}"


def hum(stage):
    """80 N rms of 50 Hz on the signal."""

    def change(scene):
        volts = 80.0 * 2.0**0.5 / scene.chain.newton_per_volt
        return replace(scene, chain=replace(scene.chain, mains_v=volts))

    play = Play(stage.path, change=change)
    text = refused(play)
    found = "; ".join(one.text for one in getattr(play.crew, "findings", ()))
    return f"{text}\n{found}\n{state_of(play)}"


def zero_does_not_return(stage):
    play = Play(stage.path)
    play.when(lambda: play.since_release_s() > 0.62, lambda: play.rig.bench.do("pull 60"))
    play.drop()
    return told(stage.path)


def article_cracked(stage):
    """The record is perfect, and the form says what was found."""
    made(stage.path)
    mark_new(stage.path)
    before = told(stage.path)
    given = ("--found", "deformed-beyond", "--by", "A. Rigger", "--note", "a crack at the eye")
    return f"{before}\n{stage.command('inspect', stage.path, *given)}"


def power_cut(stage):
    play = Play(stage.path).start()
    while_in(play, wire.ARMED)
    play.power_up()
    play.pass_s(0.5, laptop=False)
    ended = refused_end(play)
    return f"{state_of(play)}\n{ended}"


def wants_a_pass(stage):
    """2950 N of 3000 N; somebody passes it."""
    made(stage.path, setup=replace(SETUP, target_n=2000.0))
    mark_new(stage.path)
    stage.command("inspect", stage.path, "--found", "intact", "--by", "A. Rigger")
    proposed = told(stage.path)
    given = ("--verdict", "pass", "--by", "R. Lead", "--reason", "2 % short, accepted")
    return f"{proposed}\n{stage.command('decide', stage.path, *given)}"


def edited(stage):
    made(stage.path)
    with h5py.File(stage.path, "r+") as file:
        file["trace/counts"][500:520] = 0
    return stage.command("verify", stage.path) + told(stage.path)


def article_parts(stage):
    text = played(stage, "article-parts", SHORT_S)
    return text + stage.command("inspect", stage.path, "--found", "parted", "--by", "A. Rigger")


def year_later(stage):
    """Somebody else, with the file alone, in another folder."""
    made(stage.path)
    away = stage.folder / "elsewhere"
    away.mkdir()
    copy = shutil.copy(stage.path, away / "drop.h5")
    numbers = []
    for path in (stage.path, copy):
        marks = as_json(assess(open_record(path), cfc=180))
        numbers.append(json.dumps({**marks, "record": ""}, sort_keys=True))
    with h5py.File(copy) as file:  # as any reader of HDF5 does
        cal, about = file["calibration"].attrs, file["trace/counts"].attrs
        volts = file["trace/counts"][:, 0] / about["reduction"] * cal["reference_v"]
        force = volts / 2.0 ** cal["converter_bits"] * cal["newton_per_volt"]
    read = f"peak by hand {force.max() - np.median(force[:1000]):.0f} N"
    same = "bit for bit" if numbers[0] == numbers[1] else "OTHER NUMBERS"
    return f"{same}; {read}; {told(copy)}"


def new_team(stage):
    stage.monkeypatch.chdir(stage.folder)
    stage.command("init", "kite")
    stage.monkeypatch.chdir(stage.folder / "kite")
    return stage.command("next")


HELD_TRUE = ("peak true", "missing_samples = 0")
STORIES = (
    Story(
        1,
        "the release switch bounces for 12 ms",
        "bounce_s = 0.012",
        "one release, at the first edge; the bounces are kept",
        switch_bounces,
        (r"1 release, [5-9]|1 release, 1\d", "first edge kept"),
    ),
    Story(
        2,
        "the sled leaves 30 ms after the switch",
        "--fault sled-hesitates",
        "the delay is told, and is no friction",
        lambda stage: played(stage, "sled-hesitates"),
        (r"let go (2\d|3\d) ms after the switch opened", "this is no friction"),
    ),
    Story(
        3,
        "the cell's cable rips at the peak",
        "--fault cell-cable-rips",
        "the cable is lost, at a time; nothing is said of the article, the load is a true bound",
        cable_rips,
        (r"from \d\.\d+ s on the signal is dead: a pulled cable", "bound true", "unclear"),
        ("let-go", "impulse-impossible", "flat-top"),
    ),
    Story(
        4,
        "the laptop sleeps while armed; another time after the release",
        "its program stands still for 3 s, for 4 s",
        "the permit falls and nothing drops; what was released is recorded, and comes later",
        laptop_sleeps,
        (
            "asleep: board safe, drive low, never pulsed, sled raised",
            "the laptop",
            "asleep: board held",
            *HELD_TRUE,
        ),
        ("NOT REFUSED",),
    ),
    Story(
        5,
        "the cable loses a third of all frames in the pull",
        "loss = 0.3 both ways, for a second",
        "all is sent again; nothing is missing",
        packets_lost,
        (*HELD_TRUE, "record_verdict = (valid|suspect)"),
    ),
    Story(
        5,
        "three frames of the pull never come",
        "they are lost however often they are sent",
        "a gap in the contact, invalid, a bound; the board keeps what it has",
        packets_gone,
        (
            "record_verdict = invalid",
            "load_verdict = at-least",
            "missing_samples = 3072",
            "board held",
        ),
    ),
    Story(
        6,
        "the amplifier saturates below the converter's end",
        "--fault amplifier-clips",
        "the flat top is found; a lower bound, no pass",
        lambda stage: played(stage, "amplifier-clips"),
        ("at least 13[45]\\d N", "load_verdict = at-least", "record_verdict = invalid"),
        ("on-target",),
    ),
    Story(
        7,
        "the cell is wired the wrong way round",
        "--fault cell-reversed, and the hanging sled",
        "the record says it; the hanging check refuses",
        reversed_cell,
        ("swap the cell's signal wires", "reads -8\\d", "the hanging check failed"),
        ("let through",),
    ),
    Story(
        8,
        "the gain is a tenth of what it was",
        "--fault gain-ten-times, the hanging sled, and a later calibration",
        "impulse and hanging check both say it; a corrected slope is a new revision",
        gain_wrong,
        (
            "0.1 times what it is",
            "the hanging check failed",
            r"peak_force_n +18[89]\d",
            "seal intact, 1 revision",
        ),
    ),
    Story(
        9,
        "the zero was taken with the sled hanging",
        "the calibration's zero is m g off",
        "the slack line's zero is used, and the difference told",
        zero_forgotten,
        ("peak true", r"rests at 0\.44\d V, expected 0\.5[34]\d V"),
    ),
    Story(
        10,
        "the line slips through a clamp",
        "--fault line-slips",
        "slipped, by how much, and not held",
        lambda stage: played(stage, "line-slips"),
        ("trace_says = slipped", r"\d+ mm below where the line came taut"),
        ("trace_says = held", "on-target"),
    ),
    Story(
        11,
        "the mount's screws pull out of the wood",
        "--fault mount-lets-go",
        "no test of the article; stop, and prove the mount again",
        lambda stage: played(stage, "mount-lets-go", SHORT_S),
        ("mount's break wire opened", "test_verdict = no-test", "prove the mount again"),
    ),
    Story(
        12,
        "two peaks in one pull: the left leg lets go, the right one takes the rest",
        "--fault leg-lets-go",
        "the sum is not taken for one pull",
        lambda stage: played(stage, "leg-lets-go", SHORT_S),
        ("leg",),
        ("record_verdict = valid\nload_verdict = on-target\ntrace_says = held",),
    ),
    Story(
        12,
        "the sled meets a stop in the pull",
        "--fault stop-touched",
        "the momentum tells stop from line",
        lambda stage: played(stage, "stop-touched"),
        ("a stop or the catch took the rest", "record_verdict = invalid"),
    ),
    Story(
        13,
        "the article parts before the peak",
        "--fault article-parts, and what was found",
        "load and time of the loss, the speed of the fall; below its target it has failed",
        article_parts,
        ("let go at 125\\d N", "still falling at 4", "load_verdict = under", "FAIL"),
    ),
    Story(
        14,
        "the line never comes taut",
        "--fault never-taut",
        "no contact; the sled may still hang: stay out",
        lambda stage: played(stage, "never-taut", SHORT_S),
        ("never came taut", "the sled may still hang", "stay out", "test_verdict = no-test"),
    ),
    Story(
        15,
        "the disk is full: before the drop, while armed, after the release",
        "every write is refused from then on",
        "not armed; called off; kept by the board, and recovered",
        disk_full,
        (
            r"No space left.*board safe, drive low, never pulsed",
            r"drop called off.*No space left.*board safe, drive low, never pulsed, sled raised",
            r"No space left.*tautlog recover",
            *HELD_TRUE,
        ),
        ("NOT REFUSED",),
    ),
    Story(
        16,
        "somebody enters the zone while armed",
        "--fault gate-opens",
        "called off; the sled hangs, stay clear",
        zone_entered,
        ("gate", "board safe, drive low, never pulsed, sled raised", "stay clear"),
        ("NOT REFUSED",),
    ),
    Story(
        17,
        "a drop while nobody recorded",
        "tautlog ledger --add --peak-at-most 2500",
        "it counts as an exposure, with its bound",
        recorder_idle,
        ("bridle-1", "2500", r"\[exit 0\]"),
    ),
    Story(
        18,
        "a hand pulls at the line and knocks at the latch while armed",
        "pull 150, open switch, mend switch at the rehearsed rig",
        "no release; the drop's own release is the one that counts",
        hand_bumps,
        ("board armed", "1 knock, 1 release", *HELD_TRUE),
    ),
    Story(
        18,
        "the release coil's spike jumps into the signal",
        "--fault glitch",
        "it is no peak",
        coil_spike,
        ("jump out of the trace", *HELD_TRUE, "record_verdict = valid"),
    ),
    Story(
        19,
        "12 kg are loaded instead of 10",
        "hang 12 at the rehearsed rig, 10 kg entered",
        "the hanging check says what it reads, and refuses",
        wrong_plate,
        ("reads 11\\d", "m g is 98.1 N", "the hanging check failed"),
        ("let through",),
    ),
    Story(
        20,
        "the clock is wrong, and two drops are made in one minute",
        "two records at 1970-01-01T00:00:00",
        "two names, two identities, both verified",
        clock_wrong,
        ("_2.h5", "two identities", r"\[exit 0\]"),
    ),
    Story(
        21,
        "the second drop on a new line is 12 % harder",
        "two drops of a line that was new",
        "bedding in is expected; the calibration is not blamed",
        second_drop_harder,
        ("bedding in",),
        ("calibration error",),
    ),
    Story(
        22,
        "80 N rms of mains hum",
        "mains_v of the rehearsed chain",
        "found before arming, with its frequency and what to do; not armed",
        hum,
        ("50 Hz", "shield|ground", "never pulsed"),
        ("NOT REFUSED",),
    ),
    Story(
        23,
        "the zero does not return",
        "60 N more from the first pull on",
        "an overloaded cell; invalid",
        zero_does_not_return,
        ("overloaded cell", "record_verdict = invalid"),
    ),
    Story(
        24,
        "the article is cracked, and the record perfect",
        "tautlog inspect --found deformed-beyond",
        "nothing passes before somebody looked; then what was found decides",
        article_cracked,
        ("record_verdict = valid", "test_verdict = pending", "FAIL"),
    ),
    Story(
        25,
        "the power fails with the sled raised and armed",
        "the board begins anew",
        "the drive is low, the latch holds, and nobody says that the sled is down",
        power_cut,
        ("board safe, drive low, never pulsed, sled raised", "key off|stay clear|may still hang"),
        ("NOT REFUSED",),
    ),
    Story(
        26,
        "a pass is wanted a few percent below the target",
        "tautlog decide --verdict pass",
        "the proposal stays beside the decision, with name and reason",
        wants_a_pass,
        ("load_verdict = (under|unproven)", "R. Lead", "2 % short, accepted", "proposed"),
    ),
    Story(
        27,
        "the file is edited by another program",
        "20 samples are set to 0",
        "verify says it and fails; the record says it",
        edited,
        (r"\[exit 1\]", "record_verdict = invalid|changed|edited|seal"),
    ),
    Story(
        28,
        "the sled jams half way down",
        "--fault sled-jams",
        "no contact; it may still hang: stay out, find out why",
        lambda stage: played(stage, "sled-jams", SHORT_S),
        ("may still hang", "stay out", "find out why the line did not come taut"),
    ),
    Story(
        29,
        "somebody else computes it again a year later",
        "the file alone, copied elsewhere",
        "the same numbers, and any HDF5 reader gets the force",
        year_later,
        ("bit for bit", "peak by hand 18[89]\\d N"),
    ),
    Story(
        30,
        "a new team copies the rig",
        "tautlog init, tautlog next",
        "it begins with its wires and its calibration; mount and ladder follow",
        new_team,
        ("calibrat", "wir", "ladder", r"\[exit 0\]"),
    ),
)


def test_there_are_thirty():
    assert sorted({story.number for story in STORIES}) == list(range(1, 31))


@pytest.mark.parametrize("story", STORIES, ids=lambda one: f"{one.number} {one.happens}")
def test_story(story, tmp_path, capsys, monkeypatch):
    text = story.play(Stage(tmp_path, capsys, monkeypatch))
    for pattern in story.said:
        assert re.search(pattern, text, re.DOTALL), (pattern, text)
    for pattern in story.never:
        assert not re.search(pattern, text), (pattern, text)
