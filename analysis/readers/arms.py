"""Arms of a network from CSV: `study,rider,product,cda_m2,se_m2`, by the million where nothing is wrong.

pyarrow reads fast but knows no line; where it stumbles, the file is read again cell by cell and every fault named.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.core.arrays import Array
from analysis.core.pool.arms import Arms, arms_of, repeated
from analysis.readers.faults import Fault, Refused, shown
from analysis.readers.numbers import MOST_FAULTS, NUMBER

if TYPE_CHECKING:
    from pyarrow import Array as ArrowArray
    from pyarrow import Buffer

    Names = ArrowArray[Any]

NAMES, NUMBERS = ("study", "rider", "product"), ("cda_m2", "se_m2")
COLUMNS = (*NAMES, *NUMBERS)
HEAD = 1 << 16  # bytes in which a sound table's header ends
SMALLEST, LARGEST = 1e-30, 1e30  # of numbers in any unit: fourth powers of their ratios are still numbers
BLANK = "".join(map(chr, range(33)))  # signs that leave nothing to see of a name


def read_arms(path: Path) -> Arms:
    """Read a table of arms, or refuse it with every fault found."""
    try:
        data = _held(path)
    except OSError as error:
        raise Refused([Fault(path.name, "file", error.strerror or "an error", "a file that can be read")]) from None
    return _fast(data) or _careful(path.name, data.to_pybytes())


def _held(path: Path) -> Buffer:
    """The file's bytes in pyarrow's keeping, and nowhere else; in the system's memory, which is given back.

    A thread of pyarrow's that let go of Python's memory at the very end would abort the process.
    """
    import pyarrow as pa

    with path.open("rb") as file:
        own: Any = pa.allocate_buffer(path.stat().st_size, resizable=True, memory_pool=pa.system_memory_pool())
        read = file.readinto(own)
        rest = file.read()  # of what has no size, or has grown
        if read + len(rest) != own.size:
            own.resize(read + len(rest))
            np.frombuffer(own, np.uint8)[read:] = np.frombuffer(rest, np.uint8)
    held: Buffer = own
    return held


def _fast(data: Buffer) -> Arms | None:
    """Arms where all is well, None where anything is not."""
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    options = arrow_csv.ConvertOptions(
        column_types={name: pa.large_string() for name in NAMES} | {name: pa.float64() for name in NUMBERS},
        include_columns=list(COLUMNS),
        null_values=[],
    )
    source: Any = pa.BufferReader(data)
    try:
        table = arrow_csv.read_csv(source, convert_options=options, memory_pool=pa.system_memory_pool())
    except (pa.ArrowInvalid, pa.ArrowKeyError):
        return None
    if not table.num_rows or _wrong_columns(_head(data.slice(0, min(HEAD, data.size)).to_pybytes())):
        return None
    # by DLPack: pyarrow's own way to numpy brings in a library for tables that takes longer than the reading
    value, error = (np.concatenate([np.from_dlpack(chunk) for chunk in table[name].chunks]) for name in NUMBERS)
    if not ((np.abs(value) <= LARGEST).all() and (error >= SMALLEST).all() and (error <= LARGEST).all()):
        return None
    study, rider, product = (table[name].combine_chunks() for name in NAMES)
    del table
    arms = _coded(study, rider, product, value, error)
    del study, rider, product
    pa.system_memory_pool().release_unused()
    return None if arms is None or repeated(arms) or _riders_mixed(arms) else arms


def _coded(study: Names, rider: Names, product: Names, value: Array, error: Array) -> Arms | None:
    """Arms with codes for names, None where a name cannot be seen.

    Arms of a study mostly stand together: names that only repeat the row before are not looked up again.
    """
    import pyarrow as pa
    from pyarrow import compute

    again = compute.and_(*(compute.equal(names.slice(1), names.slice(0, len(names) - 1)) for names in (study, rider)))
    first = np.flatnonzero(np.r_[True, np.from_dlpack(again.cast(pa.uint8())) == 0])
    rows: Any = pa.Array.from_buffers(pa.int64(), first.size, [None, pa.py_buffer(first.data)])
    with ThreadPoolExecutor(2) as threads:
        encoded = list(threads.map(compute.dictionary_encode, (study.take(rows), rider.take(rows), product)))
    if not all(_all_seen(names.dictionary) for names in encoded):
        return None
    studies, riders, products = (np.from_dlpack(names.indices).astype(np.int64) for names in encoded)
    times = np.diff(np.r_[first, value.size])
    names = tuple(map(str, encoded[2].dictionary.to_pylist()))
    return Arms(np.repeat(studies, times), np.repeat(riders, times), products, value, error, names)


def _head(data: bytes) -> list[str]:
    """Columns of the table: its first line with anything in it."""
    text = io.TextIOWrapper(io.BytesIO(data), "utf-8-sig", "replace", newline="")
    return next(filter(None, csv.reader(text)), [])


def _wrong_columns(header: list[str]) -> dict[str, str]:
    return {
        column: "no such column" if not header.count(column) else "two such columns"
        for column in COLUMNS
        if header.count(column) != 1
    }


def _all_seen(names: Any) -> bool:  # noqa: ANN401 - pyarrow's own stubs do not know its buffers
    """Whether every name has a sign that can be seen."""
    _, ends, signs = names.buffers()
    at = np.frombuffer(ends, np.int64, len(names) + 1, names.offset * 8)
    visible = np.frombuffer(signs or b"", np.uint8)[: at[-1]] > ord(BLANK[-1])
    if visible.all():
        return bool(np.all(at[1:] > at[:-1]))
    seen = np.r_[0, np.cumsum(visible)]
    return bool(np.all(seen[at[1:]] > seen[at[:-1]]))


def _riders_mixed(arms: Arms) -> bool:
    rider = np.empty(int(arms.study.max()) + 1, np.int64)
    rider[arms.study] = arms.rider
    return not np.array_equal(rider[arms.study], arms.rider)


def _careful(name: str, data: bytes) -> Arms:
    """Read cell by cell; raises with every fault found."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise Refused([Fault(name, "text", "bytes that are no UTF-8", "UTF-8 text", line)]) from None
    reader = _lines(name, text)
    first, cells = next(reader, (1, []))
    header = [cell.strip() for cell in cells]
    faults = [Fault(name, column, found, "one column", first) for column, found in _wrong_columns(header).items()]
    if not text.strip():
        faults = [Fault(name, "file", "nothing in it", f"a header {','.join(COLUMNS)} and one arm a line")]
    if faults:
        raise Refused(faults)
    rows, faults = [], []
    seen: dict[tuple[str, str], int] = {}
    riders: dict[str, str] = {}
    for line, cells in reader:
        if len(cells) != len(header):
            faults.append(Fault(name, "line", f"{len(cells)} cells", f"{len(header)}, as in the header", line))
        else:
            row = dict(zip(header, cells, strict=True))
            faults += [Fault(name, key, found, allowed, line) for key, found, allowed in _wrong(row, seen, riders)]
            seen.setdefault((row["study"], row["product"]), line)
            rows.append(row)
        if len(faults) >= MOST_FAULTS:
            break
    if not rows and not faults:
        faults.append(Fault(name, "arms", "a header and no arm", "at least one arm"))
    if faults:
        raise Refused(faults)
    value, se = (np.array([float(row[column]) for row in rows]) for column in NUMBERS)
    study, rider, product = ([row[column] for row in rows] for column in NAMES)
    return arms_of(study, rider, product, value, se)


