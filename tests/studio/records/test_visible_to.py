"""Who sees which row, for every model that has `visible_to`."""

import pytest
from django.apps import apps
from django.contrib.auth.models import AnonymousUser

from studio.records.models import Role
from studio.records.querysets import RecordQuerySet
from tests import factories
from tests.factories import BikeFactory, FieldSessionFactory, MembershipFactory, RiderFactory, StudioFactory

pytestmark = pytest.mark.django_db
MODELS = [
    model
    for label in ("records", "results", "reports")
    for model in apps.get_app_config(label).get_models()
    if isinstance(model._default_manager.all(), RecordQuerySet)
]
FACTORY = {made._meta.model: made for made in vars(factories).values() if hasattr(made, "_meta") and made._meta.model}
OWN = {  # how a row comes to belong to a client
    "Membership": lambda rider: {},
    "Rider": lambda rider: {"user": rider.user, "studio": rider.studio},
    "Consent": lambda rider: {"rider": rider},
    "Bike": lambda rider: {"rider": rider},
    "Position": lambda rider: {"bike__rider": rider},
    "EquipmentItem": lambda rider: {"rider": rider, "product__studio": rider.studio},
    "Mounting": lambda rider: {"bike__rider": rider},
    "Setup": lambda rider: {"bike__rider": rider},
    "FieldSession": lambda rider: {"rider": rider},
    "Recording": lambda rider: {"session__rider": rider},
    "Run": lambda rider: {"session__rider": rider},
    "Job": lambda rider: {"requested_by": rider.user, "studio": rider.studio},
    "Analysis": lambda rider: {"session__rider": rider},
    "Report": lambda rider: {"analysis__session__rider": rider},
}
NEVER_A_CLIENTS = {
    "Invitation",
    "Product",
    "Course",
    "DeviceMapping",
    "Instrument",
    "Calibration",
    "Correction",
    "Event",
    "Acceptance",
    "Arm",
    "Edition",
    "Standings",
}


def names(models):
    return sorted(model.__name__ for model in models)


def row_of(model, rider):
    if model.__name__ == "Rider":
        return rider
    if model.__name__ == "Membership":
        return rider.user.membership
    made = OWN.get(model.__name__)
    if made is None:
        key = {"Calibration": "instrument__studio", "Correction": "rider__studio"}.get(model.__name__, "studio")
        return FACTORY[model](**{key: rider.studio})
    return FACTORY[model](**made(rider))


@pytest.fixture
def rider(studio):
    user = MembershipFactory(studio=studio, role=Role.CLIENT).user
    return RiderFactory(studio=studio, user=user)


def test_every_model_is_asked():
    assert names(MODELS) == sorted(OWN.keys() | NEVER_A_CLIENTS)


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
@pytest.mark.parametrize("person", ["owner_ada", "fitter_bo"])
def test_staff_see_their_studio(request, rider, model, person):
    row = row_of(model, rider)
    assert list(model.objects.visible_to(request.getfixturevalue(person)).filter(pk=row.pk)) == [row]


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_client_sees_own_rows(rider, model):
    row = row_of(model, rider)
    seen = model.objects.visible_to(rider.user).filter(pk=row.pk).exists()
    assert seen == (model.__name__ in OWN)


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
@pytest.mark.parametrize("person", ["client_cy", "shop_dee", "outsider_eve"])
def test_others_see_nothing(request, rider, model, person):
    row = row_of(model, rider)
    assert not model.objects.visible_to(request.getfixturevalue(person)).filter(pk=row.pk).exists()


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_strangers_see_nothing(rider, model):
    row_of(model, rider)
    retired = MembershipFactory(studio=rider.studio, user__is_active=False).user
    without_role = factories.UserFactory()
    for person in (AnonymousUser(), None, retired, without_role):
        assert not model.objects.visible_to(person).exists()


def test_client_sees_what_is_mounted_on_them(rider):
    mounting = factories.MountingFactory(
        bike=None, rider=rider, studio=rider.studio, item__product__studio=rider.studio
    )
    assert mounting in type(mounting).objects.visible_to(rider.user)


def test_client_of_two_studios_rows_stays_in_one(rider):
    elsewhere = BikeFactory(rider__studio=StudioFactory(), rider__user=None)
    elsewhere.rider.user = MembershipFactory().user
    assert elsewhere not in type(elsewhere).objects.visible_to(rider.user)


def test_list_of_own_sessions_is_one_query(rider, django_assert_num_queries):
    FieldSessionFactory(rider=rider)
    user = type(rider.user).objects.select_related("membership").get(pk=rider.user.pk)
    with django_assert_num_queries(1):
        list(FieldSessionFactory._meta.model.objects.visible_to(user))
