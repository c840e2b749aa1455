"""The core's least squares against NIST's certified values, and against closed forms for priors and noisy designs."""

import numpy as np
import pytest
import statsmodels.api as sm

from analysis.core.leastsquares import solve, solve_each

# NIST/ITL Statistical Reference Datasets, certified estimates and their standard deviations
NORRIS = ([-0.262323073774029, 1.00211681802045], [0.232818234301152, 0.429796848199937e-3])
LONGLEY = (
    [-3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683,
     -1.03322686717359, -0.0511041056535807, 1829.15146461355],
    [890420.383607373, 84.9149257747669, 0.0334910077722432, 0.488399681651699, 0.214274163161675,
     0.226073200069370, 455.478499142212],
)  # fmt: skip
FILIP = (
    [-1467.48961422980, -2772.17959193342, -2316.37108160893, -1127.97394098372, -354.478233703349,
     -75.1242017393757, -10.8753180355343, -1.06221498588947, -0.0670191154593408, -0.00246781078275479,
     -0.0000402962525080404],
    [298.084530995537, 559.779865474950, 466.477572127796, 227.204274477751, 71.6478660875927, 15.2897178747400,
     2.23691159816033, 0.221624321934227, 0.0142363763154724, 0.000535617408889821, 0.00000896632837373868],
)  # fmt: skip
WAMPLER_SD = np.array(
    [2152.32624678170, 2363.55173469681, 779.343524331583, 101.475507550350, 5.64566512170752, 0.112324854679312]
)


def polynomial(x, degree):
    return x[:, None] ** np.arange(degree + 1)


def fitted(design, y):
    """Estimates, their standard deviations, and the residual standard deviation of an unweighted fit."""
    found = solve(design, y)
    residual = np.sqrt(found.squares / (y.size - design.shape[1]))
    return found.theta, np.sqrt(np.diag(found.covariance)) * residual, residual


def test_norris_a_straight_line(reference_table):
    t = reference_table("nist_norris")
    theta, sd, residual = fitted(polynomial(t["x"], 1), t["y"])
    assert theta == pytest.approx(NORRIS[0], rel=1e-11)
    assert sd == pytest.approx(NORRIS[1], rel=1e-11)
    assert residual == pytest.approx(0.884796396144373, rel=1e-12)


def test_longley_nearly_collinear(reference_table):
    t = reference_table("nist_longley")
    theta, sd, residual = fitted(np.column_stack([np.ones(16), *(t[n] for n in t.dtype.names[1:])]), t["y"])
    assert theta == pytest.approx(LONGLEY[0], rel=1e-8)  # condition 5e9: eight of sixteen digits are lost at most
    assert sd == pytest.approx(LONGLEY[1], rel=1e-8)
    assert residual == pytest.approx(304.854073561965, rel=1e-10)


def test_filip_a_polynomial_of_degree_ten(reference_table):
    t = reference_table("nist_filip")
    theta, sd, residual = fitted(polynomial(t["x"], 10), t["y"])
    assert theta == pytest.approx(FILIP[0], rel=1e-6)  # condition 2e15; normal equations keep no digit of it
    assert sd == pytest.approx(FILIP[1], rel=1e-6)
    assert residual == pytest.approx(0.00334801051324544, rel=1e-8)


@pytest.mark.parametrize(("name", "wanted"), [("y_wampler1", np.ones(6)), ("y_wampler2", 0.1 ** np.arange(6))])
def test_wampler_without_error(reference_table, name, wanted):
    t = reference_table("nist_wampler")
    assert fitted(polynomial(t["x"], 5), t[name])[0] == pytest.approx(wanted, rel=1e-8)


