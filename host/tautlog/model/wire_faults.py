"""Wire faults: what each wire reads when it is open or shorted, and what the tool says.

ONE table. The command tells from it what a step that did not come out as expected may mean, the
sheet `hardware_notes/8_commissioning.md` shows it, and the tests try each line that says so on the
rehearsed board, with the real firmware. "Any" is any amplifier; "this one" is the front end of
`hardware_notes/2_analogue.md`, by the simulation of its netlist.
"""

from __future__ import annotations

from dataclasses import dataclass

OPENED, SHORTED, STUCK, EXCHANGED = "open", "short", "stuck", "exchanged"
TIED, REVERSED = "tied", "reversed"  # to the supply; the wrong way round
METER = "meter"  # no step: the sheet says where to measure, and what must be read
TRIED, NOT_TRIED = "rehearsed, own simulation", "not tried"


@dataclass(frozen=True)
class WireFault:
    """One fault of one wire.

    Attributes
    ----------
    wire : str
        As the bench and the board call it.
    kind : str
        OPENED, SHORTED, STUCK, EXCHANGED, TIED or REVERSED.
    what : str
        The fault, in words.
    reads : str
        What the board reads of it all the time.
    step : str
        The step of the bring-up that finds it, or METER.
    says : str
        A part of what the tool says in that step, or what the meter or the eye tells.
    tried : str
        TRIED on the rehearsed board with the real firmware, or NOT_TRIED.
    """

    wire: str
    kind: str
    what: str
    reads: str
    step: str
    says: str
    tried: str = TRIED


