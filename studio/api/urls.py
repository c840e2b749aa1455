"""Addresses of the API, under `/api/v1/`; what is not named here is answered with a problem document too."""

from __future__ import annotations

from django.urls import path, re_path
from rest_framework.routers import SimpleRouter

from studio.api.analyses import AnalysisViewSet
from studio.api.bikes import BikeViewSet
from studio.api.bundles import BundlesView
from studio.api.calibrations import CalibrationViewSet
from studio.api.consents import ConsentViewSet
from studio.api.corrections import CorrectionViewSet
from studio.api.courses import CourseViewSet
from studio.api.docs import DocsView, Nowhere, ProblemPage, SchemaView
from studio.api.equipment_items import EquipmentItemViewSet
from studio.api.erasures import ErasuresView
from studio.api.instruments import InstrumentViewSet
from studio.api.invitations import InvitationViewSet, JoinView
from studio.api.jobs import JobViewSet
from studio.api.mappings import MappingViewSet
from studio.api.memberships import MembershipViewSet
from studio.api.mountings import MountingViewSet
from studio.api.positions import PositionViewSet
from studio.api.products import ProductViewSet
from studio.api.recordings import RecordingViewSet
from studio.api.reports import ReportViewSet
from studio.api.riders import RiderViewSet
from studio.api.runs import RunViewSet
from studio.api.sessions import SessionViewSet
from studio.api.setups import SetupViewSet
from studio.api.standings import StandingsView
from studio.api.stock import StockView
from studio.api.tokens import TokenViewSet
from studio.api.transfers import TransfersView
from studio.api.users import UserViewSet

app_name = "api"

router = SimpleRouter()
for viewset in (
    TokenViewSet,
    UserViewSet,
    MembershipViewSet,
    InvitationViewSet,
    ConsentViewSet,
    RiderViewSet,
    BikeViewSet,
    ProductViewSet,
    EquipmentItemViewSet,
    MountingViewSet,
    PositionViewSet,
    SetupViewSet,
    CourseViewSet,
    InstrumentViewSet,
    MappingViewSet,
    CalibrationViewSet,
    SessionViewSet,
    RunViewSet,
    CorrectionViewSet,
    RecordingViewSet,
    JobViewSet,
    AnalysisViewSet,
    ReportViewSet,
):
    router.register(viewset.route, viewset, basename=viewset.route)

urlpatterns = [
    *router.urls,
    path("bundles/", BundlesView.as_view(), name="bundles"),
    path("erasures/", ErasuresView.as_view(), name="erasures"),
    path("join/", JoinView.as_view(), name="join"),
    path("standings/", StandingsView.as_view(), name="standings"),
    path("stock/", StockView.as_view(), name="stock"),
    path("transfers/", TransfersView.as_view(), name="transfers"),
    path("schema/", SchemaView.as_view(), name="schema"),
    path("docs/", DocsView.as_view(), name="docs"),
    path("docs/problems/<slug:slug>/", ProblemPage.as_view(), name="problem"),
    re_path(r"", Nowhere.as_view(), name="nowhere"),
]
