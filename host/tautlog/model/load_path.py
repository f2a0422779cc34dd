"""Load path: all elements between sled and ground, and the weakest of them.

Strengths are data-sheet values or come from the published formulas in `fasteners`. They are no
structural proof: local codes and licensed practice decide, and a proof pull of the real mount
comes before any drop.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from tautlog.model import quantities as q
from tautlog.model.display_units import SI, Units
from tautlog.model.key import LARGEST, stated
from tautlog.model.shown import shown, shown_force


@dataclass(frozen=True)
class Element:
    """One element of the load path.

    `pry` comes from the arm of a bracket or the angle of a bridle.
    """

    name: str = field(metadata=stated("Name of the element.", "mount screws"))
    strength_n: float = field(
        default=0.0,
        metadata=stated(
            "Strength. For screws, bolts and shackles see `tautlog fastener`.",
            6000.0,
            q.STRENGTH,
        ),
    )
    basis: str = field(
        default="computed",
        metadata=stated(
            "Kind of that strength: proof load, working load, ultimate load, or computed.",
            choices=("proof", "working", "ultimate", "computed"),
        ),
    )
    factor: float = field(
        default=1.0,
        metadata=stated("Factor by which the strength is divided.", 2.0, q.ELEMENT_FACTOR),
    )
    pry: float = field(
        default=1.0,
        metadata=stated("Load on the element over the force of the line.", quantity=q.PRY),
    )
    part: str = field(
        default="rig",
        metadata=stated(
            "Part to which it belongs.",
            "mount",
            choices=("sled", "line", "article", "mount", "rig"),
        ),
    )

    @property
    def allowed_n(self) -> float:
        """Largest force of the line that it allows."""
        return self.strength_n / (self.factor * self.pry)


@dataclass(frozen=True)
class Mount:
    """What holds the article to the rig, and how far it is proven.

    `proven_on` is the time of the pull, or its day. `failed` says why nothing may be dropped on it
    until a newer proof is good; `failed_elsewhere` says why it may be a mount that failed under
    another name. Both are "" if there is nothing to say.
    """

    name: str = field(metadata=stated("Name of the mount.", "beam-1"))
    proven_n: float = field(
        default=0.0,
        metadata=stated(
            "Static pull that proved it, or enter it with `tautlog proof`. 0: none.",
            quantity=q.PROVEN,
        ),
    )
    proven_on: str = field(
        default="", metadata=stated("Day of that pull, such as 2026-03-01.", day=True)
    )
    good_for_drops: int = field(
        default=10, metadata=stated("Drops until the next proof is due.", whole=(1, LARGEST))
    )
    stiffness_n_per_m: float | None = field(
        default=None,
        metadata=stated(
            "Stiffness of the mount, from the proof pull.", 2.0e6, q.STIFFNESS, optional=True
        ),
    )
    most_deflection_m: float | None = field(
        default=None,
        metadata=stated(
            "Largest deflection allowed under the proof pull.",
            0.002,
            q.DEFLECTION,
            optional=True,
        ),
    )
    failed: str = ""
    failed_elsewhere: str = ""


@dataclass(frozen=True)
class PathCheck:
    """One thing that was checked.

    Attributes
    ----------
    code : str
        A short word for it.
    holds : bool
        Whether it holds; what is not known does not hold.
    text : str
        The check in words, with numbers.
    refuses : bool
        It does not hold, and forbids the drop.
    final : bool
        No named person may override it: the cause must be corrected.
    """

    code: str
    holds: bool
    text: str
    refuses: bool = False
    final: bool = False


def check_path(
    elements: tuple[Element, ...],
    peak_n: float,
    *,
    mount_over_article: float,
    units: Units = SI,
) -> list[PathCheck]:
    """Check every element against a peak, name the weakest, and compare mount and article.

    Parameters
    ----------
    elements : tuple of Element
        The load path.
    peak_n : float
        Highest peak to expect.
    mount_over_article : float
        How many times as strong the mount must be, so that the article shows its strength.
    units : Units
        Units in which the checks are said.
    """
    if not elements:
        return [
            PathCheck("path-unknown", False, "no [[element]] states the strength of the load path")
        ]
    weakest = min(elements, key=lambda element: element.allowed_n)
    return [
        # The test is there to load the article.
        *(
            _check_element(element, peak_n, units)
            for element in elements
            if element.part != "article"
        ),
        PathCheck(
            "weakest",
            weakest.part == "article" or weakest.allowed_n >= peak_n,
            f"the weakest link is {weakest.name} ({weakest.part}), "
            + shown_force(peak_n, None, (weakest.allowed_n,), units).level(),
        ),
        *_rank(elements, mount_over_article),
    ]


def _check_element(element: Element, peak_n: float, units: Units) -> PathCheck:
    """Whether one element allows a peak."""
    prying = f" / {element.pry:g} prying" if element.pry != 1 else ""
    holds = element.allowed_n >= peak_n
    peak = shown_force(peak_n, None, (element.allowed_n,), units)
    return PathCheck(
        f"element-{element.part}",
        holds,
        f"{element.name} ({element.part}): {peak.level()} allowed, from "
        f"{units.text(element.strength_n, 'N')} {element.basis} / {element.factor:g}{prying}: "
        f"{'above' if holds else 'BELOW'} {peak.text}",
        refuses=not holds,
    )


def _rank(elements: tuple[Element, ...], mount_over_article: float) -> list[PathCheck]:
    """Whether the mount is stronger than the article, if both are stated."""
    mounts = [element.allowed_n for element in elements if element.part == "mount"]
    articles = [element.allowed_n for element in elements if element.part == "article"]
    if not mounts or not articles:
        return []
    ratio = shown(min(mounts) / max(articles), "", (mount_over_article,), least=2)
    return [
        PathCheck(
            "mount-over-article",
            min(mounts) >= mount_over_article * max(articles),
            f"the mount is {ratio.text} x as strong as the article, {ratio.level()} x is needed",
        )
    ]


def check_mount(
    mount: Mount | None,
    peak_n: float,
    drops_since: int | None,
    *,
    proof_factor: float,
    units: Units = SI,
) -> PathCheck:
    """Whether a mount is proven for a peak, and its proof is not used up."""
    if mount is not None and mount.failed:
        return PathCheck(
            "mount-failed",
            False,
            f"{mount.name}: {mount.failed}. Repair it, and prove it again",
            refuses=True,
            final=True,
        )
    if mount is None or mount.proven_n <= 0.0:
        named = "" if mount is None else f" {mount.name}"
        return PathCheck(
            "mount-unproven",
            False,
            f"no proof pull of the mount{named} is on record: pull it to "
            f"{units.text(proof_factor * peak_n, 'N')} for a minute, with a gauge, before any drop",
            refuses=True,
        )
    if drops_since is not None and drops_since >= mount.good_for_drops:
        return PathCheck(
            "mount-expired",
            False,
            f"{mount.name} has seen {drops_since} drops since its proof, "
            f"{mount.good_for_drops} are allowed: prove it again",
            refuses=True,
        )
    good_for = mount.proven_n / proof_factor
    holds = peak_n <= good_for
    peak = shown_force(peak_n, None, (good_for,), units)
    return PathCheck(
        "mount-proven" if holds else "mount-too-low",
        holds,
        f"{mount.name} is proven to {units.text(mount.proven_n, 'N')}, good for peaks up to "
        f"{peak.level()} (factor {proof_factor:g}); {peak.text} is planned",
        refuses=not holds,
    )
