"""The queue of files, made to show a message only when it is whole.

The library opens a message under its final name and then writes it. A worker that looks between the two takes an empty
file, and ends on it with all that its children had in hand.
"""

from __future__ import annotations

from pathlib import Path
from queue import Empty
from time import monotonic_ns
from typing import Any
from uuid import uuid4

from kombu.exceptions import ChannelError
from kombu.transport import filesystem
from kombu.utils.json import dumps


class WholeMessages(filesystem.Channel):
    """Writes beside the queue and renames into it; what is torn none the less wakes nobody: the rows tell the work."""

    def _put(self, queue: str, message: object, **kwargs: object) -> None:  # type: ignore[override]  # the bases differ
        name = f"{monotonic_ns():020}_{uuid4()}.{queue}.msg"  # the library takes the first by name
        unfinished = Path(self.data_folder_out, f"{name}.part")  # of no queue's name
        try:
            unfinished.write_text(dumps(message))
            unfinished.rename(Path(self.data_folder_out, name))
        except OSError as error:
            unfinished.unlink(missing_ok=True)
            raise ChannelError(f"The message {name} cannot be written.") from error

    def _get(self, queue: str, timeout: float | None = None) -> dict[str, Any]:
        try:
            return super()._get(queue)
        except ValueError:  # cut short by a crash of the machine
            raise Empty from None


class Transport(filesystem.Transport):
    """The library's, with whole messages."""

    Channel = WholeMessages
