"""Whatever a recording lacks, a session is refused with a sentence or gives a result that JSON can hold."""

import json
from dataclasses import replace

import numpy as np
import pytest

from analysis.core.document import result_document
from analysis.core.session import estimate
from analysis.core.simulate.session import simulate_session
from analysis.core.simulate.world import World
from analysis.core.types import Channels, Course, Session, SessionRefused

WORLDS = (World(order="ABBA"), World(order="ABBA", kind="lap", length_m=1000.0, laps=2))


@pytest.fixture(scope="module")
def sound() -> list[Session]:
    return [simulate_session(w, np.random.default_rng(20))[0] for w in WORLDS]


def broken(c: Channels, rng: np.random.Generator) -> Channels:
    """Channels lost, full of holes, silent or stuck, or the recording cut short."""
    changes: dict[str, np.ndarray | None] = {}
    for name in c.__dataclass_fields__:
        series, luck = getattr(c, name), rng.random()
        if name == "time_s" or series is None or luck > 0.25:
            continue
        start = int(rng.integers(0, series.size))
        holed = series.copy()
        holed[start : start + int(rng.integers(1, series.size))] = np.nan
        silent, stuck, missing = np.zeros(series.size), np.full(series.size, series[0]), np.full(series.size, np.nan)
        changes[name] = (None, holed, silent, stuck, missing)[int(luck * 20)]
    cut = replace(c, **changes)
    if rng.random() < 0.15:
        kept = int(rng.integers(1, c.time_s.size))
        fields = [f for f in c.__dataclass_fields__ if getattr(cut, f) is not None]
        cut = replace(cut, **{f: getattr(cut, f)[:kept] for f in fields})
    return cut


@pytest.mark.parametrize("seed", range(40))
def test_a_broken_session_still_gives_a_document_or_a_sentence(sound, seed):
    rng = np.random.default_rng(seed)
    session = sound[seed % 2]
    runs = tuple(replace(r, channels=broken(r.channels, rng)) for r in session.runs)
    course = session.course if seed % 5 else Course(session.course.kind)
    given = replace(session, runs=runs, course=course)
    if not any(r.channels.power_w is not None and np.isfinite(r.channels.power_w).any() for r in runs):
        with pytest.raises(SessionRefused, match="No run has power"):
            estimate(given)
        return
    document = result_document(estimate(given))
    assert json.loads(json.dumps(document, allow_nan=False))["schema"] == "session-result/1"
    assert len(document["runs"]) == len(session.runs)


def test_without_air_speed_and_with_a_hole_in_every_leg_nothing_is_said(sound):
    def holed(c: Channels) -> Channels:
        power = c.power_w.copy()
        power[(c.time_s - c.time_s[0]) % 80.0 < 20.0] = np.nan
        return replace(c, airspeed_mps=None, power_w=power)

    runs = tuple(replace(r, channels=holed(r.channels)) for r in sound[0].runs)
    result = estimate(replace(sound[0], runs=runs))
    assert [c.verdict for c in result.comparisons] == ["invalid"]
    assert {w.where for w in result.warnings if w.code == "run_unusable"} == {f"run {k}" for k in (1, 2, 3, 4)}
