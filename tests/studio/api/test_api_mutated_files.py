"""Mutated files through the doors: taken or refused in words, never a fault of ours (more: tests/load/fuzz_readers.py).

500 go to the readers in `tests/analysis/readers/test_mutated_files.py`; these go the whole way, over the API, into the
store and through the job.
"""

from collections import Counter

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from analysis.jobs.runner import run
from analysis.results.models import Job
from analysis.results.services.jobs import claim_next
from tests.analysis.readers.mutations import SOUND, mutated
from tests.factories import FieldSessionFactory

EACH = 10


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


@pytest.fixture
def session(studio):
    return FieldSessionFactory(rider__studio=studio)


def statuses(bo, session, kind, count):
    """Send mutations of one kind; gives how they were answered and how their jobs ended."""
    met = Counter()
    for at in range(count):
        file = SimpleUploadedFile(f"{kind}-{at}.{kind}", mutated(kind, f"door {at}"))
        path, fields = ("bundles", {"bundle": file}) if kind == "zip" else ("recordings", {"file": file})
        owner = {} if kind == "zip" else {"session": str(session.pk)}
        met[bo.post(f"/api/v1/{path}/", {**owner, **fields}, format="multipart").status_code] += 1
        while (attempt := claim_next(worker="one")) is not None:
            run(attempt)
    return met


@pytest.mark.parametrize("kind", SOUND)
def test_a_mutated_file_never_ends_in_a_fault(bo, session, kind):
    met = statuses(bo, session, kind, EACH)
    assert met.keys() <= {201, 202, 415, 422}
    assert set(Job.objects.values_list("state", flat=True)) <= {"done", "refused"}
    for said in Job.objects.filter(state="refused"):
        assert said.problem["errors"], said.problem["detail"]
    for row in bo.get("/api/v1/recordings/").json()["results"]:
        assert bo.get(f"/api/v1/recordings/{row['id']}/preview/").status_code == 200
