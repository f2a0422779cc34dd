"""No text of a record, a board, a campaign or a file's name moves the terminal that shows it."""

import pytest
from command_line import said
from kites import change
from made_records import SETUP, VIRTUAL, imported, made
from places import HOST

from tautlog.cli import run

MOVES = "\x1b[2J\x1b]0;t\x07\x9b2J\x7f\x85x"
NAMED = f"a{MOVES}b"
# Of bytes on the terminal: only these controls may come.
PLAIN = "\n\t"


def refuse_moves(*texts):
    for text in texts:
        found = {sign for sign in text if ord(sign) < 0x20 or 0x7F <= ord(sign) <= 0x9F} - set(
            PLAIN
        )
        assert not found, (found, text[:2000])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A campaign with such texts in each field that takes them, and two records of them."""
    from dataclasses import replace

    folder = tmp_path_factory.mktemp("moves") / "kite"
    assert run(["init", str(folder)]) == 0
    escaped = NAMED.encode("unicode_escape").decode().replace("\\x", "\\u00")
    change(folder, 'name = "kite recovery bridle"', f'name = "{escaped}"')
    change(folder, 'name = "beam-1"', f'name = "{escaped}"')
    setup = replace(
        SETUP, **{name: NAMED for name in ("article", "line", "operator", "note", "mount")}
    )
    made(folder / "first.h5", setup=setup, board=f"{VIRTUAL} {MOVES}")
    made(folder / "second \x1b[31m\x9b.h5", setup=setup)
    return folder


RECORD = "first.h5"
COMMANDS = {
    "mark": ("mark", RECORD),
    "mark with budgets": ("mark", RECORD, "--budget"),
    "inspect": ("inspect", RECORD, "--found", "intact", "--by", NAMED, "--note", NAMED),
    "inspect what is not known": ("inspect", RECORD, "--found", NAMED, "--by", NAMED),
    "decide": ("decide", RECORD, "--verdict", NAMED, "--by", NAMED, "--reason", NAMED),
    "list": ("list",),
    "list as table": ("list", "--rehearsed"),
    "list one article": ("list", "--article", NAMED),
    "ledger": ("ledger", "--rehearsed"),
    "ledger entry": ("ledger", "--add", NAMED),
    "verify": ("verify",),
    "remark": ("remark",),
    "learn": ("learn",),
    "next": ("next",),
    "qualify": ("qualify",),
    "report": ("report", RECORD),
    "show": ("show", RECORD, "--out", "a.png"),
    "export": ("export", RECORD, "--out", "a.csv"),
    "plan": ("plan", "--mass", "9", "--height", "1.2", "--line", NAMED),
    "proof": ("proof", "--mount", NAMED, "--pulled", "3000", "--held", "60", "--by", NAMED),
    "proof list": ("proof", "--list"),
    "calibrate list": ("calibrate", "--list"),
    "check": ("check", "--by", NAMED, "--with", f"B{MOVES}", "--mass", "9", "--height", "1.2"),
    "recover": ("recover", RECORD),
    "a file that is not there": ("mark", f"{NAMED}.h5"),
    "an option that is not there": ("mark", RECORD, f"--{NAMED}"),
    "a command that is not there": (NAMED,),
    "a port that is not there": ("health", "--port", f"/dev/{NAMED}"),
    "photo": ("photo", RECORD, f"{NAMED}.jpg"),
    "mark the other": ("mark", "second \x1b[31m\x9b.h5"),
    "import": ("import", f"{NAMED}.csv", "--force-column", NAMED, "--time-column", "t"),
}


@pytest.mark.parametrize("arguments", COMMANDS.values(), ids=COMMANDS)
@pytest.mark.rows(3)
def test_nothing_moves_the_terminal(folder, arguments, capsys, monkeypatch):
    monkeypatch.chdir(folder)
    _, out, err = said(capsys, *arguments)
    assert out or err
    refuse_moves(out, err)
    if any(name in arguments for name in ("mark", "list", "ledger", "verify", "proof")):
        _, out, err = said(capsys, *arguments, "--json")
        refuse_moves(out, err)


def test_commands_print_through_one_function():
    own = {path.name for path in (HOST / "cli").glob("*.py") if "click.echo" in path.read_text()}
    assert own == {"__init__.py", "output.py"}


def test_nothing_of_a_foreign_trace(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = imported(tmp_path, "x", 900.0, article=NAMED, note=NAMED)
    for arguments in (("mark", path), ("list",), ("ledger",), ("show", path, "--out", "b.png")):
        refuse_moves(*said(capsys, *arguments)[1:])
