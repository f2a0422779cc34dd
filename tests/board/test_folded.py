"""Numbers of the firmware go to a board as numbers: the same program, without their names."""

import ast
import types
from pathlib import Path

import pytest

from tautlog.board.compiled import firmware_numbers
from tautlog.board.folded import fold, numbers_of
from tautlog.firmware import wire

FIRMWARE = Path(wire.__file__).parent
FILES = [path for path in sorted(FIRMWARE.rglob("*.py")) if path.stem not in ("config", "main")]


def test_numbers_are_those_of_the_module_itself():
    found = firmware_numbers()["wire"]
    assert found == {
        name: value for name, value in vars(wire).items() if type(value) is int and name.isupper()
    }
    assert len(found) > 80


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_no_name_of_a_number_is_left_and_lines_stay(path):
    numbers = firmware_numbers()
    source = path.read_text()
    folded = fold(source, path.stem, numbers)
    assert len(folded.splitlines()) == len(source.splitlines())
    for node in ast.walk(ast.parse(folded)):
        if isinstance(node, ast.Name):
            assert node.id not in numbers[path.stem]
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            assert node.attr not in numbers.get(node.value.id, {})
    # A function that binds such a name itself would be read wrongly.
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.Lambda):
            bound = {one.arg for one in [*node.args.args, *node.args.kwonlyargs]}
            bound |= {
                one.id
                for one in ast.walk(node)
                if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store)
            }
            assert not bound & set(numbers[path.stem])


def test_the_folded_wire_format_makes_and_finds_the_same_frames():
    source = (FIRMWARE / "wire.py").read_text()
    folded = types.ModuleType("folded_wire")
    exec(fold(source, "wire", firmware_numbers()), vars(folded))
    assert not hasattr(folded, "ARMED")
    frame = wire.frame(wire.ASK, 7, b'{"do":"hello"}')
    assert folded.frame(wire.ASK, 7, b'{"do":"hello"}') == frame
    decoder = folded.Decoder()
    decoder.feed(b"\xd7" + frame)
    assert decoder.next()
    assert bytes(decoder.payload()) == b'{"do":"hello"}'
    assert (decoder.skipped, decoder.sequence) == (1, 7)


def test_what_is_no_whole_number_stays():
    source = 'A = 1\nB = A << 3\nC = 1.5\nD = True\nE = (1, 2)\n(F, G) = range(2)\nH = len("x")\n'
    assert numbers_of(source) == {"A": 1, "B": 8, "F": 0, "G": 1}
    folded = fold(source + "print(A, B - 1, C, self.A)\n", "own", {"own": numbers_of(source)})
    assert folded.splitlines() == [
        *("", "", "C = 1.5", "D = True", "E = (1, 2)", "", 'H = len("x")'),
        "print(1, 8 - 1, C, self.A)",
    ]


def test_names_that_are_imported_and_numbers_below_zero():
    numbers = {"other": {"LOW": -1, "HIGH": 9}}
    source = "from a.other import (\n    HIGH,\n    LOW,\n    call,\n)\nimport other\nx = 2 - LOW\n"
    folded = fold(source + "y = a.other.HIGH + other.LOW + call(HIGH)\n", "", numbers)
    assert folded.splitlines() == [
        *("from a.other import call", "", "", "", "", "import other"),
        *("x = 2 - (-1)", "y = 9 + (-1) + call(9)"),
    ]
