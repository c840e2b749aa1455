"""A small day whose truth is known, and jobs claimed for it."""

import io
from functools import cache

import pytest

from analysis.jobs.demo_bundle import demo_bundle
from analysis.readers.bundle import write_bundle
from analysis.results.services.jobs import claim_next, job_create
from studio.records.store import keep_file


@cache
def _small_day():
    document, files = demo_bundle(1)
    runs = document["runs"][:4]
    return {**document, "runs": runs}, {run["recording"]: files[run["recording"]] for run in runs}


@pytest.fixture
def small_day():
    """Document and recordings of four runs; the document may be changed."""
    document, files = _small_day()
    return {**document, "session": dict(document["session"])}, dict(files)


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"


@pytest.fixture
def claim(studio, fitter_bo):
    """Ask for a job and claim it."""

    def make(kind, **payload):
        job_create(kind=kind, studio=studio, by=fitter_bo, payload=payload)
        return claim_next(worker="one")

    return make


@pytest.fixture
def upload(studio, claim):
    """A claimed import of a bundle."""

    def make(document, files):
        archive = io.BytesIO()
        write_bundle(document, files, archive)
        stored = keep_file(studio_id=studio.pk, chunks=[archive.getvalue()])
        return claim("import_bundle", sha256=stored.sha256, filename="day.zip")

    return make
