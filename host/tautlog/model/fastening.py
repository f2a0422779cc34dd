"""Fastening: what a builder has, and what the published formulas say that it holds.

One object holds every value that may be stated; `answers` is the only way from there to a
strength, so that no value is taken that a formula was not made for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import astuple, dataclass

from tautlog.errors import PlanError
from tautlog.model import bolted_steel, fastener_group, fasteners, lateral
from tautlog.model import quantities as q

S235_TENSILE_MPA = 360.0  # EN 10025-2, from memory
C24_ACROSS_PA = 2.5e6  # f_c,90,k of class C24, EN 338


@dataclass(frozen=True)
class Answer:
    """One strength.

    Attributes
    ----------
    what : str
        Way in which it is loaded.
    one_n, all_n : float
        Strength of one, and of all.
    basis : str
        Kind of strength, and source of the formula.
    """

    what: str
    one_n: float
    all_n: float
    basis: str


@dataclass(frozen=True)
class Fastening:
    """Fasteners of one kind; what is None is not stated.

    Attributes
    ----------
    kind : str
        A key of `NEEDED`.
    diameter_mm : float
        Of shank or pin; M size of a bolt.
    count : int
        How many, in one row along the load if `spacing_mm` is stated.
    thread_mm : float or None
        Length of thread, or of bolt, in the wood; of thread in a tapped hole.
    wood, density_kg_m3 : float or None
        Specific gravity; characteristic density.
    plate_mm, tensile_mpa : float or None
        Thickness and tensile strength of the steel plate under the heads, or of what is tapped
        (default: S235).
    grain_deg, pull_deg : float or None
        Load to the grain (default: along it); pull to the face of the wood, 90 straight out.
    spacing_mm, end_mm, edge_mm, washer_mm : float or None
        Between fasteners, to the end and the edge of a plate, and across the washer.
    end_grain : bool
        A lag screw in end grain.
    arm_mm, rows : float or None, tuple of (int, float) or None
        Distance of a load along the face from the face, and the rows of a bracket: how many
        screws, and how far from the edge about which it tilts, mm. `count` is their sum.
    """

    kind: str
    diameter_mm: float
    count: int = 1
    thread_mm: float | None = None
    wood: float | None = None
    density_kg_m3: float | None = None
    plate_mm: float | None = None
    tensile_mpa: float | None = None
    grain_deg: float | None = None
    pull_deg: float | None = None
    spacing_mm: float | None = None
    end_mm: float | None = None
    edge_mm: float | None = None
    washer_mm: float | None = None
    end_grain: bool = False
    arm_mm: float | None = None
    rows: tuple[tuple[int, float], ...] | None = None

    def __post_init__(self) -> None:
        if self.kind not in NEEDED:
            raise PlanError(f"kind {self.kind!r}: allowed are {', '.join(NEEDED)}")
        for name, kind in _RANGES.items():
            value = getattr(self, name)
            if value is not None:
                kind.require(name, value)
        wrong = misfit(self.kind, vars(self))
        if wrong:
            name, missing = wrong
            raise PlanError(f"a {self.kind} {'needs' if missing else 'has no'} {name}")
        self._require_bracket()
        self._require_proportions()
        if self.end_grain and (self.kind != "lag-screw" or self.plate_mm is not None):
            raise PlanError(
                "end grain: only the withdrawal of a lag screw is published, "
                "nothing across its axis"
            )

    def _require_bracket(self) -> None:
        """Refuse rows of screws that contradict the rest."""
        if (self.arm_mm is None) != (self.rows is None):
            raise PlanError("a bracket needs both: its arm, and its rows of screws")
        for number, distance_mm in self.rows or ():
            q.SPACING_MM.require("distance of a row", distance_mm)
            if not 1 <= number <= 100:
                raise PlanError(f"a row of {number} screws: allowed are 1 to 100")
        if self.rows and self.count != sum(number for number, _ in self.rows):
            raise PlanError(f"{self.count} screws are stated, but the rows hold another number")
        if self.rows and self.spacing_mm is not None:
            raise PlanError("a bracket has rows of its own: leave out the spacing of a single row")

    def _require_proportions(self) -> None:
        """Refuse what the formulas know nothing of: there the fastener's own steel breaks first."""
        if not 1 <= self.count <= MOST_FASTENERS:
            raise PlanError(f"{self.count} fasteners: allowed are 1 to {MOST_FASTENERS}")
        most = MOST_THREAD["tapped-hole" if self.kind == "tapped-hole" else "wood"]
        if self.thread_mm is not None and self.thread_mm > most * self.diameter_mm:
            raise PlanError(
                f"a thread of {self.thread_mm:g} mm at a diameter of {self.diameter_mm:g} mm: at "
                f"most {most:g} diameters are reckoned, for beyond them the fastener itself breaks "
                "first"
            )

    def answers(self) -> list[Answer]:
        """Every strength that follows; the first is the main one.

        Raises
        ------
        PlanError
            If a value lies outside the validity of a formula.
        """
        return _ANSWERS[self.kind](self)

    def distances(self) -> fastener_group.Distances | None:
        """Least distances in wood, or None for steel; both ways count for a screw under a plate."""
        if self.kind not in _IN_WOOD:
            return None
        pulled = fastener_group.pulled_screw_distances(self.diameter_mm / 1000.0)
        if self.plate_mm is None:
            return pulled
        across = fastener_group.bolt_distances(self.diameter_mm / 1000.0, self.grain_deg or 0.0)
        if self.kind == "through-bolt":
            return across
        both = zip(astuple(pulled), astuple(across), strict=True)
        return fastener_group.Distances(*(max(pair) for pair in both))


