"""Load path: everything between sled and ground, and the weakest of it.

Strengths are data-sheet values or come from the published formulas below. They are no
structural proof: local codes and licensed practice decide, and a proof pull of the real
mount comes before any drop.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from tautlog.errors import PlanError
from tautlog.model import quantities as q
from tautlog.model.key import LARGEST, stated

LBF_N = 4.4482216152605
INCH_M = 0.0254


@dataclass(frozen=True)
class Element:
    """One element of the load path.

    `pry` comes of a bracket's arm or a bridle's angle.
    """

    name: str = field(metadata=stated("What it is.", "mount screws"))
    strength_n: float = field(
        default=0.0,
        metadata=stated(
            "Its strength; for screws, bolts and shackles see `tautlog fastener`.",
            6000.0,
            q.STRENGTH,
        ),
    )
    basis: str = field(
        default="computed",
        metadata=stated(
            "What that number is: a proof load, a working load, an ultimate load, or computed.",
            choices=("proof", "working", "ultimate", "computed"),
        ),
    )
    factor: float = field(
        default=1.0, metadata=stated("It is divided by this.", 2.0, q.ELEMENT_FACTOR)
    )
    pry: float = field(
        default=1.0, metadata=stated("Load on it over the force of the line.", quantity=q.PRY)
    )
    part: str = field(
        default="rig",
        metadata=stated(
            "Whose it is.", "mount", choices=("sled", "line", "article", "mount", "rig")
        ),
    )

    @property
    def allowed_n(self) -> float:
        """Force of the line that it may see."""
        return self.strength_n / (self.factor * self.pry)


@dataclass(frozen=True)
class Mount:
    """What holds the article to the rig, and how far it is proven.

    `proven_on` is the moment of the pull where that is known. `failed` says why it must not be
    dropped on until a newer proof is good, `failed_elsewhere` why it may be a mount that failed
    under another name; both "" for nothing.
    """

    name: str = field(metadata=stated("Its name.", "beam-1"))
    proven_n: float = field(
        default=0.0,
        metadata=stated(
            "Static pull that proved it, or see `tautlog proof`; 0: none.", quantity=q.PROVEN
        ),
    )
    proven_on: str = field(
        default="", metadata=stated("Day of that pull, such as 2026-03-01.", day=True)
    )
    good_for_drops: int = field(
        default=10, metadata=stated("Until the next proof.", whole=(1, LARGEST))
    )
    stiffness_n_per_m: float | None = field(
        default=None, metadata=stated("From the proof pull.", 2.0e6, q.STIFFNESS, optional=True)
    )
    most_deflection_m: float | None = field(
        default=None,
        metadata=stated(
            "Of the mount under its proof; more is a mount that gives.",
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
        Whether it holds; what is not known does not.
    text : str
        In words, with numbers.
    refuses : bool
        It does not hold, and forbids the drop.
    final : bool
        No named person may drop all the same: it must be mended.
    """

    code: str
    holds: bool
    text: str
    refuses: bool = False
    final: bool = False


def check_path(
    elements: tuple[Element, ...], peak_n: float, *, mount_over_article: float
) -> list[PathCheck]:
    """Hold every element against a peak, name the weakest, and rank mount over article.

    Parameters
    ----------
    elements : tuple of Element
        Of the load path.
    peak_n : float
        Highest peak to reckon with.
    mount_over_article : float
        What the mount must be stronger by, so that the article shows its strength.
    """
    if not elements:
        return [
            PathCheck("path-unknown", False, "no [[element]] tells the strength of the load path")
        ]
    weakest = min(elements, key=lambda one: one.allowed_n)
    return [
        # The article is what is tested.
        *(_holds(one, peak_n) for one in elements if one.part != "article"),
        PathCheck(
            "weakest",
            weakest.part == "article" or weakest.allowed_n >= peak_n,
            f"the weakest link is {weakest.name} ({weakest.part}), {weakest.allowed_n:.0f} N",
        ),
        *_mount_over_article(elements, mount_over_article),
    ]


def _holds(one: Element, peak_n: float) -> PathCheck:
    """Whether an element may see a peak."""
    holds = one.allowed_n >= peak_n
    prying = f" / {one.pry:g} prying" if one.pry != 1 else ""
    text = (
        f"{one.name} ({one.part}): {one.allowed_n:.0f} N allowed, from {one.strength_n:.0f} N "
        f"{one.basis} / {one.factor:g}{prying}: {'above' if holds else 'BELOW'} {peak_n:.0f} N"
    )
    return PathCheck(f"element-{one.part}", holds, text, not holds)


def _mount_over_article(elements: tuple[Element, ...], wanted: float) -> list[PathCheck]:
    """Whether the weakest of the mount is strong enough beside the strongest of the article."""
    mounts = [one.allowed_n for one in elements if one.part == "mount"]
    articles = [one.allowed_n for one in elements if one.part == "article"]
    if not mounts or not articles:
        return []
    ratio = min(mounts) / max(articles)
    text = f"the mount is {ratio:.2f} x as strong as the article, wanted is {wanted:g} x"
    return [PathCheck("mount-over-article", min(mounts) >= wanted * max(articles), text)]