_GROUND = "to ground"
FAULTS = (
    WireFault("switch", OPENED, "release switch open", "sled not latched", "rest",
              "switch: expected closed, read open"),
    WireFault("switch", SHORTED, f"release switch shorted {_GROUND}", "latched, always", "switch",
              "switch: expected open, read closed"),
    WireFault("key", OPENED, "key's wire open", "key off, always", "key",
              "key: expected closed, read open"),
    WireFault("key", SHORTED, f"key's wire shorted {_GROUND}", "key on, always", "rest",
              "key: expected open, read closed"),
    WireFault("article-wire", OPENED, "break wire of the article open", "parted", "rest",
              "article-wire: expected closed, read open"),
    WireFault("article-wire", SHORTED, f"break wire of the article shorted {_GROUND}",
              "whole, always", "article-wire", "article-wire: expected open, read closed"),
    WireFault("mount-wire", OPENED, "break wire of the mount open", "parted", "rest",
              "mount-wire: expected closed, read open"),
    WireFault("mount-wire", SHORTED, f"break wire of the mount shorted {_GROUND}",
              "whole, always", "mount-wire", "mount-wire: expected open, read closed"),
    WireFault("article-wire", EXCHANGED, "the two break wires exchanged", "each the other's",
              "article-wire", "mount-wire: expected closed, read open"),
    WireFault("signal+", OPENED, "signal + of the cell open",
              "any: a limit (which one depends on it); this one: the lower", "rest",
              "the amplifier works between"),
    WireFault("signal-", OPENED, "signal - of the cell open",
              "any: a limit (which one depends on it); this one: the last code", "rest",
              "the amplifier works between"),
    WireFault("signal+", SHORTED, "signal + shorted to excitation + (to excitation -: the other "
              "limit)", "the last code", "rest", "the amplifier works between"),
    WireFault("signal-", SHORTED, "signal - shorted to excitation + (to excitation -: the other "
              "limit)", "the lower limit", "rest", "the amplifier works between"),
    WireFault("signal", SHORTED, "signal + shorted to signal -",
              "any: the zero, with the amplifier's noise, looks whole at rest; this one: off its "
              "zero, refused in `rest`", "pull", "a pull does not move the level"),
    WireFault("signal+", EXCHANGED, "signal + and signal - exchanged",
              "whole at rest; a pull lowers it", "pull", "the wrong way"),
    WireFault("excitation", OPENED, "excitation + open",
              "any: the zero or a limit, may look whole at rest; this one: the lower limit, "
              "refused in `rest`", "pull", "a pull does not move the level"),
    WireFault("excitation", SHORTED, "excitation + shorted to excitation -",
              "any: as open, the supply's limit must act; this one: the converter's reference "
              "falls with it, no reading means anything", METER, "TP101 near nothing", NOT_TRIED),
    WireFault("excitation-", OPENED, "excitation - open",
              "any: off zero or a limit; this one: off its zero", "rest", "without force"),
    WireFault("reference", OPENED, "U101 dead, or its wire from VSYS open",
              "no reading tells: bridge and converter fall together; noise rises", METER,
              "TP101 far below the reference", NOT_TRIED),
    WireFault("adc-vref", OPENED, "wire from the reference to ADC_VREF open",
              "all levels smaller in one ratio: may look whole at rest", METER,
              "pin ADC_VREF against TP101: not the same", NOT_TRIED),
    WireFault("agnd", OPENED, "AGND of the amplifiers open",
              "unknown: their current finds another way or none", METER,
              "no continuity from J101 to the pin AGND", NOT_TRIED),
    WireFault("shield", OPENED, "shield open", "nothing; more hum when a hand is at the cable",
              METER, "no continuity from the shield to AGND", NOT_TRIED),
    WireFault("shield", SHORTED, "shield joined to the rig's metal",
              "nothing; hum by a second ground", METER,
              "plug pulled: a reading between shield and rig", NOT_TRIED),
    WireFault("force", OPENED, "wire to the converter open",
              "drifts with little noise, or a limit", "rest", "without force"),
    WireFault("force", SHORTED, f"wire to the converter shorted {_GROUND}", "0 V", "rest",
              "the amplifier works between"),
    WireFault("shunt", OPENED, "wire of the shunt's switch open", "no step", "shunt",
              "the shunt does not make its step"),
    WireFault("shunt", SHORTED, f"wire of the shunt's switch shorted {_GROUND}", "no step",
              "shunt", "the shunt does not make its step"),
    WireFault("shunt", STUCK, "the shunt's switch closed for good", "off zero by its step", "rest",
              "without force"),
    WireFault("lamp", OPENED, "lamp or its wire open", "nothing: the board cannot see it", "lamp",
              "not seen: the lamp was lit"),
    WireFault("lamp", SHORTED, f"lamp's wire shorted {_GROUND}",
              "nothing. Lamp straight at the pin: overloaded while armed; behind Q291: R291 bounds "
              "the current", "lamp", "not seen: the lamp was lit"),
    WireFault("lamp", STUCK, "lamp's driver conducts for good", "nothing: lit, always", "lamp",
              "not seen: the lamp is dark now"),
    WireFault("flash", OPENED, "flash or its wire open", "nothing but its own pin's edge", "flash",
              "not seen: the flash was lit"),
    WireFault("flash", SHORTED, f"flash's wire shorted {_GROUND}",
              "no `flash` event where the pin itself is shorted, for it is read back; behind Q292 "
              "the event is there", "flash", "not seen: the flash was lit"),
    WireFault("beat", OPENED, "heartbeat's wire open", "nothing: driver never enabled", "enable",
              "not seen: the driver was enabled"),
    WireFault("beat", SHORTED, f"heartbeat's wire shorted {_GROUND}",
              "nothing: driver never enabled", "enable", "not seen: the driver was enabled"),
    WireFault("beat", STUCK, "driver enabled for good", "nothing: enabled, always", "enable",
              "not seen: the driver is not enabled now"),
    WireFault("drive", OPENED, "drive's wire open", "no release", "drive",
              "not seen: the test lamp was lit"),
    WireFault("drive", SHORTED, f"drive's wire shorted {_GROUND}", "no release", "drive",
              "not seen: the test lamp was lit"),
    WireFault("drive", STUCK, "pulse's driver (Q302, OK302) conducts for good",
              "released as soon as it is enabled", "enable", "not seen: the driver was enabled"),
    WireFault("drive", TIED, "drive's wire shorted to 3V3, before the one-shot",
              "this driver: one pulse at the moment of the short or at power-up, then none by any "
              "command; armed with the buttons held, that pulse IS a release", "drive",
              "not seen: the test lamp was lit", NOT_TRIED),
    WireFault("enable-mosfet", SHORTED, "M301 conducts for good",
              "nothing: a pulse alone opens the latch", "beat-wire",
              'not seen: the light "pulse"'),
    WireFault("pulse-mosfet", SHORTED, "M302 conducts for good",
              "released as soon as it is enabled", "enable", "not seen: the driver was enabled"),
    WireFault("pulse-mosfet", OPENED, "M301 or M302 open, or its opto-coupler dead",
              "no release", "drive", "not seen: the test lamp was lit"),
    WireFault("key-pole", SHORTED, "key's own pole in the coil's supply bridged or welded",
              "nothing: the key no longer cuts the coil", "key-pole",
              "not seen: the test lamp stayed dark"),
    WireFault("contact emergency stop", SHORTED, "a contact in the coil's supply bridged or welded",
              "nothing: it no longer cuts the coil", "chain", 'not seen: the light "chain closed"'),
    WireFault("contact emergency stop", OPENED, "a contact in the coil's supply open",
              "no release", "chain", 'not seen: the light "chain closed"'),
    WireFault("chain", SHORTED, "both ends of the chain shorted (CHAIN_1 to CHAIN_END)",
              "nothing: no contact cuts the coil", "chain", 'not seen: the light "chain closed"'),
    WireFault("chain", OPENED, "coil's battery flat, F301 open, or battery minus open",
              "no release", "chain", 'not seen: the light "chain closed"'),
    WireFault("coil-low", SHORTED, "coil's wire to the driver shorted to battery minus",
              "nothing: the buttons alone open the latch", "chain",
              'not seen: the light "chain closed"'),
    WireFault("coil-low", OPENED, "coil's wire to the driver open", "no release", "drive",
              "not seen: the test lamp was lit"),
    WireFault("vbus", OPENED, "VBUS open behind the board", "nothing; lamp and driver dead",
              "lamp", "not seen: the lamp was lit"),
    WireFault("battery-", SHORTED, "battery minus joined to GND (R401's place shorted)",
              "nothing at rest; at the pulse the coil's current may take the board's ground",
              METER, "R401's place reads far below R401", NOT_TRIED),
    WireFault("battery-", OPENED, "R401 open", "nothing; static charge stays", METER,
              "R401's place reads nothing", NOT_TRIED),
    WireFault("flyback", OPENED, "D303 or D304 open, or its solder joint",
              "nothing; each pulse burns M301, M302 or a contact", METER,
              "diode test of each, the coil's lead off: no reading", NOT_TRIED),
    WireFault("flyback", REVERSED, "D303 the wrong way round",
              "nothing with a test lamp, which has no diode beside it; with the coil F301 opens at "
              "a pulse", METER, "lamp in series with the coil: little voltage at the coil",
              NOT_TRIED),
    WireFault("stop", OPENED, "readback of the emergency stop, its contact or its wire, open",
              "open: arming refused", "rest", "stop: expected closed, read open"),
    WireFault("stop", SHORTED, f"readback of the emergency stop shorted {_GROUND}",
              "made, always", "stop", "stop: expected open, read closed"),
    WireFault("gate", OPENED, "readback of the zone gate, its contact or its wire, open",
              "open: arming refused", "rest", "gate: expected closed, read open"),
    WireFault("gate", SHORTED, f"readback of the zone gate shorted {_GROUND}",
              "made, always", "gate", "gate: expected open, read closed"),
    WireFault("pin", OPENED, "readback of the pin switch, its contact or its wire, open",
              "open: arming refused", "rest", "pin: expected closed, read open"),
    WireFault("pin", SHORTED, f"readback of the pin switch shorted {_GROUND}",
              "made, always", "pin", "pin: expected open, read closed"),
    WireFault("force right", OPENED, "wire of a second leg to the converter open",
              "drifts with little noise, or a limit", "pull force right", "without force"),
    WireFault("force right", SHORTED, f"wire of a second leg shorted {_GROUND}", "0 V",
              "pull force right", "the amplifier works between"),
    WireFault("acceleration", OPENED, "wire of the accelerometer open",
              "drifts, whatever the sled does", "wire acceleration",
              "level and noise are as before"),
    WireFault("acceleration", SHORTED, f"wire of the accelerometer shorted {_GROUND}", "0 V",
              "wire acceleration", "level and noise are as before"),
)  # fmt: skip


