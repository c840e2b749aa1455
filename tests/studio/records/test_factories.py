"""Every factory makes a row that keeps the database's rules and stays within one studio."""

import pytest
from factory.django import DjangoModelFactory

from studio.records.models import Studio
from tests import factories

FACTORIES = [
    made for made in vars(factories).values() if isinstance(made, type) and issubclass(made, DjangoModelFactory)
]


def studios_of(row, seen):
    if isinstance(row, Studio):
        seen.add(row.pk)
    for field in row._meta.concrete_fields:
        if field.is_relation and field.name not in ("user", "entered_by") and getattr(row, field.name) is not None:
            studios_of(getattr(row, field.name), seen)
    return seen


@pytest.mark.django_db
@pytest.mark.parametrize("make", [made for made in FACTORIES if made is not DjangoModelFactory])
def test_factory_makes_a_sound_row_of_one_studio(make):
    assert len(studios_of(make(), set())) <= 1
