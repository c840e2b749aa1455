"""What Windledger costs beside a general library, by command: pytest tests/benchmarks -n 0

The two are run in turn, in the same process and the same minutes, and the best of each is taken: on a machine with
other work only the ratio means something. What runs in this process (one thread, as tests/environment.py sets) is timed
by the processor: a short piece finds a gap between others' work, a long one never does. The ratios stand at the end,
beside what is allowed. No time is asserted.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import pytest

RATIOS = pytest.StashKey[list["Ratio"]]()


@dataclass(frozen=True)
class Ratio:
    """One line of the table: what was measured, against what, how much is allowed."""

    name: str
    ours: str
    against: str
    found: float
    allowed: float

    def __str__(self) -> str:
        verdict = "kept" if self.found <= self.allowed else "NOT KEPT"
        return f"{self.name:34} {self.ours:>10}  {self.against:44} {self.found:5.2f}  {self.allowed:4.1f}  {verdict}"


def pytest_configure(config: pytest.Config) -> None:
    config.stash[RATIOS] = []


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    if config.stash[RATIOS]:
        terminalreporter.section("ratios")
        terminalreporter.write_line(f"{'measured':34} {'ours':>10}  {'against':44} ratio  allowed")
    for ratio in config.stash[RATIOS]:
        terminalreporter.write_line(str(ratio))


@pytest.fixture
def tell(request: pytest.FixtureRequest, benchmark) -> Callable[[Ratio], None]:
    """Keep a ratio for the table at the end, and for --benchmark-json."""

    def kept(ratio: Ratio) -> None:
        request.config.stash[RATIOS].append(ratio)
        benchmark.extra_info[ratio.name] = {"ratio": ratio.found, "allowed": ratio.allowed, "against": ratio.against}

    return kept


@pytest.fixture
def beside(request: pytest.FixtureRequest, benchmark, tell) -> Callable[..., None]:
    """Run ours and what it is held against in turn; `times` as much work is expected of ours."""
    marker = request.node.get_closest_marker("benchmark")
    clock = marker.kwargs["timer"] if marker else time.perf_counter

    def run(
        name: str,
        ours: Callable[[], object],
        theirs: Callable[[], object],
        *,
        against: str,
        allowed: float,
        rounds: int = 15,
        times: float = 1.0,
    ) -> None:
        others: list[float] = []

        def other() -> None:  # before every round of ours, outside of its time
            began = clock()
            theirs()
            others.append(clock() - began)

        ours()
        benchmark.pedantic(ours, setup=other, rounds=rounds, iterations=1)
        best, other_best = benchmark.stats.stats.min, min(others)
        tell(
            Ratio(
                name,
                f"{1e3 * best:.1f} ms",
                f"{against}: {1e3 * other_best:.1f} ms",
                best / (times * other_best),
                allowed,
            )
        )

    return run
