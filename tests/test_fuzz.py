"""Mutated bytes: a value, or an error of ours; nothing else, whatever reads them.

The ordinary suite replays what fell once (tests/data/fuzz) and tries some hundred mutations of each
kind. The long ones go on for `TAUTLOG_FUZZ_S` seconds for each kind (default 120), from another
seed each day, and put what falls into tests/data/fuzz.
"""

import datetime
import hashlib
import os
import random
import time

import pytest
from fuzzing import board_frames, frames, hear_board, hear_laptop, laptop_frames, mutated, targets
from places import DATA

import wire

KEPT = DATA / "fuzz"
LONG_S = float(os.environ.get("TAUTLOG_FUZZ_S", "120"))
QUICK = {"record": 10, "campaign": 60}  # mutations in the ordinary suite; of the others, 150
TARGETS = targets()
NAMES = [one.name for one in TARGETS]


def of(name):
    return next(one for one in TARGETS if one.name == name)


@pytest.mark.parametrize("name", NAMES)
def test_its_seeds_are_read(name, tmp_path):
    """Mutations of what is not read at all would show nothing."""
    for seed in of(name).seeds:
        of(name).reads(seed, tmp_path)


@pytest.mark.parametrize(
    "path", sorted(KEPT.glob("*/*.bin")), ids=lambda path: f"{path.parent.name}/{path.stem}"
)
def test_what_fell_once(path, tmp_path):
    assert of(path.parent.name).fails(path.read_bytes(), tmp_path) is None


def fuzzed(target, folder, seed, *, count=0, seconds=0.0):
    """Mutate; how many were tried, and what fell."""
    chance, fell, tried = random.Random(f"{seed}-{target.name}"), {}, 0
    end_s = time.monotonic() + seconds
    while tried < count or time.monotonic() < end_s:
        data = mutated(chance.choice(target.seeds), chance)
        tried += 1
        problem = target.fails(data, folder)
        if problem is not None:
            fell.setdefault(f"{type(problem).__name__}: {problem}"[:200], data)
    return tried, fell


@pytest.mark.parametrize("name", NAMES)
def test_some_mutations(name, tmp_path):
    tried, fell = fuzzed(of(name), tmp_path, 1, count=QUICK.get(name, 150))
    assert tried >= 10
    assert not fell


@pytest.mark.long
@pytest.mark.timeout(int(LONG_S) + 300)
@pytest.mark.parametrize("name", NAMES)
def test_mutations_for_long(name, tmp_path):
    day = datetime.datetime.now(datetime.UTC).date().isoformat()
    _, fell = fuzzed(of(name), tmp_path, day, seconds=LONG_S)
    for data in fell.values():
        place = KEPT / name / f"{hashlib.sha256(data).hexdigest()[:12]}.bin"
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(data)
    assert not fell


def frames_heard(count, seed):
    """Mutated frames in streams, as a bad line brings them; good ones are found again."""
    chance = random.Random(seed)
    ways = (
        (board_frames(), hear_board, wire.MAX_PAYLOAD),
        (laptop_frames(), hear_laptop, wire.MAX_COMMAND),
    )
    heard = 0
    for _ in range(count // 8):
        good, hear, longest = ways[chance.randrange(2)]
        sent = [chance.choice(good) for _ in range(8)]
        damaged = [mutated(one, chance) for one in sent]
        hear(b"".join(damaged))
        whole = sum(one == other for one, other in zip(sent, damaged, strict=True))
        known = {(one[3], one[wire.HEADER_BYTES : -wire.TRAILER_BYTES]) for one in good}
        found = frames(b"".join(damaged), longest)
        # A check of 32 bits: what is taken for a frame is one of those that were sent.
        assert all(one in known for one in found)
        heard += len(found) >= whole
    return heard


def test_damaged_frames_are_never_taken_for_others():
    assert frames_heard(8_000, 1) > 0


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_a_million_damaged_frames():
    assert frames_heard(1_000_000, 2) > 0