@pytest.mark.parametrize(("name", "times"), [("y_wampler3", 1), ("y_wampler4", 100), ("y_wampler5", 10_000)])
def test_wampler_with_growing_error(reference_table, name, times):
    t = reference_table("nist_wampler")
    theta, sd, residual = fitted(polynomial(t["x"], 5), t[name])
    assert theta == pytest.approx(np.ones(6), rel=1e-12 * times * 1e4)  # a residual of 2e7 beside estimates of one
    assert sd == pytest.approx(WAMPLER_SD * times, rel=1e-10)
    assert residual == pytest.approx(2360.14502379268 * times, rel=1e-10)


def test_known_unequal_noise_is_a_general_librarys_gls():
    """Rows over their noise: statsmodels GLS with V known, on a design of the session's size."""
    rng = np.random.default_rng(3)
    design, sd = rng.normal(size=(480, 40)), rng.uniform(0.5, 3.0, 480)
    y = design @ rng.normal(size=40) + sd * rng.normal(size=480)
    known = sm.GLS(y, design, sigma=sd**2).fit(cov_type="fixed scale")
    found = solve(design / sd[:, None], y / sd)
    assert found.theta == pytest.approx(known.params, rel=1e-10)
    assert found.covariance == pytest.approx(known.normalized_cov_params, rel=1e-9, abs=1e-14)
    assert found.log_information == pytest.approx(-np.linalg.slogdet(known.normalized_cov_params)[1], rel=1e-10)


def test_a_prior_is_weighed_by_its_precision():
    """Two normal statements of one quantity: 3 +- 1 from the rows, 5 +- 2 before (any text on Bayesian estimation)."""
    found = solve(np.array([[1.0]]), np.array([3.0]), np.array([5.0]), np.array([2.0]))
    assert found.theta[0] == pytest.approx((3.0 + 5.0 / 4) / (1 + 1 / 4), rel=1e-14)
    assert found.covariance[0, 0] == pytest.approx(0.8, rel=1e-14)
    assert found.squares == pytest.approx(4.0 / 5.0, rel=1e-12)  # (3 - 5)^2 / (1 + 2^2)


def test_known_noise_in_the_design_no_longer_dilutes():
    """Fuller (1987), Measurement Error Models, 2.2: a slope shrinks by sxx / (sxx + su^2)."""
    rng = np.random.default_rng(4)
    x, noise = rng.normal(0, 2, 20_000), rng.normal(0, 1, 20_000)
    y = 0.25 * x + rng.normal(0, 0.1, 20_000)
    seen = (x + noise)[:, None]
    assert solve(seen, y).theta[0] == pytest.approx(0.25 * 4 / 5, rel=0.01)
    assert solve(seen, y, removed=np.array([[20_000.0]])).theta[0] == pytest.approx(0.25, rel=0.01)


def test_what_a_system_cannot_spare_stays_in():
    design, y = np.eye(2), np.array([1.0, 2.0])
    assert solve(design, y, removed=np.diag([2.0, 0.0])).theta == pytest.approx([1.0, 2.0])


def test_several_systems_at_once_are_those_one_by_one():
    """With their priors as rows they are plain least squares: by numpy, and by the normal equations."""
    rng = np.random.default_rng(9)
    sd = np.array([0.5, 1e3, 1e-9])
    rows = rng.normal(size=(5, 20, 4))
    for found, system in zip(solve_each(rows, sd), rows, strict=True):
        bordered = np.vstack([system, np.column_stack([np.diag(1 / sd), np.zeros(3)])])
        a, y = bordered[:, :-1], bordered[:, -1]
        theta, squares, *_ = np.linalg.lstsq(a * sd, y, rcond=None)  # in units of the priors, or 1e-9 is lost
        assert found.theta == pytest.approx(theta * sd, rel=1e-9)
        assert found.squares == pytest.approx(float(squares[0]), rel=1e-9)
        scaled = np.linalg.inv((a * sd).T @ (a * sd))
        assert found.covariance == pytest.approx(scaled * np.outer(sd, sd), rel=1e-6)
        assert found.log_information == pytest.approx(
            np.linalg.slogdet((a * sd).T @ (a * sd))[1] - 2 * np.log(sd).sum(), rel=1e-9
        )
