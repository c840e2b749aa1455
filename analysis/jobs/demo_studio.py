"""Opening the demo: the invented studio with its four sign-ins, riders and catalogue, and a job for each test day.

All of it is one transaction, done before anything listens. The days themselves are made by the jobs (`demo.py`).
"""

from __future__ import annotations

from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from analysis.jobs.demo_world import (
    CURRENCY,
    DAYS,
    PRODUCTS,
    RIDERS,
    STUDIO_ADDRESS,
    STUDIO_NAME,
    TIMEZONE,
)
from analysis.results.models import BACKGROUND_PRIORITY, Job
from analysis.results.services.jobs import job_create
from studio.records.models import ConsentPurpose, Studio, User
from studio.records.services.consents import consent_give
from studio.records.services.equipment import product_create
from studio.records.services.people import account_create, rider_create, studio_create
from studio.records.wordings import wording_in_force

KIND = "demo_session"
ACCEPTING = "demo_accepting"
SIGN_INS = ("owner", "fitter", "client", "shop")
PASSWORD = "windledger"  # noqa: S105 - the demo's, printed in the manual; the demo listens on loopback only


class DemoRefused(Exception):
    """The demo is not loaded here; the message says why."""


def demo_is_here() -> bool:
    """Whether this database holds the demo."""
    return Job.objects.filter(kind=KIND).exists()


@transaction.atomic
def open_demo() -> None:
    """Load the demo into an empty database; one that holds it already stays as it is."""
    if demo_is_here():
        return
    if Studio.objects.exists() or User.objects.exists():
        raise DemoRefused(
            "This folder holds records of its own: the demo goes into an empty one. "
            "Give another with --data, or start without --demo."
        )
    studio = studio_create(name=STUDIO_NAME, timezone=TIMEZONE, address=STUDIO_ADDRESS)
    accounts = {role: account_create(studio=studio, username=role, password=PASSWORD, role=role) for role in SIGN_INS}
    fitter = accounts["fitter"]
    for number, rider in enumerate(RIDERS):
        made = rider_create(
            studio=studio,
            by=fitter,
            code=rider.code,
            given_names=rider.given_names,
            family_name=rider.family_name,
            birth_year=rider.birth_year,
            height_cm=rider.height_cm,
            user=accounts["client"] if number == 0 else None,
        )
        consent_give(
            rider=made,
            purpose=ConsentPurpose.POOLED_RESULTS,
            wording_version=wording_in_force(ConsentPurpose.POOLED_RESULTS).version,
            given_at=timezone.now(),
            by=fitter,
            from_paper=True,
        )
    for category, maker, name, price, mass_kg in PRODUCTS:
        product_create(
            studio=studio,
            by=fitter,
            category=category,
            maker=maker,
            name=name,
            list_price=Decimal(price),
            currency=CURRENCY,
            mass_kg=mass_kg,
        )
    for number in range(1, len(DAYS) + 1):
        job_create(kind=KIND, studio=studio, by=fitter, payload={"number": number}, priority=BACKGROUND_PRIORITY)
    # of the jobs in the background the oldest goes first, so that this one finds every day there
    job_create(kind=ACCEPTING, studio=studio, by=fitter, priority=BACKGROUND_PRIORITY)
