"""Proofs: static pulls that a mount has stood, the newest in force.

One line each in `proofs.jsonl` of a campaign, only ever added; see `jsonlines` for how one is
corrected. A pull is held for a minute or more with a gauge at the mount; what stays when it
is let go is the permanent set. The newest pull counts, and a failed one forbids.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from pathlib import Path

from tautlog import quantities as q
from tautlog.jsonlines import Standing, add_line, read_standing
from tautlog.loadpath import Mount
from tautlog.moment import stamp

FILE_NAME = "proofs.jsonl"
LEAST_HELD_S = 60.0  # common practice
MOST_SET = 0.1  # of the deflection: more is a mount that yields; common practice


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
    def doubts(self) -> tuple[str, ...]:
        """Why it failed, and proves nothing."""
        found = []
        if self.held_s < LEAST_HELD_S:
            found.append(f"held {self.held_s:g} s, {LEAST_HELD_S:g} s are usual")
        if self.set_m and self.deflection_m is None:
            found.append(f"{1000 * self.set_m:g} mm stayed, of a deflection that nobody read")
        elif self.set_m and self.deflection_m and self.set_m > MOST_SET * self.deflection_m:
            found.append(
                f"{1000 * self.set_m:g} mm of {1000 * self.deflection_m:g} mm stayed: it yields"
            )
        limit = self.most_deflection_m
        if limit is not None and self.deflection_m is None:
            found.append(f"no gauge was read, at most {1000 * limit:g} mm are allowed")
        elif limit is not None and self.deflection_m is not None and self.deflection_m > limit:
            found.append(
                f"it gave {1000 * self.deflection_m:g} mm, {1000 * limit:g} mm are allowed"
            )
        return tuple(found)

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


def add_proof(
    folder: Path,
    *,
    by: str,
    mount: str,
    pulled_n: float,
    held_s: float,
    deflection_m: float | None = None,
    set_m: float | None = None,
    note: str = "",
    most_deflection_m: float | None = None,
    supersedes: int | None = None,
    reason: str = "",
) -> tuple[Proof, int]:
    """Append a proof; the proof, and the number of its entry.

    Raises
    ------
    CampaignError
        If a number makes no sense, it cannot be written, or supersedes what is no entry.
    """
    made = Proof(
        stamp(),
        by,
        mount,
        pulled_n,
        held_s,
        deflection_m,
        set_m,
        note,
        most_deflection_m,
        supersedes,
        reason,
    )
    return made, add_line(folder / FILE_NAME, asdict(made))


def proven(mount: Mount, proofs: list[Standing[Proof]]) -> Mount:
    """The mount with its newest proof; a newest one that failed forbids."""
    counted = [(one.utc, one.entry) for one in proofs if one.superseded_by is None and one.entry]
    mine = [(utc, proof) for utc, proof in counted if proof.mount == mount.name]
    if not mine:
        return mount
    utc, last = mine[-1]
    return replace(
        mount,
        proven_n=0.0 if last.doubts else last.pulled_n,
        proven_on=utc,
        stiffness_n_per_m=last.stiffness_n_per_m or mount.stiffness_n_per_m,
        failed=f"its newest proof, of {utc[:10]}, failed: {'; '.join(last.doubts)}"
        if last.doubts
        else "",
    )
