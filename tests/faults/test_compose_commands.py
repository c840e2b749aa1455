"""docker-compose.yml: its form, and its very own start commands and health checks, run here without containers."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from tests.faults.conftest import served_variables
from tests.faults.kill_rounds import small_day
from tests.faults.living_studio import PASSWORD, ROOT, LivingStudio, children_of, process_is_gone, wait_for

COMPOSE = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
SERVICES = COMPOSE["services"]
PORT_INSIDE = "8000"


def filled_in(text):
    """A text as the compose client hands it on: `${NAME:-default}` filled in, `$$` a dollar sign."""
    return re.sub(r"(?<!\$)\$\{\w+:-([^}]*)\}", r"\1", str(text)).replace("$$", "$")


class ComposedStudio(LivingStudio):
    """Web server and worker as docker-compose.yml starts them, on this machine's PostgreSQL and Redis."""

    def __init__(self, folder):
        super().__init__(folder, **served_variables())
        self.folder = folder
        (folder / "database_password").write_text("any: this server trusts its own machine\n", encoding="utf-8")
        self.processes = {}

    def environment(self, service="web"):
        """The service's own variables, but for where things are on this machine."""
        own = {name: filled_in(value) for name, value in SERVICES[service]["environment"].items()}
        for name, value in own.items():
            own[name] = value.replace("0.0.0.0:" + PORT_INSIDE, f"127.0.0.1:{self.port}")
        here = {"STUDIO_DATA": str(self.data), "TMPDIR": str(self.folder)} | self.variables
        here["DATABASE_PASSWORD_FILE"] = str(self.folder / "database_password")
        path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
        return {"PATH": path, "HOME": os.environ["HOME"]} | own | here

    def begin(self, service):
        command = [filled_in(part) for part in SERVICES[service]["command"]]
        with self.output.open("ab") as out, (self.folder / f"{service}.log").open("wb") as log:
            self.processes[service] = subprocess.Popen(
                command, cwd=ROOT, env=self.environment(service), stdin=subprocess.DEVNULL, stdout=out, stderr=log
            )

    def is_healthy(self, service):
        """Whether the service's health check says so."""
        kind, *test = [filled_in(part).replace(f":{PORT_INSIDE}/", f":{self.port}/") for part in self.check(service)]
        command = ["sh", "-c", *test] if kind == "CMD-SHELL" else test
        assert self.processes[service].poll() is None, self.log(service)
        return subprocess.run(command, env=self.environment(service), capture_output=True, check=False).returncode == 0

    def check(self, service):
        return SERVICES[service]["healthcheck"]["test"]

    def log(self, service):
        return (self.folder / f"{service}.log").read_text(encoding="utf-8")

    def children(self, service):
        return children_of(self.processes[service].pid)

    def end(self, service):
        process = self.processes[service]
        process.send_signal(signal.SIGTERM)
        return process.wait(30)

    def stop(self):
        for process in self.processes.values():
            if process.poll() is None:
                process.kill()
                process.wait()


@pytest.fixture
def composed(tmp_path):
    studio = ComposedStudio(tmp_path)
    yield studio
    studio.stop()


@pytest.mark.processes
@pytest.mark.server
def test_the_start_commands_make_a_studio_that_answers_works_and_stops(composed):
    composed.begin("web")
    wait_for("the web server's health", lambda: composed.is_healthy("web"))
    assert composed.ask("/ready/") == (200, {"ready": True, "reasons": []})
    composed.variables["OWNER_PASSWORD"] = PASSWORD
    status, said = composed.manage("createowner", "--username", "owner")
    assert status == 0, said
    composed.sign_in("owner")
    composed.begin("worker")
    wait_for("the worker's health", lambda: composed.is_healthy("worker"))
    assert composed.ended_job(composed.upload(*small_day("composed")))["state"] == "done"
    children = [pid for service in ("web", "worker") for pid in composed.children(service)]
    assert (composed.end("worker"), composed.end("web")) == (0, 0)
    assert all(process_is_gone(pid) for pid in children)
    lines = [json.loads(line) for service in ("web", "worker") for line in composed.log(service).splitlines()]
    assert {line["level"] for line in lines} <= {"INFO", "WARNING"}


def test_every_service_has_a_health_check_and_waits_for_those_it_needs():
    assert {name for name, service in SERVICES.items() if "healthcheck" not in service} == set()
    waits = {name: service.get("depends_on", {}) for name, service in SERVICES.items()}
    assert {name: sorted(needs) for name, needs in waits.items() if needs} == {
        "web": ["database", "queue"],
        "worker": ["web"],
    }
    assert {need["condition"] for needs in waits.values() for need in needs.values()} == {"service_healthy"}


def test_no_secret_stands_in_the_file_and_only_this_machine_reaches_it():
    named = {name: value for service in SERVICES.values() for name, value in service.get("environment", {}).items()}
    assert {
        name for name in named if re.search("PASSWORD|SECRET|TOKEN|KEY", name) and not name.endswith("_FILE")
    } == set()
    assert all(set(secret) == {"file"} for secret in COMPOSE["secrets"].values())
    assert [port for service in SERVICES.values() for port in service.get("ports", [])] == ["127.0.0.1:8000:8000"]


def test_the_image_copies_what_the_repository_has():
    lines = SERVICES["web"]["build"]["dockerfile_inline"].splitlines()
    copied = [source for line in lines if line.startswith("COPY") for source in line.split()[1:-1]]
    assert {"manage.py", "studio", "analysis", "reports"} <= set(copied)
    assert [source for source in copied if not (ROOT / source).exists()] == []


def compose_client():
    """The command of the compose client that is here, and whether it is of the first generation (1.x)."""
    for command in (["docker", "compose"], ["docker-compose"]):
        if shutil.which(command[0]) is None:
            continue
        told = subprocess.run([*command, "version", "--short"], capture_output=True, text=True, check=False)
        if told.returncode == 0:
            return command, told.stdout.strip().startswith("1.")
    return None, False


def without_what_came_later(document):
    """Compose 1.x knows neither the project's name nor a Dockerfile within the file, which compose 2 brought."""
    services = {name: dict(service) for name, service in document["services"].items()}
    for service in services.values():
        if "build" in service:
            service["build"] = {key: value for key, value in service["build"].items() if key != "dockerfile_inline"}
    return {key: value for key, value in document.items() if key != "name"} | {"services": services}


def test_the_compose_client_reads_it(tmp_path):
    command, first_generation = compose_client()
    if command is None:
        pytest.skip("needs the docker client with its compose plugin, or docker-compose")
    file = ROOT / "docker-compose.yml"
    if first_generation:
        file = tmp_path / "docker-compose.yml"
        file.write_text(yaml.safe_dump(without_what_came_later(COMPOSE)), encoding="utf-8")
    done = subprocess.run(
        [*command, "--file", str(file), "config", "--quiet"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
