"""Entry of the firmware: builds the board's parts and runs them for ever."""

import gc
import sys

from bare import MORE_MEMORY, Bare, is_kept_out


def checked():
    """The config, and what of it is wrong."""
    import config_check

    found = config_check.load(MORE_MEMORY)
    del sys.modules["config_check"]  # its memory is wanted for samples
    return found


def build(config, faults):
    """The board, and what runs it: the instrument, or who says what of config.py is wrong."""
    gc.collect()
    if faults:
        from refusal import Refusal

        bare = Bare()  # no pins: board.py is not even imported
        return bare, Refusal(bare, faults)
    from board import Board
    from instrument import Instrument

    board = Board(config)
    try:
        return board, Instrument(board, config)
    except BaseException:
        board.close()
        raise


def main():
    """Run until the power goes."""
    config, faults = checked()
    if is_kept_out(-1 if faults else config.PIN_STRAP):
        return
    board, runner = build(config, faults)
    try:
        while True:
            runner.step()
    finally:
        board.close()


if __name__ == "__main__":
    main()
