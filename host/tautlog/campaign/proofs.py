"""Proofs: static pulls that a mount has stood, the newest in force.

One line each in `proofs.jsonl` of a campaign, only ever added; see `json_lines` for how one is
corrected. A pull is held for a minute or more with a gauge at the mount; what stays when it
is let go is the permanent set. The newest pull counts, and a failed one forbids until one
after it states what failed then, and is good in it. It goes on telling when its mount stands
in campaign.toml no more: the mount of another name may be that one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from tautlog.errors import CampaignError
from tautlog.files.append import Appended
from tautlog.files.json_lines import Standing, add_line, read_standing
from tautlog.model import quantities as q
from tautlog.model.load_path import Mount
from tautlog.model.names import alike
from tautlog.model.signature import signed
from tautlog.model.timestamp import day_problem, moment_problem

FILE_NAME = "proofs.jsonl"
LEAST_HELD_S = 60.0  # common practice
MOST_SET = 0.1  # of the deflection: more is a mount that yields; common practice
# What may fail of a pull, and the options that state it.
HELD, SET, DEFLECTION = "time held", "set", "deflection"
STATED_BY = {HELD: "--held", SET: "--set --deflection", DEFLECTION: "--deflection"}


@dataclass(frozen=True)
class Proof:
    """One pull.

    Attributes
    ----------
    utc, by, mount : str
        When, who, which.
    pulled_n, held_s : float
        Largest force, and for how long.
    deflection_m, set_m : float or None
        At the mount under the force; what stayed of it.
    note : str
        In plain words.
    most_deflection_m : float or None
        Deflection that the mount was allowed then.
    supersedes, reason : int or None, str
        Number of the entry that this one corrects, and why.

    Raises
    ------
    QuantityError
        If a number makes no sense.
    CampaignError
        If nobody signed it, it names no mount, or its moment is none or still to come.
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

    def __post_init__(self) -> None:
        problem = moment_problem(self.utc)
        if problem:
            raise CampaignError(f"utc = {self.utc!r}: {problem}")
        for name in ("by", "mount"):
            text = getattr(self, name)
            if text != text.strip() or not signed(text):
                raise CampaignError(f"{name} = {text!r}: allowed is a name, no blanks about it")
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
        """What failed of it, and how: `HELD`, `SET` or `DEFLECTION`, and words."""
        found = {}
        if self.held_s < LEAST_HELD_S:
            found[HELD] = f"held {self.held_s:g} s, {LEAST_HELD_S:g} s are usual"
        if self.set_m and self.deflection_m is None:
            found[SET] = f"{1000 * self.set_m:g} mm stayed, of a deflection that nobody read"
        elif self.set_m and self.deflection_m and self.set_m > MOST_SET * self.deflection_m:
            found[SET] = (
                f"{1000 * self.set_m:g} mm of {1000 * self.deflection_m:g} mm stayed: it yields"
            )
        limit = self.most_deflection_m
        if limit is not None and self.deflection_m is None:
            found[DEFLECTION] = f"no gauge was read, at most {1000 * limit:g} mm are allowed"
        elif limit is not None and self.deflection_m is not None and self.deflection_m > limit:
            found[DEFLECTION] = (
                f"it gave {1000 * self.deflection_m:g} mm, {1000 * limit:g} mm are allowed"
            )
        return found

    @property
    def doubts(self) -> tuple[str, ...]:
        """Why it failed, and proves nothing."""
        return tuple(self.failures.values())

    def states(self, what: str) -> bool:
        """Whether it says anything of what may fail."""
        read = self.deflection_m is not None
        return {HELD: True, SET: read and self.set_m is not None, DEFLECTION: read}[what]

    @property
    def unknown(self) -> str:
        """What the pull leaves open, or ""."""
        if self.set_m is None:
            return (
                "what stayed of the deflection was not read: whether the mount yields is not known"
            )
        return ""


def read_proofs(folder: Path) -> list[Standing[Proof]]:
    """Proofs of a campaign by the time of the pull, superseded ones too.

    Raises
    ------
    CampaignError
        With the line that cannot be read.
    """
    return read_standing(folder / FILE_NAME, Proof, "proof")


def add_proof(folder: Path, made: Proof) -> Appended:
    """Append a proof, or the correction of one; nothing is rewritten.

    Raises
    ------
    CampaignError
        If it cannot be written, or supersedes what is no entry.
    """
    return add_line(folder / FILE_NAME, asdict(made))


