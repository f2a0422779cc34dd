"""Proofs: static pulls that a mount has stood, the newest in force.

One line each in `proofs.jsonl` of a campaign, only ever added. A pull is held for a minute
or more with a gauge at the mount; what stays when it is let go is the permanent set.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from pathlib import Path

from tautlog.jsonlines import add_line, read_lines
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
    """

    utc: str
    by: str
    mount: str
    pulled_n: float
    held_s: float
    deflection_m: float | None = None
    set_m: float | None = None
    note: str = ""

    @property
    def stiffness_n_per_m(self) -> float | None:
        """Force over deflection."""
        return self.pulled_n / self.deflection_m if self.deflection_m else None

    @property
    def doubts(self) -> tuple[str, ...]:
        """Why it proves nothing."""
        found = []
        if self.held_s < LEAST_HELD_S:
            found.append(f"held {self.held_s:g} s, {LEAST_HELD_S:g} s are usual")
        if (
            self.set_m is not None
            and self.deflection_m
            and self.set_m > MOST_SET * self.deflection_m
        ):
            found.append(
                f"{1000 * self.set_m:g} mm of {1000 * self.deflection_m:g} mm stayed: it yields"
            )
        return tuple(found)


def read_proofs(folder: Path) -> list[Proof]:
    """Proofs of a campaign, oldest first.

    Raises
    ------
    CampaignError
        With the line that cannot be read.
    """
    return read_lines(folder / FILE_NAME, Proof, "proof")


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
) -> Proof:
    """Append a proof.

    Raises
    ------
    CampaignError
        If it cannot be written.
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
    )
    add_line(folder / FILE_NAME, asdict(made))
    return made


def proven(mount: Mount, proofs: list[Proof]) -> Mount:
    """The mount with its newest proof; a newest one that is doubtful proves nothing."""
    mine = [one for one in proofs if one.mount == mount.name]
    if not mine:
        return mount
    last = mine[-1]
    return replace(
        mount,
        proven_n=0.0 if last.doubts else last.pulled_n,
        proven_on=last.utc[:10],
        stiffness_n_per_m=last.stiffness_n_per_m or mount.stiffness_n_per_m,
    )
