"""Folders and zips: what a bundle may look like, and the hostile ones that are refused whole."""

import hashlib
import io
import json
import os
import zipfile

import pytest

from analysis.readers.bundle import Bundle, read_bundle, read_whole_bundle, write_bundle
from analysis.readers.faults import Refused
from analysis.readers.limits import Limits
from tests.analysis.readers.bundles import csv_bytes, document, files, folder, sound_members, zipped


def content(bundle: Bundle, name: str) -> bytes:
    held = bundle.files[name]
    return held if isinstance(held, bytes) else held.read_bytes()


@pytest.fixture(params=["folder", "folder in a folder", "zip", "zip with a top folder"])
def sound(request, tmp_path):
    if "zip" in request.param:
        return zipped(tmp_path / "day.zip", sound_members("day/" if "top" in request.param else ""))
    folder(tmp_path / "day" / ("inner" if "in a" in request.param else ""))
    return tmp_path / "day"


def test_folder_and_zip_hold_the_same(sound):
    bundle, recordings = read_whole_bundle(sound)
    assert bundle.document == document()
    assert {name: content(bundle, name) for name in bundle.files} == files()
    assert bundle.sha256["run-01.csv"] == hashlib.sha256(csv_bytes()).hexdigest()
    assert bundle.notes == ()
    assert recordings["run-02.csv"].columns["power_w"].size == 20


def test_names_in_every_script(tmp_path):
    names = ["Läufe/größe 1.csv", "測定-01.csv", "замер 2.csv", "تجربة.csv", "🚴.csv"]
    runs = [{"number": at, "setup": "A", "recording": name} for at, name in enumerate(names, 1)]
    contents = dict.fromkeys(names, csv_bytes())
    write_bundle(document(runs=runs), contents, tmp_path / "day.zip")
    assert list(read_bundle(tmp_path / "day.zip").files) == names
    assert list(read_bundle(folder(tmp_path / "day", document(runs=runs), contents)).files) == names


def test_letters_and_accents_stored_apart_are_the_same_name(tmp_path):
    runs = [{"number": 1, "setup": "A", "recording": "L\u00e4ufe.csv"}]
    path = zipped(
        tmp_path / "day.zip",
        [("session.json", json.dumps(document(runs=runs)).encode()), ("La\u0308ufe.csv", csv_bytes())],
    )
    assert read_bundle(path).sha256.keys() == {"L\u00e4ufe.csv"}


def test_an_unmarked_utf8_name_is_understood(tmp_path):
    runs = [{"number": 1, "setup": "A", "recording": "größe.csv"}]
    path = zipped(
        tmp_path / "day.zip", [("session.json", json.dumps(document(runs=runs)).encode()), ("größe.csv", csv_bytes())]
    )
    raw = path.read_bytes()
    at = raw.index(b"PK\x01\x02", raw.index(b"PK\x01\x02") + 4)  # the second member of the table, and its own header
    local = raw.index(b"PK\x03\x04", 4)
    for flags in (at + 9, local + 7):
        raw = raw[:flags] + bytes([raw[flags] & ~0x08]) + raw[flags + 1 :]
    path.write_bytes(raw)
    assert list(read_bundle(path).files) == ["größe.csv"]


def test_files_that_no_run_names_are_noted_but_a_systems_own_are_not(tmp_path):
    path = folder(tmp_path / "day", contents={**files(), "notes.txt": b"x", ".DS_Store": b"x"})
    (note,) = read_bundle(path).notes
    assert (note.code, "'notes.txt'" in note.what) == ("unknown_key", True)


def link(name):
    info = zipfile.ZipInfo(name)
    info.create_system, info.external_attr = 3, 0o120777 << 16
    return info


def nested():
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w") as archive:
        archive.writestr("run.csv", "x")
    return inner.getvalue()


