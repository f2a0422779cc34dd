"""The commands as a user types them: what they print, and one clear line when they cannot."""

import contextlib
import json
import os
import pty
import socket
import struct
import subprocess
import sys
import threading
import time
import zlib
from pathlib import Path

import click
import h5py
import numpy as np
import pytest

from tautlog.cli import COMMANDS, run
from tautlog.firmware import wire

FEMUR = "nhtsa_10146_load_cells/femur_load_cells.csv"
JUMP = "forceplate_dropjump_1000hz/drop_jump.csv"


@pytest.fixture
def tautlog(tmp_path, monkeypatch, capfd):
    """Run one command line in an empty folder; (status, output, error output)."""
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        status = run([str(one) for one in arguments])
        captured = capfd.readouterr()
        assert "Traceback" not in captured.out + captured.err
        return status, captured.out, captured.err

    return call


@pytest.fixture
def refused(tautlog):
    """Run a command line that must fail: exactly one line, on standard error."""

    def call(*arguments, status=1):
        seen, out, err = tautlog(*arguments)
        assert seen == status, err
        assert out == ""
        assert err.startswith("tautlog: ")
        assert err.count("\n") == 1
        return err

    return call


@pytest.fixture
def record(tautlog, data, tmp_path):
    """A record of a measured trace."""
    path = tmp_path / "jump.h5"
    status, out, _ = tautlog(
        *("import", data / JUMP, "--force-column", "plate1_Fz_N+plate2_Fz_N"),
        *("--time-column", "time_s", "--target", "3000", "--out", path),
    )
    assert status == 0
    assert f"next: tautlog mark {path}" in out
    return path


# Help


def test_help_names_every_command(tautlog):
    status, out, _ = tautlog("--help")
    assert status == 0
    for name in COMMANDS:
        assert name in out


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(tautlog, name):
    status, out, _ = tautlog(name, "--help")
    assert status == 0
    assert out.startswith(f"Usage: tautlog {name}")


def test_help_is_quick():
    """Processor time of this thread only: the heavy packages are loaded by now."""
    before = time.thread_time()
    with open(os.devnull, "w") as nowhere, contextlib.redirect_stdout(nowhere):
        run(["--help"])
    assert time.thread_time() - before < 0.2


@pytest.mark.parametrize(
    "arguments",
    [
        ["no-such-command"],
        ["mark"],
        ["mark", "a.h5", "--cfc", "77"],
        ["rehearse", "--fault", "no-such-fault"],
        ["rehearse", "--speed", "0"],
        ["drop", "--countdown", "-1", "--port", "x"],
        ["drop"],
        ["health"],
        ["recover"],
        ["import", "a.csv"],
        ["import", "a.csv", "--force-column", "f"],
        ["show", "a.h5"],
        ["--no-such-option"],
    ],
    ids=" ".join,
)
def test_wrong_usage(refused, arguments):
    assert "--help" in refused(*arguments, status=2)


@pytest.mark.parametrize(
    ("keyboard", "says"), [(EOFError, "its input ended"), (KeyboardInterrupt, "by Ctrl-C")]
)
def test_nobody_at_the_keyboard_is_no_ctrl_c(refused, monkeypatch, keyboard, says):
    def asks(*_, **__):
        click.prompt("line slack, press Enter", err=True)

    def nothing(_):
        raise keyboard

    monkeypatch.setattr("tautlog.cli.tautlog.main", asks)
    monkeypatch.setattr("click.termui.visible_prompt_func", nothing)
    assert says in refused("calibrate", "--hang")


# From a measured trace to marks


def test_femur_cells_read_as_published(tautlog, data, tmp_path):
    """Minima at class 600 as NHTSA published them for this test, to the newton.

    US NHTSA Vehicle Crash Test Database, test 10146 (public domain); see
    tests/data/nhtsa_10146_load_cells.
    """
    published_n = {"drv_L_N": -1923, "drv_R_N": -2345, "pass_L_N": -1182, "pass_R_N": -1378}
    for column, minimum_n in published_n.items():
        path = tmp_path / f"{column}.h5"
        status, _, err = tautlog(
            *("import", data / FEMUR, "--force-column", column),
            *("--time-column", "time_s", "--out", path),
        )
        assert status == 0, err
        status, out, _ = tautlog("mark", path, "--cfc", "600", "--zero", "none", "--json")
        marks = json.loads(out)
        assert status == 0
        assert marks["cfc"] == 600
        assert marks["zero_offset_n"] is None
        assert round(marks["peak_force_n"]) == minimum_n


