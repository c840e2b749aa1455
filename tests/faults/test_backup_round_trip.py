"""`backup` of a studio that runs, `restore` elsewhere: everything is there; and each release's archive still opens."""

import json
import os
import zipfile
from hashlib import sha256
from pathlib import Path

import pytest

from tests.faults.kill_rounds import small_day
from tests.faults.make_release_archive import TITLE

pytestmark = pytest.mark.processes

RELEASES = Path(__file__).parents[1] / "references" / "releases"
FIRST = "0.1.0"


def files_of(studio):
    """Bytes of every stored file, by its place."""
    root = studio.data / "files"
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in root.rglob("*") if path.is_file()}


def kind_of(place):
    return "postgresql" if "DATABASE_URL" in place.variables else "sqlite"


def archive_of(place, release=FIRST):
    return RELEASES / f"{release}-{kind_of(place)}.zip"


def restored(place, archive):
    status, said = place.manage("restore", archive)
    assert status == 0, said
    return place


def test_a_running_studio_comes_back_elsewhere_with_every_row_file_and_key(new_place, tmp_path):
    studio, copy, archive = new_place(), new_place(), tmp_path / "backup.zip"
    studio.start("--demo")
    studio.sign_in()
    if kind_of(studio) == "sqlite":
        studio.forget_waiting_jobs()
    job = studio.ended_job(studio.upload(*small_day("mine")))
    analysis = studio.ask(f"/api/v1/analyses/{job['result']['analysis']}/")
    status, said = studio.manage("backup", archive)
    assert status == 0, said
    assert archive.stat().st_mode & 0o777 == 0o600
    assert [path.name for path in tmp_path.glob("unfinished-*")] == []
    studio.stop()
    restored(copy, archive).start()
    copy.token = studio.token
    assert copy.ask(f"/api/v1/analyses/{job['result']['analysis']}/") == analysis
    still = {key: contents for key, contents in files_of(studio).items() if key in files_in(archive)}
    assert len(still) >= len(files_in(archive)) - 1  # the demo discards the bundle of its own that was under way
    assert files_of(copy).items() >= still.items()
    assert (copy.data / "secret_key").read_text() == (studio.data / "secret_key").read_text()
    assert copy.ended_job(copy.upload(*small_day("after")))["state"] == "done"


def files_in(archive):
    with zipfile.ZipFile(archive) as zipped:
        return [name.partition("/")[2] for name in zipped.namelist() if name.startswith("files/")]


@pytest.mark.rounds
@pytest.mark.parametrize("release", sorted({path.name.rpartition("-")[0] for path in RELEASES.glob("*.zip")}))
def test_what_a_release_backed_up_restores_and_migrates(new_place, release):
    place = new_place()
    restored(place, archive_of(place, release)).start()
    assert place.ask("/ready/") == (200, {"ready": True, "reasons": []})
    place.sign_in("owner")
    (session,) = place.sessions_called(TITLE)
    (analysis,) = place.analyses_of(session["id"])
    assert place.ask(f"/api/v1/analyses/{analysis['id']}/")[1]["result"]["schema"].startswith("session-result/")
    again = place.ask(f"/api/v1/sessions/{session['id']}/analyse/", body=b"{}")[1]
    assert place.ended_job(again["id"])["state"] == "done"
    assert place.ask("/api/v1/reports/")[1]["results"][0]["analysis"] == analysis["id"]


def test_what_cannot_be_loaded_leaves_the_place_empty_and_a_killed_restore_is_gone_over(new_place, tmp_path):
    place, broken = new_place(), tmp_path / "broken.zip"
    sound = archive_of(place)
    with_other_database(sound, broken)
    status, said = place.manage("restore", broken)
    assert (status, "Traceback" in said) == (1, False)
    assert files_of(place) == {}
    left_by_a_killed_restore(place, sound)
    restored(place, sound)
    assert sorted(files_of(place)) == sorted(files_in(sound))
    assert list(place.data.glob("restoring-*")) == []
    status, said = place.manage("restore", sound)
    assert (status, "There is a studio here already" in said) == (1, True)


def with_other_database(source, target):
    """The same archive with a database that no server reads, under its right hash."""
    nonsense = b"SQLite format 3\0" + os.urandom(5000)
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w") as new:
        manifest = json.loads(old.read("manifest.json"))
        for name in manifest["files"]:
            data = nonsense if name.startswith("database.") else old.read(name)
            manifest["files"][name] = sha256(data).hexdigest()
            new.writestr(name, data)
        new.writestr("manifest.json", json.dumps(manifest))


def left_by_a_killed_restore(place, archive):
    with zipfile.ZipFile(archive) as zipped:
        name = f"files/{files_in(archive)[0]}"
        zipped.extract(name, place.data)
        zipped.extract(name, place.data / "restoring-killed")
