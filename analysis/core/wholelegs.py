"""Without an air-speed sensor: whole legs of an out and back, or sectors of a lap, under one wandering wind.

Inside a leg a gust slows the rider, so that speed and wind go together; only sums over whole legs are used.
The wind along the course is unknown on every leg, tied to its neighbours by how fast winds wander, and comes
out of the closed path together with the drag areas; the interval widens by what the wind may have done.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import cho_solve, solve_triangular

from analysis.core import leastsquares
from analysis.core.airsensor import sectors, wander
from analysis.core.altimeter import heights_by_altimeter
from analysis.core.balance import CRR_CHANGE_SD, CRR_SD, POWER_GAIN_SD, Balance
from analysis.core.course import MARK_WINDOW_M, Layout
from analysis.core.gusts import Gusts
from analysis.core.samples import Samples
from analysis.core.stretches import Stretches, add_up
from analysis.core.types import Array, IntArray

WIND_SD_MPS = 5.0  # prior of each component of the mean wind
GUST_SHARE, GUST_TIME_S = 0.25, 4.0  # of the mean wind; near the ground (common practice, no source)
# Of the wind across the course, which no leg of an out and back feels: as it turns, it is felt along
SIDES_MPS, SIDE_SD_MPS = (0.0, 1.0, 2.0, 3.0, 4.0, 5.0), 2.5  # (common practice, no source)
WITHIN_LEG_MPS = 0.1  # how far the mean wind of a leg strays from the one in its middle
ROUNDS = 12


class NoLegs(ValueError):
    """No leg of any run is whole: samples are missing on every one."""


@dataclass(frozen=True, slots=True, eq=False)
class Wind:
    """What whole legs say of the wind."""

    headwind_mps: Array  # on every row, positive against the rider
    mean_mps: float  # strength along the course (out and back) or altogether (laps)
    crosswind_share: float  # of the drag: what an unseen wind from the side may have added, corrected for
    crosswind_u: float  # its standard uncertainty, relative


def coarse(layout: Layout) -> Layout:
    """The same course with only the marks that whole legs or sectors need.

    Parameters
    ----------
    layout : Layout
        With the marks of short stretches [m].

    Returns
    -------
    Layout
        With two marks, or those of the sectors of a lap [m].
    """
    marks = layout.marks_m
    if layout.closed:
        return replace(layout, marks_m=np.linspace(marks[0], marks[-1], sectors(float(marks[-1] - marks[0])) + 1))
    # a leg lost costs more than a few metres of all legs: shorten the course to what every whole pass covers
    ends = np.array([[p.along_m.min() + MARK_WINDOW_M, p.along_m.max() - MARK_WINDOW_M] for p in layout.passes])
    whole = np.ptp(ends, axis=1) > 0.8 * (marks[-1] - marks[0])
    low = max(float(marks[0]), float(ends[whole, 0].max(initial=marks[0])) + 0.1)
    high = min(float(marks[-1]), float(ends[whole, 1].min(initial=marks[-1])) - 0.1)
    return replace(layout, marks_m=np.array([low, high]))


def solve(
    runs: list[Samples],
    layout: Layout,
    tyre_state: IntArray,
    *,
    crr: float,
    efficiency: float,
    spin_mass_kg: float,
    power_noise: float,
) -> tuple[Stretches, Balance, Wind]:
    """Drag areas of all runs and the wind on every leg, by Gauss-Newton.

    Parameters
    ----------
    runs : list of Samples
        Prepared samples of the usable runs [1].
    layout : Layout
        From `coarse` [m].
    tyre_state : ndarray, shape (runs,)
        Which tyres and pressures each run rode on, 0 the reference's [1].
    crr : float
        Assumed rolling resistance [1].
    efficiency : float
        Of the drivetrain [1].
    spin_mass_kg : float
        Wheel inertia over the squared wheel radius [kg].
    power_noise : float
        White noise of one second's power, relative [1].

    Returns
    -------
    tuple of Stretches, Balance and Wind
        Sums of whole legs, drag areas [m2], wind [m/s].

    Raises
    ------
    NoLegs
        Where no leg is whole.
    """
    still = [replace(r, air_mps=None, yaw_rad=np.zeros(r.yaw_rad.size)) for r in runs]
    rows = add_up(still, layout, efficiency, spin_mass_kg)
    usable = (rows.missing_s < 0.05 * rows.duration_s + 1.0) & np.isfinite(rows.energy_j + rows.area_j_m2)
    usable &= (rows.length_m > 50.0) & (rows.area_j_m2 > 0.0)
    if not usable.any():
        raise NoLegs
    rows = rows.where(usable)
    heading = headings(runs, layout, rows)
    system = _Legs(rows, heading, tyre_state, layout, crr=crr, power_noise=power_noise)
    return system.solve()


def headings(runs: list[Samples], layout: Layout, rows: Stretches) -> Array:
    """Mean direction of travel on every row: from satellites, else out is one way and back the other.

    Parameters
    ----------
    runs : list of Samples
        Prepared samples [1].
    layout : Layout
        Passes and marks [m].
    rows : Stretches
        Sums [1].

    Returns
    -------
    ndarray, shape (n, 2)
        East and north, shorter than one where the row bends; zero where nothing is known [1].
    """
    out = np.zeros((rows.run.size, 2))
    for i in range(rows.run.size):
        r = runs[int(rows.run[i])]
        if r.east_m is None or r.north_m is None:
            out[i] = (0.0, 0.0) if layout.closed else (rows.direction[i], 0.0)
            continue
        own = (
            (r.time_s >= rows.begin_s[i])
            & (r.time_s <= rows.begin_s[i] + rows.duration_s[i])
            & np.isfinite(r.east_m + r.north_m)
        )
        e, n = r.east_m[own], r.north_m[own]
        if e.size >= 2:
            step = np.array([e[-1] - e[0], n[-1] - n[0]])
            size = float(rows.length_m[i]) if layout.closed else float(np.hypot(*step))
            out[i] = step / max(size, 1e-6)
    return out


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """A solution for one wind across the course, and how likely that wind is."""

    theta: Array
    covariance: Array
    headwind: Array
    wind: Array
    log_evidence: float


class _Legs:
    """Unknown: drag areas, rolling resistance, heights; the headwind of every row is eliminated."""

    def __init__(
        self, rows: Stretches, heading: Array, tyre_state: IntArray, layout: Layout, *, crr: float, power_noise: float
    ) -> None:
        self.rows, self.heading, self.crr0, self.power_noise = rows, heading, crr, power_noise
        self.runs, self.groups = tyre_state.size, int(tyre_state.max()) + 1
        marks = layout.marks_m.size
        self.round = layout.closed and bool(np.ptp(heading[:, 0]) > 0.5 and np.ptp(heading[:, 1]) > 0.5)
        self.nodes = marks - 1 if layout.closed else marks
        n, run = rows.run.size, rows.run.astype(int)
        at = np.arange(n)
        self.fixed = np.zeros((n, self.groups + self.nodes))
        self.fixed[at, 0] = rows.rolling_j
        state = tyre_state[run].astype(int)
        self.fixed[at[state > 0], state[state > 0]] = rows.rolling_j[state > 0]
        first = rows.place.astype(int)
        last = np.mod(first + 1, self.nodes) if layout.closed else first + 1
        lift = rows.weight_n * rows.direction
        np.add.at(self.fixed, (at, self.groups + last), lift)
        np.add.at(self.fixed, (at, self.groups + first), -lift)
        heights, sd = heights_by_altimeter(rows, self.nodes, layout.closed)
        self.prior = np.concatenate([[crr], np.zeros(self.groups - 1), heights])
        self.prior_sd = np.concatenate([[CRR_SD], np.full(self.groups - 1, CRR_CHANGE_SD), sd])
        self.middle = rows.begin_s + 0.5 * rows.duration_s
        # X of a headwind h is x0 + h x1 + h^2 x2, with the row's mean speed and density folded in
        self.x0, self.x2 = rows.area_j_m2, rows.area_j_m2 * (rows.duration_s / rows.length_m) ** 2
        self.x1 = 2.0 * rows.area_j_m2 * rows.duration_s / rows.length_m

    def solve(self) -> tuple[Stretches, Balance, Wind]:
        if self.rows.run.size == 0:  # nothing whole is left: no figure, and the session says so
            unknown = np.eye(self.runs + self.groups)
            nothing = Balance(
                np.full(self.runs, 0.25), np.full(self.groups, self.crr0), unknown, np.ones(self.runs), {},
                np.zeros(0, dtype=bool), np.zeros(0), 1.0, np.zeros(self.nodes), np.zeros(2), np.zeros(2),
            )  # fmt: skip
            return self.rows, nothing, Wind(np.zeros(0), 0.0, 0.0, 0.0)
        sides = (0.0,) if self.round else SIDES_MPS
        found = [self._blown(side) for side in sides]
        share = np.array(
            [one.log_evidence - 0.5 * (side / SIDE_SD_MPS) ** 2 for one, side in zip(found, sides, strict=True)]
        )
        share = np.exp(share - share.max()) / np.exp(share - share.max()).sum()
        theta, headwind, wind = (
            np.asarray(sum(w * getattr(one, name) for w, one in zip(share, found, strict=True)))
            for name in ("theta", "headwind", "wind")
        )
        covariance = np.asarray(
            sum(
                w * (one.covariance + np.outer(one.theta - theta, one.theta - theta))
                for w, one in zip(share, found, strict=True)
            )
        )
        return self.rows, self._balance(theta, covariance), self._wind(headwind, wind)

    def _blown(self, across_mps: float) -> _Found:
        """The solution for one wind across the course, of which nothing is seen but how its turning is felt along."""
        n, run = self.rows.run.size, self.rows.run.astype(int)
        drag, headwind, wind = np.full(self.runs, 0.25), np.zeros(n), np.zeros(2)
        theta = np.concatenate([drag, self.prior])
        for _ in range(ROUNDS):
            spread = GUST_SHARE * float(np.hypot(np.hypot(*wind), across_mps))
            gusts = Gusts(0.0, max(spread, 0.15), GUST_TIME_S)
            inside = gusts.mean_covariance(self.rows.begin_s, self.rows.begin_s + self.rows.duration_s)
            calm = _Lagged(self.heading, self.middle, _with_side(wind, self.heading, across_mps), inside)
            side = self.heading @ np.array([[0.0, 1.0], [-1.0, 0.0]]) @ wind if self.round else np.zeros(n)
            x = self.x0 + headwind * self.x1 + (headwind**2 + spread**2 + 0.5 * (side**2 + spread**2)) * self.x2
            lean = theta[run] * (self.x1 + 2.0 * headwind * self.x2)
            design = np.hstack([np.zeros((n, self.runs)), self.fixed])
            design[np.arange(n), run] = x
            noise = np.diag(self._white(theta[run])) + lean[:, None] * calm.covariance * lean[None, :]
            target = self.rows.energy_j + lean * headwind
            low = np.linalg.cholesky(noise)
            white = solve_triangular(low, np.column_stack([design, target]), lower=True, check_finite=False)
            mean = np.concatenate([np.full(self.runs, 0.25), self.prior])
            sd = np.concatenate([np.ones(self.runs), self.prior_sd])
            found = leastsquares.solve(white[:, :-1], white[:, -1], mean, sd)
            theta = found.theta
            theta[: self.runs] = np.clip(theta[: self.runs], 0.05, 1.0)
            rest = cho_solve((low, True), target - design @ theta)
            # only the smooth wind: gusts of single rows are fitted from the rows' own errors, and would tilt the system
            headwind = calm.smooth @ (lean * rest)
            headwind = np.clip(headwind, -15.0, 15.0)
            wind = calm.mean(lean * rest)
        evidence = -0.5 * (found.squares + found.log_information) - float(np.sum(np.log(np.diag(low))))
        return _Found(theta, found.covariance, headwind, wind, evidence)

    def _white(self, drag: Array) -> Array:
        del drag
        return np.asarray(
            self.power_noise**2 * self.rows.power_square
            + 0.02**2 * (self.rows.speed_gain**2 + self.rows.speed_gain_end**2)
            + 100.0
        )

    def _wind(self, headwind: Array, wind: Array) -> Wind:
        along = float(np.hypot(*wind))
        speed = self.rows.length_m / self.rows.duration_s
        # nothing senses the wind from the side: taken as strong as the one along, and as uncertain as it is large
        side = 0.0 if self.round else (along**2 + 1.0 if self.heading.any() else 9.0)
        share = 0.5 * side / float(np.mean((speed + headwind) ** 2))
        return Wind(headwind, along, share, share)

    def _balance(self, theta: Array, inverse: Array) -> Balance:
        r, g = self.runs, self.groups
        turn = np.eye(r + g)
        turn[r + 1 :, r] = 1.0
        rho = theta[r : r + g].copy()
        rho[1:] += rho[0]
        run = self.rows.run.astype(int)
        used = np.ones(run.size, dtype=bool)
        told = turn @ inverse[: r + g]
        work = np.bincount(run, self.rows.work_j, r) / np.maximum(np.bincount(run, self.x0, r), 1e-9)
        gain = np.concatenate([POWER_GAIN_SD * work, np.zeros(g)])[:, None]  # power meter and drivetrain, unseen here
        reach = {"rolling resistance": told[:, r : r + g] / self.prior_sd[:g], "power meter gain": gain}
        covariance = told[:, : r + g] @ turn.T
        own = np.diag(covariance)[:r] - np.sum(reach["rolling resistance"][:r] ** 2, axis=1)
        return Balance(
            theta[:r], rho, covariance + gain @ gain.T, own, reach, used, np.zeros(run.size), 1.0, theta[r + g :],
            np.zeros(2), np.zeros(2),
        )  # fmt: skip


def _with_side(wind: Array, heading: Array, across_mps: float) -> Array:
    """The wind along the course with one across it: which side it comes from changes nothing that is felt along."""
    first = heading[np.argmax(np.hypot(heading[:, 0], heading[:, 1]))]
    size = float(np.hypot(*first))
    return wind if size < 1e-6 else np.asarray(wind + across_mps * np.array([-first[1], first[0]]) / size)


@dataclass(frozen=True, slots=True, eq=False)
class _Lagged:
    """Prior of the headwinds of all rows: one mean wind, its wandering, gusts that a leg does not average away."""

    heading: Array
    middle_s: Array
    wind: Array
    gust_covariance: Array

    @property
    def smooth(self) -> Array:
        """Covariance of the mean wind and its wandering, seen along the course."""
        since = np.minimum(self.middle_s[:, None], self.middle_s[None, :]) - self.middle_s.min()
        faces = self.heading
        return np.asarray(WIND_SD_MPS**2 * faces @ faces.T + since * (faces @ wander(self.wind) @ faces.T))

    @property
    def covariance(self) -> Array:
        inside = np.eye(self.middle_s.size) * WITHIN_LEG_MPS**2
        return np.asarray(self.smooth + self.gust_covariance + inside)

    def mean(self, weighted_rest: Array) -> Array:
        return np.asarray(WIND_SD_MPS**2 * self.heading.T @ weighted_rest)