MARK_KEYS = """
record sample_rate_hz samples missing_samples clipped zero_offset_n noise_n release_time_s
onset_time_s slack_time_s peak_force_n peak_force_expanded_u_n cfc peak_time_s
peak_force_unfiltered_n rise_time_s duration_s fwhm_s base_duration_s impulse_ns rest_force_n
bounces fall_time_s taut_speed_m_s restitution line_stiffness_n_per_m damping_ratio friction_n
release_delay_s energy_absorbed_j article_wire_s mount_wire_s half_sine_s quasi_static_above_hz
max_stretch_m loop_loss secant_stiffness_n_per_m hardening_per_m2 impulse_closure
rest_closure displacement_closure_m
break_time_s break_force_n target_force_n limit_force_n record_verdict load_verdict trace_says
article test_verdict reasons
""".split()


def test_marks_carry_every_key(tautlog, record):
    status, out, _ = tautlog("mark", record, "--json")
    marks = json.loads(out)
    assert status == 0
    assert set(MARK_KEYS) <= set(marks)
    assert marks["samples"] == 5000
    assert all(set(reason) == {"code", "text"} for reason in marks["reasons"])


def test_marks_are_kept_and_counted(tautlog, record):
    for _ in range(2):
        assert tautlog("mark", record)[0] == 0
    with h5py.File(record) as file:
        assert sorted(file["marks"]) == ["1", "2"]


def test_marks_of_a_record_that_cannot_be_written(tautlog, record):
    record.chmod(0o444)
    record.parent.chmod(0o555)
    try:
        if os.access(record, os.W_OK):
            pytest.skip("this user may write anything")
        status, out, err = tautlog("mark", record, "--json")
    finally:
        record.parent.chmod(0o755)
    assert status == 0
    assert json.loads(out)["samples"] == 5000
    assert "not kept" in err


def test_show_draws_and_never_overwrites(tautlog, refused, record, tmp_path):
    for name in ("one.png", "two.svg", "three.pdf"):
        assert tautlog("show", record, "--out", name)[0] == 0
        assert (tmp_path / name).stat().st_size > 5000
    before = (tmp_path / "one.png").read_bytes()
    assert "exists" in refused("show", record, "--out", "one.png")
    assert (tmp_path / "one.png").read_bytes() == before
    assert "one.xyz" in refused("show", record, "--out", "one.xyz")


def test_list_as_a_table_and_as_json(tautlog, record):
    tautlog("mark", record)
    status, out, _ = tautlog("list")
    assert status == 0
    assert "jump" in out
    status, out, _ = tautlog("list", "--json")
    assert status == 0
    assert [one["target_n"] for one in json.loads(out)] == [3000.0]


def test_list_of_an_empty_folder(tautlog):
    assert tautlog("list")[0] == 0
    assert json.loads(tautlog("list", "--json")[1]) == []


# Campaigns


def test_init_makes_a_campaign_that_can_be_read(tautlog, refused, tmp_path):
    status, _, _ = tautlog("init", "autumn")
    assert status == 0
    text = (tmp_path / "autumn" / "campaign.toml").read_text()
    assert "#" in text
    assert "exists" in refused("init", "autumn")
    assert (tmp_path / "autumn" / "campaign.toml").read_text() == text


def test_campaign_fills_in_what_options_leave_out(tautlog, data, tmp_path, monkeypatch):
    tautlog("init", ".")
    status, out, err = tautlog(
        *("import", data / JUMP, "--force-column", "2", "--sample-rate", "1000"), "--json"
    )
    assert status == 0, err
    with h5py.File(json.loads(out)["record"]) as file:
        assert file["setup"].attrs["mass_kg"] > 0
        assert file.attrs["campaign"]


