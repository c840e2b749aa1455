"""The records, a file per subject."""

from studio.records.models.bike import Bike, Position
from studio.records.models.correction import Correction, CorrectionKind
from studio.records.models.course import Course, CourseKind
from studio.records.models.equipment import SLOTS, EquipmentItem, Mounting, Product
from studio.records.models.event import Event, EventDetail
from studio.records.models.instrument import Calibration, Instrument, InstrumentKind
from studio.records.models.kept_answer import KeptAnswer
from studio.records.models.mapping import DeviceMapping
from studio.records.models.membership import Invitation, Membership
from studio.records.models.recording import Recording, RecordingState
from studio.records.models.rider import Consent, ConsentPurpose, Rider
from studio.records.models.session import FieldSession, Run, SessionSetup
from studio.records.models.setup import Setup, SetupItem
from studio.records.models.studio import Role, Studio
from studio.records.models.token import ApiToken, TokenKind, TokenScope
from studio.records.models.user import User

__all__ = [
    "SLOTS",
    "ApiToken",
    "Bike",
    "Calibration",
    "Consent",
    "ConsentPurpose",
    "Correction",
    "CorrectionKind",
    "Course",
    "CourseKind",
    "DeviceMapping",
    "EquipmentItem",
    "Event",
    "EventDetail",
    "FieldSession",
    "Instrument",
    "InstrumentKind",
    "Invitation",
    "KeptAnswer",
    "Membership",
    "Mounting",
    "Position",
    "Product",
    "Recording",
    "RecordingState",
    "Rider",
    "Role",
    "Run",
    "SessionSetup",
    "Setup",
    "SetupItem",
    "Studio",
    "TokenKind",
    "TokenScope",
    "User",
]