def proven(mount: Mount, proofs: list[Standing[Proof]]) -> Mount:
    """The mount with its newest proof; a failure forbids until a later one is good in it."""
    lines = [one for one in proofs if any(alike(mount.name, told) for told in _named(one, proofs))]
    failed = _other_spelling(mount.name, lines) or _still_failed(lines)
    counted = [(one.utc, one.entry) for one in lines if one.superseded_by is None and one.entry]
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
    """Why a mount may be one that failed under a name which the campaign no longer has; or "".

    A pull of the mount itself lifts that as it lifts a failure of its own: entered after it, it
    states what failed then and is good in it. How far it was pulled is asked for as ever.

    Parameters
    ----------
    mount : Mount
        With its proofs, see `proven`.
    known : sequence of str
        Names of all mounts of the campaign.
    proofs : list of Standing
        All that are on record.
    """
    own = [
        one
        for one in proofs
        if one.superseded_by is None and one.entry and alike(one.entry.mount, mount.name)
    ]
    gone: dict[str, list[Standing[Proof]]] = {}
    for one in proofs:
        names = list(_named(one, proofs))
        if names and not any(alike(name, other) for name in names for other in known):
            gone.setdefault("".join(names[-1].split()).casefold(), []).append(one)
    told = [_may_be_this(mount.name, lines, own, proofs) for lines in gone.values()]
    return "; ".join(one for one in told if one)


def _may_be_this(
    name: str,
    lines: list[Standing[Proof]],
    own: list[Standing[Proof]],
    proofs: list[Standing[Proof]],
) -> str:
    """Whether a mount that is gone failed, and no pull of this one has lifted that since."""
    if not _still_failed(lines):
        return ""
    failed = _still_failed([one for one in proofs if one in lines or one in own])
    if not failed:
        return ""
    other = next(_named(lines[-1], proofs))
    last = next((one.number for one in reversed(lines) if one.superseded_by is None), 0)
    return (
        f"{other!r}, which campaign.toml no longer has, failed: {failed}. Whether {name!r} is that "
        f"mount nobody knows: put {other!r} back into campaign.toml, or enter its pull again with "
        f"--mount {name!r} --supersedes {last}, or pull {name!r} anew, stating that"
    )


def _as_stated(mount: Mount) -> Mount:
    """A pull that campaign.toml states counts from its day on, and not without one."""
    if not mount.proven_n:
        return mount
    problem = day_problem(mount.proven_on) if mount.proven_on else "nobody wrote its day"
    if not problem:
        return mount
    return replace(
        mount,
        failed=f"campaign.toml states a pull of {mount.proven_n:.0f} N, and {problem}: put "
        "proven_on right, or enter the pull with `tautlog proof`",
    )


def _named(line: Standing[Proof], proofs: list[Standing[Proof]]) -> Iterator[str]:
    """Mounts that a line tells of, and those that supersede it: it may have told of them."""
    by_number = {one.number: one for one in proofs}
    last: Standing[Proof] | None = line
    while last is not None:
        if last.entry is not None:
            yield last.entry.mount
        last = None if last.superseded_by is None else by_number[last.superseded_by]


def _other_spelling(name: str, lines: list[Standing[Proof]]) -> str:
    """Whether a mount of nearly the same name is this one, nobody knows."""
    for one in lines:
        told = one.entry
        if one.superseded_by is None and told and told.mount != name and alike(told.mount, name):
            return (
                f"proof {one.number} tells of {told.mount!r}: whether that is {name!r} nobody "
                f"knows; enter it again with the mount's name and --supersedes {one.number}"
            )
    return ""


def _still_failed(lines: list[Standing[Proof]]) -> str:
    """What failed, and no later pull stated and was good in; in words."""
    failures: dict[str, str] = {}
    unstated: dict[str, str] = {}
    limit_m: float | None = None
    for one in lines:
        if one.entry is None:
            found = {SET: f"what proof {one.number} said of it cannot be read"}
        else:
            # A limit that was taken out of campaign.toml lifts no failure of before.
            kept_m = limit_m if DEFLECTION in failures else None
            limit_m = one.entry.most_deflection_m or kept_m
            found = replace(one.entry, most_deflection_m=limit_m).failures
            for what in failures.keys() - found.keys():
                # What counts no more was wrong: it lifts nothing.
                if one.superseded_by is None and one.entry.states(what):
                    del failures[what]
                else:
                    unstated[what] = one.utc[:10]
        for what, text in found.items():
            failures[what] = f"{text} ({one.utc[:10]})" if one.entry else text
            unstated.pop(what, None)
    told = [
        text + (f", and that of {unstated[what]} does not state it" if what in unstated else "")
        for what, text in failures.items()
    ]
    if not told:
        return ""
    stated_by = " ".join(dict.fromkeys(STATED_BY[what] for what in failures))
    return f"its proof failed: {'; '.join(told)}. A good one states {stated_by}"
