"""Entry of the firmware: builds the board's parts and runs them for ever."""

import gc
import sys

import bare


def checked():
    """The config, and what of it is wrong."""
    import config_check

    found = config_check.load()
    del sys.modules["config_check"]  # its memory is wanted for samples
    return found


def build(config, faults):
    """The board, and what runs it: the instrument, or who says what keeps it from running."""
    gc.collect()
    if bare.IS_UNFIT:
        import halt

        return halt.unfit()
    if faults:
        import halt

        return halt.wrong_config(faults)
    try:
        return _start(config)
    except Exception as problem:
        bare.release_pins(config)
        import halt

        said = halt.last_lines(problem)
    # Out of the handler, which holds what was built: memory is what may lack.
    return halt.not_started(said)


def _start(config):
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
    if bare.is_kept_out(-1 if faults else config.PIN_STRAP):
        return
    board, runner = build(config, faults)
    try:
        while True:
            runner.step()
    finally:
        board.close()


if __name__ == "__main__":
    try:
        main()
    except Exception as problem:
        bare.ended_by = problem
        raise
