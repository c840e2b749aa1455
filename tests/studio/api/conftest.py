"""A caller for each person: `api(person)` is a client that sends that person's Bearer token."""

import pytest
from rest_framework.test import APIClient

from studio.records.services.tokens import token_create


@pytest.fixture
def api():
    def client_of(person=None):
        client = APIClient()
        if person is not None:
            client.credentials(HTTP_AUTHORIZATION=f"Bearer {token_create(user=person)[1]}")
        return client

    return client_of


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"
