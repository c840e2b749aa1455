"""What the terminal says about jobs: one changing line on a terminal, a line per change elsewhere."""

import io

import pytest

from analysis.results.services.jobs import claim_next
from studio.config import progress
from tests.factories import JobFactory


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture(autouse=True)
def _always_look(monkeypatch):
    monkeypatch.setattr(progress, "LOOK_EVERY_S", 0.0)


def test_elsewhere_a_line_is_written_for_each_change(studio):
    line = progress.JobLine(io.StringIO())
    JobFactory(studio=studio)
    line.look()
    line.look()
    claim_next(worker="one").done({})
    assert line.look()
    assert line.out.getvalue() == "Jobs: none done yet, 1 waiting\nJobs: 1 done, 0 waiting\n"


def test_on_a_terminal_one_line_changes_and_says_what_runs(studio):
    line = progress.JobLine(Terminal())
    JobFactory(studio=studio, kind="demo_session")
    claim_next(worker="one").progress(0.4, "reading")
    line.look()
    line.say("The web process ended.")
    assert (
        line.out.getvalue()
        == "\r\x1b[KJobs: none done yet, 0 waiting, demo session 40%: reading\nThe web process ended.\n"
    )


def test_nothing_is_said_while_nothing_happens(db):
    line = progress.JobLine(io.StringIO())
    assert not line.look()
    assert line.out.getvalue() == ""


def test_the_end_of_the_last_job_is_told_once(studio):
    line = progress.JobLine(io.StringIO())
    JobFactory(studio=studio)
    line.look()
    claim_next(worker="one").done({})
    assert [line.look(), line.look()] == [True, False]
