"""Checklist: what two persons check before a drop is armed.

The program measures what it can; the rest is challenge and response, point by point. A list is
valid for ten minutes, and void when somebody enters the zone. It goes into the record.
"""

from __future__ import annotations

import contextlib
import json
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from tautlog.board.health import Health
from tautlog.board.readiness import Facts, findings
from tautlog.errors import CampaignError, RecordExistsError
from tautlog.files.campaign_folder import CHECKLISTS
from tautlog.files.chain import add_kept_file
from tautlog.files.ordinary import read_ordinary
from tautlog.files.sound import is_sound_file
from tautlog.files.strict_json import read_object
from tautlog.model.display_units import SI, Units
from tautlog.model.limits import HEADROOM
from tautlog.model.load_path import PathCheck
from tautlog.model.names import alike
from tautlog.model.readbacks import PIN
from tautlog.model.shown import shown
from tautlog.model.signature import signed
from tautlog.model.timestamp import stamp

VOID = ".void.json"  # ends the name of the file that says why a list is void
GOOD_FOR_S = 600.0  # common practice
LEAST_FREE_BYTES = 200_000_000
MOST_NOISE = 0.005  # of the target
NO_BOARD = "no board was read: give --port, or port in [board] of campaign.toml"

# In the order of a walk from the fence to the rig and back. These are usual cautions of the
# trade; the site's own list and local codes come first.
CHALLENGES = (
    ("zone", "zone clear, fence closed, nobody in line with the line"),
    ("catch", "catch in place, good for the whole energy without a line"),
    ("rails", "rails clean, sled slides by hand"),
    ("pin", "sled on latch AND pin"),
    ("line", "line runs free, no edge, shackles closed and straight"),
    ("mount", "mount: stripes over every screw unbroken"),
    ("article", "article is the one named here, and photographed"),
    ("cable", "cell's cable has slack and a strain relief"),
    ("camera", "camera runs, flash in its view"),
    ("roles", "roles and abort word said aloud"),
)


@dataclass(frozen=True)
class Checklist:
    """A list with its answers.

    Attributes
    ----------
    utc : str
        When it was finished.
    operator, second : str
        Who asked and who answered.
    measured : tuple of PathCheck
        What was measured.
    answered : tuple of (str, bool)
        Challenge and response.
    """

    utc: str
    operator: str
    second: str
    measured: tuple[PathCheck, ...]
    answered: tuple[tuple[str, bool], ...]

    @property
    def open_points(self) -> tuple[str, ...]:
        """Checks that failed and challenges answered with no."""
        return tuple(check.text for check in self.measured if not check.holds) + tuple(
            text for text, yes in self.answered if not yes
        )

    def age_s(self, now: datetime) -> float:
        """Seconds since it was finished."""
        made = datetime.fromisoformat(self.utc.replace("Z", "+00:00"))
        return (now - made).total_seconds()

    def text(self) -> str:
        """The list as one JSON object, as a record keeps it."""
        return json.dumps(asdict(self), ensure_ascii=True)


def two_persons(operator: str, second: str) -> tuple[str, str]:
    """The names of the two persons of a list, without blanks around them.

    Raises
    ------
    CampaignError
        If they are not two readable names of different persons.
    """
    asks, answers = signed(operator), signed(second)
    if not asks or not answers or alike(asks, answers):
        raise CampaignError("give the names of two different persons")
    return asks, answers


def answered_list(
    operator: str, second: str, measured: Sequence[PathCheck], answers: Mapping[str, bool]
) -> Checklist:
    """A finished list.

    Parameters
    ----------
    operator, second : str
        Who asked and who answered; see `two_persons`.
    measured : sequence of PathCheck
        What was measured.
    answers : mapping
        Answers by the code of the challenge; one that is missing is a no.
    """
    answered = tuple((text, answers.get(code) is True) for code, text in CHALLENGES)
    return Checklist(stamp(), *two_persons(operator, second), tuple(measured), answered)


def measured_checks(
    facts: Facts | None, folder: Path, target_n: float | None, units: Units = SI
) -> list[PathCheck]:
    """Check what the computer can measure; the gate checks the rest (`permit.checked_for`).

    Parameters
    ----------
    facts : Facts or None
        Facts read from the board; None without a board.
    folder : Path
        Where records go.
    target_n : float or None
        Force that the test must reach.
    units : Units
        Units in which the checks are said; SI for a list that is kept.
    """
    free = shutil.disk_usage(folder).free
    found = [
        PathCheck("storage", free > LEAST_FREE_BYTES, f"{free / 1e9:.1f} GB free for records"),
    ]
    if facts is None:
        found.append(PathCheck("board", False, NO_BOARD))
        return found
    health = facts.health
    found += [
        PathCheck("latched", health.latched, "sled " + ("latched" if health.latched else "FREE")),
        PathCheck("key", not health.key_on, "key " + ("ON" if health.key_on else "off")),
        PathCheck("wires", health.article_whole and health.mount_whole, "break wires whole"),
        PathCheck("samples", health.lost == 0, f"{health.lost} conversions lost"),
    ]
    found += _pin_check(facts)
    # At this point of the day the pin is in, and only then; see CHALLENGES.
    judged = [
        finding
        for finding in findings(replace(facts, units=units))
        if finding.code != f"{PIN}-open"
    ]
    found += [PathCheck(finding.code, False, finding.text) for finding in judged if finding.refuses]
    if not any(finding.refuses for finding in judged):
        found.append(PathCheck("chain", True, "level, noise, rate and range are as they should be"))
    if target_n:
        found += _for_target(health, target_n, units)
    return found


