"""Ground of the project: people, benches, and what a bench owns."""

from units.models.bench import Bench, Membership, Role
from units.models.catalogue_entry import CatalogueEntry
from units.models.change import Change
from units.models.claim import Claim
from units.models.collection import Collection
from units.models.edition import Edition, Withdrawal
from units.models.instrument import CalibrationRecord, Instrument
from units.models.invitation import BenchChange, Handover, Invitation
from units.models.person import Person
from units.models.pooled_row import PooledRow
from units.models.published_point import PublishedPoint
from units.models.review import MakerComment, Review, ShareLink
from units.models.room import Room, RoomValue
from units.models.second_step import SecondStep, SecondStepRule
from units.models.sign_in import SignInFailure
from units.models.token import ApiToken
from units.models.unit import Tag, Unit

__all__ = [
    "ApiToken",
    "Bench",
    "BenchChange",
    "CalibrationRecord",
    "CatalogueEntry",
    "Change",
    "Claim",
    "Collection",
    "Edition",
    "Handover",
    "Instrument",
    "Invitation",
    "MakerComment",
    "Membership",
    "Person",
    "PooledRow",
    "PublishedPoint",
    "Review",
    "Role",
    "Room",
    "RoomValue",
    "SecondStep",
    "SecondStepRule",
    "ShareLink",
    "SignInFailure",
    "Tag",
    "Unit",
    "Withdrawal",
]
