"""A board as it greets."""

from tautlog.model.stream import Instrument


def greeted(seen, **changes):
    """What a board that was seen says of itself, with the delivered settings."""
    named = {"firmware": "0.1.0", "board": seen.board, "serial": seen.serial}
    rest = {"sample_rate_hz": 62_500.0, "reduction": 8, "channels": ("force",)}
    return Instrument(
        **named
        | rest
        | {"samples_per_block": 1024, "history_blocks": 60, "wiring": seen.wiring}
        | changes
    )
