"""Networks for the tests of pooling: published ones, and simulated ones whose truth is known."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.core.pool.arms import Arms, arms_of

HERE = Path(__file__).parents[3] / "references" / "networks"


def table(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def arms(rows: list[tuple[str, str, float, float]]) -> Arms:
    """Study, product, value and error; every study its own rider."""
    study, product, value, error = zip(*rows, strict=True)
    return arms_of(study, study, product, np.array(value), np.array(error))


def senn() -> Arms:
    return arms(
        [
            (r["study"], r["treatment"], float(r["mi"]), float(r["sdi"]) / math.sqrt(float(r["ni"])))
            for r in table("nma_senn2013_arms.csv")
        ]
    )


def log_odds(events: float, others: float) -> tuple[float, float]:
    return math.log(events / others), math.sqrt(1 / events + 1 / others)


def smoking() -> Arms:
    """With one half added to every cell of every arm, as the published figures have it."""
    rows = []
    for r in table("nma_smoking_arms.csv"):
        events, all_of = float(r["xi"]), float(r["ni"])
        rows.append((r["study"], r["trt"], *log_odds(events + 0.5, all_of - events + 0.5)))
    return arms(rows)


def bcg() -> Arms:
    """Log risks: the variance of a log risk is 1/cases - 1/all."""
    rows = []
    for r in table("bcg.csv"):
        for product, cases, rest in (("vaccine", "tpos", "tneg"), ("none", "cpos", "cneg")):
            a, b = float(r[cases]), float(r[rest])
            rows.append((r["trial"], product, math.log(a / (a + b)), math.sqrt(1 / a - 1 / (a + b))))
    return arms(rows)


def pairs(values: list[float], variances: list[float]) -> Arms:
    """Published contrasts: half of each variance to either arm, which no figure of two-arm studies can tell."""
    rows = []
    for number, (value, variance) in enumerate(zip(values, variances, strict=True)):
        error = math.sqrt(variance / 2)
        rows += [(str(number), "taught", value, error), (str(number), "not", 0.0, error)]
    return arms(rows)


def expectancy() -> Arms:
    rows = table("raudenbush1985.csv")
    return pairs([float(r["yi"]) for r in rows], [float(r["vi"]) for r in rows])


def clasp() -> Arms:
    """Six trials of DerSimonian & Kacker (2007), table 3: events and numbers under treatment and control."""
    n1, n2 = (156, 303, 565, 1570, 103, 4659), (74, 303, 477, 1565, 105, 4650)
    e1, e2 = (5, 5, 12, 69, 9, 313), (8, 17, 9, 94, 11, 352)
    rows = []
    for number, (a, n, c, m) in enumerate(zip(e1, n1, e2, n2, strict=True)):
        rows += [(str(number), "aspirin", *log_odds(a, n - a)), (str(number), "placebo", *log_odds(c, m - c))]
    return arms(rows)


def simulated(
    seed: int, *, riders: int = 12, sessions: int = 1, products: int = 5, own: int | None = None, tau: float = 1.0
) -> Arms:
    """Sessions of two to four products each; product k has the true effect k / 2; levels differ by far."""
    rng = np.random.default_rng(seed)
    rows = []
    for rider in range(riders):
        departure = rng.normal(0, tau / math.sqrt(2), products)
        mine = rng.permutation(products)[: own or products]
        for session in range(sessions):
            level = rng.normal(0, 50)
            for product in rng.permutation(mine)[: rng.integers(2, 5)]:
                error = rng.uniform(0.3, 1.5)
                value = level + product / 2 + departure[product] + rng.normal(0, error)
                rows.append((rider * sessions + session, rider, product, value, error))
    data = np.array(rows)
    study, rider, product = data[:, :3].astype(np.int64).T
    return Arms(study, rider, product, data[:, 3], data[:, 4], tuple(f"product {k}" for k in range(products)))


def shuffled(given: Arms, rng: np.random.Generator) -> Arms:
    return given.take(rng.permutation(given.study.size))


def relabelled(given: Arms, rng: np.random.Generator) -> Arms:
    """The same arms; products, studies and riders numbered anew, product names kept with their product."""
    new = rng.permutation(len(given.products))
    names = [""] * new.size
    for old, name in enumerate(given.products):
        names[new[old]] = name
    study, rider = (rng.permutation(int(codes.max()) + 1)[codes] for codes in (given.study, given.rider))
    return replace(given, study=study, rider=rider, product=new[given.product], products=tuple(names))
