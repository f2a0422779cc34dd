"""Entry of the firmware: builds the board's parts and runs them for ever."""

import config
from board import Board, is_kept_out
from instrument import Instrument


def main():
    """Run the instrument until the power goes."""
    if is_kept_out():
        return
    board = Board(config)
    try:
        instrument = Instrument(board, config)
        while True:
            instrument.step()
    finally:
        board.close()


if __name__ == "__main__":
    main()
