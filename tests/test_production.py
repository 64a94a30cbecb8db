"""A production set-up: what it refuses to start with, what it sends, what it logs."""

from __future__ import annotations

import json
import logging
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.urls import reverse

from tests.test_every_url import all_names, parameters_of
from units.logs import JsonFormatter, redacted

ROOT = Path(__file__).resolve().parent.parent
SAFE = {
    "PRODUCTION": "true",
    "SECRET_KEY": "k4Jw-9xTq2_vRz7mNb5cLs8dFg3hYp6aUe1iOo0tQwErTyUiOp",
    "ALLOWED_HOSTS": "ledger.example",
    "PROXIES": "1",
    "CSRF_TRUSTED_ORIGINS": "https://ledger.example",
}


def run(tmp_path: Path, *command: str, **stated: str) -> subprocess.CompletedProcess[str]:
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "VIRTUAL_ENV") if name in os.environ}
    environment = kept | SAFE | {"DATA_DIR": str(tmp_path)} | stated
    environment = {name: value for name, value in environment.items() if value}
    return subprocess.run(
        [sys.executable, *command], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )


def test_the_deployment_check_finds_nothing(tmp_path: Path) -> None:
    ran = run(tmp_path, "manage.py", "check", "--deploy", "--fail-level", "INFO")
    assert ran.returncode == 0, ran.stderr
    assert "no issues (0 silenced)" in ran.stdout


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        ({"SECRET_KEY": ""}, "SECRET_KEY must be set in production"),
        ({"SECRET_KEY": "short"}, "SECRET_KEY is weak"),
        ({"SECRET_KEY": "django-insecure-" + SAFE["SECRET_KEY"]}, "SECRET_KEY is weak"),
        ({"SECRET_KEY": "a" * 64}, "SECRET_KEY is weak"),
        ({"DEBUG": "true"}, "DEBUG is on"),
        ({"ALLOWED_HOSTS": ""}, "ALLOWED_HOSTS must name"),
        ({"ALLOWED_HOSTS": "*"}, "ALLOWED_HOSTS must name"),
        ({"ALLOWED_HOSTS": ".ledger.example"}, "ALLOWED_HOSTS must name"),
        ({"CSRF_TRUSTED_ORIGINS": "http://ledger.example"}, "is not one https address"),
        ({"CSRF_TRUSTED_ORIGINS": "https://*.example"}, "is not one https address"),
        ({"METRICS_TOKEN": "short"}, "METRICS_TOKEN can be guessed"),
        ({"METRICS_TOKEN": "a" * 30}, "METRICS_TOKEN can be guessed"),
        ({"METRICS_TOKEN": SAFE["SECRET_KEY"]}, "must differ"),
        ({"DATABASE_URL": "postgres://ledger:ledger@db/site"}, "DATABASE_URL: its password can be guessed"),
        ({"DATABASE_URL": "postgres://a:cooling-ledger@db/cooling-ledger"}, "DATABASE_URL: its password can be"),
        ({"SECURE_HSTS_SECONDS": "0"}, "SECURE_HSTS_SECONDS must be above zero"),
        ({"SECURE_HSTS_SECONDS": "60"}, "an hour"),
        ({"SECURE_SSL_REDIRECT": "false"}, "SECURE_SSL_REDIRECT is off"),
        ({"PROXIES": ""}, "PROXIES must say"),
        ({"PROXIES": "-1"}, "PROXIES must say"),
        ({"PRODUCTION": "false", "DEBUG": "true"}, "DEBUG is on and ALLOWED_HOSTS names ledger.example"),
    ],
)
def test_it_does_not_start_with_an_unsafe_setting(stated: dict[str, str], words: str, tmp_path: Path) -> None:
    ran = run(tmp_path, "manage.py", "check", **stated)
    assert ran.returncode != 0
    assert words in ran.stderr


def test_what_is_private_does_not_lie_where_everybody_reads(tmp_path: Path) -> None:
    inside = tmp_path / "static" / "evidence"
    ran = run(tmp_path, "manage.py", "check", EVIDENCE_DIR=str(inside))
    assert ran.returncode != 0
    assert "EVIDENCE_DIR lies under" in ran.stderr
    ran = run(tmp_path, "manage.py", "check", DATABASE_URL=f"sqlite:///{tmp_path}/evidence/../static/db.sqlite3")
    assert "DATABASE_URL lies under" in ran.stderr


