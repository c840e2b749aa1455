"""DEVELOPERS.md's table of variables is what the settings read."""

import ast
import re
from pathlib import Path

import yaml

from studio.config.management.commands.createowner import PASSWORD_VARIABLE

ROOT = Path(__file__).resolve().parents[3]
OF_OTHERS = {"GUNICORN_CMD_ARGS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"}


def table():
    """Allowed values and default, by variable."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`[A-Z_]+`[^|]*) \| ([^|]*) \| ([^|]*) \| [^|]+ \|$", text, re.MULTILINE)
    return {name.split("`")[1]: (allowed, default.strip("`")) for name, allowed, default in rows}


def readings():
    """Every `env.read(...)` and `env.secret(...)` of the settings."""
    tree = ast.parse((ROOT / "studio/config/settings.py").read_text(encoding="utf-8"))
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)]
    return [call for call in calls if ast.unparse(call.func) in {"env.read", "env.secret"}]


def test_every_variable_is_in_the_table_and_nothing_else():
    assert table().keys() == {call.args[0].value for call in readings()} | {PASSWORD_VARIABLE}


def test_allowed_values_and_defaults_are_those_of_the_settings():
    for name, _, default, allowed in (call.args for call in readings() if len(call.args) == 4):
        assert table()[name.value][0] == allowed.value
        if isinstance(default, ast.Constant) and default.value != "":
            assert table()[name.value][1] == {False: "no"}.get(default.value, str(default.value))


def test_docker_compose_gives_only_variables_that_are_read():
    services = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))["services"]
    given = {name for service in ("web", "worker") for name in services[service]["environment"]}
    assert {name.removesuffix("_FILE") for name in given} - OF_OTHERS <= table().keys()