def _lines(name: str, text: str) -> Iterator[tuple[int, list[str]]]:
    """Cells with the line on which they begin: a quoted name may go over several."""
    reader = csv.reader(io.StringIO(text, newline=""))
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error:
            allowed = f"at most {csv.field_size_limit()} signs; is a quotation mark left open?"
            raise Refused([Fault(name, "line", "a longer cell", allowed, line)]) from None
        if cells:
            yield line, cells


def _wrong(
    row: dict[str, str], seen: dict[tuple[str, str], int], riders: dict[str, str]
) -> Iterator[tuple[str, str, str]]:
    """What is wrong with one arm: key, what was found, what is allowed."""
    for column in NAMES:
        if not row[column].strip(BLANK):
            yield column, "nothing", "a name"
    for column in NUMBERS:
        text = row[column].strip()
        number = NUMBER.fullmatch(text) and "," not in text and float(text)
        if number is None or number is False or not math.isfinite(number):
            yield column, shown(row[column]), "a finite number with a decimal point"
        elif column == "se_m2" and number <= 0:
            yield column, shown(row[column]), "more than 0"
        elif abs(number) > LARGEST or (column == "se_m2" and number < SMALLEST):
            yield column, shown(row[column]), f"a size of at most {LARGEST:g}, an error of at least {SMALLEST:g}"
    first = seen.get((row["study"], row["product"]))
    if first is not None:
        found = f"{shown(row['product'])} again in study {shown(row['study'])}, as in line {first}"
        yield "product", found, "one arm of a product in a study"
    if riders.setdefault(row["study"], row["rider"]) != row["rider"]:
        found = f"{shown(row['rider'])} in study {shown(row['study'])} of rider {shown(riders[row['study']])}"
        yield "rider", found, "one rider in a study"
