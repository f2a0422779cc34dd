"""Proofs: static pulls of the mounts; the newest counts.

Each proof is one line in the campaign's `proofs.jsonl`; lines are only added. See `json_lines`
for how to correct one. A pull is held for a minute or more, with a gauge at the mount; the
deflection that stays after unloading is the permanent set. The newest pull counts. A failed pull
forbids drops until a later pull states what failed and is good in it. It still counts if
campaign.toml no longer has its mount: a mount with another name may be the same mount.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from tautlog.errors import CampaignError
from tautlog.files.append import Appended
from tautlog.files.json_lines import Standing, add_line, read_standing
from tautlog.model import quantities as q
from tautlog.model.display_units import SI, Units
from tautlog.model.load_path import Mount
from tautlog.model.names import alike
from tautlog.model.shown import shown
from tautlog.model.signature import signed
from tautlog.model.timestamp import day_problem, require_time

FILE_NAME = "proofs.jsonl"
LEAST_HELD_S = 60.0  # common practice
MOST_SET = 0.1  # of the deflection; a mount with more yields; common practice
# What may fail in a pull, and the options that state it.
HELD, SET, DEFLECTION = "time held", "set", "deflection"
STATED_BY = {HELD: "--held", SET: "--set --deflection", DEFLECTION: "--deflection"}


@dataclass(frozen=True)
class Proof:
    """One pull.

    Attributes
    ----------
    utc, by, mount : str
        When it was pulled, who pulled, and which mount.
    pulled_n, held_s : float
        Largest force, and how long it was held.
    deflection_m, set_m : float or None
        Deflection of the mount under the force, and its permanent set.
    note : str
        In plain words.
    most_deflection_m : float or None
        Deflection that was allowed at that time.
    supersedes, reason : int or None, str
        Number of the entry that this entry corrects, and why.
    rehearsed : bool
        It was entered in a campaign to practise with, and proves nothing in another.

    Raises
    ------
    QuantityError
        If a number is out of range.
    CampaignError
        If it is not signed, names no mount, or its time is not valid or in the future.
    """

    utc: str
    by: str
    mount: str
    pulled_n: float
    held_s: float
    deflection_m: float | None = None
    set_m: float | None = None
    note: str = ""
    most_deflection_m: float | None = None
    supersedes: int | None = None
    reason: str = ""
    rehearsed: bool = False

    def __post_init__(self) -> None:
        require_time("utc", self.utc)
        for name in ("by", "mount"):
            text = getattr(self, name)
            if text != text.strip() or not signed(text):
                raise CampaignError(f"{name} = {text!r}: expected a name without blanks around it")
        q.PULL.require("pulled_n", self.pulled_n)
        q.HELD.require("held_s", self.held_s)
        for name, kind in (
            ("deflection_m", q.DEFLECTION),
            ("set_m", q.SET),
            ("most_deflection_m", q.DEFLECTION),
        ):
            value = getattr(self, name)
            if value is not None:
                kind.require(name, value)

    @property
    def stiffness_n_per_m(self) -> float | None:
        """Force over deflection."""
        return self.pulled_n / self.deflection_m if self.deflection_m else None

    @property
    def failures(self) -> dict[str, str]:
        """What failed, as `HELD`, `SET` or `DEFLECTION`, and how, in words and SI."""
        return self.failures_in(SI)

    def failures_in(self, units: Units) -> dict[str, str]:
        """As `failures`, in other units."""
        found = {}
        if self.held_s < LEAST_HELD_S:
            held = shown(self.held_s, "s", (LEAST_HELD_S,))
            found[HELD] = f"held for {held.text}, at least {held.level()} is usual"
        if self.set_m and self.deflection_m is None:
            stayed = units.text(1000 * self.set_m, "mm", ".2f")
            found[SET] = f"{stayed} stayed, but the deflection was not read"
        elif self.set_m and self.deflection_m and self.set_m > MOST_SET * self.deflection_m:
            most_mm = 1000 * MOST_SET * self.deflection_m
            stayed_mm = shown(1000 * self.set_m, "mm", (most_mm,), units, least=2)
            found[SET] = (
                f"{stayed_mm.text} of {units.text(1000 * self.deflection_m, 'mm', '.2f')} stayed, "
                f"at most {stayed_mm.level()} is usual: it yields"
            )
        limit = self.most_deflection_m
        if limit is not None and self.deflection_m is None:
            most = units.text(1000 * limit, "mm", ".2f")
            found[DEFLECTION] = f"the deflection was not read, at most {most} is allowed"
        elif limit is not None and self.deflection_m is not None and self.deflection_m > limit:
            went = shown(1000 * self.deflection_m, "mm", (1000 * limit,), units, least=2)
            found[DEFLECTION] = f"it deflected {went.text}, at most {went.level()} is allowed"
        return found

    @property
    def doubts(self) -> tuple[str, ...]:
        """Why it failed and proves nothing, in words."""
        return tuple(self.failures.values())

    def states(self, what: str) -> bool:
        """Whether it states the value that may fail: `HELD`, `SET` or `DEFLECTION`."""
        read = self.deflection_m is not None
        return {HELD: True, SET: read and self.set_m is not None, DEFLECTION: read}[what]

    @property
    def unknown(self) -> str:
        """What the pull leaves open, or ""."""
        if self.set_m is None:
            return "the permanent set was not read (--set): whether the mount yields is not known"
        return ""


def counting_proofs(folder: Path, *, rehearsed: bool) -> list[Standing[Proof]]:
    """The proofs that count in a campaign: what was practised counts where people practise.

    Raises
    ------
    CampaignError
        See `read_proofs`.
    """
    return [
        line
        for line in read_proofs(folder)
        if rehearsed or line.entry is None or not line.entry.rehearsed
    ]


def read_proofs(folder: Path) -> list[Standing[Proof]]:
    """All proofs of a campaign by time of the pull, superseded proofs too.

    Raises
    ------
    CampaignError
        If a line cannot be read; names the line.
    """
    return read_standing(folder / FILE_NAME, Proof, "proof")


def add_proof(folder: Path, made: Proof, *, rehearsed: bool = False) -> Appended:
    """Append a proof, or a correction; nothing is rewritten.

    Parameters
    ----------
    rehearsed : bool
        The campaign is there to practise with.

    Raises
    ------
    CampaignError
        If it cannot be written, or the superseded entry does not exist.
    """
    return add_line(folder / FILE_NAME, asdict(replace(made, rehearsed=rehearsed)))


def proven(mount: Mount, proofs: list[Standing[Proof]]) -> Mount:
    """The mount with its newest proof; a failure forbids until a later proof is good in it."""
    lines = [
        line for line in proofs if any(alike(mount.name, name) for name in _named(line, proofs))
    ]
    failed = _other_spelling(mount.name, lines) or _still_failed(lines, mount.most_deflection_m)
    counted = [
        (line.utc, line.entry) for line in lines if line.superseded_by is None and line.entry
    ]
    if not counted:
        return replace(mount, proven_n=0.0, failed=failed) if failed else _as_stated(mount)
    utc, last = counted[-1]
    return replace(
        mount,
        proven_n=0.0 if failed else last.pulled_n,
        proven_on=utc,
        stiffness_n_per_m=last.stiffness_n_per_m or mount.stiffness_n_per_m,
        failed=failed,
    )


def failed_elsewhere(mount: Mount, known: Sequence[str], proofs: list[Standing[Proof]]) -> str:
    """Why a mount may have failed under a name that the campaign no longer has, or "".

    A later pull of the mount lifts that as it lifts a failure of its own: it states what failed
    and is good in it. How far the mount was pulled is checked as usual.

    Parameters
    ----------
    mount : Mount
        The mount with its proofs, see `proven`.
    known : sequence of str
        Names of all mounts of the campaign.
    proofs : list of Standing
        All proofs on record.
    """
    own = [
        line
        for line in proofs
        if line.superseded_by is None and line.entry and alike(line.entry.mount, mount.name)
    ]
    gone: dict[str, list[Standing[Proof]]] = {}
    for line in proofs:
        names = list(_named(line, proofs))
        if names and not any(alike(name, other) for name in names for other in known):
            gone.setdefault("".join(names[-1].split()).casefold(), []).append(line)
    reasons = [_may_be_this(mount.name, lines, own, proofs) for lines in gone.values()]
    return "; ".join(reason for reason in reasons if reason)


def _may_be_this(
    name: str,
    lines: list[Standing[Proof]],
    own: list[Standing[Proof]],
    proofs: list[Standing[Proof]],
) -> str:
    """Why this mount may be a removed mount that failed, if no pull has lifted that; or ""."""
    if not _still_failed(lines):
        return ""
    failed = _still_failed([line for line in proofs if line in lines or line in own])
    if not failed:
        return ""
    other = next(_named(lines[-1], proofs))
    last = next((line.number for line in reversed(lines) if line.superseded_by is None), 0)
    return (
        f"{other!r}, which campaign.toml no longer has, failed: {failed}. It is not known whether "
        f"{name!r} is the same mount: put {other!r} back into campaign.toml, enter its pull again "
        f"with --mount {name!r} --supersedes {last}, or pull {name!r} again and state that value"
    )


def _as_stated(mount: Mount) -> Mount:
    """A pull stated in campaign.toml counts from its day on, and not at all without a day."""
    if not mount.proven_n:
        return mount
    problem = day_problem(mount.proven_on) if mount.proven_on else "its day is not stated"
    if not problem:
        return mount
    return replace(
        mount,
        failed=f"campaign.toml states a pull of {mount.proven_n:.0f} N, but {problem}: correct "
        "proven_on, or enter the pull with `tautlog proof`",
    )


def _named(line: Standing[Proof], proofs: list[Standing[Proof]]) -> Iterator[str]:
    """Mounts named by a line and by the lines that supersede it: it may have meant them."""
    by_number = {line.number: line for line in proofs}
    last: Standing[Proof] | None = line
    while last is not None:
        if last.entry is not None:
            yield last.entry.mount
        last = None if last.superseded_by is None else by_number[last.superseded_by]


def _other_spelling(name: str, lines: list[Standing[Proof]]) -> str:
    """Say that a proof names a mount of nearly this name, which may or may not be this one."""
    for line in lines:
        proof = line.entry
        if (
            line.superseded_by is None
            and proof
            and proof.mount != name
            and alike(proof.mount, name)
        ):
            return (
                f"proof {line.number} is for {proof.mount!r}, which may or may not be {name!r}: "
                f"enter it again with the mount's exact name and --supersedes {line.number}"
            )
    return ""


def _still_failed(lines: list[Standing[Proof]], allowed_m: float | None = None) -> str:
    """What failed and no later pull has stated and passed, in words; or "".

    `allowed_m` is the deflection that campaign.toml allows today: an older pull must keep it, too.
    """
    failures: dict[str, str] = {}
    unstated: dict[str, str] = {}
    limit_m: float | None = None
    for line in lines:
        if line.entry is None:
            found = {SET: f"proof {line.number} cannot be read"}
        else:
            # To delete the limit from campaign.toml lifts no earlier failure.
            kept_m = limit_m if DEFLECTION in failures else None
            limit_m = line.entry.most_deflection_m or kept_m
            stated = [limit for limit in (limit_m, allowed_m) if limit]
            strictest_m = min(stated, default=None)
            found = replace(line.entry, most_deflection_m=strictest_m).failures
            for what in failures.keys() - found.keys():
                # A superseded proof was wrong: it lifts nothing.
                if line.superseded_by is None and line.entry.states(what):
                    del failures[what]
                else:
                    unstated[what] = line.utc[:10]
        for what, text in found.items():
            failures[what] = f"{text} ({line.utc[:10]})" if line.entry else text
            unstated.pop(what, None)
    texts = [
        text + (f", and the proof of {unstated[what]} omits it" if what in unstated else "")
        for what, text in failures.items()
    ]
    if not texts:
        return ""
    stated_by = " ".join(dict.fromkeys(STATED_BY[what] for what in failures))
    return f"its proof failed: {'; '.join(texts)}. A good proof must state {stated_by}"