@pytest.mark.parametrize("name", ["DATA_DIR", "EVIDENCE_DIR"])
def test_what_is_private_does_not_lie_where_everybody_writes(name: str, tmp_path: Path) -> None:
    folder = tmp_path / "open"
    folder.mkdir()
    folder.chmod(0o777)
    ran = run(tmp_path, "manage.py", "check", **{name: str(folder)})
    assert ran.returncode != 0
    assert f"{name}: every account of this machine can write into" in ran.stderr
    folder.chmod(0o755)
    assert run(tmp_path, "manage.py", "check", **{name: str(folder)}).returncode == 0


@pytest.mark.parametrize(("proxies", "believed"), [("0", False), ("1", True)])
def test_what_a_proxy_says_of_https_is_believed_where_one_stands_in_front(
    proxies: str, believed: bool, tmp_path: Path
) -> None:
    asks = "import django; django.setup(); from django.test import RequestFactory as F; "
    asks += "print(F().get('/', headers={'X-Forwarded-Proto': 'https'}).is_secure())"
    ran = run(tmp_path, "-c", asks, PROXIES=proxies, DJANGO_SETTINGS_MODULE="units.settings")
    assert ran.stdout.strip() == str(believed), ran.stderr


ASKS = """
import django, json; django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
call_command("collectstatic", verbosity=0, interactive=False)
from django.test import Client
client = Client(SERVER_NAME="ledger.example")
plain = client.get("/account/sign-in/")
page = client.get("/account/sign-in/", secure=True)
health = client.get("/healthz/live/")
client.get("/shared/Zm9vYmFyc2VjcmV0/", secure=True, headers={"Authorization": "Bearer abcdefghij"})
from units.models import Person
Person.objects.create_user("odile", password="a long and quiet evening")
signed = client.post("/account/sign-in/", {"username": "odile", "password": "a long and quiet evening"}, secure=True)
client.post("/account/display/", {"temperature": "F"}, secure=True)
cookies = {name: {key: bool(value[key]) for key in ("secure", "httponly")} | {"samesite": value["samesite"]}
           for name, value in client.cookies.items()}
from django.core.files.uploadedfile import SimpleUploadedFile
from tests import builders
from tests_app.actions import upload
wrong = {"username": "odile@home.example", "password": "my old password"}
stranger = Client(SERVER_NAME="ledger.example", REMOTE_ADDR="203.0.113.77")
statuses = [stranger.post("/account/sign-in/", wrong, secure=True).status_code for _ in range(7)]
bench = builders.a_bench(name="Behind the Curtain")
builders.Membership.objects.create(bench=bench, person=Person.objects.get(), role="owner")
address = f"/sessions/{builders.a_session(bench=bench, name='Monday of Aunt Mabel').pk}/files/"
def sent(content=b"7;4711-cell"):
    file = SimpleUploadedFile("Aunt Mabel.csv", content)
    return client.post(address, {"files": file}, secure=True).status_code
client.raise_request_exception = False
statuses += [sent(), sent(bytes(2) + b"Mabel" * 40)]
def broken(error):
    def keep_files(**_):
        raise error
    upload.keep_files = keep_files
    return sent()
statuses += [broken(OSError(28, "No space left on device", "/data/partial/Aunt Mabel.csv")),
             broken(FileNotFoundError(2, "No such file or directory", "/data/partial/Aunt Mabel.csv"))]
strict = Client(SERVER_NAME="ledger.example", enforce_csrf_checks=True, REMOTE_ADDR="203.0.113.77")
statuses += [strict.post("/account/sign-in/", wrong, secure=True).status_code]
print(json.dumps({"failing": statuses, "health": health.status_code,
                  "plain": [plain.status_code, plain.headers["Location"]],
                  "headers": dict(page.headers), "cookies": cookies, "signed": signed.status_code}))
"""


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> subprocess.CompletedProcess[str]:
    ran = run(tmp_path_factory.mktemp("site"), "-c", ASKS, DJANGO_SETTINGS_MODULE="units.settings")
    assert ran.returncode == 0, ran.stderr
    return ran


def test_plain_http_leads_to_https_but_for_the_health_check(asked: subprocess.CompletedProcess[str]) -> None:
    told = json.loads(asked.stdout)
    assert told["plain"] == [301, "https://ledger.example/account/sign-in/"]
    assert told["health"] == 200


