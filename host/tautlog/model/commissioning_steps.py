"""Steps of a bring-up: which, in which order, and what to do in each."""

from __future__ import annotations

from collections.abc import Sequence

from tautlog.model.channels import ACCELERATION, FORCE, role_of
from tautlog.model.commissioning import (
    BENCH,
    BY_DRIVE,
    BY_HAND,
    CHANGED,
    PULLED,
    REFUSED,
    REST,
    UNMOVED,
    Parts,
    Phase,
    Step,
    at_rest,
)
from tautlog.model.wiring import Fitted, Wiring


def steps_for(parts: Parts, wiring: Wiring) -> tuple[Step, ...]:
    """Every step that this rig and this board need, in order."""
    fitted = parts.fitted
    # First of all, before the key is on for the first time.
    found = [_coil(fitted), _rest(), *_inputs(parts, wiring), *_force(wiring), *_others(wiring)]
    if parts.shunt:
        found.append(_shunt(wiring))
    found += _doubts()
    if fitted.lamp == "yes":
        found.append(_lamp(wiring))
    found.append(_by_hand(fitted, wiring))
    if fitted.driver == "yes":
        found += _driver(wiring, fitted.contact_names)
    return (*found, _end())


def _rest() -> Step:
    do = (
        "Sled down and off the latch, latch closed empty, release switch closed (by the empty "
        "hook, or hold it by hand), key off, every wire on, nothing pulls at the cell"
    )
    return Step("rest", "everything as it is at rest", (Phase(do, _AT_REST, level=REST),))


def _end() -> Step:
    do = "Every wire on again, latch and release switch closed as at first, key off, coil still out"
    return Step("rest-again", "nothing was left open", (Phase(do, _AT_REST, level=REST),))


def _inputs(parts: Parts, wiring: Wiring) -> list[Step]:
    pin = wiring.pin
    off, on = "Key off", "Key on"
    found = [
        Step(
            "switch",
            "release switch",
            (
                Phase(
                    f"Open the release switch's wire ({pin('switch')}) at the box",
                    ("open switch",),
                    opened=("switch",),
                ),
                Phase("Close it again", ("mend switch",)),
                Phase("Open the latch by hand", ("latch open",), opened=("switch",)),
                Phase("Close the latch", ("latch closed",)),
            ),
        ),
        Step(
            "key",
            "arm key",
            (
                Phase(on, ("key on",), closed=("key",)),
                Phase(f"Leave it on and open its wire ({pin('key')}) at the box", ("open key",)),
                Phase("Close it again", ("mend key",), closed=("key",)),
                Phase(off, ("key off",)),
            ),
        ),
    ]
    for name in sorted(at_rest(parts, wiring) - {"switch"}):
        what = f"the readback of {name!r}" if name in wiring.readbacks else f"the {name}"
        opening = Phase(f"Open {what} ({pin(name)}) at the box", (f"open {name}",), opened=(name,))
        found.append(Step(name, what, (opening, Phase("Close it again", (f"mend {name}",)))))
    return found


def _pull(channel: str, cell: str) -> tuple[Phase, ...]:
    return (
        Phase(f"Let {cell} hang free", (), level=REST, channel=channel),
        Phase(
            f"Pull {cell} by hand, along its axis, and hold it until the reading is there",
            (f"pull 100 {channel}".strip(),),
            level=PULLED,
            channel=channel,
        ),
        Phase("Let go", (f"pull 0 {channel}".strip(),), level=REST, channel=channel),
    )


def _wire(channel: str, pin: str) -> tuple[Phase, ...]:
    name = channel or "force"
    return (
        Phase(
            f"Open the wire from the amplifier to {pin} at the box",
            (f"open {name}",),
            level=REFUSED,
            channel=channel,
        ),
        Phase("Close it again", (f"mend {name}",), level=REST, channel=channel),
    )


def _force(wiring: Wiring) -> list[Step]:
    first = next(iter(wiring.channels))
    dead = "pull the cell by hand and hold it"
    return [
        Step("pull", "cell, amplifier and converter follow a pull", _pull("", "the cell")),
        *(
            Step(
                f"signal{sign}",
                f"signal {sign} of the cell",
                (
                    Phase(
                        f"Open signal {sign} of the cell at the box",
                        (f"open signal{sign}",),
                        level=REFUSED,
                    ),
                    Phase("Close it again", (f"mend signal{sign}",), level=REST),
                ),
            )
            for sign in "+-"
        ),
        Step(
            "signal-shorted",
            "signal + and signal - of the cell",
            (
                Phase("Short signal + to signal - of the cell at the box", ("short signal",)),
                Phase(f"Leave it so, {dead}", ("pull 100",), level=UNMOVED),
                Phase("Let go, take the short off", ("pull 0", "mend signal"), level=REST),
            ),
        ),
        Step(
            "excitation+",
            "supply of the bridge",
            (
                Phase("Open excitation + of the cell at the box", ("open excitation",)),
                Phase(f"Leave it so, {dead}", ("pull 100",), level=UNMOVED),
                Phase("Let go, close it again", ("pull 0", "mend excitation"), level=REST),
            ),
        ),
        Step("force-wire", "wire to the converter", _wire("", wiring.pin(first))),
    ]