NEEDED: dict[str, tuple[str, ...]] = {
    "wood-screw": ("thread_mm", "wood"),
    "lag-screw": ("thread_mm", "wood"),
    "timber-screw": ("thread_mm", "density_kg_m3"),
    "through-bolt": ("thread_mm", "wood", "plate_mm"),
    "bolt": (),
    "steel-plate": ("plate_mm", "end_mm", "edge_mm"),
    "tapped-hole": ("thread_mm",),
    "shackle": (),
}
MAY: dict[str, tuple[str, ...]] = {
    "wood-screw": (),
    "lag-screw": (
        "plate_mm",
        "tensile_mpa",
        "grain_deg",
        "pull_deg",
        "spacing_mm",
        "arm_mm",
        "rows",
    ),
    "timber-screw": (),
    "through-bolt": ("tensile_mpa", "grain_deg", "spacing_mm", "washer_mm"),
    "bolt": (),
    "steel-plate": ("tensile_mpa",),
    "tapped-hole": ("tensile_mpa",),
    "shackle": (),
}
# Own choice, in diameters. Beyond some 20 the shank of a screw breaks before the wood lets go,
# beyond some 2.5 a bolt before its hole strips; the formulas for wood and hole do not know it.
MOST_THREAD = {"wood": 25.0, "tapped-hole": 3.0}
MOST_FASTENERS = 100
_IN_WOOD = ("wood-screw", "lag-screw", "timber-screw", "through-bolt")
_RANGES = {
    "diameter_mm": q.DIAMETER_MM,
    "thread_mm": q.THREAD_MM,
    "wood": q.WOOD,
    "density_kg_m3": q.DENSITY,
    "plate_mm": q.PLATE_MM,
    "tensile_mpa": q.TENSILE_MPA,
    "grain_deg": q.ANGLE_DEG,
    "pull_deg": q.ANGLE_DEG,
    "spacing_mm": q.SPACING_MM,
    "end_mm": q.SPACING_MM,
    "edge_mm": q.SPACING_MM,
    "washer_mm": q.DIAMETER_MM,
    "arm_mm": q.SPACING_MM,
}


def misfit(kind: str, stated: Mapping[str, object]) -> tuple[str, bool] | None:
    """Name of a value that a kind needs and lacks (True), or has and must not have (False).

    Parameters
    ----------
    kind : str
        A key of `NEEDED`.
    stated : mapping
        Values by the names of `Fastening`; None is not stated.
    """
    for name in NEEDED[kind]:
        if stated.get(name) is None:
            return name, True
    known = (name for names in (*NEEDED.values(), *MAY.values()) for name in names)
    for name in dict.fromkeys(known):  # in an order, so that the same is told each time
        if stated.get(name) is not None and name not in NEEDED[kind] + MAY[kind]:
            return name, False
    return None


