"""Commissioning: the steps of a bring-up, in which every wire is opened and shorted by hand.

A step says what to do, and what must be read then. What is read of the board is a `Reading`; where
only a person can see, a question is asked, to which the expected answer is yes. Each phase also
says the same in the words of the rehearsed bench (`act`, `eye`), so that the list can be gone
through with the real firmware and no hardware.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from tautlog.model.wiring import Fitted, Wiring

# What the level of a channel must do.
ANY, REST, REFUSED = "any", "rest", "refused"
PULLED, UNMOVED, CHANGED = "pulled", "unmoved", "changed"
# Against the first reading of the step. Own choice: ten times the noise's rms is no noise, and
# 0.3 % of the range between the limits is 10 N of 3.3 kN, which a hand pulls with ease.
MOVED_NOISE, MOVED_SPAN = 10.0, 0.003
NOISE_CHANGED = 3.0  # of rms noise, either way: another source drives the input; own choice
# How the board is armed. By hand: the firmware refuses every pulse of the drive.
BY_HAND, BY_DRIVE = "hand", "drive"
LATCH_OPENED = frozenset({"release-opened", "release-by-force"})  # by the board's events
BENCH = "coil-out"  # the step without which nothing is armed
COIL_PHRASE = "coil is out"


@dataclass(frozen=True)
class Phase:
    """One thing to do, and what must be read then.

    Attributes
    ----------
    do : str
        What the person does, in the imperative.
    act : tuple of str
        The same in the words of the rehearsed bench.
    opened, closed : tuple of str
        Inputs that must read otherwise than at rest.
    judges_inputs : bool
        Whether the inputs must read so.
    level, channel : str
        What the level of a channel must do; the channel's name, "" for the first.
    shunt : str
        "" not read, "step" must be there, "none" must not.
    armed : str
        "", BY_HAND or BY_DRIVE: the board is armed in this phase.
    then, then_act : str, tuple of str
        What the person does once it is armed.
    ends : str
        Name of the reason for which it must go safe, "released", or "" for the program's word.
    question, eye : str, (str, bool)
        What only a person can see, put so that yes is right; what the bench's eye must see.
    """

    do: str
    act: tuple[str, ...] = ()
    opened: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()
    judges_inputs: bool = True
    level: str = ANY
    channel: str = ""
    shunt: str = ""
    armed: str = ""
    then: str = ""
    then_act: tuple[str, ...] = ()
    ends: str = ""
    question: str = ""
    eye: tuple[str, bool] = ("", True)


@dataclass(frozen=True)
class Step:
    """One wire, or one thing that must work.

    Attributes
    ----------
    name : str
        As in ``--step`` and in the file.
    about : str
        What is proven, in a few words.
    phases : tuple of Phase
        In order; the last leaves everything as it was.
    """

    name: str
    about: str
    phases: tuple[Phase, ...]

    @property
    def arms(self) -> bool:
        """Whether the board is armed in it."""
        return any(phase.armed for phase in self.phases)


@dataclass(frozen=True)
class Parts:
    """What is there to be proven.

    Attributes
    ----------
    fitted : Fitted
        As the campaign states it.
    shunt : bool
        A shunt resistor is stated.
    """

    fitted: Fitted = field(default_factory=Fitted)
    shunt: bool = False


@dataclass(frozen=True)
class Reading:
    """What was read in one phase.

    Attributes
    ----------
    closed : frozenset of str
        Inputs that read closed.
    levels_v, noises_v : tuple of float
        Mean and rms noise of each channel.
    refused : tuple of tuple of str
        For each channel, why its level forbids a drop; empty if it does not, or is not judged.
    shunt_step_v : float or None
        Step of the shunt resistor, if it was read and steady.
    shunt_good, shunt_expected : bool, str
        Whether it is what is expected, and what that is, in words.
    events, ended : tuple of str, str
        What the board told while it was armed, and the reason for which it went safe.
    refusal : str
        Why it did not arm, in words, or "".
    seen : bool or None
        The person's answer.
    """

    closed: frozenset[str]
    levels_v: tuple[float, ...] = ()
    noises_v: tuple[float, ...] = ()
    refused: tuple[tuple[str, ...], ...] = ()
    shunt_step_v: float | None = None
    shunt_good: bool = False
    shunt_expected: str = "some step expected"
    events: tuple[str, ...] = ()
    ended: str = ""
    refusal: str = ""
    seen: bool | None = None


def at_rest(parts: Parts, wiring: Wiring) -> frozenset[str]:
    """Inputs that read closed with the latch closed, the key off and every wire on."""
    fitted = parts.fitted
    wires = {"article-wire": fitted.article_wire, "mount-wire": fitted.mount_wire}
    there = {name for name, has in wires.items() if has == "yes"}
    return frozenset({"switch", *there, *wiring.readbacks})


def watched(parts: Parts, wiring: Wiring) -> frozenset[str]:
    """Inputs whose reading means something on this rig."""
    return at_rest(parts, wiring) | {"key"}


def expected_text(phase: Phase, rest: frozenset[str], names: frozenset[str]) -> str:
    """What must be read in a phase, in words."""
    words = [_inputs_text(frozenset(_wanted(phase, rest)), names)] * phase.judges_inputs
    where = f" of {phase.channel}" if phase.channel else ""
    if phase.level != ANY:
        words.append(f"level{where} {_LEVELS[phase.level]}")
    if phase.shunt:
        words.append("the shunt's step" if phase.shunt == "step" else "no step of the shunt")
    if phase.armed:
        words.append(f"armed, {_ENDS[phase.ends]}")
    if phase.question:
        words.append(f"seen: {phase.question}")
    return ", ".join(words)


def read_text(phase: Phase, reading: Reading, names: frozenset[str], channel: int = 0) -> str:
    """What was read in a phase, in words."""
    words = [_inputs_text(reading.closed, names)]
    if reading.levels_v and channel < len(reading.levels_v):
        noise_mv = 1e3 * reading.noises_v[channel]
        words.append(f"level {reading.levels_v[channel]:.4f} V, noise {noise_mv:.2f} mV rms")
        words += reading.refused[channel] if reading.refused else ()
    if phase.shunt:
        step_v = reading.shunt_step_v
        words.append("shunt: no step" if step_v is None else f"shunt step {step_v:.4f} V")
    if phase.armed:
        words.append(reading.refusal or f"armed, {_ended_text(reading)}")
    if phase.question:
        answer = {True: "yes", False: "NO", None: "not answered"}[reading.seen]
        words.append(f"seen: {answer}")
    return ", ".join(words)


@dataclass(frozen=True)
class Scale:
    """What a move of a channel's level is measured by.

    Attributes
    ----------
    column : int
        The channel's place.
    sign : int
        1 where a pull raises the level, -1 where it lowers it.
    span_v : float
        Range between the limits.
    """

    column: int = 0
    sign: int = 1
    span_v: float = 3.3


def wrong(
    phase: Phase,
    reading: Reading,
    first: Reading,
    rest: frozenset[str],
    names: frozenset[str],
    scale: Scale,
) -> tuple[str, ...]:
    """What is not as expected in a phase, each in words; empty if all is.

    Parameters
    ----------
    phase, reading : Phase, Reading
        The phase and what was read in it.
    first : Reading
        What was read in the first phase of its step.
    rest, names : frozenset of str
        Inputs that read closed at rest; inputs that mean anything.
    scale : Scale
        Of the phase's channel.
    """
    wanted, found = _wanted(phase, rest), []
    for name in sorted(names) * phase.judges_inputs:
        if (name in wanted) != (name in reading.closed):
            is_, must = ("closed", "open") if name in reading.closed else ("open", "closed")
            found.append(f"{name}: expected {must}, read {is_}")
    if phase.level != ANY:
        found += _wrong_level(phase.level, reading, first, scale)
    if phase.shunt == "step" and not reading.shunt_good:
        found.append(f"the shunt does not make its step, {reading.shunt_expected}")
    if phase.shunt == "none" and reading.shunt_step_v is not None:
        found.append("the shunt makes a step though its wire is open")
    if phase.armed:
        found += _wrong_end(phase, reading)
    if phase.question and reading.seen is not True:
        found.append(f"not seen: {phase.question}")
    return tuple(found)


_LEVELS = {
    REST: "at rest",
    REFUSED: "refused: at a limit, off zero or too still",
    PULLED: "moved by the pull, the right way",
    UNMOVED: "as at the step's begin",
    CHANGED: "or noise otherwise than at the step's begin",
}
_ENDS = {
    "": "until the program ends it",
    "released": "then the release is told",
    "laptop-silent": "then safe: the laptop is silent",
    "key-off": "then safe: key off",
    "no-release": "driven, then safe: nothing opened",
}


def _wanted(phase: Phase, rest: frozenset[str]) -> set[str]:
    return (set(rest) - set(phase.opened)) | set(phase.closed)


def _inputs_text(closed: frozenset[str], names: frozenset[str]) -> str:
    return " ".join(
        f"{name} {'closed' if name in closed else 'open'}" for name in sorted(names, reverse=True)
    )


def _ended_text(reading: Reading) -> str:
    told = ", ".join(name for name in reading.events if name != "armed")
    return told or "until the program ended it"


def _wrong_level(level: str, reading: Reading, first: Reading, scale: Scale) -> list[str]:
    at = scale.column
    if at >= len(reading.levels_v) or at >= len(first.levels_v):
        return ["the level was not read"]
    refused = reading.refused[at] if reading.refused else ()
    if level == REST:
        return list(refused)
    if level == REFUSED:
        return [] if refused else ["the level looks like one at rest though the wire is open"]
    moved_v = reading.levels_v[at] - first.levels_v[at]
    least_v = max(MOVED_NOISE * first.noises_v[at], MOVED_SPAN * scale.span_v)
    text = f"{1e3 * moved_v:+.1f} mV"
    if level == PULLED:
        if scale.sign * moved_v >= least_v:
            return []
        if -scale.sign * moved_v >= least_v:
            return [f"a pull moves the level the wrong way, {text}: signal wires exchanged?"]
        return [f"a pull does not move the level, {text} of {1e3 * least_v:.1f} mV"]
    before, now = max(first.noises_v[at], 1e-9), max(reading.noises_v[at], 1e-9)
    noisier = max(now / before, before / now)
    if level == UNMOVED:
        return [] if abs(moved_v) < least_v else [f"the level moved, {text}"]
    changed = abs(moved_v) >= least_v or noisier >= NOISE_CHANGED
    return [] if changed else [f"level and noise are as before, {text}"]


def _wrong_end(phase: Phase, reading: Reading) -> list[str]:
    if reading.refusal:
        return [reading.refusal]
    if LATCH_OPENED & set(reading.events) and phase.ends != "released":
        return ["THE LATCH OPENED: coil off, and find out what opened it"]
    if phase.armed == BY_DRIVE and "release-driven" not in reading.events:
        return ["the board did not drive"]
    if phase.ends == "released":
        lit = "flash" in reading.events or phase.eye[0] != "flash" or not phase.question
        told = "release-opened" in reading.events
        return ["no release was told"] * (not told) + ["no flash was told"] * (told and not lit)
    if phase.ends and reading.ended != phase.ends:
        ended = reading.ended or "nothing"
        return [f"expected {_ENDS[phase.ends]}; the board told {ended}"]
    if not phase.ends and reading.ended not in ("", "aborted"):
        return [f"the board went safe by itself: {reading.ended}"]
    return []
