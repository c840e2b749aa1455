"""The sample bundle, and the session that an import makes of it."""

import pytest

from studio.records.services.bundles import bundle_import
from tests.studio.records.bundle_samples import bundle_at


@pytest.fixture
def bundle(tmp_path):
    return bundle_at(tmp_path / "bundle")


@pytest.fixture
def session(bundle, studio, fitter_bo):
    return bundle_import(studio=studio, bundle=bundle, by=fitter_bo)
