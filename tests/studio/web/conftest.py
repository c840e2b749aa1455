"""People at the pages."""

import pytest
from django.test import Client

from tests.studio.web.days import answered, day
from tests.studio.web.markup import Page


@pytest.fixture
def browser():
    """A browser in which this person is signed in; without a person nobody is."""

    def signed_in(person=None, **options):
        client = Client(**options)
        if person is not None:
            client.force_login(person)
        return client

    return signed_in


@pytest.fixture
def page(browser):
    """The page that a person finds at an address."""

    def opened(person, address):
        response = browser(person).get(address)
        assert response.status_code == 200, response.content.decode()
        return Page(response.content.decode())

    return opened


@pytest.fixture
def analysis(rider_cy):
    """Cy's day of two wheels, analysed and reported."""
    return answered(rider_cy)


@pytest.fixture
def bare_day(rider_cy):
    """A day of Cy's that nobody analysed."""
    return day(rider_cy, title="not analysed")
