"""Real studios for the fault tests; whatever a test does to one, nothing of it runs on afterwards."""

import pytest

from tests.faults.living_studio import LivingStudio


@pytest.fixture
def living(tmp_path):
    studio = LivingStudio(tmp_path)
    yield studio
    studio.stop()


@pytest.fixture
def demo(living):
    """A demo studio in which the fitter is signed in."""
    living.start("--demo")
    living.sign_in()
    return living
