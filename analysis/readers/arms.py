"""Arms of a network from CSV: `study,rider,product,cda_m2,se_m2`, by the million where nothing is wrong.

pyarrow reads fast but knows no line; where it stumbles, the file is read again cell by cell and every fault named.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.core.pool import Arms, arms_of
from analysis.core.pool.arms import repeated_rows
from analysis.readers.faults import Fault, Refused, shown
from analysis.readers.numbers import MOST_FAULTS, NUMBER

if TYPE_CHECKING:
    from pyarrow import Buffer

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

    data = path.read_bytes()
    own: Any = pa.allocate_buffer(len(data), memory_pool=pa.system_memory_pool())
    np.frombuffer(own, np.uint8)[:] = np.frombuffer(data, np.uint8)
    held: Buffer = own
    return held


def _fast(data: Buffer) -> Arms | None:
    """Arms where all is well, None where anything is not."""
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    options = arrow_csv.ConvertOptions(
        column_types={name: pa.dictionary(pa.int32(), pa.string()) for name in NAMES}
        | {name: pa.float64() for name in NUMBERS},
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
    table = table.unify_dictionaries()
    codes = {}
    names: tuple[str, ...] = ()
    for name in NAMES:
        chunks: list[Any] = table[name].chunks
        dictionary = chunks[0].dictionary
        ends = np.frombuffer(dictionary.buffers()[1], np.int32, len(dictionary) + 1, dictionary.offset * 4)
        if not _all_seen(np.frombuffer(dictionary.buffers()[2] or b"", np.uint8), ends):
            return None
        if name == "product":
            names = tuple(dictionary.to_pylist())
        codes[name] = np.concatenate([np.from_dlpack(chunk.indices) for chunk in chunks], dtype=np.int64)
    # by DLPack: pyarrow's own way to numpy brings in a library for tables that takes longer than the reading
    value, error = (np.concatenate([np.from_dlpack(chunk) for chunk in table[name].chunks]) for name in NUMBERS)
    if not ((np.abs(value) <= LARGEST).all() and (error >= SMALLEST).all() and (error <= LARGEST).all()):
        return None
    arms = Arms(codes["study"], codes["rider"], codes["product"], value, error, names)
    return None if repeated_rows(arms).size or _riders_mixed(arms) else arms


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


def _all_seen(signs: np.ndarray, ends: np.ndarray) -> bool:
    """Whether every name has a sign that can be seen."""
    seen = np.r_[0, np.cumsum(signs[: ends[-1]] > ord(BLANK[-1]))]
    return bool(np.all(seen[ends[1:]] > seen[ends[:-1]]))


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
