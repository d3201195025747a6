"""How often the intervals hold the truth, and how often verdicts err, on simulated sets.

    python tests/benchmarks/variation_coverage.py --sets 2000

prints the tables of DEVELOPERS.md (about ten minutes on one core; --sets 200 for a look). A cell of
the first is the percentage of sets whose 95 % interval holds the true value; with 2,000 sets its
own standard error is about 0.5. Verdicts take a quarter as many sets.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping

import numpy as np

from imu.types import FloatArray
from imu.variation.intervals import (
    chi_square_sd_interval,
    column_sd,
    kurtosis,
    mean_interval,
    robust_sd,
    robust_sd_interval,
    sd_freedom,
    sd_interval,
)
from imu.variation.limits import Limits
from imu.variation.sd_ratio import SdRatio, sd_ratio
from imu.variation.shift import holm, welch_shift
from imu.variation.verdict import DOES_NOT_HOLD, HOLDS, Evidence, Verdict, judge

Draw = Callable[[np.random.Generator, tuple[int, ...]], FloatArray]
SIZES = (5, 8, 10, 20, 40, 60)
SEED = 20_240_611


def _skewed(generator: np.random.Generator, size: tuple[int, ...]) -> FloatArray:
    return (generator.gamma(4.0, 1.0, size) - 4.0) / 2.0


def _very_skewed(generator: np.random.Generator, size: tuple[int, ...]) -> FloatArray:
    sigma = 0.5
    mean = np.exp(sigma**2 / 2)
    sd = mean * np.sqrt(np.exp(sigma**2) - 1)
    return (np.exp(sigma * generator.standard_normal(size)) - mean) / sd


def _wild(times: float) -> Draw:
    def draw(generator: np.random.Generator, size: tuple[int, ...]) -> FloatArray:
        values = generator.standard_normal(size)
        values[generator.random(size) < 0.05] *= times
        return values / np.sqrt(0.95 + 0.05 * times**2)

    return draw


SHAPES: Mapping[str, Draw] = {
    "normal": lambda generator, size: generator.standard_normal(size),
    "skewed (gamma, skewness 1)": _skewed,
    "very skewed (lognormal, 1.75)": _very_skewed,
    "5 % of swings 3 × as wild": _wild(3.0),
    "5 % of swings 5 × as wild": _wild(5.0),
}
"""All of mean 0 and SD 1."""


def held(low: FloatArray, high: FloatArray, truth: float) -> float:
    """Percentage of intervals that hold the truth."""
    return 100 * float(np.mean((low <= truth) & (truth <= high)))


def coverage(shape: str, size: int, sets: int) -> dict[str, float]:
    """Percentages for every kind of interval; sets of ``size`` swings from one shape."""
    draw = SHAPES[shape]
    generator = np.random.default_rng([SEED, size, list(SHAPES).index(shape)])
    # 2001 swings a column, 300 columns: the population’s usual SD to a part in a thousand.
    usual = float(np.mean(robust_sd(draw(generator, (2001, 300)))))
    a, b = draw(generator, (size, sets)), draw(generator, (size, sets))
    found = {
        "mean": held(*mean_interval(a), 0.0),
        "SD, chi-square": held(*chi_square_sd_interval(column_sd(a), size), 1.0),
        "SD": held(*sd_interval(a), 1.0),
        "usual SD": held(*robust_sd_interval(a), usual),
    }
    shift, ratio, bootstrap, classical = [], [], [], []
    for column in range(sets):
        first, second = a[:, column].copy(), b[:, column].copy()
        shift.append(0.0 in welch_shift(first, second).difference)
        one = sd_ratio(first, second, seed=column % 8)
        ratio.append(1.0 in one.ratio)
        bootstrap.append(1.0 in one.bootstrap)
        classical.append(1.0 in one.classical)
    found["difference of means"] = 100 * float(np.mean(shift))
    found["SD ratio, F"] = 100 * float(np.mean(classical))
    found["SD ratio, BCa"] = 100 * float(np.mean(bootstrap))
    found["SD ratio"] = 100 * float(np.mean(ratio))
    return found


def one_verdict(
    first: FloatArray, second: FloatArray, ratio: SdRatio, limits: Limits, p: float
) -> Verdict:
    """The verdict on one metric; p of the ratio, as adjusted."""
    return judge(
        Evidence(
            sd_ratio=ratio.ratio,
            sd_ratio_p=p,
            shift=welch_shift(first, second).difference,
            largest_shift=limits.largest_shift("", float(first.std(ddof=1))),
            largest_shift_se=limits.largest_shift_se(
                "", float(first.std(ddof=1)), float(sd_freedom(first))
            ),
            sd_a=float(first.std(ddof=1)),
            kurtosis=float(max(kurtosis(first), kurtosis(second))),
            count=min(len(first), len(second)),
        ),
        limits,
    )


def verdict_rates(
    shape: str, size: int, sets: int, ratio: float, shift: float = 0.0
) -> tuple[float, float]:
    """Percentages of "holds" and "does not hold" for one metric, B's SD and mean being changed."""
    generator = np.random.default_rng([SEED + 1, size, round(100 * ratio), round(100 * shift)])
    limits = Limits()
    words = []
    for _ in range(sets):
        first = SHAPES[shape](generator, (size,))
        second = shift + ratio * SHAPES[shape](generator, (size,))
        found = sd_ratio(first, second, seed=1)
        words.append(one_verdict(first, second, found, limits, found.p).word)
    return 100 * words.count(HOLDS) / sets, 100 * words.count(DOES_NOT_HOLD) / sets


