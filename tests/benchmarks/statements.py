"""How often a statement about a part is true, in simulated campaigns whose truth is known.

It has its own parts, rig, measurement and people, and takes from tautlog nothing but the summary
that a record gives and the campaign's frozen objects. A statement that a share R of the parts
stands a load is true if the share of the true distribution above that load is R or more. Of the
campaigns whose parts are just not good enough, or just good enough, at most 1 - C may end in a
statement that is false.

    python tests/benchmarks/statements.py --campaigns 2000 --seed 1
"""

import argparse
import math
import random
import statistics
from collections import Counter
from pathlib import Path

from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.qualification import Qualification
from tautlog.campaign.requirement import Requirement
from tautlog.campaign.sections import Article
from tautlog.model.trace import DropSetup
from tautlog.qualify.statement import statement_of

U = 0.03  # relative expanded uncertainty (k = 2) of a measured peak, most of it the scale's
FINE_U = 0.002  # of a rig that hardly exceeds the target: else its margin hides what is asked


def weibull(rng, shape, scale):
    return scale * (-math.log(rng.random())) ** (1.0 / shape)


class Parts:
    """The true strengths of all parts: Weibull or normal."""

    def __init__(self, kind, middle_n, spread):
        self.kind, self.middle_n, self.spread = kind, middle_n, spread
        if kind == "weibull":
            self.shape = 1.2 / spread  # about that coefficient of variation
            self.scale_n = middle_n / math.log(2.0) ** (1.0 / self.shape)

    def one(self, rng):
        if self.kind == "weibull":
            return weibull(rng, self.shape, self.scale_n)
        return rng.gauss(self.middle_n, self.spread * self.middle_n)

    def share_above(self, load_n):
        if self.kind == "weibull":
            return math.exp(-((load_n / self.scale_n) ** self.shape))
        return 1.0 - statistics.NormalDist(self.middle_n, self.spread * self.middle_n).cdf(load_n)

    def load_of(self, share):
        """Load that this share stands."""
        if self.kind == "weibull":
            return self.scale_n * (-math.log(share)) ** (1.0 / self.shape)
        return statistics.NormalDist(self.middle_n, self.spread * self.middle_n).inv_cdf(1 - share)


class Rig:
    """Drops articles. Its scale is wrong by the same share all campaign long."""

    def __init__(self, rng, u=U):
        self.rng, self.u, self.scale = rng, u, 1.0 + rng.gauss(0.0, u / 2.0)
        self.drops = []

    def drop(self, article, strength_n, aimed_n, target_n, limit_n):
        """Drop once; False if the article gave way."""
        true_n = aimed_n * (1.0 + self.rng.gauss(0.0, self.u / 4.0))
        stood = strength_n > true_n
        peak_n = min(true_n, strength_n) * self.scale
        low_n, high_n = peak_n * (1.0 - self.u), peak_n * (1.0 + self.u)
        load = "unproven"
        if low_n >= target_n:
            load = "on-target" if high_n <= limit_n else "possible-overload"
        elif high_n < target_n:
            load = "under"
        verdict = "pass" if stood and low_n >= target_n else "no-test" if stood else "fail"
        number = len(self.drops)
        self.drops.append(
            RecordSummary(
                f"drop-{number:04d}.h5",
                utc=f"2026-03-01T10:00:{number % 60:02d}Z",
                status="complete",
                article=article,
                target_n=target_n,
                peak_force_n=peak_n,
                peak_force_expanded_u_n=self.u * peak_n,
                record_verdict="valid",
                load_verdict=load,
                trace_says="held" if stood else "let-go",
                test_verdict=verdict,
                found="intact" if stood else "parted",
                decided=verdict,
                decided_by="A. Rigger",
            )
        )
        return stood


def campaign_of(names, target_n, limit_n, asked):
    return Campaign(
        Path("campaign.toml"),
        "simulated",
        setup=DropSetup(target_n=target_n, limit_n=limit_n),
        requirement=Requirement(target_n=target_n, limit_n=limit_n),
        articles=tuple(Article(name, version="A") for name in names),
        qualification=asked,
    )


