"""Loaded before the settings (`-p tests.environment`): tests never touch a developer's own studio."""

import os
import tempfile
from pathlib import Path

os.environ.setdefault("STUDIO_DATA", tempfile.mkdtemp(prefix="windledger-tests-"))
Path(os.environ["STUDIO_DATA"], "static").mkdir(exist_ok=True)  # whitenoise warns where there is none
os.environ.setdefault("SECRET_KEY", "only-for-tests-" + "x" * 40)
