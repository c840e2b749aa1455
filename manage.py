#!/usr/bin/env python
"""Entry point of the studio's commands: `python manage.py runstudio --demo`."""

import os
import sys
from argparse import ArgumentParser
from pathlib import Path

from django.core.management import execute_from_command_line

from studio.config.env import SettingsRefused


def take_data_folder(arguments: list[str]) -> None:
    """Hand `--data` to the settings, which are read before any command sees its options."""
    parser = ArgumentParser(add_help=False, allow_abbrev=False)
    parser.add_argument("--data", type=Path)
    options, _ = parser.parse_known_args(arguments)
    if options.data:
        os.environ["STUDIO_DATA"] = str(options.data.absolute())


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.config.settings")
    take_data_folder(sys.argv[2:])
    try:
        execute_from_command_line(sys.argv)
    except SettingsRefused as refusal:
        sys.exit(str(refusal))
