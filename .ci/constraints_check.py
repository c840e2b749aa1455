"""Every dependency that pyproject.toml names is pinned in .constraints.txt, within its bounds."""

import re
import sys
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.version import Version


def name(text: str) -> str:
    return re.sub(r"[-_.]+", "-", text).lower()


project = tomllib.loads(Path("pyproject.toml").read_text())["project"]
pins = {}
for line in Path(".constraints.txt").read_text().splitlines():
    pin, _, _ = line.partition(";")
    package, _, version = pin.strip().partition("==")
    if package:
        pins[name(package)] = Version(version.strip())
faults = []
for text in [*project["dependencies"], *project["optional-dependencies"]["test"]]:
    wanted = Requirement(text)
    pinned = pins.get(name(wanted.name))
    if pinned is None or pinned not in wanted.specifier:
        faults.append(f"{text}: pinned is {pinned}")
if faults:
    sys.exit("Compile .constraints.txt again (DEVELOPERS.md says how):\n" + "\n".join(faults))
