"""The installer against a board that is made of a dictionary of files."""

import contextlib
import hashlib
import io
import types

import pytest
from fakes.prompt import RawPrompt, TimedPrompt
from mpremote import transport_serial
from mpremote.transport import TransportError
from mpremote.transport_serial import SerialTransport

from tautlog.board import installer, prompt
from tautlog.board.compiled import ENTRY, firmware_files
from tautlog.board.prompt import BoundedPort, Prompt
from tautlog.errors import BoardError, LinkError, WrongDeviceError


class FakeTransport:
    """What the installer needs of mpremote's transport, on files in memory."""

    def __init__(self, who="((1, 28), 'Raspberry Pi Pico with RP2040', 4870)"):
        self.files = {}
        self.who = who
        self.log = []
        self.break_after = 10**9
        self.spoil = ""

    def exec_raw(self, code, timeout=10):
        self._live()
        if code == prompt.ASK_WHO:
            return self.who.encode(), b""
        if code == prompt.ASK_HASHES:
            return b"", b""
        if code.startswith("print(h("):
            name = code[9:-3]
            data = self.files.get(name)
            return (hashlib.sha256(data).hexdigest() if data is not None else "").encode(), b""
        if "os.remove" in code:
            name = code.split("os.remove('")[1].split("'")[0]
            self.log.append(("remove", name))
            self.files.pop(name, None)
        if "f.read()" in code:
            return repr(self.files["config.py"].decode()).encode(), b""
        return b"", b""

    def fs_writefile(self, name, data, chunk_size):
        self._live()
        self.log.append(("write", name))
        self.files[name] = data + (b"#" if name == self.spoil else b"")

    def _live(self):
        self.break_after -= 1
        if self.break_after < 0:
            raise TransportError("gone")


def put(transport, files=None):
    return installer.put(
        Prompt(transport, 1.0), files or firmware_files("armv6m"), lambda text: None
    )


def test_main_goes_first_and_comes_last():
    board = FakeTransport()
    written, unchanged = put(board)
    assert board.files == firmware_files("armv6m")
    assert board.log[0] == ("remove", ENTRY)
    assert board.log[-1] == ("write", ENTRY)
    assert written[-1] == ENTRY
    assert unchanged == ()


def test_what_is_there_is_not_written_again():
    board = FakeTransport()
    put(board)
    board.log.clear()
    written, unchanged = put(board)
    assert written == ()
    assert set(unchanged) == set(firmware_files("armv6m"))
    assert board.log == []


@pytest.mark.parametrize("steps", range(0, 120, 7))
def test_interrupted_anywhere_it_starts_nothing_half(steps):
    """New files and an old main.py never lie on the board together."""
    board = FakeTransport()
    board.files = {name: data + b"# old" for name, data in firmware_files("armv6m").items()}
    old = dict(board.files)
    board.break_after = steps
    try:
        put(board)
    except TransportError:
        changed = [name for name in old if board.files.get(name) != old[name]]
        assert not changed or ENTRY not in board.files


def test_a_file_that_arrives_wrong_is_noticed():
    board = FakeTransport()
    board.spoil = "wire.mpy"
    with pytest.raises(BoardError, match=r"wire\.mpy did not arrive"):
        put(board)
    assert ENTRY not in board.files


@pytest.mark.parametrize(
    ("who", "said"),
    [
        ("((1, 27), 'Raspberry Pi Pico with RP2040', 4870)", "1.28 or later"),
        ("((1, 28), 'another board with another chip', 4870)", "RP2040, RP2350"),
        ("((1, 28), 'Raspberry Pi Pico W with RP2040', 4870)", "has a radio"),
        ("((1, 28), 'Raspberry Pi Pico 2 W with RP2350', 0x1F06)", "has a radio"),
        ("something else", "prompt answers"),
        ("((1, 28), 'Raspberry Pi Pico with RP2040', 0x1305)", "mpy-cross here writes version"),
        ("((1, 28), 'Raspberry Pi Pico with RP2040', 0x3F06)", "mpy-cross here writes version"),
    ],
)
def test_boards_that_will_not_do(who, said):
    with pytest.raises(WrongDeviceError, match=said):
        Prompt(FakeTransport(who), 1.0).identify()


def test_newer_ones_will_do():
    who = "((1, 29), 'Raspberry Pi Pico2 with RP2350', 0x1F06)"
    assert Prompt(FakeTransport(who), 1.0).identify()[0] == "1.29"


@pytest.mark.parametrize(
    ("mpy", "march"), [(0x1306, "armv6m"), (0x1F06, "armv7emsp"), (0x32F06, "rv32imc")]
)
def test_processors_by_what_their_images_say(mpy, march):
    """As the images of 1.28.0 for RPI_PICO, RPI_PICO2 and RPI_PICO2-RISCV say of themselves."""
    who = f"((1, 28), 'a board with RP2350', {mpy})"
    assert Prompt(FakeTransport(who), 1.0).identify()[2] == march
    files = firmware_files(march)
    assert ("hardware/loops_thumb.mpy" in files) == march.startswith("arm")
    assert "hardware/loops_viper.mpy" in files


