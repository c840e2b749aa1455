"""Migration 0005: arms that were there before know what their analysis says, as if they had been entered since."""

from importlib import import_module

import pytest
from django.apps import apps

from analysis.results.models import Arm
from analysis.results.services.evidence import analysis_accept
from tests.factories import (
    AnalysisFactory,
    ConsentFactory,
    EquipmentItemFactory,
    FieldSessionFactory,
    ProductFactory,
    SessionSetupFactory,
    SetupItemFactory,
)
from tests.reports.stored import comparison, run, setup

NUMBERS = ("height_cm", "mean_speed_mps", "mean_abs_yaw_deg")


@pytest.fixture
def accepted(studio):
    """A session of two wheels, and a third setup that nothing was compared with."""
    session = FieldSessionFactory(rider__studio=studio, rider__height_cm=182.0)
    ConsentFactory(rider=session.rider, purpose="pooled_results")
    for at, (label, name) in enumerate((("A", "Tarn 40"), ("B", "Tarn 50"))):
        link = SessionSetupFactory(session=session, setup__label=label, setup__bike=session.bike, order=at)
        product = ProductFactory(studio=studio, category="wheels", name=name)
        SetupItemFactory(setup=link.setup, slot="wheels", item=EquipmentItemFactory(product=product))
    result = {
        "setups": [setup("A", 0.24), setup("B", 0.23)],
        "runs": [run(1, "A", used_s=100.0), run(2, "B", mean_speed_mps=12.0), run(3, "C", mean_speed_mps=1.0)],
        "comparisons": [comparison(ridden_u_m2=0.0009)],
    }
    analysis_accept(analysis=AnalysisFactory(session=session, result=result), by=None)
    return session


def test_arms_know_height_speed_and_yaw_of_what_was_compared(accepted):
    arm = Arm.objects.first()
    assert arm.height_cm == 182.0
    assert arm.mean_speed_mps == pytest.approx((100.0 * 10.31 + 262.0 * 12.0) / 362.0)
    assert arm.mean_abs_yaw_deg == pytest.approx(5.27)


def test_older_arms_are_filled_in_the_same(accepted):
    entered = list(Arm.objects.order_by("pk").values(*NUMBERS))
    Arm.objects.update(**dict.fromkeys(NUMBERS))
    import_module("analysis.results.migrations.0005_numbers_of_arms").fill_in(apps, None)
    assert list(Arm.objects.order_by("pk").values(*NUMBERS)) == entered
