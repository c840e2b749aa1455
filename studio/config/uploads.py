"""Where large uploads wait while they come in: on the studio's own disk, and swept when the web server starts."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.uploadhandler import TemporaryFileUploadHandler


class SpooledUploadHandler(TemporaryFileUploadHandler):
    """Django's own, with a folder that need not be there."""

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        Path(settings.FILE_UPLOAD_TEMP_DIR or "").mkdir(parents=True, exist_ok=True)
        super().new_file(*args, **kwargs)


def sweep_uploads() -> None:
    """Remove what killed web servers left half received. Only for who knows that none is receiving now."""
    shutil.rmtree(settings.FILE_UPLOAD_TEMP_DIR or "", ignore_errors=True)
