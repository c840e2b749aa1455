"""The back room lists every model at a fixed cost, and cannot touch what never changes."""

import pytest
from django.apps import apps
from django.contrib import admin
from django.test import Client
from django.urls import path

from analysis.results.models import Analysis, Job
from reports.models import Report
from studio.records.models import (
    ApiToken,
    Consent,
    DeviceMapping,
    Event,
    EventDetail,
    Invitation,
    Membership,
    Recording,
    Rider,
    User,
)
from tests import factories
from tests.factories import FieldSessionFactory, MembershipFactory, RiderFactory, RunFactory, SetupFactory

urlpatterns = [path("back/", admin.site.urls)]
pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.studio.records.test_admin")]
OURS = [model for label in ("records", "results", "reports") for model in apps.get_app_config(label).get_models()]
INLINE = {"SetupItem", "SessionSetup"}
FACTORY = {made._meta.model: made for made in vars(factories).values() if hasattr(made, "_meta") and made._meta.model}
LISTED = [model for model in OURS if model in admin.site._registry and model in FACTORY]
FROZEN = [
    Consent,
    DeviceMapping,
    Membership,
    Invitation,
    Recording,
    Event,
    EventDetail,
    ApiToken,
    Job,
    Analysis,
    Report,
]


@pytest.fixture
def keeper():
    user = MembershipFactory(user__is_staff=True, user__is_superuser=True).user
    client = Client()
    client.force_login(user)
    return client


def test_every_model_has_its_place():
    missing = [model.__name__ for model in OURS if model not in admin.site._registry]
    assert set(missing) == INLINE


@pytest.mark.parametrize("model", LISTED, ids=lambda model: model.__name__)
def test_list_costs_the_same_for_more_rows(keeper, model, django_assert_max_num_queries):
    address = f"/back/{model._meta.app_label}/{model._meta.model_name}/"
    FACTORY[model]()
    with django_assert_max_num_queries(12) as few:
        assert keeper.get(address).status_code == 200
    for _ in range(4):
        FACTORY[model]()
    with django_assert_max_num_queries(len(few.captured_queries)):
        assert keeper.get(address).status_code == 200


@pytest.mark.parametrize("model", FROZEN, ids=lambda model: model.__name__)
def test_what_never_changes_is_only_looked_at(rf, model):
    request = rf.get("/")
    request.user = User(is_staff=True, is_superuser=True)
    allowed = admin.site._registry[model].get_model_perms(request)
    assert allowed == {"add": False, "change": False, "delete": False, "view": True}


def test_a_change_counts_and_is_noted(keeper):
    rider = RiderFactory()
    form = {"studio": rider.studio_id, "code": "R-9", "height_cm": "180", "user": ""}
    assert keeper.post(f"/back/records/rider/{rider.pk}/change/", form).status_code == 302
    rider.refresh_from_db()
    assert (rider.code, rider.version) == ("R-9", 2)
    assert Event.objects.get(studio=rider.studio).actor_id == User.objects.get(is_staff=True).pk


def test_a_run_brings_its_setup_into_the_session(keeper):
    run = RunFactory()
    form = {"studio": run.studio_id, "session": run.session_id, "setup": run.setup_id, "number": 7}
    assert keeper.post(f"/back/records/run/{run.pk}/change/", form).status_code == 302
    assert run.session.setup_links.get().setup == run.setup


def test_a_deletion_is_noted(keeper):
    rider = RiderFactory()
    keeper.post(f"/back/records/rider/{rider.pk}/delete/", {"post": "yes"})
    assert not Rider.objects.exists()
    assert Event.objects.get().verb == "deleted"


def test_used_setup_is_only_shown(keeper):
    session = FieldSessionFactory()
    used = RunFactory(session=session).setup
    free = SetupFactory()
    assert b'name="_save"' not in keeper.get(f"/back/records/setup/{used.pk}/change/").content
    assert b'name="_save"' in keeper.get(f"/back/records/setup/{free.pk}/change/").content