@pytest.mark.parametrize(
    ("extra", "sentence"),
    [
        (("../evil.csv", b"x"), r"member name: found '\.\./evil\.csv'; allowed: a plain relative path"),
        (("day/../../evil.csv", b"x"), r"member name: found"),
        (("../evil/", b""), r"member name: found '\.\./evil/'"),
        (("/etc/evil.csv", b"x"), r"member name: found '/etc/evil\.csv'"),
        (("..\\evil.csv", b"x"), r"member name: found"),
        (("C:evil.csv", b"x"), r"member name: found"),
        (("new\nline.csv", b"x"), r"member name: found"),
        ((link("run-03.csv"), b"/etc/passwd"), r"run-03\.csv: found a link; allowed: a file of its own"),
        (("inner.zip", nested()), r"inner\.zip: found a zip inside the zip"),
        (("bomb.csv", bytes(10 * 1024 * 1024)), r"bomb\.csv: found a member that unpacks to \d+ times its size"),
    ],
)
def test_a_hostile_member_refuses_the_whole_zip(tmp_path, extra, sentence):
    path = zipped(tmp_path / "day.zip", [*sound_members(), extra])
    with pytest.raises(Refused, match=sentence):
        read_bundle(path)


def test_a_zip_in_a_recordings_clothes_is_refused(tmp_path):
    members = [(name, nested() if name == "run-01.csv" else content) for name, content in sound_members()]
    with pytest.raises(Refused, match=r"run-01\.csv, file: found a zip inside the zip"):
        read_bundle(zipped(tmp_path / "day.zip", members))


def test_two_members_of_one_name_are_refused(tmp_path):
    with pytest.warns(UserWarning, match="Duplicate name"):
        path = zipped(tmp_path / "day.zip", [*sound_members(), ("run-01.csv", b"other")])
    with pytest.raises(Refused, match=r"run-01\.csv: found 2 members of one name; allowed: one"):
        read_bundle(path)


def test_an_encrypted_member_is_refused(tmp_path):
    path = zipped(tmp_path / "day.zip", sound_members())
    raw = bytearray(path.read_bytes())
    raw[raw.index(b"PK\x01\x02") + 8] |= 1
    path.write_bytes(raw)
    with pytest.raises(Refused, match="found an encrypted member; allowed: members without a password"):
        read_bundle(path)


def test_a_member_without_a_name_is_refused(tmp_path):
    path = zipped(tmp_path / "day.zip", [*sound_members(), ("x", b"")])
    raw = path.read_bytes()
    entry = raw.rindex(b"PK\x01\x02")  # 46 bytes, then the name whose length stands at 28
    table = raw[: entry + 28] + bytes(2) + raw[entry + 30 : entry + 46] + raw[entry + 47 :]
    size = int.from_bytes(table[-10:-6], "little") - 1  # of the table, in the end record
    path.write_bytes(table[:-10] + size.to_bytes(4, "little") + table[-6:])
    with pytest.raises(Refused, match="member name: found ''; allowed: a plain relative path"):
        read_bundle(path)


def test_a_damaged_member_is_refused(tmp_path):
    path = zipped(tmp_path / "day.zip", sound_members())
    raw = bytearray(path.read_bytes())
    at = raw.index(b"run-01.csv") + 30
    raw[at : at + 20] = bytes(20)
    path.write_bytes(raw)
    with pytest.raises(Refused, match=r"run-01\.csv, file: found a broken member"):
        read_bundle(path)


def test_caps_hold_for_count_total_and_each_file(tmp_path):
    path = zipped(tmp_path / "day.zip", sound_members())
    with pytest.raises(Refused, match="found more than 2; allowed: at most 2"):
        read_bundle(path, limits=Limits(max_members=2))
    with pytest.raises(Refused, match="size: found .* MiB unpacked; allowed: at most"):
        read_bundle(path, limits=Limits(max_total_bytes=1000))
    with pytest.raises(Refused, match="session.json, file: found more than"):
        read_bundle(path, limits=Limits(max_bytes=100))
    with pytest.raises(Refused, match=r"run-01\.csv, file: found .* MiB; allowed: at most"):
        read_bundle(folder(tmp_path / "day"), limits=Limits(max_bytes=1000))
    with pytest.raises(Refused, match="session.json, file: found .* MiB; allowed"):
        read_bundle(tmp_path / "day", limits=Limits(max_document_bytes=100))