@pytest.mark.parametrize(
    "text", ["[", "target_n = 'x'", "[target]\nforce_n = -5\n", "nonsense = 1\n", "\xff\x00"]
)
def test_bad_campaign(refused, tautlog, tmp_path, text, record):
    (tmp_path / "campaign.toml").write_bytes(text.encode("latin-1"))
    assert "campaign.toml" in refused("plan")
    assert tautlog("list")[0] == 0  # which needs nothing of it


# A height of zero is a line that is taut at the release: a drop too.
@pytest.mark.parametrize(
    ("option", "value"),
    [
        (option, value)
        for option in ("--target", "--mass", "--height", "--limit")
        for value in ("0", "-3", "nan", "inf")
        if (option, value) != ("--height", "0")
    ],
)
def test_figures_of_a_drop_must_be_possible(refused, data, option, value, tmp_path):
    line = refused(
        *("import", data / JUMP, "--force-column", "2", "--sample-rate", "1000"),
        *(option, value, "--out", "x.h5"),
        status=2,
    )
    assert option.strip("-") in line
    assert not (tmp_path / "x.h5").exists()


# A height of zero may be entered of a drop; nothing falls from it in a rehearsal.
@pytest.mark.parametrize(("option", "status"), [("--target", 2), ("--mass", 2), ("--height", 1)])
def test_no_rehearsal_of_the_impossible(refused, option, status):
    assert option.strip("-") in refused("rehearse", option, "0", "--yes", status=status)


# Records that are none


def test_not_there(refused):
    assert "does not exist" in refused("mark", "no.h5")


def test_not_hdf5(refused, tmp_path):
    (tmp_path / "a.h5").write_text("this is a letter\n" * 100)
    for command in (["mark", "a.h5"], ["show", "a.h5", "--out", "a.png"], ["recover", "a.h5"]):
        assert "not an HDF5 file" in refused(*command)


def test_foreign_hdf5(refused, tmp_path):
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["x"] = np.arange(3)
    assert "not a tautlog record" in refused("mark", "a.h5")


def test_truncated(refused, record):
    whole = record.read_bytes()
    for part in (0.02, 0.5, 0.95):
        record.write_bytes(whole[: int(len(whole) * part)])
        assert "damaged or cut short" in refused("mark", record)


def test_newer_format(refused, record):
    with h5py.File(record, "r+") as file:
        file.attrs["format_version"] = 3
    assert "newer tautlog" in refused("mark", record)


def test_list_shows_the_broken_beside_the_whole(tautlog, record, tmp_path):
    (tmp_path / "broken.h5").write_text("this is a letter")
    status, out, _ = tautlog("list", "--json")
    rows = {Path(one["record"]).stem: one["problem"] for one in json.loads(out)}
    assert status == 0
    assert rows["jump"] == ""
    assert "HDF5" in rows["broken"]


def test_recover_refuses_a_finished_record(refused, record):
    assert "finished" in refused("recover", record)


# Foreign traces


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("t,f\n0,1\n0.1,two\n0.2,3\n", "two"),
        ("t,f\n0,1\n0.1,2\n0.5,3\n0.6,2\n", "line 4: the time 0.5 s comes 0.4 s after"),
        ("t,f\n", "0 row(s)"),
        ("", "empty"),
        ("a,b\n0,1\n1,2\n", "it has 1 'a', 2 'b'"),
    ],
)
def test_bad_csv(refused, tmp_path, text, said):
    (tmp_path / "t.csv").write_text(text)
    line = refused("import", "t.csv", "--force-column", "f", "--time-column", "t")
    assert said in line
    assert not list(tmp_path.glob("*.h5"))


def test_unknown_unit(refused, data):
    line = refused(
        "import", data / JUMP, "--force-column", "2", "--sample-rate", "1000", "--unit", "stone"
    )
    assert "stone" in line
    assert "kN" in line


def test_missing_csv(refused):
    assert "no.csv" in refused(
        *("import", "no.csv", "--force-column", "2", "--sample-rate", "1000")
    )


def test_records_are_never_overwritten(refused, record, data):
    before = record.read_bytes()
    line = refused(
        "import", data / JUMP, "--force-column", "2", "--sample-rate", "1000", "--out", record
    )
    assert "never overwrites" in line
    assert record.read_bytes() == before


