"""A studio's own reading of fields, asked for by the device's key while a file is read; texts in UTF-16."""

import gzip

import pytest

from analysis.readers.faults import Refused
from analysis.readers.mapping_document import device_key
from analysis.readers.recording import fields_of, read_recording
from tests.analysis.readers.bundles import START
from tests.analysis.readers.fit_files import fit_file
from tests.analysis.readers.xml_files import tcx_file

FOREIGN = b"Zeit;Leistung;Tempo\n0;250;36\n1;251;36\n"
RULES = {"Zeit": "time", "Leistung": "power_w", "Tempo": "speed_mps*0.2777777777777778"}
FIT = fit_file(START, [{"power": 250, "speed": 10.0}] * 3)


def remembering(device, rules):
    known = {device_key(device): rules}
    return known.get


@pytest.mark.parametrize(
    "data", [FOREIGN, gzip.compress(FOREIGN, mtime=0), FOREIGN.replace(b";", b"\t")], ids=["csv", "gzip", "tabs"]
)
def test_a_foreign_text_is_read_by_what_is_remembered_for_its_columns(data):
    mapping = remembering({"columns": ["Tempo", "zeit ", "Leistung"]}, RULES)
    columns = read_recording("day.csv", data, mapping=mapping).columns
    assert columns["power_w"].tolist() == [250, 251]
    assert columns["speed_mps"].tolist() == pytest.approx([10, 10])


def test_what_is_remembered_for_another_device_is_not_used():
    mapping = remembering({"columns": ["Tempo", "Zeit"]}, RULES)
    with pytest.raises(Refused, match="a column 'time'"):
        read_recording("day.csv", FOREIGN, mapping=mapping)


@pytest.mark.parametrize(("data", "rule"), [(FIT, {"power": ""}), (tcx_file(((0, 6),)), {"Watts": ""})])
def test_a_device_that_says_who_it_is_is_known_by_it(data, rule):
    plain = read_recording("day", data)
    assert "power_w" in plain.columns
    own = read_recording("day", data, mapping=remembering(plain.device, rule))
    assert "power_w" not in own.columns
    assert device_key(own.device) == device_key(plain.device)


def test_a_refused_text_still_names_its_columns():
    assert fields_of("day.csv", FOREIGN) == {"columns": ["Zeit", "Leistung", "Tempo"]}


@pytest.mark.parametrize("data", [b"%PDF-1.7", FIT, tcx_file(((0, 6),)), b"", b"\0\1\2", b"\n\n", b"PK\x03\x04"])
def test_what_is_no_text_names_none(data):
    assert fields_of("day", data) == {}


@pytest.mark.parametrize("order", ["utf-16", "utf-16-le", "utf-16-be"])
def test_text_of_two_bytes_a_sign_is_read(order):
    mark = "" if order == "utf-16" else "\ufeff"
    text = f"{mark}time\tpower_w\n0\t250\n1\t251\n".encode(order)
    assert read_recording("run.csv", text).columns["power_w"].tolist() == [250, 251]


def test_a_torn_text_of_two_bytes_a_sign_says_what_it_is():
    with pytest.raises(Refused, match="a UTF-16 text that is broken or cut off"):
        read_recording("run.csv", "time,power_w\n0,250\n".encode("utf-16")[:-1])


def test_binary_data_is_told_that_utf_16_would_be_read():
    with pytest.raises(Refused, match="binary data; allowed: a CSV text in UTF-8 or UTF-16"):
        read_recording("run.csv", b"time,power_w\n0,\x00\n")
