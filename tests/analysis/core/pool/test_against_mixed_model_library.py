"""Pooling against a general mixed-model library, statsmodels' MixedLM, on a case that it can express.

MixedLM estimates the error that all arms share, pooling is told it. At MixedLM's own estimate of it both maximise the
same restricted likelihood over tau2, so tau2, effects and standard errors must agree to the library's convergence.
"""

import math

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from analysis.core.pool.arms import Arms
from analysis.core.pool.fit import fit

PRODUCTS, RIDERS, SESSIONS = 4, 12, 3


@pytest.fixture(scope="module")
def arms():
    """Every rider tests all products in each of three sessions; equal errors of 0.6, tau 1.5."""
    rng = np.random.default_rng(8)
    departure = rng.normal(0, 1.5 / math.sqrt(2), (RIDERS, PRODUCTS))
    rider, session, product = (x.ravel() for x in np.indices((RIDERS, SESSIONS, PRODUCTS)))
    study = rider * SESSIONS + session
    value = rng.normal(0, 5, study.max() + 1)[study] + product / 2 + departure[rider, product]
    value += rng.normal(0, 0.6, value.size)
    return Arms(study, rider, product, value, np.full(value.size, 0.6), tuple("abcd"))


def test_tau_effects_and_errors_are_those_of_the_library(arms):
    studies = np.eye(arms.study.max() + 1)[arms.study]
    exog = np.hstack([np.eye(PRODUCTS)[arms.product][:, 1:], studies])
    cell = arms.rider * PRODUCTS + arms.product
    found = MixedLM(arms.value_m2, exog, groups=cell).fit(reml=True, method="lbfgs")
    told = Arms(
        arms.study, arms.rider, arms.product, arms.value_m2, np.full(cell.size, math.sqrt(found.scale)), arms.products
    )
    fitted = fit(told, 0)
    assert fitted.tau2 / 2 == pytest.approx(float(found.cov_re[0, 0]), rel=1e-3)
    assert fitted.best.effects[1:] == pytest.approx(found.fe_params[: PRODUCTS - 1], abs=1e-5)
    errors = np.sqrt(np.diag(fitted.best.covariance))[1:]
    assert errors == pytest.approx(found.bse_fe[: PRODUCTS - 1], rel=1e-3)
