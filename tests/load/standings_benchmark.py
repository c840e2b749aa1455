"""The shop's question at 100,000 arms beside a view of one row: python tests/load/standings_benchmark.py [--asked 400]

One warm web server (gunicorn as `runstudio` starts it) on one SQLite database answers both, in turn, over one kept
connection. The 95th percentile of the question may be twice that of an authenticated view of one row. Exits 1 beyond.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.load.doors_benchmark import Caller, Server  # noqa: E402 - a script finds the project's root first

MOST, WARM = 2.0, 20
FILL = """
import django
django.setup()
import json
from analysis.jobs.editions import make_edition
from analysis.results.models import Edition, Standings
from analysis.results.services.jobs import claim_next, job_create
from studio.records.models import Product
from studio.records.services.tokens import token_create
from tests.factories import MembershipFactory, StudioFactory
from tests.load.edition_benchmark import lay_down
studio = StudioFactory()
lay_down(studio, MembershipFactory(studio=studio).user)
job_create(kind="make_edition", studio=studio, by=None)
make_edition(claim_next(worker="w"))
fitter = MembershipFactory(studio=studio, role="fitter").user
product = Product.objects.filter(category="c0").earliest("name")
print(json.dumps([token_create(user=fitter)[1], str(product.pk), Edition.objects.get().arms]))
"""
QUESTIONS = (
    "category=c0",
    "category=c0&reference={product}&bike_kind=time%20trial&height=170-185&yaw=5-10&speed_kmh=40&distance_km=40"
    "&power_w=250&max_price=1500&currency=EUR",
    "category=c0&format=csv",
)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--asked", type=int, default=400)
    asked = parser.parse_args().asked
    with tempfile.TemporaryDirectory() as folder:
        server = Server(Path(folder), FILL)
        try:
            product, arms = server.told
            caller = Caller(server)
            paths = [f"/api/v1/standings/?{one.format(product=product)}" for one in QUESTIONS]
            paths.append(f"/api/v1/products/{product}/")
            took: list[list[float]] = [[] for _ in paths]
            for turn in range(WARM + asked):
                for path, times in zip(paths, took, strict=True):
                    began = time.perf_counter()
                    caller.ask(path)
                    if turn >= WARM:
                        times.append(time.perf_counter() - began)
        finally:
            server.stop()
    *ours, bare = (float(np.quantile(times, 0.95)) for times in took)
    print(f"{arms} arms; one row: 95 % within {1000 * bare:.2f} ms")
    for question, p95 in zip(QUESTIONS, ours, strict=True):
        print(f"{question[:40]:40} 95 % within {1000 * p95:.2f} ms   ratio {p95 / bare:.2f}")
    return 0 if max(ours) <= MOST * bare else 1


if __name__ == "__main__":
    sys.exit(main())
