"""Test sessions: the document in and out, its files, its reduction."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.core.files.storage import default_storage
from django.http import FileResponse
from drf_spectacular.utils import OpenApiResponse, OpenApiTypes, extend_schema
from rest_framework import generics, status
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from reduction import session as doc
from tests_app import session_document, tasks
from tests_app.actions import decisions, documents
from tests_app.models import Job, Session, SessionFile
from units.api import scope
from units.api.pages import Newest
from units.api.serializers import DecisionSerializer, JobSerializer, SessionArrivalSerializer, SessionSerializer

BINARY = OpenApiResponse(OpenApiTypes.BINARY, description="The file's bytes")


class SessionList(generics.ListAPIView):
    """Sessions of the benches you may read; post a session document with its files to bring one in."""

    serializer_class = SessionSerializer
    pagination_class = Newest
    parser_classes = (MultiPartParser,)
    filterset_fields = ("unit", "room", "purpose")
    queryset = scope.nothing(Session)

    def get_queryset(self) -> Any:
        """Return what the request may see."""
        return scope.visible(Session, self.request).prefetch_related("files__evidence")

    @extend_schema(request={"multipart/form-data": SessionArrivalSerializer}, responses={201: SessionSerializer})
    def post(self, request: Request) -> Response:
        """Bring in a session: all of it or nothing."""
        given = SessionArrivalSerializer(
            data={
                "document": request.data.get("document", ""),
                "files": request.FILES.getlist("files"),
                **({"bench": request.data["bench"]} if "bench" in request.data else {}),
            }
        )
        given.is_valid(raise_exception=True)
        facts = given.validated_data
        bench = scope.bench(request, facts.get("bench"), to="edit")
        document = documents.parse(facts["document"])
        session = documents.bring_in(bench=bench, document=document, files=facts["files"], by=request.user)
        return Response(SessionSerializer(session).data, status=status.HTTP_201_CREATED)


class SessionDetail(generics.GenericAPIView):
    """One session."""

    serializer_class = SessionSerializer
    queryset = scope.nothing(Session)

    def get(self, request: Request, pk: UUID) -> Response:
        """Return the session with its files."""
        return Response(SessionSerializer(scope.fetch(Session, pk, request)).data)


class SessionDocument(generics.GenericAPIView):
    """The session as SESSION.json."""

    queryset = scope.nothing(Session)

    @extend_schema(responses=OpenApiResponse(OpenApiTypes.OBJECT, description="As `/api/schema/session.json`"))
    def get(self, request: Request, pk: UUID) -> Response:
        """Return the document as it would be reduced now."""
        session = scope.fetch(Session, pk, request)
        return Response(session_document.to_document(session).model_dump(mode="json"))


class SessionDecision(generics.GenericAPIView):
    """The decision rule that a session's claims are judged by."""

    serializer_class = DecisionSerializer
    queryset = scope.nothing(Session)

    def get(self, request: Request, pk: UUID) -> Response:
        """Return the rule with each change of it after there were data."""
        session = scope.fetch(Session, pk, request)
        return Response(DecisionSerializer(session_document.decision_of(session)).data)

    def put(self, request: Request, pk: UUID) -> Response:
        """Choose the rule: freely before the run; with log files there only with a reason, which is kept and shown."""
        session = scope.fetch(Session, pk, request, to="edit")
        given = DecisionSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        facts = dict(given.validated_data)
        why = facts.pop("why")
        decisions.choose(session=session, rule=doc.DecisionRule(**facts), why=why, by=request.user)
        return Response(DecisionSerializer(session_document.decision_of(session)).data)


class SessionFileBytes(generics.GenericAPIView):
    """A file of a session."""

    queryset = scope.nothing(SessionFile)

    @extend_schema(responses={(200, "application/octet-stream"): BINARY})
    def get(self, request: Request, pk: UUID, file_id: UUID) -> FileResponse:
        """Return the file as it came, byte for byte."""
        scope.fetch(Session, pk, request)
        file = generics.get_object_or_404(scope.visible(SessionFile, request), pk=file_id, session=pk)
        stored = default_storage.open(file.evidence.stored_as)
        name = file.name.rpartition("/")[2]
        return FileResponse(stored, as_attachment=True, filename=name, content_type="application/octet-stream")


class SessionReduce(generics.GenericAPIView):
    """The reduction of a session, as a job."""

    queryset = scope.nothing(Session)

    @extend_schema(request=None, responses={202: JobSerializer})
    def post(self, request: Request, pk: UUID) -> Response:
        """Reduce the session as it stands; ask the job how far it is."""
        session = scope.fetch(Session, pk, request, to="edit")
        job = tasks.queue_reduction(session=session, by=request.user)
        return Response(JobSerializer(job).data, status=status.HTTP_202_ACCEPTED)


class JobDetail(generics.GenericAPIView):
    """Long work."""

    serializer_class = JobSerializer
    queryset = scope.nothing(Job)

    def get(self, request: Request, pk: UUID) -> Response:
        """Return how far the work is, and what came of it."""
        return Response(JobSerializer(scope.fetch(Job, pk, request)).data)
