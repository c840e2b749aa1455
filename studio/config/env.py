"""Reading the environment: typed, `X` or `X_FILE` for secrets, every fault listed at once.

What a variable means is said in `settings.py`; here is only how it is read and refused.
"""

from __future__ import annotations

import os
import secrets
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TypeVar
from urllib.parse import urlsplit

T = TypeVar("T")

TRUE_WORDS = {"1", "true", "yes", "on"}
FALSE_WORDS = {"0", "false", "no", "off", ""}


class SettingsRefused(Exception):
    """The environment cannot be used; the message lists every fault."""


class Environment:
    """Collects faults while reading, so that one start tells all of them."""

    def __init__(self, variables: dict[str, str]) -> None:
        self._variables = variables
        self.faults: list[str] = []

    def _raw(self, name: str) -> str | None:
        given, file = self._variables.get(name), self._variables.get(f"{name}_FILE")
        if given is not None and file is not None:
            self.faults.append(f"{name} and {name}_FILE are both set; set one of them.")
        if file is not None and given is None:
            try:
                return Path(file).read_text(encoding="utf-8").strip()
            except OSError as error:
                self.faults.append(f"{name}_FILE names a file that cannot be read ({error.strerror}); mend the path.")
                return None
        return given.strip() if given is not None else None

    def read(self, name: str, parse: Callable[[str], T], default: T, allowed: str) -> T:
        """Value of `name` or `default`; a value that `parse` refuses becomes a fault that says what is allowed."""
        raw = self._raw(name)
        if raw is None or raw == "":
            return default
        try:
            return parse(raw)
        except ValueError:
            shown = f"...{raw[raw.rindex('@') :]}" if "@" in raw else raw  # before it an address may have a password
            self.faults.append(f"{name} is {shown!r}; allowed is {allowed}.")
            return default

    def secret(self, name: str) -> str | None:
        """A secret, never quoted in a fault."""
        return self._raw(name) or None

    def secret_key_of(self, folder: Path, given: str | None) -> str:
        """The given key, or the one in the data folder, which is made; where it cannot be, that is a fault."""
        try:
            make_private(folder)
            return given or kept_secret_key(folder)
        except OSError as error:
            self.faults.append(
                f"The data folder {folder} cannot be used ({error.strerror}); make room or mend its rights, "
                "or name another with --data or STUDIO_DATA."
            )
            return ""

    def seal(self) -> None:
        """Refuse to start when anything was wrong.

        Raises
        ------
        SettingsRefused
            With one line for every fault.
        """
        if self.faults:
            raise SettingsRefused("The settings cannot be used:\n" + "\n".join(f"- {fault}" for fault in self.faults))


def boolean(text: str) -> bool:
    """yes or no, nothing in between."""
    word = text.lower()
    if word in TRUE_WORDS:
        return True
    if word in FALSE_WORDS:
        return False
    raise ValueError(text)


def positive_int(text: str) -> int:
    """A whole number above zero."""
    value = int(text)
    if value <= 0:
        raise ValueError(text)
    return value


def web_address(text: str) -> str:
    """`https://host` or `http://host:port`, without a path."""
    parts = urlsplit(text)
    if parts.scheme not in {"http", "https"} or not parts.hostname or parts.path.strip("/"):
        raise ValueError(text)
    return f"{parts.scheme}://{parts.netloc}"


def redis_address(text: str) -> str:
    """`redis://...`, `rediss://...` or `unix://...`."""
    if urlsplit(text).scheme not in {"redis", "rediss", "unix"}:
        raise ValueError(text)
    return text


def database_address(text: str) -> str:
    """`postgres://...` or `sqlite:///...`."""
    if urlsplit(text).scheme not in {"postgres", "postgresql", "sqlite"}:
        raise ValueError(text)
    return text


def make_private(folder: Path) -> None:
    """Make the data folder where there is none: no other account of the machine looks into it."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)


def kept_secret_key(folder: Path) -> str:
    """The data folder's own secret key, made once, readable by its owner only."""
    path = folder / "secret_key"
    make_private(folder)
    if path.exists():
        return path.read_text(encoding="utf-8").strip()
    handle, whole = tempfile.mkstemp(dir=folder, prefix="secret_key-")  # by its making, for the owner only
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(secrets.token_urlsafe(50))
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileExistsError):  # another process came first: its key counts
            os.link(whole, path)
    finally:
        os.unlink(whole)
    return path.read_text(encoding="utf-8").strip()