def test_pages_forbid_what_they_do_not_need(asked: subprocess.CompletedProcess[str]) -> None:
    headers = json.loads(asked.stdout)["headers"]
    policy = headers["Content-Security-Policy"]
    assert "unsafe" not in policy
    for directive in ("default-src 'self'", "script-src 'self'", "style-src 'self'", "object-src 'none'",
                      "frame-ancestors 'none'", "form-action 'self'", "base-uri 'self'"):  # fmt: skip
        assert directive in policy
    assert headers["Strict-Transport-Security"] == "max-age=31536000; includeSubDomains; preload"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"


def test_cookies_go_over_https_only_and_no_script_reads_them(asked: subprocess.CompletedProcess[str]) -> None:
    told = json.loads(asked.stdout)
    assert told["signed"] == 302
    locked = {"secure": True, "httponly": True, "samesite": "Lax"}
    assert told["cookies"] == {"sessionid": locked, "csrftoken": locked, "display": locked}


def test_logs_are_json_and_hold_no_secret(asked: subprocess.CompletedProcess[str]) -> None:
    lines = [json.loads(line) for line in asked.stderr.splitlines()]
    assert {"/shared/<str:secret>/", "/account/sign-in/"} <= {f"/{line['route']}" for line in lines if "route" in line}
    assert all({"time", "level", "logger", "message"} <= line.keys() for line in lines)
    for secret in ("Zm9vYmFyc2VjcmV0", "abcdefghij", "quiet evening", "my old password", SAFE["SECRET_KEY"]):
        assert secret not in asked.stderr


def test_logs_of_what_failed_say_so_and_name_nobody(asked: subprocess.CompletedProcess[str]) -> None:
    """A sign-in, an upload that cannot be read, one without room, one that broke, one from another site."""
    assert json.loads(asked.stdout)["failing"] == [200] * 5 + [429] * 2 + [302] * 2 + [507, 500, 403]
    lines = [json.loads(line) for line in asked.stderr.splitlines()]
    logged = [line["status"] for line in lines if line.get("route") == "sessions/<uuid:session_id>/files/"]
    assert logged == [302, 302, 507, 500]
    assert any("No such file or directory" in line.get("trace", "") for line in lines)
    for private in ("odile", "Mabel", "Curtain", "4711", "203.0.113.77"):
        assert private not in asked.stderr


def test_an_errors_trace_is_one_line_without_its_secrets() -> None:
    told = "no answer from postgres://ledger:hunter2@db/ledger with sessionid=abc123; /shared/s3cret/"
    error = RuntimeError(told)
    record = logging.LogRecord("units", logging.ERROR, "x.py", 1, "broke", (), (RuntimeError, error, None))
    line = JsonFormatter().format(record)
    assert "\n" not in line
    assert "RuntimeError" in json.loads(line)["trace"]
    for secret in ("hunter2", "abc123", "s3cret"):
        assert secret not in line


@pytest.mark.parametrize(
    "text",
    [
        "FileNotFoundError: [Errno 2] No such file or directory: '/data/Mabel's log.csv'",
        "OSError: [Errno 18] Invalid cross-device link: '/tmp/a' -> '/data/Mabel.csv'",
        "DETAIL:  Key (bench_id, name)=(7, Mabel (attic)) already exists.",
        "DETAIL:  Failing row contains (7, Mabel, null).",
        'invalid input syntax for type double precision: "Mabel"',
    ],
)
def test_what_an_error_quotes_of_a_person_stays_out(text: str) -> None:
    """Wordings of Python's OSError and of PostgreSQL's server (errors 23505, 23502, 22P02), from memory."""
    assert "Mabel" not in redacted(text)
    assert redacted(text).split(":")[0] == text.split(":")[0]


@pytest.mark.parametrize("text", ["GET /published/w3/ 200", "csrf failed: no cookie", "a password is too short"])
def test_what_is_no_secret_stays_readable(text: str) -> None:
    assert redacted(text) == text


def test_every_address_with_a_secret_in_it_is_logged_without() -> None:
    holding = [name for name, _ in all_names() if any("secret" in part for part in parameters_of(name))]
    assert len(holding) >= 2
    for name in holding:
        address = reverse(name, args=["Zm9vYmFyc2VjcmV0" for _ in parameters_of(name)])
        assert "Zm9vYmFyc2VjcmV0" not in redacted(f"Not Found: {address}"), name
