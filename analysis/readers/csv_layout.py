"""How a CSV file is written: delimiter, decimal sign, header. The samples are read in `csv_reader.py`."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from analysis.readers.channels import TIME
from analysis.readers.faults import Fault, Refused, shown
from analysis.readers.mapping import Target, resolve
from analysis.readers.mapping_document import Own, rules_of
from analysis.readers.numbers import NUMBER
from analysis.readers.times import TIME_ALLOWED

DELIMITERS = ",;\t|"
SNIFFED = 20


def refuse_binary(name: str, data: bytes) -> None:
    if b"\0" in data:
        line = data.count(b"\n", 0, data.index(b"\0")) + 1
        raise Refused(
            [Fault(name, "file", "binary data", "a CSV text in UTF-8 or UTF-16, or a FIT, TCX or GPX file", line)]
        )
    try:
        data.decode()
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        given = f"bytes that are no UTF-8 ({data[error.start : error.start + 4].hex(' ')})"
        raise Refused(
            [Fault(name, "file", given, "a CSV text saved as UTF-8, or a FIT, TCX or GPX file", line)]
        ) from None


@dataclass(frozen=True, slots=True)
class Layout:
    delimiter: str
    decimal: str | None
    header: list[str]
    skipped: int  # lines up to and with the header
    targets: Mapping[int, Target]
    plain: bool


def lines_of(data: bytes) -> io.TextIOWrapper:
    return io.TextIOWrapper(io.BytesIO(data), encoding="utf-8-sig", newline="")


def header_of(name: str, data: bytes) -> list[str]:
    """The columns that a text names, whatever they mean; `Refused` where it is none or has no header."""
    refuse_binary(name, data)
    head, skipped = _head(name, data)
    return _columns(name, head[skipped], None)[1]


def sniff(name: str, data: bytes, mapping: Own) -> Layout:
    """Find delimiter, decimal sign and header from the first lines."""
    head, skipped = _head(name, data)
    delimiter, header, targets, faults = _columns(name, head[skipped], mapping)
    if TIME not in {target.channel for target in targets.values()}:
        given = f"the columns {shown(', '.join(header))}"
        faults.append(Fault(name, TIME, given, f"a column '{TIME}': {TIME_ALLOWED}", skipped + 1))
    if faults:
        raise Refused(faults)
    body = data[len("".join(head[: skipped + 1]).encode()) :]
    decimal = _decimal(body, delimiter, head[skipped + 1 :], targets)
    # float() also takes underscores and every script's digits; where none occur it is as strict as this reader.
    plain = body.isascii() and b"_" not in body and not (decimal == "," and b"." in body)
    return Layout(delimiter, decimal, header, skipped + 1, targets, plain)


def _head(name: str, data: bytes) -> tuple[list[str], int]:
    """The first lines, and which of them is the header."""
    head = list(islice((line[:100_000] for line in lines_of(data)), SNIFFED + 3))
    skipped = next((at for at, line in enumerate(head) if line.strip() and not line.startswith("sep=")), len(head))
    if skipped == len(head):
        raise Refused([Fault(name, "file", f"{len(data)} bytes and no header", "a header line and samples")])
    return head, skipped


def _columns(name: str, line: str, mapping: Own) -> tuple[str, list[str], dict[int, Target], list[Fault]]:
    """The delimiter under which the header names most channels, and what its columns are."""
    best: tuple[int, int] = (-1, -1)
    for sign in [sign for sign in DELIMITERS if sign in line] or DELIMITERS[:1]:
        names = _rows([line], sign)[0]
        found = resolve(name, names, rules_of(mapping, {"columns": names}))
        if (len(found[0]), len(names)) > best:
            best, delimiter, header, (targets, faults) = (len(found[0]), len(names)), sign, names, found
    return delimiter, header, targets, faults


def _rows(lines: Sequence[str], delimiter: str) -> list[list[str]]:
    try:
        return list(csv.reader(lines, delimiter=delimiter, skipinitialspace=True)) or [[]]
    except csv.Error:
        return [[]]


def _decimal(body: bytes, delimiter: str, lines: Sequence[str], targets: Mapping[int, Target]) -> str | None:
    """Tell the file's one decimal sign; where points and commas occur, by the numbers of the first rows."""
    points, commas = b"." in body, (b'"' if delimiter == "," else b",") in body
    if not (points and commas):
        return "." if points else "," if commas else None
    rows, columns = _rows(lines, delimiter), [at for at, target in targets.items() if target.channel != TIME]
    cells = [row[at].strip() for row in rows for at in columns if at < len(row)]
    numbers = [cell for cell in cells if NUMBER.fullmatch(cell)]
    return "," if any("," in cell for cell in numbers) and not any("." in cell for cell in numbers) else "."