def _times(one: Fastening, what: str, strength_n: float, basis: str) -> Answer:
    return Answer(what, strength_n, one.count * strength_n, basis)


def _stated(value: float | None) -> float:
    assert value is not None  # held by `misfit`
    return value


def _tensile_pa(one: Fastening) -> float:
    return 1e6 * (S235_TENSILE_MPA if one.tensile_mpa is None else one.tensile_mpa)


def _wood_screw(one: Fastening) -> list[Answer]:
    screw = (_stated(one.wood), one.diameter_mm / 1000, _stated(one.thread_mm) / 1000)
    return [
        _times(
            one,
            "withdrawal",
            fasteners.wood_screw_allowable_n(*screw),
            "allowable withdrawal from side grain, NDS 12.2-2",
        ),
        _times(
            one,
            "ultimate withdrawal",
            fasteners.wood_screw_ultimate_n(*screw),
            "mean at which it pulls out, Wood Handbook, chapter 8: half of them hold less",
        ),
    ]


def _lag_screw(one: Fastening) -> list[Answer]:
    d, thread = one.diameter_mm / 1000, _stated(one.thread_mm) / 1000
    withdrawal = fasteners.lag_screw_allowable_n(
        _stated(one.wood), d, thread, end_grain=one.end_grain
    )
    found = [_times(one, "withdrawal", withdrawal, "allowable withdrawal, NDS 12.2-1")]
    if one.plate_mm is None:
        needs_plate = (one.pull_deg, one.spacing_mm, one.arm_mm, one.grain_deg, one.tensile_mpa)
        if any(value is not None for value in needs_plate):
            raise PlanError(
                "a pull at an angle or to the grain, a row or a bracket needs the steel plate "
                "under the heads"
            )
        return found
    across = _across(one, lateral.ROOT_SHARE * d)
    if one.rows is not None:
        found.append(_bracket(one, withdrawal, across.one_n))
    if one.pull_deg is None:
        return [*found, across]
    at_angle = lateral.combined_allowable_n(withdrawal, across.one_n, one.pull_deg)
    share = across.all_n / across.one_n
    basis = f"allowable pull at {one.pull_deg:g} degrees to the face, NDS 12.4-1"
    return [*found, across, Answer("pull at an angle", at_angle, share * at_angle, basis)]


def _bracket(one: Fastening, withdrawal_n: float, across_n: float) -> Answer:
    """Load along the face at which the far row of a bracket has all that it is allowed."""
    rows = [(number, distance_mm / 1000.0) for number, distance_mm in one.rows or ()]
    pulled = fastener_group.most_pulled_n(1.0, _stated(one.arm_mm) / 1000.0, rows)
    sheared = 1.0 / sum(number for number, _ in rows)
    angle_deg = math.degrees(math.atan2(pulled, sheared))
    allowed = lateral.combined_allowable_n(withdrawal_n, across_n, angle_deg)
    # A screw that is hardly pulled, near the edge, must bear its shear alone.
    load_n = min(allowed / math.hypot(pulled, sheared), across_n / sheared)
    basis = (
        f"allowable load of the bracket along the face; each screw of its far row is pulled with "
        f"{100 * pulled:.0f} % and sheared with {100 * sheared:.0f} % of it, NDS 12.4-1"
    )
    return Answer("bracket", allowed, load_n, basis)


def _across(one: Fastening, bearing_m: float) -> Answer:
    """Strength across the axis, under a steel plate."""
    d, thread = one.diameter_mm / 1000, _stated(one.thread_mm) / 1000
    least = lateral.LEAST_PENETRATION
    fasteners.in_range("length in the wood over diameter", thread / d, least, 100.0)
    plate = _stated(one.plate_mm) / 1000
    plane = lateral.ShearPlane(
        shank_m=d,
        bearing_m=bearing_m,
        yield_pa=lateral.BOLT_YIELD_PA,
        main_pa=lateral.wood_bearing_pa(_stated(one.wood), d, one.grain_deg or 0.0),
        side_pa=lateral.steel_bearing_pa(_tensile_pa(one), plate),
        main_m=thread,
        side_m=plate,
        grain_deg=one.grain_deg or 0.0,
    )
    strength, mode = plane.allowable_n()
    counted, group = float(one.count), ""
    if one.spacing_mm is not None:
        counted = fastener_group.effective_number(one.count, one.spacing_mm / 1000, d)
        group = f"; {counted:.2f} of {one.count} in the row count (EN 1995-1-1, 8.34)"
    basis = f"allowable across the axis, mode {mode}, NDS table 12.3.1A{group}"
    return Answer("across", strength, counted * strength, basis)


