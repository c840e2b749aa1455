"""Loaded before the settings (`-p tests.environment`): tests never touch a developer's own studio."""

import os
import tempfile

os.environ.setdefault("STUDIO_DATA", tempfile.mkdtemp(prefix="windledger-tests-"))
os.environ.setdefault("SECRET_KEY", "only-for-tests-" + "x" * 40)