def test_folder_that_cannot_be_made(refused, data, tmp_path):
    (tmp_path / "file").write_text("in the way")
    line = refused(
        *("import", data / JUMP, "--force-column", "2", "--sample-rate", "1000"),
        *("--out", "file/folder"),
    )
    assert "--out" in line
    assert "cannot be made" in refused("rehearse", "--yes", "--out", "file/folder")


# Ports


def test_no_such_port(refused):
    assert "no port /dev/not-here" in refused("drop", "--port", "/dev/not-here", "--yes")
    assert "no port /dev/not-here" in refused("health", "--port", "/dev/not-here")
    assert "no port /dev/not-here" in refused("recover", "--port", "/dev/not-here")


def test_nobody_listens(refused):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    assert "nothing listens" in refused("health", "--port", f"socket://127.0.0.1:{port}")


def test_unknown_kind_of_port(refused):
    assert "carrier-pigeon" in refused("health", "--port", "carrier-pigeon://x")


def test_busy_port(refused):
    import serial

    master, slave = pty.openpty()
    name = os.ttyname(slave)
    with serial.Serial(name, exclusive=True):
        assert "another program" in refused("health", "--port", name)
    os.close(master)
    os.close(slave)


class Device:
    """Something that answers on a TCP port, in a way of its own."""

    def __init__(self, answer):
        self._server = socket.create_server(("127.0.0.1", 0))
        self._answer = answer
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def _serve(self):
        with contextlib.suppress(OSError):
            peer, _ = self._server.accept()
            with peer:
                while data := peer.recv(4096):
                    reply = self._answer(data)
                    if reply is None:
                        return
                    peer.sendall(reply)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._server.close()


def frame(kind, payload, version=wire.VERSION):
    """One frame, put together from the format's text and not by `wire`."""
    head = struct.pack("<BBBBHH", 0xD7, 0xA5, version, kind, len(payload), 0)
    head += struct.pack("<H", zlib.crc32(head) & 0xFFFF)
    return head + payload + struct.pack("<I", zlib.crc32(head + payload))


def answer(**fields):
    return frame(0x11, json.dumps({"to": 0, "ok": True, "state": "safe", **fields}).encode())


@pytest.mark.parametrize(
    ("reply", "said"),
    [
        (lambda data: b"", "nothing came back"),
        (lambda data: b">>> \r\nTraceback (most recent call last):\r\n" * 9, "foreign"),
        (lambda data: data, "no tautlog board answers"),
        (lambda data: frame(0x11, b"{}", version=7), "wire format 7"),
        (lambda data: answer(wire=3, firmware="9.9"), "wire format 3"),
        (lambda data: answer(wire=wire.VERSION), "incomplete or garbled"),
    ],
    ids=["silent", "talker", "echo", "newer frames", "newer hello", "half a hello"],
)
@pytest.mark.rows(2)
def test_what_answers_is_no_use(refused, reply, said):
    # Who says nothing useful is waited for to the end; who answers has time to, also under load.
    scale = "3" if "wire format" in said or "garbled" in said else "0.1"
    for command in (["health"], ["drop", "--yes"], ["recover"]):
        with Device(reply) as device:
            line = refused(*command, "--port", device.url, "--link-timeout", scale)
        assert said in line


def test_device_that_hangs_up(refused):
    with Device(lambda data: None) as device:
        assert "broke" in refused("health", "--port", device.url)


def test_no_record_is_left_of_a_drop_that_never_was(refused, tmp_path):
    with Device(lambda data: b"") as device:
        refused("drop", "--yes", "--port", device.url, "--link-timeout", "0.1")
    assert not list(tmp_path.iterdir())


def test_reader_that_has_had_enough(record):
    """`tautlog mark | head -1` ends without a word."""
    command = [sys.executable, "-m", "tautlog", "mark", str(record)]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    child.stdout.close()
    assert child.stderr.read() == b""
    child.stderr.close()
    child.wait()


def test_the_installed_command():
    command = Path(sys.executable).with_name("tautlog")
    done = subprocess.run([command, "--version"], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("tautlog, version ")