def _for_target(health: Health, target_n: float, units: Units) -> list[PathCheck]:
    """Noise and range against the target."""
    most_n, needed_n = MOST_NOISE * target_n, HEADROOM * target_n
    noise = shown(health.noise_n, "N", (most_n,), units, least=2)
    room = shown(health.span_n, "N", (needed_n,), units)
    return [
        PathCheck(
            "noise",
            health.noise_n <= most_n,
            f"noise {noise.text} rms, at most {noise.level()} is allowed, "
            f"{100 * MOST_NOISE:g} % of the target",
        ),
        PathCheck(
            "range",
            health.rail_distance_n >= 0.0 and health.span_n >= needed_n,
            f"{room.text} to the far limit, {room.level()} is needed, {HEADROOM:g} x the target",
        ),
    ]


def _pin_check(facts: Facts) -> list[PathCheck]:
    """A pin's contact that is made though the pin is in is stuck, and would never tell of it."""
    if not any(one.name == PIN for one in facts.instrument.readbacks):
        return []
    is_in = PIN in facts.health.open_readbacks
    text = "pin in" if is_in else "PIN OUT, or its contact is stuck: it must be in until the end"
    return [PathCheck("pin", is_in, text)]


def add_checklist(campaign_folder: Path, made: Checklist) -> Path:
    """Write a list to a new file of the campaign.

    Raises
    ------
    CampaignError
        If it cannot be written.
    """
    folder = campaign_folder / CHECKLISTS
    try:
        folder.mkdir(exist_ok=True)
        stem = made.utc.replace(":", "-")
        number = 0
        while True:
            path = folder / (f"{stem}.json" if not number else f"{stem}_{number}.json")
            try:
                add_kept_file(path, f"{made.text()}\n".encode())
                return path
            except RecordExistsError:
                number += 1
    except OSError as problem:
        raise CampaignError(f"{folder} cannot be written: {problem.strerror}") from problem


def fresh_checklist(campaign_folder: Path, now: datetime | None = None) -> Checklist | None:
    """The newest list of a campaign if it is complete, still valid and kept here, else None."""
    newest = _newest(campaign_folder)
    if newest is None or newest.name.endswith(VOID):
        return None
    if not is_sound_file(campaign_folder, CHECKLISTS, newest.name):
        return None
    try:
        content = read_object(read_ordinary(newest))
        made = Checklist(
            content["utc"],
            content["operator"],
            content["second"],
            tuple(PathCheck(**check) for check in content["measured"]),
            tuple((str(text), bool(yes)) for text, yes in content["answered"]),
        )
        age_s = made.age_s(now or datetime.now(UTC))
    except (OSError, ValueError, KeyError, TypeError):
        return None  # an unreadable list does not count
    return made if not made.open_points and 0.0 <= age_s <= GOOD_FOR_S else None


def void_checklist(campaign_folder: Path, why: str) -> None:
    """Say in a file beside the newest list that it is void; the list itself stays as it is.

    Raises
    ------
    CampaignError
        If that cannot be written.
    """
    newest = _newest(campaign_folder)
    if newest is None or newest.name.endswith(VOID):
        return
    # Its name sorts behind that of the list, and before that of any later one.
    path = newest.with_suffix(VOID)
    said = {"utc": stamp(), "void": newest.name, "why": why}
    with contextlib.suppress(RecordExistsError):  # another program was faster
        add_kept_file(path, f"{json.dumps(said)}\n".encode())


def why_void(campaign_folder: Path) -> str:
    """Why the newest list is void, or "" if it is not."""
    newest = _newest(campaign_folder)
    if newest is None or not newest.name.endswith(VOID):
        return ""
    try:
        return str(read_object(read_ordinary(newest))["why"])
    except (OSError, ValueError, KeyError):
        return f"{newest.name} does not say why"


def _newest(campaign_folder: Path) -> Path | None:
    """The newest list, or the file that says that it is void; None if there is none."""
    return max((campaign_folder / CHECKLISTS).glob("*.json"), default=None)
