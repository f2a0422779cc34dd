"""How often a drop that was measured lies in the band that was predicted for it.

Each campaign is one rig, one line and one instrument of `independent`, which shares no mechanics
with tautlog. Three drops from growing heights are recorded, marked, judged and learned from; then
the next drop is predicted, made and measured by the same chain. A band of k = 2 must hold about
95 of 100: fewer would be a promise that is not kept, all of them a band too wide to plan with.

    python tests/benchmarks/bands.py --campaigns 500 --seed 1

Not modelled: a line that beds in (all drops are of a bedded one), and rails or lines that change
between drops. Parameters of line, rig and instrument are drawn as `independent.drops` does.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import math
import sys
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from scipy.stats import beta

sys.path.insert(0, str(Path(__file__).resolve().parent))

from independent.drops import Situation, draw, dropped
from independent.kinds import HOLDING
from measured import Measured, show

from tautlog.analysis.judge import judge
from tautlog.analysis.marking import mark
from tautlog.archive.assessment import Assessment
from tautlog.archive.kept_marks import KeptMarks, marks_from
from tautlog.model.line import BEDDED_AFTER
from tautlog.model.trace import DropSetup
from tautlog.planning.learning import Lesson, learn, lesson_of
from tautlog.planning.planned_drop import PlannedDrop
from tautlog.planning.prediction import predict_drop

# Heights of the drops that are learned from, over that of the next: about 50, 75 and 90 % of its
# load, which goes with the square root.
CLIMB = (0.23, 0.55, 0.8)
CONTACTS = 4
# Standard uncertainty of a free travel by tape, as tautlog states it: the same people are simulated
# that the budget is about, else a band is too wide by what they do better.
TAPE_U_M = 0.005
WANTED = (0.95, 0.98)


@dataclass(frozen=True)
class Campaign:
    """What a campaign's records say: the lessons, and the drop that was predicted.

    `measured_n` is None, and `why_not` says why, where there is nothing to compare.
    """

    kind: str
    seed: int
    lessons: tuple[Lesson, ...] = ()
    mass_kg: float = math.nan
    height_m: float = math.nan
    measured_n: float | None = None
    why_not: str = ""


def marked(now: Situation) -> tuple[DropSetup, KeptMarks]:
    """Make, mark and judge one drop."""
    drop = dropped(now)
    marks = mark(drop.trace, drop.setup, cfc=drop.cfc)
    return drop.setup, marks_from(Assessment(marks, judge(marks, drop.setup), drop.setup))


def lower(now: Situation, share: float) -> Situation:
    """The same rig from a share of its height, which is measured anew with a tape."""
    height_m = share * now.rig.height_m
    read_m = height_m + float(now.rng.normal(0.0, TAPE_U_M))
    said = {**now.setup, "height_m": max(read_m, 0.5 * height_m)}
    return replace(now, rig=replace(now.rig, height_m=height_m), setup=said, contacts=CONTACTS)


def campaign_of(kind: str, seed: int) -> Campaign:
    """Simulate one campaign."""
    now = draw(kind, seed)
    lessons = []
    for number, share in enumerate(CLIMB, start=BEDDED_AFTER):
        setup, marks = marked(lower(now, share))
        found = lesson_of(f"drop {number}", setup.mass_kg, setup.height_m, marks, number)
        if isinstance(found, Lesson):
            lessons.append(found)
    if not lessons:
        return Campaign(kind, seed, why_not="nothing to learn from")
    setup, marks = marked(lower(now, 1.0))
    found = lesson_of("next", setup.mass_kg, setup.height_m, marks, BEDDED_AFTER + len(CLIMB))
    if not isinstance(found, Lesson):
        return Campaign(kind, seed, why_not=f"the next drop: {found}")
    return Campaign(kind, seed, tuple(lessons), found.mass_kg, found.height_m, found.peak_n)


def place_in_band(one: Campaign) -> tuple[float, float, float]:
    """Measured over predicted, and the lower and upper end of the band over predicted."""
    learned = learn("line", list(one.lessons), [], BEDDED_AFTER + len(CLIMB))
    drop = PlannedDrop(one.mass_kg, one.height_m, learned.line, learned.friction_n)
    told = predict_drop(drop)
    peak = told.peak_force_n
    assert one.measured_n is not None
    return one.measured_n / peak, told.peak_low_n / peak, told.peak_high_n / peak


def campaigns(count: int, seed: int, jobs: int) -> Iterator[Campaign]:
    """So many campaigns, the kinds of line in turn."""
    kinds = [list(HOLDING)[number % len(HOLDING)] for number in range(count)]
    seeds = range(seed, seed + count)
    if jobs == 1:
        yield from map(campaign_of, kinds, seeds)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(campaign_of, kinds, seeds, chunksize=4)


def holds(count: int, total: int) -> str:
    """Share with its interval of 95 % (Clopper and Pearson, Biometrika 26 (1934), 404-413)."""
    low = beta.ppf(0.025, count, total - count + 1) if count else 0.0
    high = beta.ppf(0.975, count + 1, total - count) if count < total else 1.0
    return f"{100 * count / total:.1f} % (95 % interval {100 * low:.1f} to {100 * high:.1f})"


def told_of(made: list[Campaign]) -> Iterator[Measured]:
    """What came of campaigns."""
    compared = [one for one in made if one.measured_n is not None]
    places = [(one, *place_in_band(one)) for one in compared]
    inside = [one for one, ratio, low, high in places if low <= ratio <= high]
    widths = sorted((high - low) / 2.0 for _, _, low, high in places)
    yield Measured(
        "peaks in the band predicted from three drops, independent simulator",
        f"{len(inside)} of {len(places)}, {holds(len(inside), len(places))}",
        f"wanted {WANTED[0]:.0%} to {WANTED[1]:.0%}; half a band is "
        f"{100 * widths[len(widths) // 2]:.1f} % of the peak",
    )
    kinds = {kind: [p for p in places if p[0].kind == kind] for kind in HOLDING}
    parts = [
        f"{kind} {sum(low <= ratio <= high for _, ratio, low, high in mine)} of {len(mine)}"
        for kind, mine in kinds.items()
        if mine
    ]
    yield Measured("by kind of line", ", ".join(parts))
    why = Counter(one.why_not.rpartition(": ")[2] for one in made if one.measured_n is None)
    left = ", ".join(f"{number} {reason}" for reason, number in why.most_common())
    yield Measured("campaigns left out", f"{sum(why.values())} of {len(made)}", left)


def figures(count: int = 100, seed: int = 10_001) -> Iterator[Measured]:
    """Bands and peaks of campaigns that no constant of the prediction was chosen by."""
    yield from told_of(list(campaigns(count, seed, os.cpu_count() or 1)))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--campaigns", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    asked = parser.parse_args()
    show(told_of(list(campaigns(asked.campaigns, asked.seed, asked.jobs))))


if __name__ == "__main__":
    main()
