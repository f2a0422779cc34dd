"""Runs the firmware's pure modules and prints what they did.

Run by test_firmware_micropython.py under CPython and under a real MicroPython:
both must print the same. Usage: both_interpreters.py FIRMWARE_FOLDER
"""

import json
import sys

sys.path.insert(0, sys.argv[1])

import ages
import commands
import config
import history
import levels
import release
import states
import wire


def show(*what):
    print(*what)


def numbers(count, seed):
    """Numbers below 65536, the same in every interpreter."""
    state, out = seed, []
    for _ in range(count):
        state = (state * 1103515245 + 12345) % 2147483648
        out.append(state >> 15)
    return out


def show_wire():
    frames = [
        wire.frame(wire.ASK, 7, b'{"do":"status"}'),
        wire.frame(wire.ABORT, 65535),
        wire.frame(wire.BLOCK, 1, bytes([one & 0xFF for one in numbers(3000, 3)])),
    ]
    for one in frames:
        show(len(one), [byte for byte in one[:14]], [byte for byte in one[-4:]])
    noise = bytes([one & 0xFF for one in numbers(200, 5)])
    stream = noise + frames[0] + noise[:7] + frames[2] + frames[1] + noise
    damaged = bytearray(frames[0])
    damaged[12] ^= 4
    stream += bytes(damaged) + frames[1] + frames[0] + noise
    decoder = wire.Decoder()
    for at in range(0, len(stream), 37):
        decoder.feed(stream[at : at + 37])
        while decoder.next():
            show(decoder.kind, decoder.sequence, decoder.length, bytes(decoder.payload())[:20])
    show(decoder.damaged, decoder.skipped, decoder.pending())
    plain = b"".join([wire.struct.pack("<H", one & 0xFFF) for one in numbers(64, 7)])
    for bits in (12, 16):
        packed = bytearray(wire.block_frame_bytes(64, bits))
        wire.put_values(packed, plain, bits)
        show(bytes(packed), [wire.value_at(packed, at, bits) for at in range(64)])
    slow = wire.Decoder(wire.MAX_COMMAND)
    for byte in noise + frames[0] + frames[1]:
        slow.feed_byte(byte)
        if slow.next():
            show("byte by byte", slow.kind, slow.sequence)


def show_history():
    ring = history.History(5, 4, 16)
    for step in numbers(400, 11):
        what = step % 7
        if what < 4:
            slot = ring.claim()
            if slot >= 0:
                ring.commit(step, step & 7, step & 3, step, step + 9)
        elif what == 4:
            ring.acknowledge(ring.head - step % 4)
        elif what == 5:
            number = ring.next_to_send()
            if number >= 0:
                ring.unsent = number + 1
        elif step % 5 == 0:
            ring.guard(ring.head - 2)
        elif step % 5 == 1:
            ring.roll()
        show(ring.head, ring.oldest, ring.acked, ring.unsent, ring.frozen, ring.lost_total)
    show(ring.span_of(ring.head - 3, ring.head), ring.mean_of(ring.oldest, ring.head, 1))


def show_commands():
    for text in (
        b'{"do":"arm","by":"hand"}',
        b'{"do":"arm","by":3}',
        b'{"do":"fetch","from":12}',
        b'{"do":"fetch","from":-1}',
        b"[]",
        b"{",
        b"\xff",
        b'{"do":"hello","wire":1,"x":2}',
        b'{"do":"arm","by":"hand","rail_low":5,"least_span":70}',
        b'{"do":"arm","by":"hand","rail_low":-5}',
    ):
        try:
            command = commands.parse(text)
            show(sorted(command.items()))
        except commands.Malformed as problem:
            show(problem.error)
    busy = commands.BusyAnswer({"ok": False})
    for sequence in (0, 9, 10, 65535):
        busy.address(sequence)
        show(json.loads(bytes(busy.body).decode())["to"])


def show_release():
    one = release.Release(config)
    one.arm(False, b"12345678")
    show(one.pulse(b"xx12345678", 2, 8, 100), one.drive_high)
    for now_us in range(0, 600000, 9000):
        if now_us in (45000, 90000):
            show(one.edge(True, 3, 4, now_us))
        if now_us in (54000, 99000):
            show(one.edge(False, 3, 4, now_us - 8000))
        if now_us == 108000:
            show(one.edge(True, 3, 4, now_us - 16000))
        show(one.watch(now_us >= 90000, now_us), one.drive_high, one.stamp_us, one.knock_us)
    table = states.States()
    for happening in (0, 3, 1, 1, 3, 4, 0, 2):
        show(table.take(happening, 9), table.now, table.reason)
    for now_us, then_us in ((5, 3), (3, 5), (0, wire.TICKS_PERIOD_US - 1)):
        show(wire.ticks_elapsed_us(now_us, then_us))


def show_ages():
    age = ages.Age(1 << 29)
    for spent_us in range(0, 1 << 31, 99999999):
        show(age.look(((1 << 29) + spent_us) & 0x3FFFFFFF))


def show_levels():
    one = levels.Levels(config)
    for command in (
        {},
        {"rail_low": 1000, "level_high": 5000, "least_span": 50},
        {"rail_low": 1, "rail_high": 32760, "least_span": 0},
        {"rail_low": 40000},
        {"level_low": 500, "level_high": 500},
        {"rail_low": 900, "level_high": 800},
    ):
        try:
            one.use(command)
        except commands.Malformed as problem:
            show(problem.error, problem.text)
        show(one.rail_low, one.rail_high, one.level_low, one.level_high, one.least_span)


show_ages()
show_levels()
show_wire()
show_history()
show_commands()
show_release()