def family_rates(shape: str, size: int, sets: int, metrics: int = 12) -> tuple[float, float]:
    """Nothing changed, twelve independent metrics: percentage of comparisons in which any metric
    alone "does not hold", and in which it still does after Holm's adjustment."""
    generator = np.random.default_rng([SEED + 2, size])
    limits, alone, adjusted = Limits(), 0, 0
    for _ in range(sets):
        pairs = [
            (SHAPES[shape](generator, (size,)), SHAPES[shape](generator, (size,)))
            for _ in range(metrics)
        ]
        ratios = [sd_ratio(*pair, seed=1) for pair in pairs]
        adjusted_p = holm([ratio.p for ratio in ratios])
        found = [
            one_verdict(*pair, ratio, limits, float(p))
            for pair, ratio, p in zip(pairs, ratios, adjusted_p, strict=True)
        ]
        against = [one for one in found if one.word == DOES_NOT_HOLD]
        alone += bool(against)
        adjusted += any(not one.alone for one in against)
    return 100 * alone / sets, 100 * adjusted / sets


def print_coverage(sets: int) -> None:
    """The table of coverage, in Markdown."""
    heading: list[str] = []
    for shape in SHAPES:
        for size in SIZES:
            row = coverage(shape, size, sets)
            if not heading:
                heading = list(row)
                print(f"| shape | n | {' | '.join(heading)} |")
                print("|---|---|" + "---|" * len(heading))
            cells = " | ".join(f"{value:.1f}" for value in row.values())
            print(f"| {shape} | {size} | {cells} |", flush=True)


def print_verdicts(sets: int) -> None:
    """The table of verdicts, in Markdown."""
    print("| shape | n | truth | holds | does not hold |")
    print("|---|---|---|---|---|")
    cases = (
        ("nothing changed", 1.0, 0.0),
        ("spread 1.5 times (the limit)", 1.5, 0.0),
        ("spread 2 times", 2.0, 0.0),
        ("mean moved by 1 SD (the limit)", 1.0, 1.0),
    )
    for shape in ("normal", "skewed (gamma, skewness 1)", "5 % of swings 3 × as wild"):
        for size in (8, 20, 40, 60):
            for said, ratio, shift in cases:
                holds, fails = verdict_rates(shape, size, sets, ratio, shift)
                print(f"| {shape} | {size} | {said} | {holds:.1f} | {fails:.1f} |", flush=True)
    print()
    print("| twelve metrics, nothing changed, n | any alone | any after Holm |")
    print("|---|---|---|")
    for size in (10, 20, 40):
        alone, adjusted = family_rates("normal", size, max(sets // 2, 20))
        print(f"| {size} | {alone:.1f} | {adjusted:.1f} |", flush=True)


def main() -> None:
    """Both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sets", type=int, default=2000, help="simulated sets a cell")
    options = parser.parse_args()
    print_coverage(options.sets)
    print()
    print_verdicts(max(options.sets // 4, 1))


if __name__ == "__main__":
    main()