def stands(rng, parts, asked, edge):
    """Each article is dropped at the target until the load is proven, at most three times."""
    target_n = parts.load_of(asked.reliability) * (1.0 + edge)
    limit_n = 1.15 * target_n
    rig, names = Rig(rng, FINE_U), [f"a{number}" for number in range(asked.articles)]
    for name in names:
        strength_n = parts.one(rng)
        for _ in range(3):
            stood = rig.drop(name, strength_n, 1.003 * target_n, target_n, limit_n)
            if not stood or rig.drops[-1].decided == "pass":
                break
    found = statement_of(campaign_of(names, target_n, limit_n, asked), rig.drops)
    return found, parts.share_above(target_n) >= asked.reliability


def strength(rng, parts, asked, highest):
    """Each article climbs in steps until it breaks or the rig's highest load is done."""
    top_n = parts.load_of(1.0 - highest) if highest < 1.0 else math.inf
    rig, names = Rig(rng), [f"a{number}" for number in range(asked.articles)]
    target_n = 0.2 * parts.middle_n
    for name in names:
        strength_n = parts.one(rng)
        # A rig's steps are coarse: a break shows the true strength, a hold only its step.
        for share in (0.5, 0.7, 0.85, 1.0, 1.15, 1.3, 1.6):
            aimed_n = min(share * parts.middle_n, top_n)
            if not rig.drop(name, strength_n, aimed_n, target_n, 1e9) or aimed_n == top_n:
                break
    found = statement_of(campaign_of(names, target_n, 1e9, asked), rig.drops)
    true = (
        found.claim.load_n is not None
        and parts.share_above(found.claim.load_n) >= asked.reliability
    )
    return found, true


def trials(kind, campaigns, seed):
    """Run one kind of campaign: number made, number false."""
    counts = Counter()
    for number in range(campaigns):
        rng = random.Random(f"{seed} {kind} {number}")
        run, asked, spread, distribution, edge = KINDS[kind]
        found, true = run(rng, Parts(distribution, 3000.0, spread), asked, edge)
        counts["made"] += found.made
        counts["false"] += found.made and not true
        counts[next(iter(found.why_not), "")] += not found.made
    return counts


def _stands(reliability, confidence, articles, allowed=0):
    return Qualification(
        reliability=reliability,
        confidence=confidence,
        articles=articles,
        failures_allowed=allowed,
    )


def _strength(articles, distribution, reliability=0.9, confidence=0.95):
    return Qualification(
        claim="strength",
        reliability=reliability,
        confidence=confidence,
        articles=articles,
        distribution=distribution,
    )


# Run, what is asked, spread of the parts, their distribution, and the edge: how far the target
# lies above what the wanted share stands; for strengths, the share that the rig can break.
KINDS = {
    "22 of 22 stand, just not good enough": (stands, _stands(0.9, 0.9, 22), 0.08, "weibull", 1e-6),
    "59 of 59 stand, just not good enough": (stands, _stands(0.95, 0.95, 59), 0.08, "normal", 1e-6),
    "37 of 38 stand, just not good enough": (stands, _stands(0.9, 0.9, 38, 1), 0.1, "normal", 1e-6),
    "strength, 6 break, normal": (strength, _strength(6, "normal"), 0.08, "normal", 1.0),
    "strength, 10 break, normal": (strength, _strength(10, "normal"), 0.08, "normal", 1.0),
    "strength, 10 break, A-basis": (strength, _strength(10, "normal", 0.99), 0.05, "normal", 1.0),
    "strength, 6 break, weibull": (strength, _strength(6, "weibull"), 0.08, "weibull", 1.0),
    "strength, 10 break, weibull": (strength, _strength(10, "weibull"), 0.15, "weibull", 1.0),
    "strength, 10, seven tenths break": (strength, _strength(10, "weibull"), 0.1, "weibull", 0.7),
    "strength, 20, half break": (strength, _strength(20, "weibull"), 0.1, "weibull", 0.5),
    "strength, 20, three tenths break": (strength, _strength(20, "weibull"), 0.1, "weibull", 0.3),
}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--campaigns", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    asked = parser.parse_args()
    for kind, (_, wanted, *_rest) in KINDS.items():
        if asked.only not in kind:
            continue
        counts = trials(kind, asked.campaigns, asked.seed)
        made, false = counts.pop("made"), counts.pop("false")
        shown = 100.0 * (1.0 - false / asked.campaigns)
        print(
            f"{kind:40s} made {made:5d} of {asked.campaigns}, not false {shown:6.2f} % "
            f"(wanted {100 * wanted.confidence:g} %), of those made false {false}"
        )
        for why, number in counts.most_common(3):
            if why:
                print(f"    {number:5d} {why[:90]}")


if __name__ == "__main__":
    main()