def check_mount(
    mount: Mount | None, peak_n: float, drops_since: int | None, *, proof_factor: float
) -> PathCheck:
    """Whether a mount is proven for a peak, and its proof not used up."""
    if mount is not None and mount.failed:
        return PathCheck(
            "mount-failed",
            False,
            f"{mount.name}: {mount.failed}. Mend it, and prove it again",
            refuses=True,
            final=True,
        )
    if mount is None or mount.proven_n <= 0.0:
        named = "" if mount is None else f" {mount.name}"
        return PathCheck(
            "mount-unproven",
            False,
            f"no proof pull of the mount{named} is on record: pull it to "
            f"{proof_factor * peak_n:.0f} N for a minute, with a gauge, before any drop",
            refuses=True,
        )
    if drops_since is not None and drops_since >= mount.good_for_drops:
        return PathCheck(
            "mount-expired",
            False,
            f"{mount.name} has seen {drops_since} drops since its proof, allowed are "
            f"{mount.good_for_drops}: prove it again",
            refuses=True,
        )
    good_for = mount.proven_n / proof_factor
    holds = peak_n <= good_for
    return PathCheck(
        "mount-proven" if holds else "mount-too-low",
        holds,
        f"{mount.name} is proven to {mount.proven_n:.0f} N, good for peaks up to {good_for:.0f} N "
        f"(factor {proof_factor:g}); planned are {peak_n:.0f} N",
        refuses=not holds,
    )


# Published strengths


def wood_screw_allowable_n(specific_gravity: float, diameter_m: float, thread_m: float) -> float:
    """Allowable withdrawal from side grain, 2850 G**2 D per inch of thread (NDS eq. 12.2-2).

    As quoted by public handbooks. Not from end grain, which many codes forbid; normal
    duration, dry wood.
    """
    _in_range("specific gravity", specific_gravity, 0.3, 0.8)
    per_inch_lbf = 2850.0 * specific_gravity**2 * (diameter_m / INCH_M)
    return per_inch_lbf * LBF_N * (thread_m / INCH_M)


def wood_screw_ultimate_n(specific_gravity: float, diameter_m: float, thread_m: float) -> float:
    """Mean ultimate withdrawal, p = 15 700 G**2 D L in pounds and inches.

    USDA Wood Handbook (FPL-GTR-190), chapter 8, as quoted by others. Five and a half times
    the allowable value: half of all screws hold less.
    """
    _in_range("specific gravity", specific_gravity, 0.3, 0.8)
    pounds = 15_700.0 * specific_gravity**2 * (diameter_m / INCH_M) * (thread_m / INCH_M)
    return pounds * LBF_N


def lag_screw_allowable_n(
    specific_gravity: float, diameter_m: float, thread_m: float, *, end_grain: bool = False
) -> float:
    """Allowable withdrawal, 1800 G**1.5 D**0.75 per inch of thread (NDS eq. 12.2-1).

    Three quarters of it from end grain (Wood Handbook, chapter 8). The thread's tip does
    not count.
    """
    _in_range("specific gravity", specific_gravity, 0.3, 0.8)
    per_inch_lbf = 1800.0 * math.pow(specific_gravity, 1.5) * math.pow(diameter_m / INCH_M, 0.75)
    return per_inch_lbf * LBF_N * (thread_m / INCH_M) * (0.75 if end_grain else 1.0)


def timber_screw_characteristic_n(
    density_kg_m3: float, diameter_m: float, thread_m: float, angle_deg: float = 90.0, n: int = 1
) -> float:
    """Characteristic withdrawal of EN 1995-1-1:2004, 8.7.2.

    f = 0.52 d**-0.5 l**-0.1 rho**0.8 in N, mm and kg/m3; F = n**0.9 f d l k_d / (1.2 cos2 a
    + sin2 a), k_d = min(d / 8, 1). Valid for 6 to 12 mm, l of 6 d and more, a of 30 to 90
    degrees; the exponent of the density is from memory. A design value is lower: times
    k_mod, over gamma_M.
    """
    d, length = 1000.0 * diameter_m, 1000.0 * thread_m
    _in_range("diameter in mm", d, 6.0, 12.0)
    _in_range("thread length over diameter", length / d, 6.0, 100.0)
    _in_range("angle to the grain in degrees", angle_deg, 30.0, 90.0)
    strength = 0.52 * math.pow(d, -0.5) * math.pow(length, -0.1) * math.pow(density_kg_m3, 0.8)
    angle = math.radians(angle_deg)
    slope = 1.2 * math.cos(angle) ** 2 + math.sin(angle) ** 2
    return math.pow(n, 0.9) * strength * d * length * min(d / 8.0, 1.0) / slope


PITCH_M = {5: 0.8, 6: 1.0, 8: 1.25, 10: 1.5, 12: 1.75, 16: 2.0}
PROOF_STRESS_PA = {"8.8": 580e6}


def stress_area_m2(size_mm: int) -> float:
    """Stress area of a coarse metric thread, pi / 4 (d - 0.938194 P)**2 (ISO 898-1)."""
    if size_mm not in PITCH_M:
        raise PlanError(f"M{size_mm}: allowed are {', '.join(f'M{one}' for one in PITCH_M)}")
    return 0.25 * math.pi * ((size_mm - 0.938194 * PITCH_M[size_mm]) / 1000.0) ** 2


def bolt_proof_n(size_mm: int, strength_class: str = "8.8") -> float:
    """Proof load of a bolt, stress area times proof stress (ISO 898-1, to 16 mm)."""
    if strength_class not in PROOF_STRESS_PA:
        raise PlanError(f"class {strength_class}: allowed are {', '.join(PROOF_STRESS_PA)}")
    return stress_area_m2(size_mm) * PROOF_STRESS_PA[strength_class]


def shackle_working_n(diameter_m: float) -> float:
    """Working load of a shackle, 0.417 D**2 tonnes with D in centimetres.

    U.S. Navy NAVEDTRA 14251, Steelworker. A shackle's own marking comes first.
    """
    return 0.417 * (100.0 * diameter_m) ** 2 * 1000.0 * 9.80665


def _in_range(name: str, value: float, least: float, most: float) -> None:
    if not least <= value <= most:
        raise PlanError(f"{name} {value:g}: the formula is good for {least:g} to {most:g}")