def test_links_in_a_folder_are_not_followed(tmp_path):
    (tmp_path / "secret.csv").write_bytes(csv_bytes())
    path = folder(tmp_path / "day", contents={"run-02.csv": csv_bytes()})
    (path / "run-01.csv").symlink_to(tmp_path / "secret.csv")
    with pytest.raises(Refused, match=r"run-01\.csv, file: found a link; allowed: a file of its own"):
        read_bundle(path)


def test_a_folder_behind_a_link_is_not_entered(tmp_path):
    folder(tmp_path / "elsewhere", contents={"run-01.csv": csv_bytes()})
    runs = [{"number": 1, "setup": "A", "recording": "in/run-01.csv"}]
    path = folder(tmp_path / "day", document(runs=runs), {})
    (path / "in").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(Refused, match=r"run-01\.csv"):
        read_bundle(path)


def test_a_pipe_in_a_folder_is_not_opened(tmp_path):
    path = folder(tmp_path / "day", contents={"run-02.csv": csv_bytes()})
    os.mkfifo(path / "run-01.csv")
    with pytest.raises(Refused, match=r"run-01\.csv, file: found no regular file"):
        read_bundle(path)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda path: path, "found no such file or folder"),
        (lambda path: path.write_bytes(b"time,power_w\n") and path, "found a file that is no zip"),
        (lambda path: path.write_bytes(nested()) and path, r"session\.json: found none; allowed: one session\.json"),
        (lambda path: path.write_bytes(nested()[:40]) and path, "found a file that is no zip"),
        (lambda path: zipped(path, [(f"{top}/session.json", b"{}") for top in "ab"]), "found 'a/session.json', 'b/"),
        (lambda path: zipped(path, [("a/b/session.json", b"{}")]), "at the root or in one top folder"),
    ],
)
def test_what_is_no_bundle_is_refused(tmp_path, make, sentence):
    with pytest.raises(Refused, match=sentence):
        read_bundle(make(tmp_path / "day"))


def test_missing_recordings_are_all_named(tmp_path):
    with pytest.raises(
        Refused, match=r"found 'run-01.csv'; allowed: a file of the bundle, which has 'x.csv'"
    ) as refusal:
        read_bundle(folder(tmp_path / "day", contents={"x.csv": b"x"}))
    assert [fault.key for fault in refusal.value.faults] == ["runs[0].recording", "runs[1].recording"]


def test_faults_of_all_recordings_come_together(tmp_path):
    contents = {"run-01.csv": b"", "run-02.csv": csv_bytes().replace(b"12.25", b"fast", 1)}
    with pytest.raises(Refused, match="an empty file") as refusal:
        read_whole_bundle(folder(tmp_path / "day", contents=contents))
    assert [(fault.file, fault.line) for fault in refusal.value.faults] == [("run-01.csv", None), ("run-02.csv", 2)]


def test_faults_of_shape_sense_and_files_come_together(tmp_path):
    wrong = document(system_mass_kg=-3)
    wrong["session"]["timezone"] = "Nowhere/Atoll"
    wrong["runs"][0]["number"], wrong["runs"][1]["setup"] = "one", "Q"
    path = folder(tmp_path / "day", wrong, {**files(), "run-02.csv": b""})
    with pytest.raises(Refused, match="found 'Q'") as refusal:
        read_whole_bundle(path)
    keys = {fault.key for fault in refusal.value.faults}
    assert keys == {"system_mass_kg", "session.timezone", "runs[0].number", "runs[1].setup", "file"}


def test_faults_of_the_whole_name_the_bundle_as_the_user_knows_it(tmp_path):
    with pytest.raises(Refused, match=r"^day of May\.zip, member name: found"):
        read_bundle(zipped(tmp_path / "0a1b2c", [*sound_members(), ("../x.csv", b"")]), label="day of May.zip")


def test_a_written_bundle_reads_the_same_and_has_the_same_bytes_twice(tmp_path):
    first, second = io.BytesIO(), io.BytesIO()
    write_bundle(document(), files(), first)
    write_bundle(document(), dict(reversed(files().items())), second)
    assert first.getvalue() == second.getvalue()
    (tmp_path / "day.zip").write_bytes(first.getvalue())
    bundle = read_bundle(tmp_path / "day.zip")
    assert bundle.document == document()
    assert {name: content(bundle, name) for name in bundle.files} == files()
