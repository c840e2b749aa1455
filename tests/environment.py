"""Loaded before the settings (`-p tests.environment`): tests never touch a developer's own studio."""

import os
import tempfile

os.environ.setdefault("STUDIO_DATA", tempfile.mkdtemp(prefix="windledger-tests-"))
os.environ.setdefault("SECRET_KEY", "only-for-tests-" + "x" * 40)
# The workers share the cores: threads of theirs inside the linear algebra would only get in each other's way.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
# Python's own default: else each of the processes that tests start would compile the whole studio anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
