"""Mutated bytes for everything that reads some, and what may come of them: a value or our error."""

import contextlib
import json
import struct
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from unittest import mock

import numpy as np
from brought_up import step_done
from small_records import INSTRUMENT, SETUP

import commands
import wire
from tautlog.archive.assess import assess
from tautlog.archive.chain_check import check_chain
from tautlog.archive.kept_marks import as_json, marks_in
from tautlog.board.messages import parse
from tautlog.campaign.bring_ups import add_step, read_bring_up
from tautlog.campaign.campaign import read_campaign
from tautlog.campaign.ledger import LedgerEntry, add_entry, read_entries
from tautlog.campaign.new_campaign import write_new_campaign
from tautlog.campaign.proofs import Proof, add_proof, read_proofs
from tautlog.errors import TautlogError
from tautlog.files.strict_json import read_json
from tautlog.io.importer import import_csv
from tautlog.model.calibration import Calibration
from tautlog.model.stream import Block, BoardEvent
from tautlog.record import RecordWriter, layout, open_record
from tautlog.record.journal import Journal, journal_path, settle

UTC = "2026-03-01T10:00:00Z"
PIECES = (
    *(b"", b"\0", b"\xff" * 4, b"NaN", b"Infinity", b"-1", b"1e400", b"9" * 400, b"null", b"[]"),
    *(
        b"{}",
        b'""',
        b"\xff\xfe",
        b"\xef\xbb\xbf",
        b"[" * 3000,
        b"\n\n",
        b"\r",
        b";",
        b",",
        b"\\u0000",
    ),
    *(b"2026-02-30", b"true", b"1_000", b"0x10", b"'", b'"', b"\xe2\x80\xa8", b"=", b"17179869184"),
)


def mutated(data, chance):
    """The bytes with one to four changes."""
    data = bytearray(data)
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        at = chance.randrange(len(data) + 1)
        kind = chance.randrange(8)
        if kind == 0 and data:
            data[at % len(data)] ^= 1 << chance.randrange(8)
        elif kind == 1:
            data[at : at + 1] = chance.randbytes(1)
        elif kind == 2:
            del data[at : at + chance.choice((1, 2, 8, 64))]
        elif kind == 3:
            del data[at:]
        elif kind == 4:
            data[at:at] = data[at : at + chance.choice((1, 8, 64))]
        elif kind == 5:
            data[at : at + chance.choice((0, 1, 4))] = chance.choice(PIECES)
        elif kind == 6:
            data[at : at + 8] = bytes(len(data[at : at + 8]))
        else:
            other = chance.randrange(len(data) + 1)
            data[at : at + 16] = data[other : other + 16]
    return bytes(data)


@dataclass(frozen=True)
class Target:
    """Something that reads bytes.

    Attributes
    ----------
    name : str
        Of the folder of its past failures.
    seeds : tuple of bytes
        Good ones.
    reads : callable
        Gets bytes and a folder of its own.
    """

    name: str
    seeds: tuple
    reads: object

    def fails(self, data, folder):
        """What falls on these bytes, or None; our own errors are none."""
        try:
            with contextlib.suppress(TautlogError):
                self.reads(data, folder)
        except Exception as problem:  # whatever a user would see
            return problem
        return None


# Frames: of the board as the laptop reads them, of the laptop as the board does


def board_frames():
    block = struct.pack(wire.BLOCK_HEAD, 7, 0, 4096, 0, 0, 16, 1, 16) + bytes(32)
    packed = struct.pack(wire.BLOCK_HEAD, 8, 0, 4096, 0, 0, 16, 1, 12) + bytes(24)
    event = struct.pack(wire.EVENT_BODY, 3, 3, 0, 7, 5, 0, 0, 4100)
    status = struct.pack(wire.STATUS_BODY, 1, 0, 15, 0, 9, 0, 7, 0, 4480, 4490, 4200)
    answer = b'{"to": 3, "ok": true, "state": "safe", "token": "0011223344556677"}'
    bodies = ((wire.BLOCK, block), (wire.BLOCK, packed), (wire.EVENT, event))
    bodies += ((wire.STATUS, status), (wire.ANSWER, answer))
    return tuple(wire.frame(kind, n, body) for n, (kind, body) in enumerate(bodies))


def laptop_frames():
    bodies = (
        (wire.ASK, b'{"do": "arm", "by": "drive"}'),
        (wire.ASK, b'{"do": "fetch", "from": 7}'),
    )
    bodies += ((wire.ACK, struct.pack(wire.ACK_BODY, 7, 1)), (wire.RELEASE, b"\1" * 8))
    return tuple(wire.frame(kind, n, body) for n, (kind, body) in enumerate(bodies))


def hear_board(data, folder=None):
    """Read what a board may have sent; the messages."""
    return [parse(kind, memoryview(body), 16) for kind, body in frames(data, wire.MAX_PAYLOAD)]


