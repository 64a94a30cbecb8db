"""What a tester leaves behind: sessions, evidence, reductions."""

from tests_app.models.channel import Channel, SavedMapping
from tests_app.models.evidence import Evidence, PartialUpload, SessionFile
from tests_app.models.finding import Finding
from tests_app.models.job import Job
from tests_app.models.point import Point
from tests_app.models.reduction import Reduction
from tests_app.models.rule_choice import RuleChoice
from tests_app.models.session import Session
from tests_app.models.window import Window

__all__ = [
    "Channel",
    "Evidence",
    "Finding",
    "Job",
    "PartialUpload",
    "Point",
    "Reduction",
    "RuleChoice",
    "SavedMapping",
    "Session",
    "SessionFile",
    "Window",
]
