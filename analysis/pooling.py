"""`python -m analysis pool`: standings of products from arms of many sessions, loaded when it is asked for."""

from __future__ import annotations

import argparse
from importlib import import_module
from threading import Thread
from typing import Any

from analysis.core.pool.arms import PoolRefused
from analysis.readers.arms import read_arms
from analysis.readers.faults import Refused

FIGURES = "analysis.core.pool.standings"


def _run(options: argparse.Namespace) -> dict[str, Any]:
    """Standings of the table `options.arms` against the product `options.reference`, as their document.

    What the figures need loads beside the reading: either takes about as long.
    """
    loading = Thread(target=import_module, args=(FIGURES,))
    loading.start()
    try:
        arms = read_arms(options.arms)
    finally:
        loading.join()
    standings = import_module(FIGURES)
    document: dict[str, Any] = standings.standings_document(standings.pool(arms, reference=options.reference))
    return document


ANSWERS = {"pool": (_run, (Refused, PoolRefused))}
