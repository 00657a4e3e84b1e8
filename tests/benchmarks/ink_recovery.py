"""Does the calibration find the rates of machines whose rates are known?

    python -m tests.benchmarks.ink_recovery [machines]

Simulated machines print for twelve weeks; once a week every channel is weighed, with 3 % noise.

1. Coverage: true rates are drawn from the prior's own spread; how often the fit's 90 % interval
   holds the truth, per rate. Held to 85–95 %.
2. The same where every true rate is exactly 40 % off its prior.
3. As 1, but neighbouring weeks share a weighing, which the fit takes as independent.
4. Use: the prior alone is 40 % off the true weekly use; error of predicted weekly use after eight
   weeks. Held to a median of 5 %.

All invented; nothing here is a shop's.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from stock.ink.calibrate import ChannelFit, Interval, Use, fit_channel
from stock.ink.mode import PrintMode, Rate, prior_rates

NOISE = 0.03
Z90 = 1.6448536269514722
RATES = ("laydown", "per print", "per day")
FIRST_DAY = date(2025, 1, 6)


@dataclass(frozen=True)
class Truth:
    """True rates of one channel: mL per cm², per print, per day."""

    per_cm2: float
    per_print: float
    per_day: float

    def ml(self, use: Use) -> float:
        """mL a use really takes."""
        area = sum(use.covered_cm2.values())
        return area * self.per_cm2 + use.prints * self.per_print + use.days * self.per_day


def weeks_of_use(rng: np.random.Generator, weeks: int) -> list[Use]:
    """A small shop's weeks: jobs of lognormal size, artwork of lognormal area, some idle days."""
    found = []
    for _ in range(weeks):
        jobs = rng.poisson(12)
        pieces = np.maximum(1, rng.lognormal(1.8, 0.9, jobs)).astype(int)
        areas = rng.lognormal(5.4, 0.6, jobs)
        found.append(Use({"standard": float(pieces @ areas)}, float(pieces.sum()), 0.0, 7.0))
    return found


def intervals_of(
    uses: list[Use], truth: Truth, rng: np.random.Generator, channel: str
) -> list[Interval]:
    """Weekly weighings with noise."""
    found = []
    for week, use in enumerate(uses):
        true_ml = truth.ml(use)
        start = FIRST_DAY + timedelta(weeks=week)
        found.append(
            Interval(
                printer="P1",
                channel=channel,
                source="weigh",
                start=start,
                end=start + timedelta(days=7),
                used_ml=true_ml * (1 + NOISE * rng.standard_normal()),
                used_sd_ml=NOISE * true_ml,
                covered_cm2=use.covered_cm2,
                prints=use.prints,
                days=use.days,
            )
        )
    return found


def weighed_in_a_row(
    uses: list[Use], truth: Truth, rng: np.random.Generator, channel: str
) -> list[Interval]:
    """The same weeks by weighings of ± 2 mL, each the end of one week and the start of the next."""
    error = rng.normal(0, 2.0, len(uses) + 1)
    return [
        replace(
            interval,
            used_ml=truth.ml(use) + error[week] - error[week + 1],
            used_sd_ml=2.0 * 2**0.5,
        )
        for week, (interval, use) in enumerate(
            zip(intervals_of(uses, truth, rng, channel), uses, strict=True)
        )
    ]


def from_prior(prior: Rate, rng: np.random.Generator) -> Truth:
    """A machine as the prior believes they are, none below zero."""

    def draw(mean: float, sd: float) -> float:
        while (value := rng.normal(mean, sd)) <= 0:
            pass
        return float(value)

    return Truth(
        draw(prior.per_cm2_ul, prior.per_cm2_ul_sd) / 1000,
        draw(prior.per_print_ml, prior.per_print_ml_sd),
        draw(prior.per_day_ml, prior.per_day_ml_sd),
    )


def off_by_two_fifths(prior: Rate, rng: np.random.Generator) -> Truth:
    """Every rate 40 % above or below its prior."""
    up, down = 1.4, 0.6
    factor = rng.choice([up, down], 3)
    return Truth(
        prior.per_cm2_ul / 1000 * factor[0],
        prior.per_print_ml * factor[1],
        prior.per_day_ml * factor[2],
    )


