"""Addresses of the tester's side, by noun under their path."""

from __future__ import annotations

from django.urls import include, path

from tests_app.views import (
    channels,
    decision,
    evidence,
    facts,
    files,
    imports,
    jobs,
    result,
    season,
    sessions,
    uploads,
    windows,
)  # fmt: skip

# /sessions/<id>/files/
file_urls = [
    path("", files.show, name="files"),
    path("<uuid:file_id>/", files.download, name="file-download"),
    path("<uuid:file_id>/read-as/", files.read_as, name="file-read-as"),
    path("<uuid:file_id>/answer/", files.answer, name="file-answer"),
    path("<uuid:file_id>/clock/", files.set_clock, name="file-clock"),
    path("<uuid:file_id>/clock/take/", files.take_clock, name="file-clock-take"),
    path("<uuid:file_id>/remember/", files.remember, name="file-remember"),
    path("<uuid:file_id>/apply/", files.apply_mapping, name="file-apply"),
    path("<uuid:file_id>/remove/", files.remove, name="file-remove"),
]

# /sessions/<id>/uploads/
upload_urls = [
    path("", uploads.begin, name="upload-begin"),
    path("<uuid:upload_id>/", uploads.part, name="upload-part"),
    path("<uuid:upload_id>/finish/", uploads.finish, name="upload-finish"),
]

# /sessions/<id>/windows/
window_urls = [
    path("", windows.show, name="windows"),
    path("propose/", windows.propose, name="windows-propose"),
    path("add/", windows.add, name="window-add"),
    path("<uuid:window_id>/", windows.decide, name="window-decide"),
]

# /sessions/<id>/result/
result_urls = [
    path("", result.show, name="result"),
    path("reduce/", result.reduce_now, name="reduce"),
    path("unit/", result.attach, name="attach"),
    path("<uuid:reduction_id>/", result.show, name="reduction"),
    path("<uuid:reduction_id>/season/", season.show, name="season"),
    path("<uuid:reduction_id>/result.json", result.result_json, name="reduction-json"),
    path("<uuid:reduction_id>/session.json", result.document_json, name="reduction-document"),
]

# /sessions/<id>/
session_urls = [
    path("", sessions.show, name="session"),
    path("edit/", sessions.edit, name="session-edit"),
    path("remove/", sessions.remove, name="session-remove"),
    path("session.json", evidence.document, name="session-document"),
    path("files/", include(file_urls)),
    path("uploads/", include(upload_urls)),
    path("channels/", channels.show, name="channels"),
    path("facts/", facts.show, name="facts"),
    path("decision/", decision.show, name="decision"),
    path("windows/", include(window_urls)),
    path("result/", include(result_urls)),
]

urlpatterns = [
    path("", sessions.listing, name="sessions"),
    path("new/", sessions.new, name="session-new"),
    path("import/", imports.new, name="session-import"),
    path("jobs/<uuid:job_id>/", jobs.show, name="job"),
    path("jobs/<uuid:job_id>/cancel/", jobs.cancel, name="job-cancel"),
    path("<uuid:session_id>/", include(session_urls)),
]
