"""A recording as one Parquet file: small, exact, the same bytes from the same recording.

Only what stores recordings imports this; the command line never does (the library is slow to load).
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from analysis.core.types import Array, Warning
from analysis.readers.faults import Fault, Refused
from analysis.readers.samples import Event, Lap, Recording

KIND = "recording/1"
NAN_RULE = "NaN is a gap: the file had no value there. Nothing is interpolated."
EXTRA = "extra."  # before the names of fields that are no channel


def recording_to_parquet(recording: Recording) -> bytes:
    """Write time, channels and other fields as float64 columns; everything else goes into the schema's metadata."""
    arrays = {"time_s": recording.time_s, **recording.columns}
    arrays |= {EXTRA + name: values for name, values in recording.extra.items()}
    units = {"time_s": "s", **recording.units} | {EXTRA + name: unit for name, unit in recording.extra_units.items()}
    fields = [
        pa.field(name, pa.float64(), nullable=False, metadata={"unit": units.get(name, "")} if name in units else None)
        for name in arrays
    ]
    facts = {
        "kind": KIND,
        "nan": NAN_RULE,
        "format": recording.format,
        "start": None if recording.start is None else recording.start.isoformat(),
        "device": recording.device,
        "laps": [[lap.number, lap.start_s, lap.end_s if math.isfinite(lap.end_s) else None] for lap in recording.laps],
        "events": [asdict(event) for event in recording.events],
        "extra_units": recording.extra_units,
        "notes": [asdict(note) for note in recording.notes],
    }
    text = json.dumps(facts, sort_keys=True, ensure_ascii=False, allow_nan=False)
    table = pa.table(list(arrays.values()), schema=pa.schema(fields, metadata={"recording": text}))
    target = io.BytesIO()
    pq.write_table(
        table, target, compression="zstd", compression_level=6, use_dictionary=False, use_byte_stream_split=True
    )
    return target.getvalue()


def recording_from_parquet(data: bytes | Path) -> Recording:
    """Read what `recording_to_parquet` wrote."""
    try:
        table = pq.read_table(pa.BufferReader(data) if isinstance(data, bytes) else data)
        facts = json.loads((table.schema.metadata or {})[b"recording"])
    except (pa.ArrowException, KeyError, ValueError) as error:
        raise Refused([Fault("channels", "file", f"no stored recording ({type(error).__name__})", KIND)]) from None
    if facts["kind"] != KIND:
        raise Refused([Fault("channels", "kind", str(facts["kind"]), KIND)])
    return _recording(table, facts)


def stored_laps(path: Path) -> tuple[datetime | None, tuple[Lap, ...]]:
    """When a stored recording starts, and its laps, without reading a sample."""
    facts = json.loads(pq.read_schema(path).metadata[b"recording"])
    return _start(facts), _laps(facts)


def _recording(table: pa.Table, facts: Mapping[str, Any]) -> Recording:
    arrays: dict[str, Array] = {
        name: np.asarray(table.column(name).to_numpy(), dtype=np.float64) for name in table.column_names
    }
    time_s = arrays.pop("time_s")
    return Recording(
        format=facts["format"],
        start=_start(facts),
        time_s=time_s,
        columns={name: values for name, values in arrays.items() if not name.startswith(EXTRA)},
        device=facts["device"],
        laps=_laps(facts),
        events=tuple(Event(**event) for event in facts["events"]),
        extra={name.removeprefix(EXTRA): values for name, values in arrays.items() if name.startswith(EXTRA)},
        extra_units=facts["extra_units"],
        notes=tuple(Warning(**entry) for entry in facts["notes"]),
    )


def _start(facts: Mapping[str, Any]) -> datetime | None:
    return None if facts["start"] is None else datetime.fromisoformat(facts["start"])


def _laps(facts: Mapping[str, Any]) -> tuple[Lap, ...]:
    return tuple(Lap(number, start, math.inf if end is None else end) for number, start, end in facts["laps"])
