"""Wire faults: what each wire reads when it is open or shorted, and what the tool says.

ONE table. The command tells from it what a step that did not come out as expected may mean, the
sheet `hardware_notes/8_commissioning.md` shows it, and the tests try each line that says so on the
rehearsed board, with the real firmware.
"""

from __future__ import annotations

from dataclasses import dataclass

OPENED, SHORTED, STUCK, EXCHANGED = "open", "short", "stuck", "exchanged"
TRIED, NOT_TRIED = "rehearsed, own simulation", "not tried"


@dataclass(frozen=True)
class WireFault:
    """One fault of one wire.

    Attributes
    ----------
    wire : str
        As the bench and the board call it.
    kind : str
        OPENED, SHORTED, STUCK or EXCHANGED.
    what : str
        The fault, in words.
    reads : str
        What the board reads of it all the time.
    step : str
        The step of the bring-up that finds it.
    says : str
        A part of what the tool says in that step.
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
              "amplifier at a limit (which one depends on it)", "rest",
              "the amplifier works between"),
    WireFault("signal-", OPENED, "signal - of the cell open",
              "amplifier at a limit (which one depends on it)", "rest",
              "the amplifier works between"),
    WireFault("signal", SHORTED, "signal + shorted to signal -",
              "the zero, with the amplifier's noise: looks whole at rest", "pull",
              "a pull does not move the level"),
    WireFault("signal+", EXCHANGED, "signal + and signal - exchanged",
              "whole at rest; a pull lowers it", "pull", "the wrong way"),
    WireFault("excitation", OPENED, "supply of the bridge open",
              "the zero or a limit (depends on the amplifier): may look whole at rest", "pull",
              "a pull does not move the level"),
    WireFault("excitation", SHORTED, f"supply of the bridge shorted {_GROUND}",
              "as open; the supply's fuse or limit must act", "pull",
              "a pull does not move the level", NOT_TRIED),
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
              "nothing; the pin is overloaded while armed", "lamp", "not seen: the lamp was lit"),
    WireFault("lamp", STUCK, "lamp's driver conducts for good", "nothing: lit, always", "lamp",
              "not seen: the lamp is dark now"),
    WireFault("flash", OPENED, "flash or its wire open", "nothing but its own pin's edge", "flash",
              "not seen: the flash was lit"),
    WireFault("flash", SHORTED, f"flash's wire shorted {_GROUND}",
              "on a board no `flash` event, for the pin is read back", "flash",
              "not seen: the flash was lit"),
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
    WireFault("drive", STUCK, "drive's wire shorted to the supply, or driver conducts for good",
              "released as soon as it is enabled", "enable", "not seen: the driver was enabled"),
    WireFault("key-pole", SHORTED, "key's own pole in the coil's supply bridged or welded",
              "nothing: the key no longer cuts the coil", "key-pole",
              "not seen: the test lamp stayed dark"),
    WireFault("contact emergency stop", SHORTED, "a contact in the coil's supply bridged or welded",
              "nothing: it no longer cuts the coil", "contact emergency stop",
              "not seen: the test lamp stayed dark"),
    WireFault("contact emergency stop", OPENED, "a contact in the coil's supply open",
              "no release", "drive", "not seen: the test lamp was lit"),
    WireFault("stop", OPENED, "a contact that the board reads back, or its wire, open",
              "open: arming refused", "rest", "stop: expected closed, read open", NOT_TRIED),
    WireFault("stop", SHORTED, f"wire of a readback shorted {_GROUND}", "made, always", "stop",
              "stop: expected open, read closed", NOT_TRIED),
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
