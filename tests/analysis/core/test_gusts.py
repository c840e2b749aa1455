"""The air's covariance factored piece by piece, against the whole matrix written out and solved by numpy."""

import numpy as np
import pytest

from analysis.core import gusts
from analysis.core.gusts import Air, Gusts

BLOCKS = 150  # more than two pieces
GROWTH = np.array([[3e-4, 1e-4], [1e-4, 5e-4]])


@pytest.fixture
def air() -> Air:
    rng = np.random.default_rng(3)
    begin = np.cumsum(rng.uniform(10.0, 30.0, BLOCKS)) + 240.0 * (np.arange(BLOCKS) // 20)
    turn = rng.uniform(0.0, 2.0 * np.pi, BLOCKS)
    ahead, left = np.stack([np.sin(turn), np.cos(turn)], axis=1), np.stack([-np.cos(turn), np.sin(turn)], axis=1)
    kinds = (Gusts(0.15, 0.6, 4.0), Gusts(0.15, 0.5, 9.0))
    return Air(begin, begin + 10.0, np.stack([ahead, left]), kinds, rng.uniform(0.01, 0.1, (2, BLOCKS)), 25.0, GROWTH)


def written_out(air: Air) -> np.ndarray:
    """Start variance and random walk of the wind, gusts of each side, and white noise, element by element."""
    faces, middle = air.faces.reshape(-1, 2), np.tile(0.5 * (air.begin_s + air.end_s), 2)
    since = np.minimum(middle[:, None], middle) - middle.min()
    wind = air.start * faces @ faces.T + since * (faces @ air.growth @ faces.T)
    ends = air.begin_s, air.end_s
    own = [kind.mean_covariance(*ends) + np.diag(white) for kind, white in zip(air.gusts, air.white, strict=True)]
    none = np.zeros((BLOCKS, BLOCKS))
    return wind + np.block([[own[0], none], [none, own[1]]])


@pytest.mark.parametrize("piece", [1, 7, 64, BLOCKS])
def test_products_weigh_with_the_inverse_of_the_whole_covariance(air, monkeypatch, piece):
    monkeypatch.setattr(gusts, "PIECE", piece)
    columns = np.random.default_rng(4).normal(size=(2, BLOCKS, 3))
    flat = columns.reshape(-1, 3)
    white = air.whitened(columns)
    # two ways through matrices whose condition is about 1e7: seven digits are sure, nine are usual
    np.testing.assert_allclose(white.T @ white, flat.T @ np.linalg.solve(written_out(air), flat), rtol=1e-8, atol=1e-8)
