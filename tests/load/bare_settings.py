"""The studio's own settings with the addresses of `bare_urls.py`."""

from studio.config.settings import *  # noqa: F403

ROOT_URLCONF = "tests.load.bare_urls"
