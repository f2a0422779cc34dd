"""Tally: what became of each drop, counted against the goals.

An outcome holds the few facts that a goal needs. A goal is a name, the outcomes that it is
about, the test that makes one of them a failure, and the share that is allowed.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass

from independent.drops import Drop
from independent.kinds import GIVING, HOLDING

# Kinds of the whole campaign, with their share of `--drops`.
CLIPS = (
    *("clip-hard", "clip-sink", "clip-round", "clip-soft", "clip-code"),
    *("clip-deep", "clip-round-deep"),
)
CUTS = ("cut-before-release", "cut-before-onset", "cut-10ms", "cut-rise", "cut-peak", "cut-decay")
WRONG = ("wrong-height", "wrong-mass", "wrong-unit", "wrong-gain")
DISTURBED = ("spike", "burst", "hand", "gap", "gap-first")
BENIGN = (
    *("ringing", "no-rest", "late", "missing", "no-height", "slow", "hum", "drift"),
    *("noisy", "wide-codes", "fast", "bowed"),
)
GROUPS: dict[str, float] = (
    dict.fromkeys(HOLDING, 1.0)
    | dict.fromkeys(GIVING, 1.0)
    | {f"any+{one}": 1.0 for one in CLIPS}
    | {f"any+{one}": 0.5 for one in CUTS}
    | {f"any+{one}": 0.5 for one in WRONG + DISTURBED}
    | {f"any+{one}": 0.5 for one in BENIGN}
    | {f"{line}+no-height": 0.5 for line in ("early", "parted", "pullout", "regrip")}
    | {f"{line}+missing": 0.5 for line in ("early", "parted", "regrip")}
    | {f"{line}+ringing": 0.5 for line in ("regrip", "parted", "early")}
    | {"regrip+late": 0.5, "parted+no-rest": 0.5, "any+cut-flight": 0.5}
    | {"ripping+clip-hard": 0.5, "regrip+clip-hard": 0.5, "parted+clip-hard": 0.5}
)


def shares(only: str | None, drops: int) -> dict[str, int]:
    """How many drops of which kind."""
    if only:
        return dict.fromkeys(only.split(","), drops)
    return {kind: max(1, round(share * drops)) for kind, share in GROUPS.items()}


# Reasons that say that something is good, or only note it.
NO_DOUBT = frozenset(
    "closure-good closure-unknown bandwidth-unknown release-unknown "
    "shunt-good zero-drift zero-return".split()
)


@dataclass(frozen=True)
class Outcome:
    """Facts of one drop after marking; forces in N, U expanded."""

    kind: str
    seed: int
    line: str
    fault: str
    path: str
    slip_share: float
    clip_depth: float
    clip_loss: float
    cut: str
    lies: tuple[str, ...]
    record: str = "crash"
    load: str | None = None
    says: str = ""
    clipped: bool = False
    cfc: int | None = None
    truth_n: float = 0.0
    unfiltered_n: float = 0.0
    line_n: float = 0.0
    peak_n: float | None = None
    u_n: float | None = None
    raw_n: float | None = None
    reasons: tuple[str, ...] = ()
    words: str = ""
    line_peak_n: float | None = None
    line_u_n: float | None = None

    @property
    def off_u(self) -> float | None:
        """Error of the class-filtered peak over its expanded uncertainty."""
        return (
            None if self.peak_n is None or not self.u_n else (self.peak_n - self.truth_n) / self.u_n
        )

    @property
    def left_out(self) -> str | None:
        """Why its interval is not counted: it claims none, or only a lower bound."""
        if self.record != "valid":
            return self.record
        if self.off_u is None:
            return "no interval"
        return self.load if self.load in ("at-least", "no-load") else None

    @property
    def trusted(self) -> bool:
        """Called valid and on target."""
        return self.record == "valid" and self.load == "on-target"

    @property
    def good(self) -> bool:
        """Whole, true and without a slip: nothing that should be doubted."""
        return not self.lies and not self.cut and not self.clip_depth


def _facts(drop: Drop) -> dict:
    truth = drop.truth
    return {
        "kind": truth.kind,
        "seed": truth.seed,
        "line": drop.situation.setup["line"],
        "fault": truth.kind.partition("+")[2],
        "path": truth.path,
        "slip_share": truth.slip_share,
        "clip_depth": truth.clip_depth,
        "clip_loss": truth.clip_loss,
        "cut": truth.cut,
        "lies": truth.lies,
    }


def crashed(drop: Drop, words: str) -> Outcome:
    """Outcome of a drop at which marking raised."""
    return Outcome(**_facts(drop), words=words)


def outcome(drop: Drop, marks, verdict) -> Outcome:
    """Outcome of a drop."""
    truth = drop.truth
    return Outcome(
        **_facts(drop),
        record=verdict.record_verdict,
        load=verdict.load_verdict,
        says=verdict.trace_says,
        clipped=marks.clipped,
        cfc=marks.cfc,
        truth_n=truth.peak_n(marks.cfc),
        unfiltered_n=truth.cell_peak_n,
        line_n=truth.peak_n(marks.cfc, line=True),
        peak_n=marks.peak_force_n,
        u_n=marks.peak_force_expanded_u_n,
        raw_n=marks.peak_force_unfiltered_n,
        reasons=tuple(one.code for one in verdict.reasons if one.code not in NO_DOUBT),
        line_peak_n=getattr(marks, "line_peak_force_n", None),
        line_u_n=getattr(marks, "line_peak_force_expanded_u_n", None),
    )


@dataclass(frozen=True)
class Goal:
    """A share that must not be passed."""

    name: str
    about: Callable[[Outcome], bool]
    fails: Callable[[Outcome], bool]
    allowed: float


def _held(one: Outcome) -> bool:
    return one.path == "held" and one.good


def _cut_in_pull(one: Outcome) -> bool:
    return bool(one.cut) and "flight" not in one.cut


def _clip_doubted(one: Outcome) -> bool:
    return any(code.startswith("clip") for code in one.reasons)


def _missed(one: Outcome) -> bool:
    return one.off_u is not None and abs(one.off_u) > 1.0


GOALS = (
    Goal("crash", lambda o: True, lambda o: o.record == "crash", 0.0),
    Goal(
        "a clip >= 3 %: valid, on target", lambda o: o.clip_depth >= 0.03, lambda o: o.trusted, 0.0
    ),
    Goal(
        "a clip >= 3 %: valid", lambda o: o.clip_depth >= 0.03, lambda o: o.record == "valid", 1.0
    ),
    Goal("a cut before slack: valid, on target", _cut_in_pull, lambda o: o.trusted, 0.0),
    Goal("a cut before slack: valid", _cut_in_pull, lambda o: o.record == "valid", 0.0),
    Goal(
        "a cut in the first flight: valid",
        lambda o: "flight" in o.cut,
        lambda o: o.record == "valid",
        1.0,
    ),
    Goal("a false clip on unclipped", _held, lambda o: o.clipped, 0.01),
    Goal("a clip doubted on unclipped", _held, _clip_doubted, 0.01),
    Goal("b let-go of held", _held, lambda o: o.says == "let-go", 0.0),
    Goal("b slipped of held", _held, lambda o: o.says == "slipped", 0.01),
    Goal(
        "a clip said of what gave, unclipped",
        lambda o: o.path != "held" and o.good,
        lambda o: o.clipped,
        1.0,
    ),
    Goal(
        "a at-least of held and whole (no clip)",
        lambda o: _held(o) and not o.clipped,
        lambda o: o.load == "at-least",
        1.0,
    ),
    Goal(
        "c at-least that is more than the truth",
        lambda o: o.load == "at-least" and o.off_u is not None and "unit" not in o.lies,
        lambda o: (o.off_u or 0.0) > 1.0 and not o.lies,
        0.05,
    ),
    Goal("b unclear of held", _held, lambda o: o.says == "unclear", 1.0),
    Goal(
        "b held of slips >= 10 %",
        lambda o: o.path == "slipped" and o.slip_share >= 0.1 and o.good,
        lambda o: o.says == "held",
        0.02,
    ),
    Goal(
        "b let-go of slips",
        lambda o: o.path == "slipped" and o.good,
        lambda o: o.says == "let-go",
        1.0,
    ),
    Goal(
        "b held of sets >= 10 %",
        lambda o: o.path == "set" and o.slip_share >= 0.1 and o.good,
        lambda o: o.says == "held",
        1.0,
    ),
    Goal(
        "d held of parted",
        lambda o: o.path == "let-go" and o.good,
        lambda o: o.says == "held",
        0.0,
    ),
    Goal(
        "d not let-go of early breaks without a height",
        lambda o: o.line == "early" and o.fault == "no-height" and o.path == "let-go",
        lambda o: o.says != "let-go",
        0.0,
    ),
    *(
        Goal(
            f"e {lie}: valid, on target",
            lambda o, lie=lie: lie in o.lies,  # type: ignore[misc]
            lambda o: o.trusted and _missed(o),
            0.0,
        )
        for lie in ("height", "mass", "unit", "gain", "burst", "gap", "spike")
    ),
    *(
        Goal(
            f"e {lie}: valid",
            lambda o, lie=lie: lie in o.lies,  # type: ignore[misc]
            lambda o: o.record == "valid",
            1.0,
        )
        for lie in ("height", "mass", "unit", "gain", "burst", "gap", "spike")
    ),
    Goal("e hand: not valid", lambda o: "hand" in o.lies, lambda o: o.record != "valid", 1.0),
    Goal(
        "f good held drops: not valid",
        lambda o: _held(o) and not o.fault,
        lambda o: o.record != "valid",
        1.0,
    ),
)


def _seeds(failures: list[Outcome], most: int = 6) -> str:
    by_kind = defaultdict(list)
    for one in failures:
        by_kind[one.kind].append(one.seed)
    return "; ".join(
        f"{kind} {','.join(map(str, seeds[:most]))}{'...' if len(seeds) > most else ''}"
        for kind, seeds in by_kind.items()
    )


def report(outcomes: list[Outcome]) -> None:
    """Print verdicts by kind, the goals and the coverage."""
    _verdicts(outcomes)
    print("\ngoal                                           failed of    share  allowed   seeds")
    for goal in GOALS:
        about = [one for one in outcomes if goal.about(one)]
        if not about:
            continue
        failures = [one for one in about if goal.fails(one)]
        share = len(failures) / len(about)
        flag = "" if goal.allowed >= 1.0 else ("ok" if share <= goal.allowed else "MISSED")
        allowed = "-" if goal.allowed >= 1.0 else f"{goal.allowed:.0%}"
        print(
            f"{goal.name:45} {len(failures):5d} {len(about):5d} {share:7.1%}  {allowed:>5} "
            f"{flag:7} {_seeds(failures)}"
        )
    _coverage(outcomes)
    for one in outcomes:
        if one.record == "crash":
            print(f"\n{one.kind} {one.seed}\n{one.words}")


def _verdicts(outcomes: list[Outcome]) -> None:
    kinds = list(dict.fromkeys(one.kind for one in outcomes))
    print(f"{'kind':24} {'n':>4}  record; load; trace says; first doubts")
    for kind in kinds:
        own = [one for one in outcomes if one.kind == kind]

        def counts(values) -> str:
            return " ".join(f"{value}:{n}" for value, n in Counter(values).most_common(6))

        doubts = counts(one.reasons[0] for one in own if one.reasons)
        print(
            f"{kind:24} {len(own):4d}  {counts(one.record for one in own)}; "
            f"{counts(one.load for one in own)}; {counts(one.says for one in own)}; {doubts}"
        )


def _coverage(outcomes: list[Outcome]) -> None:
    """Share of true peaks inside the stated interval, by line; good drops only."""
    print("\ncoverage of valid, good drops        n  class  worst  cell-raw  line  | left out")
    rows = defaultdict(list)
    for one in outcomes:
        if one.good:
            rows[one.line if not one.fault else f"any+{one.fault}"].append(one)
            rows[f"all {one.path}"].append(one)
    for name, own in rows.items():
        counted = [one for one in own if one.left_out is None]
        left = Counter(one.left_out for one in own if one.left_out is not None)
        if not counted:
            print(f"{name:34} {0:4d}  | {dict(left)}")
            continue
        off = [one.off_u or 0.0 for one in counted]
        inside = sum(abs(value) <= 1.0 for value in off) / len(off)
        worst = max(counted, key=lambda one: abs(one.off_u or 0.0))
        raw = sum(abs((o.peak_n or 0) - o.unfiltered_n) <= (o.u_n or 0) for o in counted) / len(off)
        lines = [
            abs(o.line_peak_n - o.line_n) <= (o.line_u_n or 0.0)
            for o in counted
            if o.line_peak_n is not None
        ]
        line = f"{sum(lines) / len(lines):.3f} of {len(lines)}" if lines else "none told"
        where = f"{worst.off_u:+.1f} U ({worst.kind} {worst.seed})"
        print(f"{name:34} {len(off):4d}  {inside:.3f}  {where}  {raw:.3f}  {line}  | {dict(left)}")