def _others(wiring: Wiring) -> list[Step]:
    """Steps of the channels beyond the first."""
    found = []
    for channel in list(wiring.channels)[1:]:
        pin, role = wiring.pin(channel), role_of(channel)
        if role == FORCE:
            cell = f"the cell of {channel!r}"
            found.append(Step(f"pull {channel}", f"{channel} follows a pull", _pull(channel, cell)))
            found.append(Step(f"wire {channel}", f"wire of {channel}", _wire(channel, pin)))
            continue
        phases = [Phase("Leave everything as it is", channel=channel)]
        if role == ACCELERATION:
            turn = "Hold the accelerometer upside down"
            phases += [
                Phase(turn, (f"turn {channel}",), level=CHANGED, channel=channel),
                Phase("Put it back", (f"unturn {channel}",), level=UNMOVED, channel=channel),
            ]
        phases += [
            Phase(
                f"Open the wire of {channel!r} to {pin} at the box",
                (f"open {channel}",),
                level=CHANGED,
                channel=channel,
            ),
            Phase("Close it again", (f"mend {channel}",), level=UNMOVED, channel=channel),
        ]
        found.append(Step(f"wire {channel}", f"wire of {channel}", tuple(phases)))
    return found


def _shunt(wiring: Wiring) -> Step:
    return Step(
        "shunt",
        "shunt resistor and its switch",
        (
            Phase("Let the cell hang free, do nothing", (), level=REST, shunt="step"),
            Phase(
                f"Open the wire of the shunt's switch ({wiring.pin('shunt')}) at the box",
                ("open shunt",),
                level=REST,
                shunt="none",
            ),
            Phase("Close it again", ("mend shunt",), level=REST),
        ),
    )


def _coil(fitted: Fitted) -> Step:
    if fitted.driver == "yes":
        do = (
            "Take the latch's coil off at the box and put a test lamp of its voltage in its place. "
            "Sled down, nothing raised, nobody at the latch"
        )
    else:
        do = "Sled down, nothing raised. No driver is stated: see that no coil is connected"
    question = "the coil is off, the sled is down, nobody is at the latch"
    return Step(
        BENCH,
        "nothing can be released",
        (
            Phase(
                do,
                ("lower", "coil out"),
                judges_inputs=False,
                question=question,
                eye=("coil", False),
            ),
        ),
    )


def _doubts() -> list[Step]:
    """What makes an armed board go safe by itself."""
    return [
        Step(
            "silence",
            "a laptop that is silent ends it",
            (
                Phase(
                    "Key on. The program arms, then is silent",
                    ("key on",),
                    closed=("key",),
                    armed=BY_HAND,
                    ends="laptop-silent",
                ),
                Phase("Key off", ("key off",)),
            ),
        ),
        Step(
            "key-off",
            "the key ends it",
            (
                Phase(
                    "Key on. Turn it off as soon as the program says so",
                    ("key on",),
                    then="turn the key OFF",
                    then_act=("key off",),
                    ends="key-off",
                    closed=("key",),
                    armed=BY_HAND,
                ),
                Phase("Leave the key off", ("key off",)),
            ),
        ),
    ]


def _lamp(wiring: Wiring) -> Step:
    return Step(
        "lamp",
        "warning lamp",
        (
            Phase(
                "Key on. Look at the lamp",
                ("key on",),
                closed=("key",),
                armed=BY_HAND,
                question="the lamp was lit while the board was armed",
                eye=("lamp", True),
            ),
            Phase(
                "Look again",
                closed=("key",),
                question="the lamp is dark now",
                eye=("lamp", False),
            ),
            Phase(
                f"Cover the lamp's contacts, open its wire ({wiring.pin('lamp')}) at the box",
                ("open lamp",),
                closed=("key",),
                armed=BY_HAND,
                question="the lamp stayed dark",
                eye=("lamp", False),
            ),
            Phase("Close it again, key off", ("mend lamp", "key off")),
        ),
    )


def _by_hand(fitted: Fitted, wiring: Wiring) -> Step:
    """The release by hand, and the flash with it."""
    lit = fitted.flash == "yes" and wiring.flash_ms > 0
    return Step(
        "flash" if fitted.flash == "yes" else "hand-release",
        "an opening of the latch is a release" + (", and lights the flash" if lit else ""),
        (
            Phase(
                "Key on. Open the latch by hand as soon as the program says so",
                ("key on",),
                closed=("key",),
                armed=BY_HAND,
                then="open the latch by hand",
                then_act=("latch open",),
                ends="released",
                question="the flash was lit as the latch opened" if fitted.flash == "yes" else "",
                eye=("flash", True),
            ),
            Phase("Close the latch, key off", ("latch closed", "key off")),
        ),
    )


