"""One day's file cut into runs: plain proposals, by laps and by closed paths, that a fitter confirms or corrects.

A ride between two standing pauses is proposed where it closes: it comes back to where it began (or a part of it ends
where that part began), or its length is that of the course. Nothing is cut here; `session.py` does that.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from analysis.core.types import CourseKind
from analysis.readers.samples import Recording
from analysis.readers.track import Track, track_of

By = Literal["laps", "paths"]

# Common practice, no source: what a rider who waits, and a run that is worth riding, look like.
STANDING_MPS = 1.0
PAUSE_S = 15.0
SHORTEST_RUN_S = 45.0
SHORTEST_PATH_M = 200.0
NEAR_M, NEAR_SHARE = 25.0, 0.02  # back at the start: within the larger of the two
LENGTH_SHARE = 0.10  # how far a path may be from the course's length
MOST_PROPOSED = 500


@dataclass(frozen=True, slots=True)
class Proposal:
    """One run, from `start_s` (inclusive) to `end_s` (exclusive) on the recording's clock."""

    by: By
    start_s: float
    end_s: float
    why: str
    lap: int | None = None
    distance_m: float | None = None
    paths: int | None = None  # closed paths in it

    def document(self, recording: Recording) -> dict[str, Any]:
        """Say it in plain JSON, with `from` and `to` as a bundle has them where the recording has a clock."""
        start = recording.start
        ends = {} if start is None else {"from": _text(start, self.start_s), "to": _text(start, self.end_s)}
        plain = {
            "by": self.by,
            "start_s": round(self.start_s, 3),
            "end_s": round(self.end_s, 3),
            "why": self.why,
            "lap": self.lap,
            "distance_m": None if self.distance_m is None else round(self.distance_m, 1),
            "paths": self.paths,
        }
        return {**plain, **ends}


def proposed_runs(
    recording: Recording, course_kind: CourseKind | None = None, length_m: float | None = None
) -> tuple[Proposal, ...]:
    """Propose runs by laps, then by closed paths; `length_m` is one way out and back, once round else."""
    loop = None if length_m is None else length_m * (2 if course_kind == "out_and_back" else 1)
    track = track_of(recording)
    return (*_by_laps(recording, track)[:MOST_PROPOSED], *_by_paths(track, loop)[:MOST_PROPOSED])


def _by_laps(recording: Recording, track: Track) -> list[Proposal]:
    """Every lap long enough, where there are several."""
    if len(recording.laps) < 2:
        return []
    proposals = []
    for lap in recording.laps:
        inside = np.flatnonzero((track.time_s >= lap.start_s) & (track.time_s < lap.end_s))
        if inside.size < 2:
            continue
        end = min(lap.end_s, _after(track, inside[-1]))
        if end - lap.start_s >= SHORTEST_RUN_S and track.ridden(inside[0], inside[-1]) >= SHORTEST_PATH_M:
            distance = track.ridden(inside[0], inside[-1])
            proposals.append(Proposal("laps", lap.start_s, end, f"lap {lap.number}", lap.number, distance))
    return proposals


def _by_paths(track: Track, loop_m: float | None) -> list[Proposal]:
    """Rides between pauses that close."""
    found = [ride for ride in map(lambda spell: _closed(track, spell, loop_m), _rides(track)) if ride is not None]
    if track.placed or loop_m is not None or not found:
        return found
    # Without positions or a course the usual length tells a run from the way there.
    usual = float(np.median([ride.distance_m or 0.0 for ride in found]))
    return [ride for ride in found if abs((ride.distance_m or 0.0) - usual) <= LENGTH_SHARE * usual]


def _rides(track: Track) -> Iterable[tuple[int, int]]:
    """First and last sample of each ride between standing pauses."""
    standing = track.step_mps < STANDING_MPS  # from a sample to the next
    edges = np.flatnonzero(np.diff(np.concatenate([[False], standing, [False]]).astype(int)))
    pauses = [
        (first, last)
        for first, last in zip(edges[::2], edges[1::2], strict=True)
        if track.time_s[last] - track.time_s[first] >= PAUSE_S
    ]
    begins = [0, *(last for _, last in pauses)]
    ends = [*(first for first, _ in pauses), track.time_s.size - 1]
    for begin, end in zip(begins, ends, strict=True):
        if track.time_s[end] - track.time_s[begin] >= SHORTEST_RUN_S:
            yield int(begin), int(end)


def _closed(track: Track, ride: tuple[int, int], loop_m: float | None) -> Proposal | None:
    """The closed paths of a ride: from its first place, or back from its last; by length where there are no places."""
    begin, end = ride
    if not track.placed:
        distance = track.ridden(begin, end)
        paths = 1 if loop_m is None else round(distance / loop_m)
        if distance < SHORTEST_PATH_M or paths < 1:
            return None
        if loop_m is not None and abs(distance - paths * loop_m) > LENGTH_SHARE * loop_m:
            return None
        why = "ridden between two pauses" if loop_m is None else "ridden between two pauses, as long as the course"
        return _proposal(track, (begin, end), paths, why)
    for back in (False, True):
        passed = _passings(track, ride, loop_m, back)
        if len(passed) > 1:
            cut = (min(passed[0], passed[-1]), max(passed[0], passed[-1]))
            return _proposal(track, cut, len(passed) - 1, "comes back to where it began")
    return None


def _passings(track: Track, ride: tuple[int, int], loop_m: float | None, back: bool) -> list[int]:
    """Samples closest to the anchor, the ride's first place (its last, looking back), each a closed path apart."""
    begin, end = ride
    places = np.arange(begin, end + 1)[:: -1 if back else 1]
    away = np.hypot(track.east_m[places] - track.east_m[places[0]], track.north_m[places] - track.north_m[places[0]])
    along = np.abs(track.distance_m[places] - track.distance_m[places[0]])
    near = away <= max(NEAR_M, NEAR_SHARE * float(along[-1] if loop_m is None else loop_m))
    passed = [0]
    for first, last in _stretches(near):
        closest = first + int(np.argmin(away[first:last]))
        path = float(along[closest] - along[passed[-1]])
        least = SHORTEST_PATH_M if len(passed) < 2 else 0.5 * float(along[passed[1]] - along[0])
        if path >= least and (loop_m is None or abs(path - loop_m) <= LENGTH_SHARE * loop_m):
            passed.append(closest)
    return [int(places[at]) for at in passed]


def _stretches(inside: NDArray[np.bool_]) -> Iterable[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    return ((int(first), int(last)) for first, last in zip(edges[::2], edges[1::2], strict=True))


def _proposal(track: Track, cut: tuple[int, int], paths: int, why: str) -> Proposal | None:
    first, last = cut
    start, end = float(track.time_s[first]), _after(track, last)
    if end - start < SHORTEST_RUN_S:
        return None
    return Proposal("paths", start, end, why, distance_m=track.ridden(first, last), paths=paths)


def _after(track: Track, at: int) -> float:
    """A moment just after a sample: the next sample's, or a second later."""
    later = track.time_s[at + 1] if at + 1 < track.time_s.size else math.inf
    return float(min(later, track.time_s[at] + 1.0))


def _text(start: datetime, seconds: float) -> str:
    moment = start + timedelta(seconds=seconds)
    return f"{moment:%Y-%m-%dT%H:%M:%S}{f'.{moment.microsecond // 1000:03}' if moment.microsecond else ''}Z"