def hear_laptop(data, folder=None):
    """Read what a laptop may have sent, as the firmware does."""
    for kind, body in frames(data, wire.MAX_COMMAND):
        if kind == wire.ASK:
            with contextlib.suppress(commands.Malformed):
                commands.parse(memoryview(body))


def frames(data, longest):
    decoder = wire.Decoder(longest, 1 << 16)
    decoder.feed(data[: 1 << 15])
    found = []
    while decoder.next():
        found.append((decoder.kind, bytes(decoder.payload())))
    return found


# Files


def read_record(data, folder):
    path = folder / "drop.h5"
    path.write_bytes(data)
    record = open_record(path)
    record.verify_seal()
    record.counts()
    assess(record)
    record.trace()


def read_toml(data, folder):
    (folder / "campaign.toml").write_bytes(data)
    read_campaign(folder)


def read_lines(name, reader):
    def reads(data, folder):
        (folder / name).write_bytes(data)
        reader(folder)

    return reads


def read_journal(data, folder):
    path = folder / "drop.h5"
    path.write_bytes(JOURNALED)
    journal_path(path).write_bytes(data)
    settle(path)


JOURNALED = b"0123456789abcdef0123456789abcdef" + bytes(9000)


def read_csv(data, folder):
    path = folder / "trace.csv"
    path.write_bytes(data)
    for columns in ({"time_column": "t", "time_unit": "s"}, {"sample_rate_hz": 1000.0}):
        with contextlib.suppress(TautlogError):
            import_csv(path, force_column="force", **columns)


def read_marks(data, folder):
    found = read_json(data)
    if isinstance(found, dict):
        marks_in(found)


def small_record(path):
    """Two seconds at 2 kS/s with one pull: most of its bytes are no samples."""
    instrument = replace(INSTRUMENT, sample_rate_hz=2000.0, samples_per_block=64)
    time_s = np.arange(64 * 64) / 2000.0
    pull = np.clip((time_s - 1.0) / 0.06, 0.0, 1.0)
    volts = 0.5 + 1.8 * np.sin(np.pi * pull) + 0.001 * np.sin(997.0 * time_s)
    calibration = Calibration(newton_per_volt=1000.0, date="2026-03-01", converter="even")
    counts = np.round(volts / calibration.volt_per_count(8)).astype(np.uint16)
    with mock.patch.multiple(layout, CHUNK_SAMPLES=1024, CHUNK_BLOCKS=16):  # less of the rest
        writer = RecordWriter.create(
            path, setup=SETUP, calibration=calibration, instrument=instrument, utc=UTC
        )
    for number in range(64):
        piece = counts[number * 64 : (number + 1) * 64, np.newaxis]
        writer.append(Block(number, (number + 1) * 32000, 0, 0, piece))
    for number, (name, at) in enumerate((("armed", 100), ("release-opened", 1000))):
        writer.add_event(BoardEvent(number, name, at, at * 500, 0))
    writer.finish("complete")
    return path


def targets():
    """All of them; makes their seeds."""
    with tempfile.TemporaryDirectory() as top:
        folder = write_new_campaign(Path(top) / "kite").parent
        add_proof(folder, Proof(UTC, "A", "beam-1", 3000.0, 70.0))
        add_step(folder, step_done("rest"))
        add_entry(folder, LedgerEntry(UTC, "A", article="a", peak_at_most_n=900.0))
        toml = (folder / "campaign.toml").read_bytes()
        lines = {path.name: path.read_bytes() for path in folder.glob("*.jsonl")}
        record = small_record(Path(top) / "drop.h5")
        content = record.read_bytes()
        marks = json.dumps(as_json(assess(open_record(record)))).encode()
    journal = Journal(JOURNALED[:32], 9000, {2: b"p" * 808}).packed()
    rows = "".join(f"{n / 1000},{n % 50}\n" for n in range(60))
    tables = tuple(
        text.encode() for text in (f"t,force\n{rows}", f"t;force\n{rows}".replace(",", ";"))
    )
    kept = {
        "proofs.jsonl": read_proofs,
        "ledger.jsonl": read_entries,
        "bring_up.jsonl": read_bring_up,
        "chain.jsonl": lambda folder: check_chain(folder, []),
    }
    named = [
        Target(name.split(".")[0], (lines[name],), read_lines(name, reader))
        for name, reader in kept.items()
    ]
    return (
        Target("board_frames", board_frames(), hear_board),
        Target("laptop_frames", laptop_frames(), hear_laptop),
        Target("record", (content,), read_record),
        Target("campaign", (toml,), read_toml),
        *named,
        Target("journal", (journal,), read_journal),
        Target("csv", tables, read_csv),
        Target("marks", (marks,), read_marks),
    )
