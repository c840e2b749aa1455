"""Handing over an issued report: the bytes as they were frozen."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from reports.models import Report
from studio.web.access import READERS, open_to


@open_to(*READERS)
def pdf(request: HttpRequest, report_id: UUID) -> HttpResponse:
    report = get_object_or_404(Report.objects.visible_to(request.user).defer("facts"), pk=report_id)
    disposition = f'attachment; filename="report-{report.number:04d}.pdf"'
    headers = {"Content-Disposition": disposition}
    return HttpResponse(bytes(report.pdf), content_type="application/pdf", headers=headers)
