"""No process of the studio outlives the one that started it: kill -9 of `runstudio` must free the port and the files.

A thread looks at the parent's number. Nothing here needs one operating system's own call.
"""

from __future__ import annotations

import os
import threading
import time

SUPERVISOR_VARIABLE = "STUDIO_SUPERVISOR"
LOOK_EVERY_S = 0.2


def die_with_parent(parent: int) -> None:
    """End this process, without any more work, when `parent` is its parent no longer."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(LOOK_EVERY_S)
        os._exit(1)

    threading.Thread(target=watch, name="orphan-watch", daemon=True).start()


def die_with_supervisor() -> None:
    """The same for a process that `runstudio` started; one that was started by hand goes on."""
    supervisor = os.environ.get(SUPERVISOR_VARIABLE)
    if supervisor:
        die_with_parent(int(supervisor))
