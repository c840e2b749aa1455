"""All that a studio holds of a rider in one zip: records as JSON, each session as a bundle, results and reports.

Health notes stay out: they are for fitters and owners only.
"""

from __future__ import annotations

import json
import tempfile
import zipfile
from collections.abc import Iterator
from typing import IO, Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db.models import Model, Q, QuerySet

from analysis.results.models import Analysis
from reports.models import Report
from studio.records.errors import Unusable
from studio.records.models import (
    Bike,
    Consent,
    EquipmentItem,
    FieldSession,
    Mounting,
    Position,
    Rider,
    Setup,
    User,
)
from studio.records.selectors.bundles import session_files
from studio.records.services.bundles import bundle_export
from studio.records.services.events import note_event
from studio.records.wordings import wording_of

LEFT_OUT = {"studio", "version", "health_notes", "user", "entered_by"}
CHUNK_BYTES = 1024 * 1024


def rider_export(*, rider: Rider, target: IO[bytes], by: User) -> None:
    """Write the zip; a program reads its JSON, a person its PDFs, and another studio its bundles."""
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("rider.json", _json(_about(rider)))
        for number, session in enumerate(FieldSession.objects.filter(rider=rider).order_by("date", "pk"), start=1):
            folder = f"sessions/{number:03d}-{session.date:%Y-%m-%d}"
            _add_session(archive, folder, session, by)
            for analysis in Analysis.objects.filter(session=session).order_by("number"):
                archive.writestr(f"{folder}/result-{analysis.number}.json", _json(analysis.result))
            for report in Report.objects.filter(analysis__session=session).order_by("number"):
                archive.writestr(f"{folder}/report-{report.number}.pdf", bytes(report.pdf))
    note_event(studio=rider.studio, by=by, verb="exported", record=rider)


def _about(rider: Rider) -> dict[str, Any]:
    mountings = Mounting.objects.filter(Q(rider=rider) | Q(bike__rider=rider))
    return {
        "rider": _facts(rider),
        "consents": [_facts(one) | {"wording": _words(one)} for one in Consent.objects.filter(rider=rider)],
        "bikes": list(_all(Bike.objects.filter(rider=rider))),
        "positions": list(_all(Position.objects.filter(bike__rider=rider))),
        "items": list(_all(EquipmentItem.objects.filter(rider=rider).select_related("product"))),
        "mountings": list(_all(mountings)),
        "setups": list(_all(Setup.objects.filter(bike__rider=rider))),
    }


def _words(consent: Consent) -> str:
    wording = wording_of(consent.purpose, consent.wording_version)
    return f"{wording.title}. {wording.asked} If withdrawn: {wording.withdrawing}" if wording else ""


def _all(rows: QuerySet[Any]) -> Iterator[dict[str, Any]]:
    yield from (_facts(row) for row in rows.order_by("pk"))


def _facts(row: Model) -> dict[str, Any]:
    facts = {
        field.name: field.value_from_object(row) for field in row._meta.concrete_fields if field.name not in LEFT_OUT
    }
    return facts | ({"product_name": str(row.product)} if isinstance(row, EquipmentItem) else {})


def _json(document: object) -> str:
    return json.dumps(document, cls=DjangoJSONEncoder, ensure_ascii=False, indent=1)


def _add_session(archive: zipfile.ZipFile, folder: str, session: FieldSession, by: User) -> None:
    """The session as a bundle, or as it stands where it would be none yet: the rider cannot complete it."""
    try:
        _add_bundle(archive, f"{folder}/bundle.zip", session, by)
    except Unusable:
        records = {"session": _facts(session), "runs": list(_all(session.runs.all()))}
        recordings = {"recordings": list(_all(session.recordings.all()))}
        archive.writestr(f"{folder}/session-records.json", _json(records | recordings))
        for name, path in session_files(session).items():
            archive.write(path, f"{folder}/recordings/{name}")


def _add_bundle(archive: zipfile.ZipFile, name: str, session: FieldSession, by: User) -> None:
    with tempfile.TemporaryFile() as bundle:
        bundle_export(session=session, target=bundle, by=by)
        bundle.seek(0)
        with archive.open(zipfile.ZipInfo(name), "w", force_zip64=True) as member:
            while chunk := bundle.read(CHUNK_BYTES):
                member.write(chunk)