@dataclass(frozen=True)
class Lights:
    """What is lit while the drive pulses, key on and every button held.

    Attributes
    ----------
    what : str
        The fault, in words.
    fault : tuple of (str, str)
        Wire and kind of each fault that looks so.
    chain, enable, pulse, lamp : bool
        D322, D315, D316 and the test lamp.
    """

    what: str
    fault: tuple[tuple[str, str], ...]
    chain: bool
    enable: bool
    pulse: bool
    lamp: bool


LIGHTS = (
    Lights("none", (), True, True, True, True),
    Lights("battery, fuse, a contact or its wire open", (("chain", OPENED), ("key-pole", OPENED)),
           False, True, True, False),
    Lights("heartbeat's wire, charge pump or Q301", (("beat", OPENED), ("beat", SHORTED)),
           True, False, True, False),
    Lights("drive's wire, one-shot or Q302", (("drive", OPENED), ("drive", SHORTED)),
           True, True, False, False),
    Lights("VBUS open behind the board", (("vbus", OPENED),), True, False, False, False),
    Lights("M301, M302, an opto-coupler, the coil's plug, or the test lamp itself",
           (("enable-mosfet", OPENED), ("pulse-mosfet", OPENED), ("coil-low", OPENED)),
           True, True, True, False),
)  # fmt: skip


def lights_table() -> str:
    """The lights in Markdown, for the sheet."""
    rows = [
        "| fault | D322 chain closed | D315 driver enabled | D316 pulse | test lamp |",
        "| --- " * 5 + "|",
    ]
    for one in LIGHTS:
        lit = (one.chain, one.enable, one.pulse, one.lamp)
        rows.append(" | ".join([f"| {one.what}", *("lit" if on else "DARK" for on in lit)]) + " |")
    return "\n".join(rows)


def told_of(step: str) -> tuple[str, ...]:
    """Faults that a step finds, in words."""
    return tuple(dict.fromkeys(fault.what for fault in FAULTS if fault.step == step))


def fault_table() -> str:
    """The table in Markdown, for the sheet."""
    rows = ["| fault | the board reads | step | the tool says | tried |", "| --- " * 5 + "|"]
    rows += [
        f"| {fault.what} | {fault.reads} | `{fault.step}` | {fault.says} | {fault.tried} |"
        for fault in FAULTS
    ]
    return "\n".join(rows)
