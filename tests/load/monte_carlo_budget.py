"""A session's budget against the propagation of distributions: python tests/load/monte_carlo_budget.py [DRAWS]

JCGM 101:2008. Every input of a small session is drawn from the distribution that the budget assumes for it (DESIGN
section 7), the ride is integrated with it, and the whole estimator is the measurement model. The ends of the draws'
95 % coverage interval are held against +-1.96 u of the JCGM 100 budget, u the root mean square over the draws: a tenth
of 1.96 u and twice the draws' own error are allowed. Exits 1 where one is missed.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.core.session import estimate
from analysis.core.simulate.session import simulate_session
from analysis.core.simulate.world import World
from analysis.core.types import Array, Channels, Session, SessionResult

TOLD = World(
    order="ABBAAB", length_m=1200.0, pause_s=180.0, start_scatter_sd_m=4.0, turn_scatter_sd_m=4.0, gust_intensity=0.25,
    wind_mps=2.5, undulation_m=1.0, position_wander_sd_m=2.0, wind_wander_rad=math.radians(10), power_wander_sd=0.003,
)  # fmt: skip
NORMAL = 1.959964  # quantile at 0.975


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Errors of all draws, and the standard uncertainty that each one's budget gives; arrays of shape (draws,)."""

    error_m2: Array
    u_m2: Array

    @property
    def u(self) -> float:
        return float(np.sqrt(np.mean(self.u_m2**2)))

    @property
    def ends(self) -> Array:
        """Ends of the draws' 95 % coverage interval [m2]."""
        return np.asarray(np.quantile(self.error_m2, [0.025, 0.975]))

    @property
    def ends_u(self) -> float:
        """Standard error of an end: of a quantile, normal density 0.0584 at 1.96 [m2]."""
        return float(np.std(self.error_m2)) * math.sqrt(0.025 * 0.975 / self.error_m2.size) / 0.0584

    def agrees(self) -> bool:
        half = NORMAL * self.u
        apart = np.abs(self.ends - half * np.array([-1.0, 1.0]))
        return bool(np.all(apart <= 0.1 * half + 2 * self.ends_u))


def drawn(rng: np.random.Generator) -> tuple[Session, dict[str, float]]:
    """A session of one draw of all inputs, told what the studio believes, and the true drag areas [m2]."""
    world = replace(
        TOLD,
        crr=rng.normal(0.0042, 0.0007),
        mass_kg=rng.normal(TOLD.mass_kg, 0.5),
        drivetrain_efficiency=rng.normal(0.975, 0.005),
        rider_drift_m2_per_hour=rng.normal(0.0, 0.003),
        yaw_drag=rng.normal(0.0, 0.3),
        power_gain=rng.normal(1.0, 0.012),
        power_delay_s=rng.normal(0.0, 0.4),
        airspeed_delay_s=rng.normal(0.0, 0.4),
        gain=rng.uniform(0.9, 1.08),
        gain_by_setup=(0.0, rng.normal(0.0, 0.001)),
        yaw_offset_rad=rng.normal(0.0, math.radians(2)),
        wheel_error=rng.normal(0.0, 0.002),
    )
    session, truth = simulate_session(world, rng)
    density, response = rng.normal(1.0, 0.003), rng.normal(1.0, 0.02)
    runs = tuple(
        replace(r, channels=_sensed(r.channels, density, response)) for r in session.runs if r.channels is not None
    )
    told = replace(session, runs=runs, system_mass_kg=TOLD.mass_kg, drivetrain_efficiency=0.975)
    return told, dict(truth.setup_cda_m2)


def _sensed(c: Channels, density: float, response: float) -> Channels:
    """Weather a little off, and gusts at the sensor that are not quite those at the rider."""
    assert c.pressure_pa is not None
    assert c.airspeed_mps is not None
    mean = np.nanmean(c.airspeed_mps)
    return replace(c, pressure_pa=c.pressure_pa * density, airspeed_mps=mean + response * (c.airspeed_mps - mean))


def propagated(draws: int, seed: int) -> dict[str, Draws]:
    """Errors and uncertainties of the reference's drag area and of the difference over many draws."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(draws):
        session, truth = drawn(rng)
        rows.append(_row(estimate(session), truth))
    area, u_area, difference, u_difference = np.array(rows).T
    return {"drag area": Draws(area, u_area), "difference": Draws(difference, u_difference)}


def _row(result: SessionResult, truth: dict[str, float]) -> tuple[float, float, float, float]:
    """Errors beside root sums of squares of the budget's lines (JCGM 100:2008, eq. 10)."""
    value, delta = result.setups[0].cda_m2, result.comparisons[0].delta_cda_m2
    assert value is not None
    assert delta is not None
    u_area = math.hypot(*(line.on_cda_m2 or 0.0 for line in result.budget))
    u_difference = math.hypot(*(line.on_delta_m2 or 0.0 for line in result.budget))
    return value - truth["A"], u_area, delta - (truth["B"] - truth["A"]), u_difference


def main() -> int:
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    kept = True
    for name, found in propagated(draws, 1).items():
        kept &= found.agrees()
        low, high = 1e4 * found.ends
        print(
            f"{name} (1e-4 m2): draws {low:.1f} and {high:.1f}, mean {1e4 * found.error_m2.mean():.1f}, an end's error"
            f" {1e4 * found.ends_u:.1f}; budget +-{1e4 * NORMAL * found.u:.1f}; SD {1e4 * np.std(found.error_m2):.2f},"
            f" u {1e4 * found.u:.2f}"
        )
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
