"""What a board says of itself, and how it refuses."""

import wire
from window import Window

FIRMWARE = "0.1.0"


def hello(board, config):
    """The greeting; `board` has a name and a serial number."""
    said = {
        "ok": True,
        "wire": wire.VERSION,
        "firmware": FIRMWARE,
        "board": board.name(),
        "serial": board.serial(),
        "rate_hz": config.CONVERSION_RATE_HZ / (config.REDUCTION * len(config.CHANNELS)),
        "reduction": config.REDUCTION,
        "channels": list(config.CHANNELS),
        "per_block": config.SAMPLES_PER_BLOCK,
        "history": config.HISTORY_BLOCKS,
        "bits": config.CONVERTER_BITS,
        "regulator": board.regulator,
        "silence_s": config.LAPTOP_SILENCE_MS / 1000,
        "before_s": config.GUARD_BEFORE_S,
        "after_s": Window(config).after_s,
        "least_s": config.GUARD_AFTER_S,
        "pins": pins(config),
        "flash_ms": config.FLASH_MS,
    }
    if config.READBACKS:
        said["readbacks"] = config.READBACKS
    return said


def pins(config):
    """Pins in the order of wire.py's text: what connects to what, for whoever must know."""
    three_wires = config.CONVERTER_BITS == 16
    return [
        config.PIN_SWITCH,
        config.PIN_KEY,
        config.PIN_DRIVE,
        config.PIN_SHUNT,
        config.PIN_LAMP,
        config.PIN_ARTICLE_WIRE,
        config.PIN_MOUNT_WIRE,
        config.PIN_FLASH,
        config.PIN_BEAT,
        config.PIN_CONVERSION_START if three_wires else -1,
        config.PIN_CONVERSION_CLOCK if three_wires else -1,
        config.PIN_CONVERSION_DATA if three_wires else -1,
    ] + [-1 if three_wires else pin for pin in config.PIN_CONVERTER]


def state(instrument, inputs):
    """What an instrument.Instrument counts, and the bits of its inputs."""
    board, history, decoder = instrument.board, instrument.history, instrument.decoder
    return {
        "ok": True,
        "reason": instrument.states.reason,
        "inputs": inputs,
        "head": history.head,
        "oldest": history.oldest,
        "acked": history.acked,
        "lost": history.lost_total,
        "damaged": decoder.damaged,
        "skipped": decoder.skipped,
        "rest_us": board.rest_us,
        "free_bytes": board.free_bytes(),
        "stamp_us": board.ticks_us(),
    }


def refusal(reasons, state=wire.SAFE, text=""):
    """An answer that says no, with the numbers of its reasons; the laptop has their texts."""
    text = text or "reasons " + ", ".join([str(reason) for reason in reasons])
    state = wire.STATES[state]
    return {"ok": False, "error": "refused", "text": text, "reasons": reasons, "state": state}