def _through_bolt(one: Fastening) -> list[Answer]:
    found = [_across(one, one.diameter_mm / 1000)]
    if one.washer_mm is not None:
        pressed = bolted_steel.washer_on_wood_n(
            C24_ACROSS_PA,
            one.washer_mm / 1000,
            one.diameter_mm / 1000,
            _stated(one.plate_mm) / 1000,
        )
        basis = "characteristic, plate or washer pressed on C24, EN 1995-1-1 8.5.2; design is lower"
        found.append(_times(one, "along", pressed, basis))
    return found


def _timber_screw(one: Fastening) -> list[Answer]:
    screw = (_stated(one.density_kg_m3), one.diameter_mm / 1000, _stated(one.thread_mm) / 1000)
    return [
        Answer(
            "withdrawal",
            fasteners.timber_screw_characteristic_n(*screw),
            fasteners.timber_screw_characteristic_n(*screw, n=one.count),
            "characteristic withdrawal, EN 1995-1-1 8.7.2; n**0.9 of them count, a design value "
            "is lower",
        )
    ]


def _size(one: Fastening) -> int:
    if one.diameter_mm != round(one.diameter_mm):
        raise PlanError(f"M{one.diameter_mm:g}: expected a whole size")
    return round(one.diameter_mm)


def _bolt(one: Fastening) -> list[Answer]:
    size = _size(one)
    return [
        _times(one, "proof", fasteners.bolt_proof_n(size), "proof load, ISO 898-1, class 8.8"),
        _times(
            one,
            "tension",
            bolted_steel.bolt_tension_n(size),
            "design tension, EN 1993-1-8 table 3.4",
        ),
        _times(
            one,
            "shear",
            bolted_steel.bolt_shear_n(size),
            "design shear through the thread, EN 1993-1-8 table 3.4",
        ),
    ]


def _steel_plate(one: Fastening) -> list[Answer]:
    strength = bolted_steel.plate_bearing_n(
        one.diameter_mm / 1000,
        _stated(one.plate_mm) / 1000,
        _tensile_pa(one),
        end_m=_stated(one.end_mm) / 1000,
        edge_m=_stated(one.edge_mm) / 1000,
    )
    basis = "design bearing of the plate at a bolt, EN 1993-1-8 table 3.4"
    return [_times(one, "bearing", strength, basis)]


def _tapped_hole(one: Fastening) -> list[Answer]:
    size = _size(one)
    stripped = bolted_steel.tapped_hole_n(size, _stated(one.thread_mm) / 1000, _tensile_pa(one))
    breaks = bolted_steel.BOLT_TENSILE_PA["8.8"] * fasteners.stress_area_m2(size)
    deep = _stated(one.thread_mm) * breaks / stripped
    basis = f"ultimate, the hole's thread strips, FED-STD-H28/2B; {deep:.1f} mm break an 8.8 bolt"
    return [_times(one, "stripping", stripped, basis)]


def _shackle(one: Fastening) -> list[Answer]:
    strength = fasteners.shackle_working_n(one.diameter_mm / 1000)
    return [_times(one, "working", strength, "working load, NAVEDTRA 14251")]


_ANSWERS: dict[str, Callable[[Fastening], list[Answer]]] = {
    "wood-screw": _wood_screw,
    "lag-screw": _lag_screw,
    "timber-screw": _timber_screw,
    "through-bolt": _through_bolt,
    "bolt": _bolt,
    "steel-plate": _steel_plate,
    "tapped-hole": _tapped_hole,
    "shackle": _shackle,
}