def test_config_that_lacks_a_name():
    board = FakeTransport()
    delivered = firmware_files("armv6m")["config.py"]
    board.files["config.py"] = delivered.replace(b"PIN_DRIVE = 12", b"PIN_DRIVER = 12")
    with pytest.raises(BoardError, match=r"PIN_DRIVE.*--fresh-config"):
        installer.check_config(Prompt(board, 1.0), delivered)


def test_config_that_is_not_python():
    board = FakeTransport()
    board.files["config.py"] = b"PIN_DRIVE = = 12"
    with pytest.raises(BoardError, match="not Python"):
        installer.check_config(Prompt(board, 1.0), firmware_files("armv6m")["config.py"])


def test_config_with_changed_values_is_fine():
    board = FakeTransport()
    delivered = firmware_files("armv6m")["config.py"]
    board.files["config.py"] = delivered.replace(b"PIN_DRIVE = 12", b"PIN_DRIVE = 3")
    installer.check_config(Prompt(board, 1.0), delivered)


def test_no_such_port():
    with pytest.raises(LinkError, match="no port"):
        installer.install("/dev/not-here")


def test_files_are_those_of_the_folder():
    files = firmware_files("armv6m")
    assert list(files)[-1] == ENTRY
    assert "hardware/sampler.mpy" in files
    assert "__init__.py" not in files


# In step with a real prompt


@pytest.fixture
def quickly(monkeypatch):
    monkeypatch.setattr(prompt, "PROMPT_S", 0.6)
    monkeypatch.setattr(prompt, "READ_S", 0.1)


def in_step(transport):
    transport.enter_raw_repl(soft_reset=False, timeout_overall=2.0)
    with contextlib.redirect_stdout(io.StringIO()):
        prompt._fall_in_step(transport, 1.0)
    return Prompt(transport, 2.0).run("print('hello')")


LATE_S = [
    (),
    (0.05,),
    (0.05, 0.1),
    (0.05, 0.1, 0.15, 0.2, 0.25),
    (0.0, 0.0, 0.0),
    (0.29, 0.58, 0.87),  # each just before it is quiet for long enough
    (0.0, 0.31, 0.315, 0.33),  # in the midst of the first exchange
    (0.302, 0.312, 0.322, 0.332, 0.342),
]


@pytest.mark.parametrize("late_s", LATE_S, ids=str)
def test_late_banners_do_not_put_it_out_of_step(monkeypatch, late_s):
    """As seen with an emulated board: asked three times while it started, it answered thrice."""
    board = TimedPrompt(late_s)
    monkeypatch.setattr(prompt, "time", board)
    monkeypatch.setattr(transport_serial, "time", board)
    transport = SerialTransport.__new__(SerialTransport)
    transport.serial, transport.is_pty = BoundedPort(board, "board"), False
    assert in_step(transport) == "hello"
    assert board.ran[-1] == "print('hello')"


def test_a_prompt_that_understands_nothing_is_given_up(quickly):
    board = RawPrompt(dumb=True)
    transport = prompt._open(board.port, 1.0)
    try:
        with pytest.raises(TransportError, match="does not answer"):
            in_step(transport)
    finally:
        transport.close()
        board.close()


@pytest.mark.parametrize("how", [{"dumb": True}, {"cut_short": True}])
def test_a_prompt_that_falls_silent_is_one_clear_error(quickly, how):
    board = RawPrompt(**how)
    try:
        with pytest.raises(LinkError, match=r"fell silent .*: check the cable, install again"):
            installer.install(board.port)
    finally:
        board.close()


def test_a_board_that_never_comes_back_is_given_up_in_time(monkeypatch):
    """Its port is gone: some tries a second, and no more than the time that was told."""
    now_s, tries = [0.0], []

    def gone(port):
        tries.append(now_s[0])
        raise LinkError("there is no port", port=port)

    clock = types.SimpleNamespace(
        monotonic=lambda: now_s[0], sleep=lambda s: now_s.__setitem__(0, now_s[0] + s)
    )
    monkeypatch.setattr(prompt, "time", clock)
    monkeypatch.setattr(prompt, "SerialLink", gone)
    with pytest.raises(LinkError, match="no port"):
        prompt.greeted("/dev/x", 3.0)
    limit_s = prompt.RESTART_S * 3.0
    assert limit_s <= now_s[0] <= limit_s + 1.0
    assert len(tries) <= limit_s / prompt.AGAIN_S + 2


def test_what_is_for_the_laptop_only_is_cut_out():
    """The names of events and reasons, which an RP2040 has no memory for."""
    for march in ("armv6m", "armv7emsp"):
        compiled = firmware_files(march)["wire.mpy"]
        assert b"release-by-force" not in compiled
        assert b"the arm key is off" not in compiled
