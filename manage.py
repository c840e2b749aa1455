#!/usr/bin/env python
"""Entry point of the studio's commands: `python manage.py runstudio --demo`."""

import os
import sys

from django.core.management import execute_from_command_line

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.config.settings")
    execute_from_command_line(sys.argv)