def _pulse(do: str, act: tuple[str, ...], *, lit: bool, light: str = "") -> Phase:
    """A pulse of the drive on the test lamp; `light` is one on the box that must be lit."""
    seen = "the test lamp was lit for a moment" if lit else "the test lamp stayed dark"
    if light:
        seen = f"{_LIGHTS[light]} was lit, {seen}"
    return Phase(
        f"{do}. Hold every button of the chain. The program arms and pulses the drive: look at "
        "the lights and the test lamp",
        act,
        closed=("key",),
        armed=BY_DRIVE,
        ends="no-release",
        question=seen,
        eye=(f"{light}-alone", True) if light else ("coil", lit),
    )


def _chain(contacts: Sequence[str]) -> Step:
    """Every contact alone, with the board safe: no pulse is needed to see it open the chain."""
    held = "hold every button of the chain"
    dark = f"{_LIGHTS['chain']} is dark"
    phases = [
        Phase(
            f"Key on, {held}. The board is not armed, nothing is driven",
            ("key on",),
            closed=("key",),
            question=f"{_LIGHTS['chain']} is lit, the test lamp is dark",
            eye=("chain-alone", True),
        ),
        Phase(f"Key off, {held}", ("key off",), question=dark, eye=("chain", False)),
    ]
    for contact in contacts:
        phases += [
            Phase(
                f"Key on, open the contact {contact!r}, {held}",
                ("key on", f"open contact {contact}"),
                judges_inputs=False,  # its readback, if there is one, opens with it
                question=dark,
                eye=("chain", False),
            ),
            Phase(f"Close {contact!r} again, key off", (f"mend contact {contact}", "key off")),
        ]
    about = "contacts in the coil's supply, each alone"
    return Step("chain", about, (*phases, Phase("Let go of the buttons", ("key off",))))


def _driver(wiring: Wiring, contacts: Sequence[str]) -> list[Step]:
    pin = wiring.pin
    found = [
        _chain(contacts),
        Step(
            "enable",
            "heartbeat, charge pump and driver",
            (
                Phase(
                    "Key on, hold every button of the chain. Look at the driver's enable light "
                    "(or a meter at its input)",
                    ("key on",),
                    closed=("key",),
                    armed=BY_HAND,
                    question="the driver was enabled while the board was armed, and the test lamp "
                    "stayed dark",
                    eye=("enable-alone", True),
                ),
                Phase(
                    "Wait a second, look again",
                    (),
                    closed=("key",),
                    question="the driver is not enabled now",
                    eye=("enable", False),
                ),
                Phase("Key off", ("key off",)),
            ),
        ),
        Step("drive", "drive and driver", (_pulse("Key on", ("key on",), lit=True), _KEY_OFF)),
    ]
    # Each transistor alone: a heartbeat without a pulse, a pulse without a heartbeat.
    for name, wire, light in (("drive-wire", "drive", "enable"), ("beat-wire", "beat", "pulse")):
        do = f"Key on, open the wire of {pin(wire)} at the box"
        opened = _pulse(do, ("key on", f"open {wire}"), lit=False, light=light)
        back = Phase("Close it again, key off", (f"mend {wire}", "key off"))
        found.append(Step(name, f"wire of the {wire}", (opened, back)))
    do = f"Key OFF. Short the key's wire ({pin('key')}) to ground at the box"
    short = _pulse(do, ("key off", "short key"), lit=False)
    back = Phase("Take the short off", ("mend key",))
    found.append(Step("key-pole", "the key's own pole in the coil's supply", (short, back)))
    return [*found, *_contact_pulses(wiring, contacts)]


def _contact_pulses(wiring: Wiring, contacts: Sequence[str]) -> list[Step]:
    """A pulse with each contact open that does not keep the board from arming."""
    found = []
    for contact in contacts:
        if _is_read_back(contact, wiring):
            continue  # open, it keeps the board from arming; `chain` has shown it
        opened = _pulse(
            f"Key on, open the contact {contact!r} in the coil's supply",
            ("key on", f"open contact {contact}"),
            lit=False,
        )
        back = Phase(f"Close {contact!r} again, key off", (f"mend contact {contact}", "key off"))
        found.append(Step(f"contact {contact}", f"{contact} in the coil's supply", (opened, back)))
    return found


def _is_read_back(contact: str, wiring: Wiring) -> bool:
    """Whether a contact's name has that of a readback as one of its words."""
    return bool(set(contact.casefold().split()) & {name.casefold() for name in wiring.readbacks})


# Lights on the box, as hardware_notes/4_release.md names them, for an eye; else a meter's place.
_LIGHTS = {
    "chain": 'the light "chain closed" (D322, or a meter from the chain\'s end to battery minus)',
    "enable": 'the light "driver enabled" (D315)',
    "pulse": 'the light "pulse" (D316)',
}
_AT_REST = ("latch closed", "key off", "pull 0")
_KEY_OFF = Phase("Key off", ("key off",))
