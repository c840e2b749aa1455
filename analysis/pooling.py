"""`python -m analysis pool`: standings of products from arms of many sessions, loaded when it is asked for."""

from __future__ import annotations

import argparse
from typing import Any

from analysis.core.pool import PoolRefused, pool, standings_document
from analysis.readers.arms import read_arms
from analysis.readers.faults import Refused

REFUSALS = (Refused, PoolRefused)


def run(options: argparse.Namespace) -> dict[str, Any]:
    """Standings of the table `options.arms` against the product `options.reference`, as their document."""
    return standings_document(pool(read_arms(options.arms), reference=options.reference))
