"""The evidence of a studio as it stands: arms of riders who agree now."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from uuid import UUID

import numpy as np
from django.db.models import Exists, OuterRef
from numpy.typing import NDArray

from analysis.core.types import Array
from analysis.results.models import ARM_FACTS, Arm
from analysis.results.strata import ALL, Stratum
from studio.records.models import Consent, ConsentPurpose, Studio

COLUMNS = ("session_id", "rider_id", "product_id", "category", *ARM_FACTS)
BANDS, NUMBERS = slice(6, 9), slice(9, 12)


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Arms as columns of equal length; `sha256` is of all of them together."""

    session: list[UUID]
    rider: list[UUID]
    product: list[UUID]
    category: list[str]
    cda_m2: Array
    se_m2: Array
    bands: NDArray[np.str_]  # (n, 3) bike kind, height, yaw
    numbers: Array  # (n, 3) height [cm], mean speed [m/s], mean absolute yaw [deg]; NaN where unknown
    sha256: str

    def of(self, category: str) -> Evidence:
        """One category's arms."""
        rows = [at for at, own in enumerate(self.category) if own == category]
        return Evidence(
            [self.session[at] for at in rows],
            [self.rider[at] for at in rows],
            [self.product[at] for at in rows],
            [category] * len(rows),
            self.cda_m2[rows],
            self.se_m2[rows],
            self.bands[rows],
            self.numbers[rows],
            self.sha256,
        )

    def within(self, stratum: Stratum) -> NDArray[np.bool_]:
        """Which arms lie in a stratum; an arm of unknown height or yaw lies in no band of it."""
        inside = np.ones(len(self.category), np.bool_)
        for column, band in enumerate((stratum.bike_kind, stratum.height, stratum.yaw)):
            if band != ALL:
                inside &= self.bands[:, column] == band
        return inside


def evidence_of(studio: Studio) -> Evidence:
    """All arms of the studio whose riders agree to pooled results now."""
    agreed = Consent.objects.filter(
        rider=OuterRef("rider"), purpose=ConsentPurpose.POOLED_RESULTS, withdrawn_at__isnull=True
    )
    arms = Arm.objects.filter(Exists(agreed), studio=studio).order_by("session_id", "category", "product_id")
    rows = list(arms.values_list(*COLUMNS))
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(COLUMNS)
    digest = hashlib.sha256(repr(rows).encode()).hexdigest()
    return Evidence(
        list(columns[0]),
        list(columns[1]),
        list(columns[2]),
        list(columns[3]),
        np.array(columns[4], np.float64),
        np.array(columns[5], np.float64),
        np.array(columns[BANDS], np.str_).T.reshape(len(rows), 3),
        np.array(columns[NUMBERS], np.float64).T.reshape(len(rows), 3),
        digest,
    )
