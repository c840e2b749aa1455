"""Named people and what every room's tests share.

Ada owns the studio, Bo fits in it, Cy is a client with own rows, Dee is the shop; Eve fits in another studio and must
see nothing of this one, as little as Flo, who owns that one.
"""

import pytest
from django.core.cache import cache
from django.db.backends.sqlite3.base import DatabaseOperations
from whitenoise.middleware import WhiteNoiseMiddleware

from studio.records.models import Role
from tests.factories import MembershipFactory, RiderFactory, StudioFactory


@pytest.fixture(autouse=True)
def _quick_passwords(settings):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def _no_guesses_before():
    cache.clear()


@pytest.fixture(autouse=True, scope="session")
def _flush_past_the_guards():
    """SQLite has no TRUNCATE: the flush after a transactional test deletes row by row and would meet our triggers."""
    plain = DatabaseOperations.sql_flush

    def sql_flush(self, style, tables, **options):
        with self.connection.cursor() as cursor:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            triggers = cursor.fetchall()
        drops = [f'DROP TRIGGER "{name}"' for name, _ in triggers]
        return [*drops, *plain(self, style, tables, **options), *(sql for _, sql in triggers)]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(DatabaseOperations, "sql_flush", sql_flush)
        yield


@pytest.fixture(autouse=True, scope="session")
def _static_files_are_looked_for_once():
    """Every client of a test loads the middleware anew, and that looks for all static files and reads their dates."""
    looked, found = WhiteNoiseMiddleware.add_files_from_finders, {}

    def add_files_from_finders(self):
        if not found:
            looked(self)
            found.update(self.files)
        self.files.update(found)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(WhiteNoiseMiddleware, "add_files_from_finders", add_files_from_finders)
        yield


@pytest.fixture
def studio(db):
    return StudioFactory(name="Leeward Studio")


def _person(username, role, studio):
    return MembershipFactory(user__username=username, role=role, studio=studio).user


@pytest.fixture
def owner_ada(studio):
    return _person("ada", Role.OWNER, studio)


@pytest.fixture
def fitter_bo(studio):
    return _person("bo", Role.FITTER, studio)


@pytest.fixture
def client_cy(studio):
    return _person("cy", Role.CLIENT, studio)


@pytest.fixture
def rider_cy(studio, client_cy):
    return RiderFactory(studio=studio, code="R-CY", user=client_cy)


@pytest.fixture
def shop_dee(studio):
    return _person("dee", Role.SHOP, studio)


@pytest.fixture
def outsider_eve(db):
    return _person("eve", Role.FITTER, StudioFactory(name="Windward Studio"))


@pytest.fixture
def outsider_flo(db):
    return _person("flo", Role.OWNER, StudioFactory(name="Windward Studio"))
