"""The energy balance of a whole session as one least-squares system.

Unknown are the apparent drag area of every run (by the air speed as sensed), the height of every mark,
shared by all passes, and the rolling resistance with its prior. The air sensor's gain enters where runs
become setups (`joint`): it multiplies a run's apparent drag area and no stretch can see it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from analysis.core import leastsquares
from analysis.core.altimeter import heights_by_altimeter
from analysis.core.course import MARK_WINDOW_M
from analysis.core.stretches import Stretches
from analysis.core.types import Array, IntArray, Mask

CRR_SD = 0.0007  # about the assumed one (DESIGN section 7)
CRR_CHANGE_SD = 0.0005  # between tyres or pressures (DESIGN section 7)
YAW_DEPENDENCE_SD = 0.3  # of sin^2(yaw), relative (DESIGN section 7)
# unknowns behind the heights; the last are the lateness of air and power
EXTRAS = {
    "yaw dependence": slice(-6, -5),
    "places of out against back": slice(-5, -4),
    "power meter gain": slice(-4, -3),
    "air at the rider in gusts": slice(-3, -2),
    "clocks": slice(-2, None),
}
# distance of the usual row from its run's middle over that from zero, below which the fit begins anew; steps of that
PUSHED, CONCENTRATED = 0.75, 3
SWOLLEN = 10.0  # the fit's noise over the model's, in squares: sessions without many odd stretches stay below
ODD_Z = 5.0  # a stretch this many standard deviations from its twins is left out
POWER_GAIN_SD = 0.013  # of power meter (0.012) and drivetrain efficiency (0.005) together, common to the session
# how the gusts at the rider may differ from those at the sensor, relative (common practice, no source)
RESPONSE_SD = 0.02
# its prior in the fit: as good as fixed, for noise in gusts would pull it; its doubt is added after
CONSIDERED_SD = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """What blurs the balance, as standard deviations."""

    power_relative: float  # white, of one second's power [1]
    speed_mps: float  # of the speed at a mark [m/s]
    air_mps: float  # of one sample of air speed [m/s]
    run_m: float  # of a run's place on the course, all its legs alike [m]
    leg_m: float  # of one leg's place beside that [m]
    ahead_m: float  # of all legs alike along their travel: out and back apart by twice as much [m]


@dataclass(frozen=True, slots=True, eq=False)
class Clocks:
    """What is believed of the air and the power stream before the fit: how late they still are."""

    mean_s: Array  # (2,)
    sd_s: Array  # (2,)


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """What is believed beforehand, and the marks."""

    crr: float  # the prior's mean
    noise: Noise
    clocks: Clocks
    closed: bool  # the last mark is the first
    marks: int
    odd_z: float = ODD_Z  # beyond it a stretch is left out


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """Apparent drag areas and rolling resistance of a session, with their joint covariance."""

    apparent_m2: Array  # shape (r,)
    crr: Array  # shape (g,): absolute, one for each tyre state
    covariance: Array  # shape (r + g, r + g)
    own_variance: Array  # shape (r,): without what all runs share
    reach: Mapping[str, Array]  # prior to its pull on drag areas and Crr for one standard deviation, (r + g, k)
    used: Mask  # (n,): rows of the stretches that entered
    score: Array  # (n,) standardised residual of every sound row, NaN elsewhere
    scale: float  # residual scale against the noise model [1]
    heights_m: Array  # at the marks
    late_s: Array  # how late the air and the power stream come against the wheel's speed
    late_u_s: Array  # standard uncertainties


def solve(rows: Stretches, usable: Mask, tyre_state: IntArray, frame: Frame) -> Balance:
    """Least squares over all stretches of the session, odd ones left out.

    Parameters
    ----------
    rows : Stretches
        Energy sums [1].
    usable : ndarray
        Bool of shape (n,), rows that may enter [1].
    tyre_state : ndarray
        Int of shape (runs,), which tyres and pressures a run rode on; 0 is the reference's [1].
    frame : Frame
        What is believed beforehand, and the marks [1].

    Returns
    -------
    Balance
        Drag areas [m2].
    """
    system = _System(rows, tyre_state, frame)
    used = usable.copy()
    answer = system.fit(used)
    if _pushed_aside(answer.score, usable, rows.run):  # many odd rows hide each other: begin with those that agree
        for _ in range(CONCENTRATED):
            used = _lesser_half(answer.score, usable, rows.run, about_middle=True)
            answer = system.fit(used)
    seen: set[bytes] = set()
    while used.tobytes() not in seen:  # every row is judged anew: a fit may blame the innocent beside the odd
        seen.add(used.tobytes())
        size = np.abs(np.nan_to_num(answer.score))
        # beside a larger one, the smaller may be its doing; but beyond twice the limit none is
        limit = float(np.clip(0.5 * size[usable].max(initial=0.0), frame.odd_z, 2.0 * frame.odd_z))
        sound = usable & (size <= limit) | _lesser_half(answer.score, usable, rows.run)
        if np.array_equal(sound, used):
            break
        used = sound
        answer = system.fit(used)
    return answer


def _lesser_half(score: Array, usable: Mask, run: Array, *, about_middle: bool = False) -> Mask:
    """The half of every run with the smallest scores, or with those closest to the run's middle.

    Concentration (Rousseeuw and Van Driessen 2006) begins with it, and no run loses it: where more is odd, the run is.
    """
    out = np.zeros(usable.size, dtype=bool)
    for own in (np.flatnonzero(usable & (run == r)) for r in np.unique(run[usable])):
        apart = np.abs(score[own] - (np.median(score[own]) if about_middle else 0.0))
        out[own] = apart <= np.median(apart)
    return out


def _pushed_aside(score: Array, usable: Mask, run: Array) -> bool:
    """Whether the usual row of a run lies beside zero, as where many odd ones of the same sign have moved its mean."""
    rows = [score[usable & (run == r)] for r in np.unique(run[usable])]
    if not rows:
        return False
    about_middle = np.median(np.abs(np.concatenate([r - np.median(r) for r in rows])))
    return bool(about_middle < PUSHED * np.median(np.abs(np.concatenate(rows))))


class _System:
    """Design matrix and noise of a session; fits any selection of its rows."""

    def __init__(self, rows: Stretches, tyre_state: IntArray, frame: Frame) -> None:
        closed = frame.closed
        self.rows, self.noise, self.crr0, self.clocks = rows, frame.noise, frame.crr, frame.clocks
        self.runs, self.groups = tyre_state.size, int(tyre_state.max()) + 1
        self.nodes = frame.marks - 1 if closed else frame.marks
        n, run = rows.run.size, rows.run.astype(int)
        self.design = np.zeros((n, self.runs + self.groups + self.nodes + 6))
        self.height_part = slice(self.runs + self.groups, self.runs + self.groups + self.nodes)
        at = np.arange(n)
        self.design[at, run] = rows.area_j_m2
        self.design[at, self.runs] = rows.rolling_j
        state = tyre_state[run].astype(int)
        changed = state > 0
        self.design[at[changed], self.runs + state[changed]] = rows.rolling_j[changed]
        first = rows.place.astype(int)
        last = np.mod(first + 1, self.nodes) if closed else first + 1
        self.first, self.last = first, last
        lift = rows.weight_n * rows.direction
        np.add.at(self.design, (at, self.runs + self.groups + last), lift)
        np.add.at(self.design, (at, self.runs + self.groups + first), -lift)
        self.prior_mean, self.prior_sd = self._priors(closed)
        self.heights = self.prior_mean[self.height_part].copy()
        self.apparent = np.full(self.runs, 0.25)
        self.slope = np.zeros(self.nodes)
        self.held = 1.0
        # about the session's mean: a run's drag area is told for that, whatever the wind of its own minutes
        usual = float(np.sum(rows.yaw_area_j_m2) / max(np.sum(rows.area_j_m2), 1e-9))
        self.yaw_area = rows.yaw_area_j_m2 - usual * rows.area_j_m2
        self.gust_area = rows.area_j_m2 - self._level(rows.area_j_m2, rows.length_m)
        # mean power of the pass: a row's own work carries the noise of its energy, and would be fitted to it
        self.work = self._level(rows.work_j, rows.duration_s)

    def _priors(self, closed: bool) -> tuple[Array, Array]:
        mean = np.zeros(self.design.shape[1])
        sd = np.full(mean.size, np.inf)
        mean[self.runs], sd[self.runs] = self.crr0, CRR_SD
        sd[self.runs + 1 : self.runs + self.groups] = CRR_CHANGE_SD
        height, height_sd = heights_by_altimeter(self.rows, self.nodes, closed)
        mean[self.height_part], sd[self.height_part] = height, height_sd
        sd[-6] = YAW_DEPENDENCE_SD
        sd[-5:-2] = self.noise.ahead_m, POWER_GAIN_SD, CONSIDERED_SD
        mean[-2:], sd[-2:] = self.clocks.mean_s, self.clocks.sd_s
        return mean, sd

    def fit(self, used: Mask) -> Balance:
        self.slope = self._slopes(used)
        self.held = 1.0
        for _ in range(2):  # the second round knows drag areas and slopes for its weights
            answer = self._once(used)
        return answer

    def _once(self, used: Mask) -> Balance:
        white, swollen = self._whitened(np.flatnonzero(used))
        a, y = white[:, :-1], white[:, -1]
        sd = np.where(np.isfinite(self.prior_sd), self.prior_sd, 1e2)
        information = np.sum(a**2, axis=0) + sd**-2.0
        solution = leastsquares.solve(a, y, self.prior_mean, sd, self._dilution(information, swollen, y.size))
        theta, inverse = solution.theta, solution.covariance
        self.apparent, self.heights = theta[: self.runs], theta[self.height_part]
        score = self._score(theta, inverse, used)
        freedom = max(int(used.sum()) - theta.size, 1)
        chi2 = float(np.sum((y - a @ theta) ** 2)) / freedom
        # a few rows shall not shrink the model's noise
        self.held *= max((10.0 + freedom * chi2) / (10.0 + freedom), 0.25)
        return self._answer(theta, inverse, 1.0 / information[: self.runs], used, score)

    def _dilution(self, information: Array, swollen: Array, rows: int) -> Array | None:
        """What noise of the sensed air speed adds to the square of X: its known part, no information.

        None where a handful of rows cannot spare it.
        """
        p, size = self.runs, information.size
        if rows <= 2 * p + self.nodes:
            return None
        swollen = np.minimum(swollen, 0.2 * information[:p])
        out, gusts = np.zeros((size, size)), size - 3  # the same noise is in the column of the response to gusts
        out[np.arange(p), np.arange(p)] = swollen
        out[:p, gusts] = out[gusts, :p] = self.apparent * swollen
        out[gusts, gusts] = float(np.sum(self.apparent**2 * swollen))
        return out

    def _whitened(self, index: IntArray) -> tuple[Array, Array]:
        """Design and energies in units of their noise, and by how much air noise swells each run's square of X."""
        rows = self.rows
        drag = self.apparent[rows.run.astype(int)]
        ahead = rows.direction * self._tilt_of(np.arange(rows.run.size))
        self.design[:, -6:] = np.column_stack(
            [
                drag * self.yaw_area,
                ahead,
                -self.work,
                drag * self.gust_area,
                drag * rows.area_step_w_m2,
                -rows.power_step_w,
            ]
        )
        white, swollen = np.zeros((index.size, self.design.shape[1] + 1)), np.zeros(self.runs)
        start = 0
        for run in np.unique(rows.run[index]):
            own = index[rows.run[index] == run]
            low = np.linalg.cholesky(self._covariance(own) * self.held)
            block = np.column_stack([self.design[own], rows.energy_j[own], np.eye(own.size)])
            solved = solve_triangular(low, block, lower=True, check_finite=False)
            white[start : start + own.size] = solved[:, : -own.size]
            weight = solved[:, -own.size :]
            noise = self.noise.air_mps**2 * self._overlapping(rows.air_square, own, self._joined(own))
            swollen[int(rows.run[own[0]])] += float(np.sum((weight.T @ weight) * noise))
            start += own.size
        return white, swollen

    def _score(self, theta: Array, inverse: Array, used: Mask) -> Array:
        """Standardised residual of every row, its pass moved to its likeliest place."""
        residual = self.rows.energy_j - self.design @ theta
        residual = residual - self._misplaced(residual, used)
        # what is odd swells the noise that the fit holds: beyond this, only the median below says how large it is
        held = min(self.held, SWOLLEN)
        spread = self._diagonal() * held
        told = np.einsum("ij,jk,ik->i", self.design, inverse, self.design) * held / self.held
        sd = np.sqrt(np.maximum(np.where(used, spread - told, spread + told), 0.4 * spread))
        score = residual / sd
        # never under 0.8: where the marks are vague the noise model is wide, and its neighbours lean together
        return np.asarray(score / max(1.4826 * float(np.median(np.abs(score[used]))) if used.any() else 1.0, 0.8))

    def _answer(self, theta: Array, inverse: Array, own: Array, used: Mask, score: Array) -> Balance:
        p, g = self.runs, self.groups
        turn = np.eye(p + g)
        turn[p + 1 :, p] = 1.0  # changes of rolling resistance become absolute
        rho = theta[p : p + g].copy()
        rho[1:] += rho[0]
        told = turn @ inverse[: p + g]
        names = {"rolling resistance": slice(p, p + g), "marks' heights": self.height_part} | EXTRAS
        reach = {name: told[:, part] / self.prior_sd[part] for name, part in names.items()}
        gusts = reach["air at the rider in gusts"] * RESPONSE_SD / CONSIDERED_SD  # a considered quantity
        reach["air at the rider in gusts"] = gusts
        covariance = told[:, : p + g] @ turn.T + gusts @ gusts.T
        late_u = np.sqrt(np.diag(inverse)[-2:])
        return Balance(
            theta[:p], rho, covariance, own, reach, used, score, float(np.sqrt(self.held)), self.heights,
            theta[-2:].copy(), late_u,
        )  # fmt: skip

    def _level(self, total: Array, over: Array) -> Array:
        """What every row would hold if its pass were even: the pass's total shared out by length or time."""
        ride = self.rows.ride.astype(int)
        count = int(ride.max(initial=-1)) + 1
        rate = np.bincount(ride, total, count) / np.maximum(np.bincount(ride, over, count), 1e-9)
        return np.asarray(rate[ride] * over)

    def _diagonal(self) -> Array:
        rows, n = self.rows, self.noise
        drag = self.apparent[rows.run.astype(int)]
        return np.asarray(
            n.power_relative**2 * rows.power_square
            + drag**2 * n.air_mps**2 * rows.air_square
            + n.speed_mps**2 * (rows.speed_gain**2 + rows.speed_gain_end**2)
            + 1.0
        )

    def _misplaced(self, residual: Array, used: Mask) -> Array:
        """What the likeliest misplacement of every pass does to its rows: no row is odd for its pass's place."""
        out = np.zeros(residual.size)
        spread, bend = self._diagonal(), self._tilt_of(np.arange(residual.size))
        place_m = float(np.hypot(self.noise.run_m, self.noise.leg_m))
        for ride in np.unique(self.rows.ride):
            own = self.rows.ride == ride
            fit = own & used
            weight = bend[fit] / spread[fit]
            place = float(weight @ residual[fit]) / (float(weight @ bend[fit]) + place_m**-2.0)
            out[own] = place * bend[own]
        return out

    def _tilt_of(self, own: IntArray) -> Array:
        """Energy by which one metre of misplacement changes each row: m g times the change of slope."""
        rows = self.rows
        return np.asarray(
            rows.weight_n[own] * rows.direction[own] * (self.slope[self.last[own]] - self.slope[self.first[own]])
        )

    def _slopes(self, used: Mask) -> Array:
        """Slope of the road at every mark, from the balance of forces there, averaged over all passes."""
        rows, total, count = self.rows, np.zeros(self.nodes), np.zeros(self.nodes)
        drag = self.apparent[rows.run.astype(int)]
        out = rows.direction > 0  # the mark met first on the way back is the stretch's far one
        begin, end = np.where(out, self.first, self.last), np.where(out, self.last, self.first)
        for node, push, area in ((begin, rows.push_n, rows.area_rate), (end, rows.push_end_n, rows.area_rate_end)):
            climb = rows.direction * (push - drag * area) / rows.weight_n - rows.direction * self.crr0
            np.add.at(total, node[used], climb[used])
            np.add.at(count, node[used], 1.0)
        return total / np.maximum(count, 1.0)

    def _overlapping(self, white: Array, own: IntArray, joined: IntArray) -> Array:
        """Covariance of sums whose ends fade over the road about a mark: neighbours share what lies there."""
        fade = 2.0 * MARK_WINDOW_M / np.maximum(self.rows.length_m[own], 2.0 * MARK_WINDOW_M)
        out = np.diag(white[own] * (1.0 - fade / 3.0))
        shared = np.sqrt(white[own[joined]] * white[own[joined + 1]] * fade[joined] * fade[joined + 1]) / 6.0
        out[joined, joined + 1] += shared
        out[joined + 1, joined] += shared
        return out

    def _joined(self, own: IntArray) -> IntArray:
        """Rows whose next one begins at the mark where they end."""
        return np.flatnonzero((np.diff(own) == 1) & (np.diff(self.rows.ride[own]) == 0))

    def _covariance(self, own: IntArray) -> Array:
        """Noise of the rows of one run: neighbours share the speed at their mark, legs and the run their place."""
        rows, n = self.rows, self.noise
        drag = self.apparent[int(rows.run[own[0]])]
        white = n.power_relative**2 * rows.power_square + drag**2 * n.air_mps**2 * rows.air_square
        marks = n.speed_mps**2 * (rows.speed_gain[own] ** 2 + rows.speed_gain_end[own] ** 2)
        joined = self._joined(own)
        v = self._overlapping(white, own, joined) + np.diag(marks + 1.0)
        shared = -(n.speed_mps**2) * rows.speed_gain_end[own[joined]] * rows.speed_gain[own[joined + 1]]
        v[joined, joined + 1] += shared
        v[joined + 1, joined] += shared
        tilt = self._tilt_of(own)
        same_leg = rows.ride[own][:, None] == rows.ride[own]
        return np.asarray(v + np.outer(tilt, tilt) * (n.run_m**2 + n.leg_m**2 * same_leg))