def prior_two_fifths_off(prior: Rate, rng: np.random.Generator) -> Truth:
    """All rates such that the prior's weekly use is 40 % too high or too low."""
    factor = 1 / rng.choice([1.4, 0.6])
    return Truth(
        prior.per_cm2_ul / 1000 * factor, prior.per_print_ml * factor, prior.per_day_ml * factor
    )


def covered(fit: ChannelFit, truth: Truth) -> np.ndarray:
    """Whether the 90 % interval of each rate holds the truth."""
    rate = fit.rate("standard")
    found = np.array([rate.per_cm2_ul / 1000, rate.per_print_ml, rate.per_day_ml])
    sd = np.array([rate.per_cm2_ul_sd / 1000, rate.per_print_ml_sd, rate.per_day_ml_sd])
    true = np.array([truth.per_cm2, truth.per_print, truth.per_day])
    return np.abs(found - true) <= Z90 * sd


def coverage(
    machines: int,
    make: Callable[[Rate, np.random.Generator], Truth],
    seed: int,
    weeks: int = 12,
    look: Callable[..., list[Interval]] = intervals_of,
) -> dict[str, np.ndarray]:
    """Share of machines whose 90 % interval holds the truth, by channel and rate."""
    found = {}
    for channel in ("K", "W"):
        prior = prior_rates(PrintMode())[channel]
        hits = []
        for machine in range(machines):
            rng = np.random.default_rng([seed, machine])
            truth = make(prior, rng)
            intervals = look(weeks_of_use(rng, weeks), truth, rng, channel)
            hits.append(covered(fit_channel(intervals, {"standard": prior}), truth))
        found[channel] = np.mean(hits, axis=0)
    return found


def weekly_use_errors(machines: int, seed: int, weeks: int = 8) -> dict[str, np.ndarray]:
    """(prior's, fit's) relative error of the next weeks' use, by channel: machines × 2."""
    found = {}
    for channel in ("K", "W"):
        prior = prior_rates(PrintMode())[channel]
        errors = []
        for machine in range(machines):
            rng = np.random.default_rng([seed, machine])
            truth = prior_two_fifths_off(prior, rng)
            uses = weeks_of_use(rng, weeks + 4)
            intervals = intervals_of(uses[:weeks], truth, rng, channel)
            fit = fit_channel(intervals, {"standard": prior})
            true = np.array([truth.ml(use) for use in uses[weeks:]])
            before = np.array([fit.prior.expected_ml(use) for use in uses[weeks:]])
            after = np.array([fit.belief.expected_ml(use) for use in uses[weeks:]])
            errors.append([np.mean(np.abs(before / true - 1)), np.mean(np.abs(after / true - 1))])
        found[channel] = np.array(errors)
    return found


def main(machines: int = 200) -> None:
    """Print the tables."""
    for title, make, look in (
        (f"true rates drawn from the prior, noise {NOISE:.0%}", from_prior, intervals_of),
        (f"every true rate 40 % off its prior, noise {NOISE:.0%}", off_by_two_fifths, intervals_of),
        ("drawn from the prior, weighings of ± 2 mL in a row", from_prior, weighed_in_a_row),
    ):
        print(f"\n90 % intervals, {title}: {machines} machines, 12 weeks")
        print(f"  {'channel':8}" + "".join(f"{name:>12}" for name in RATES))
        for channel, shares in coverage(machines, make, seed=11, look=look).items():
            print(f"  {channel:8}" + "".join(f"{share:12.1%}" for share in shares))
    print(f"\nError of predicted weekly use after 8 weeks: {machines} machines")
    print(f"  {'channel':8}{'prior':>12}{'fit median':>12}{'fit 90 %':>12}")
    for channel, errors in weekly_use_errors(machines, seed=12).items():
        prior, fit = errors.T
        print(
            f"  {channel:8}{np.median(prior):12.1%}{np.median(fit):12.1%}"
            f"{np.quantile(fit, 0.9):12.1%}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
