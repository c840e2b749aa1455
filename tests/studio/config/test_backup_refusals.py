"""What `backup` and `restore` refuse, each in a sentence, with nothing written."""

import json
import zipfile
from hashlib import sha256

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from studio.config.archive import DATABASES, BackupRefused, opened_archive, write_archive
from studio.config.management.commands import restore as restore_command
from studio.records.store import keep_file
from tests.factories import StudioFactory

STORED = "files/01a21299-a4b2-7aa7-a5c4-b01fad3cc7bc/ab/" + "ab" * 32


@pytest.fixture(autouse=True)
def _own_folder(settings, tmp_path):
    settings.STUDIO_DATA = tmp_path / "data"
    settings.FILES_FOLDER = tmp_path / "data" / "files"
    settings.STUDIO_DATA.mkdir()


@pytest.fixture
def archive(tmp_path):
    """An archive whose form is sound; what is in it is no database."""
    source, path = tmp_path / "source", tmp_path / "backup.zip"
    source.write_bytes(b"0123456789" * 1000)
    about = {"release": "9.9", "made_at": "2026-05-09", "database": connection.vendor, "migrations": ()}
    write_archive(path, members={DATABASES[connection.vendor]: source, STORED: source}, about=about)
    return path


def rewrite(path, manifest=None, members=None):
    """The archive with another manifest or other members."""
    with zipfile.ZipFile(path) as old:
        kept = {name: old.read(name) for name in old.namelist()}
    kept["manifest.json"] = json.dumps(json.loads(kept["manifest.json"]) | (manifest or {})).encode()
    with zipfile.ZipFile(path, "w") as new:
        for name, data in (kept | (members or {})).items():
            if data is not None:
                new.writestr(name, data)


def extract(path, folder):
    with opened_archive(path) as archive:
        archive.extract_to(folder)


def test_a_sound_archive_gives_its_members_back(archive, tmp_path):
    extract(archive, tmp_path / "out")
    assert (tmp_path / "out" / STORED).read_bytes() == b"0123456789" * 1000


def test_an_archive_cut_anywhere_is_refused(archive, tmp_path):
    whole = archive.read_bytes()
    for number, share in enumerate((0, 0.2, 0.5, 0.9, 0.999)):
        archive.write_bytes(whole[: int(len(whole) * share)])
        with pytest.raises(BackupRefused, match="no whole backup"):
            extract(archive, tmp_path / str(number))


def unpacked(path, folder):
    """What comes out as the stored file, None where the archive is refused."""
    try:
        extract(path, folder)
    except BackupRefused:
        return None
    return (folder / STORED).read_bytes()


def test_an_altered_byte_never_comes_out_as_a_stored_file(archive, tmp_path):
    whole = archive.read_bytes()
    with zipfile.ZipFile(archive) as zipped:
        member = zipped.getinfo(STORED)
    # The local file header: 30 bytes, the name, and an extra field whose length stands at byte 28 (APPNOTE 4.3.7).
    begin = member.header_offset + 30 + len(STORED) + int.from_bytes(whole[member.header_offset + 28 :][:2], "little")
    outcomes = []
    for place in range(begin, begin + member.compress_size):
        archive.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        outcomes.append(unpacked(archive, tmp_path / str(place)))
    assert set(outcomes) <= {None, b"0123456789" * 1000}  # some bits at a stream's end mean nothing
    assert outcomes.count(None) > len(outcomes) / 2


@pytest.mark.parametrize(
    "members",
    [{STORED: b"other bytes"}, {STORED: None}, {"files/more": b"x"}, {"manifest.json": b"[]"}, {"manifest.json": None}],
    ids=["changed", "missing", "added", "manifest of another shape", "no manifest"],
)
def test_members_that_the_manifest_does_not_name_so_are_refused(archive, tmp_path, members):
    rewrite(archive, members=members)
    with pytest.raises(BackupRefused, match="no whole backup"):
        extract(archive, tmp_path / "out")


@pytest.mark.parametrize("name", ["../outside", "/outside", "files/../../outside", "studio.lock"])
def test_a_member_never_leaves_the_folder(archive, tmp_path, name):
    database = DATABASES[connection.vendor]
    files = {name: sha256(b"x").hexdigest(), database: sha256(b"x").hexdigest()}
    rewrite(archive, manifest={"files": files}, members={STORED: None, name: b"x", database: b"x"})
    with pytest.raises(BackupRefused, match="no whole backup"):
        extract(archive, tmp_path / "out")
    assert not (tmp_path / "outside").exists()


def test_another_file_and_no_file_are_refused(tmp_path):
    (tmp_path / "text").write_text("hello", encoding="utf-8")
    with pytest.raises(BackupRefused, match="no whole backup"), opened_archive(tmp_path / "text"):
        pass
    with pytest.raises(BackupRefused, match="cannot be read"), opened_archive(tmp_path / "gone"):
        pass


@pytest.mark.parametrize(
    ("manifest", "sentence"),
    [
        ({"format": "windledger-backup/2"}, "restore it with a newer release"),
        ({"migrations": ["records.0001_records", "records.9999_from_the_future"]}, "newer than release .*9999_from"),
        ({}, "There is a studio here already"),
    ],
)
def test_what_does_not_fit_here_is_refused(db, archive, settings, manifest, sentence):
    rewrite(archive, manifest=manifest)
    with pytest.raises(CommandError, match=sentence):
        call_command("restore", str(archive))
    assert [path.name for path in settings.STUDIO_DATA.iterdir()] == ["studio.lock"]


def test_the_other_kind_of_database_is_refused(db, archive):
    other = next(vendor for vendor in DATABASES if vendor != connection.vendor)
    name, data = DATABASES[other], b"x"
    files = {name: sha256(data).hexdigest()}
    members = {STORED: None, DATABASES[connection.vendor]: None, name: data}
    rewrite(archive, manifest={"database": other, "files": files}, members=members)
    with pytest.raises(CommandError, match=f"studio on {other}, and here is {connection.vendor}"):
        call_command("restore", str(archive))


def test_a_folder_with_files_of_another_studio_is_no_empty_place(db, archive, settings, monkeypatch):
    monkeypatch.setattr(restore_command, "has_tables", lambda: False)
    keep_file(studio_id=StudioFactory().pk, chunks=[b"another studio's"])
    with pytest.raises(CommandError, match="There is a studio here already"):
        call_command("restore", str(archive))


def test_an_older_backup_is_never_written_over(db, tmp_path):
    (tmp_path / "older.zip").write_bytes(b"older")
    with pytest.raises(CommandError, match="is there already"):
        call_command("backup", str(tmp_path / "older.zip"))
    assert (tmp_path / "older.zip").read_bytes() == b"older"


def test_a_backup_into_a_folder_that_is_not_there_is_told(db, tmp_path):
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("backup", str(tmp_path / "gone" / "backup.zip"))


@pytest.mark.django_db(transaction=True)
def test_a_file_that_rotted_on_the_disk_is_named_and_the_backup_made(settings, tmp_path, capsys):
    studio = StudioFactory()
    stored = keep_file(studio_id=studio.pk, chunks=[b"as it was"])
    path = settings.FILES_FOLDER / str(studio.pk) / stored.sha256[:2] / stored.sha256
    path.write_bytes(b"as it is now")
    (path.parents[1] / "incoming-half").write_bytes(b"half")
    call_command("backup", str(tmp_path / "backup.zip"))
    assert f"Damaged on the disk, and so in the backup: files/{studio.pk}" in capsys.readouterr().err
    with opened_archive(tmp_path / "backup.zip") as archive:
        assert [name for name in archive.manifest.files if "incoming" in name] == []
