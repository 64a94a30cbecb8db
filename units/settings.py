"""Settings of the Django project; the environment is read here and nowhere else."""

from __future__ import annotations

from pathlib import Path

import environ
from django.core.exceptions import ImproperlyConfigured

from units import logs, safety

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

DATA_DIR = Path(env("DATA_DIR", default=str(BASE_DIR / "var")))
DATA_DIR.mkdir(parents=True, exist_ok=True)
PRODUCTION = env.bool("PRODUCTION", default=False)
DEBUG = env.bool("DEBUG", default=False)


def _secret_key() -> str:
    """Return the environment's key; without one, a key of this machine's own, kept beside its data."""
    key = env("SECRET_KEY", default="")
    if key:
        return key
    if PRODUCTION:
        raise ImproperlyConfigured("SECRET_KEY must be set in production.")
    kept = DATA_DIR / "secret_key"
    if not kept.exists():
        from django.core.management.utils import get_random_secret_key

        kept.write_text(get_random_secret_key(), encoding="ascii")
        kept.chmod(0o600)
    return kept.read_text(encoding="ascii")


SECRET_KEY = _secret_key()
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=[] if PRODUCTION else ["127.0.0.1", "localhost", "testserver"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])
PROXIES = env.int("PROXIES", default=-1 if PRODUCTION else 0)  # how many of ours stand in front; in production, said
SITE_NAME = "Cooling Ledger"

INSTALLED_APPS = [
    "units",
    "tests_app.apps.TestsAppConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
    "rest_framework",
    "drf_spectacular",
    "django_filters",
    "django_htmx",
    "csp",
    "django_tasks",
    "django_tasks_db",
]

MIDDLEWARE = [
    *(["units.logs.RequestLogMiddleware"] if PRODUCTION else []),
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "csp.middleware.CSPMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "units.middleware.PageMethodsMiddleware",
    "units.middleware.BenchMiddleware",
    "units.problems.ProblemsMiddleware",
]

ROOT_URLCONF = "units.urls"
WSGI_APPLICATION = "units.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "units.middleware.page_context",
            ],
            "builtins": ["units.templatetags.quantities"],
        },
    }
]

FORM_RENDERER = "units.forms.renderer.Renderer"

DATABASES = {"default": env.db_url("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'ledger.sqlite3'}")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;",
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "units.Person"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "bench-home"
LOGOUT_REDIRECT_URL = "catalogue"
METRICS_TOKEN = env("METRICS_TOKEN", default="")  # empty: no metrics
LOGGING = logs.AS_JSON if PRODUCTION else logs.PLAIN

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = False

STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "units.bundle.BundleFinder",
]
STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
WHITENOISE_USE_FINDERS = not PRODUCTION  # outside production no step to collect them
MEDIA_ROOT = Path(env("EVIDENCE_DIR", default=str(DATA_DIR / "evidence")))
STORAGES = {
    "default": {"BACKEND": env("EVIDENCE_STORAGE", default="tests_app.whole_files.WholeFiles")},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
PARTIAL_UPLOAD_DIR = DATA_DIR / "partial"
MAX_UPLOAD_BYTES = env.int("MAX_UPLOAD_BYTES", default=256 * 1024 * 1024)
BENCH_MOST_BYTES = env.int("BENCH_MOST_BYTES", default=20 * 1024**3)  # log files of one bench
BENCH_MOST_FILES = env.int("BENCH_MOST_FILES", default=20_000)
BENCH_MOST_SESSIONS = env.int("BENCH_MOST_SESSIONS", default=10_000)
FILE_UPLOAD_HANDLERS = [
    "django.core.files.uploadhandler.MemoryFileUploadHandler",  # up to 2.5 MB
    "tests_app.upload_limit.LimitedUploadHandler",
]

TASKS = {"default": {"BACKEND": env("TASKS_BACKEND", default="django_tasks.backends.immediate.ImmediateBackend")}}
JOB_SILENT_S = env.float("JOB_SILENT_S", default=60.0)  # a worker that says nothing for so long counts as dead

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "units.api.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Cooling Ledger API",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "POSTPROCESSING_HOOKS": ["drf_spectacular.hooks.postprocess_schema_enums", "units.api.openapi.with_refusals"],
}

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:", "blob:"],
        "object-src": ["'none'"],
        "base-uri": ["'self'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 14 * 24 * 3600
CSRF_COOKIE_HTTPONLY = True  # forms and scripts of ours send the field, none reads the cookie
DATA_UPLOAD_MAX_NUMBER_FILES = 100
if PRODUCTION:
    SECURE_SSL_REDIRECT = env.bool("SECURE_SSL_REDIRECT", default=True)
    if PROXIES > 0:  # where none of ours stands in front, anybody could write the header
        SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = env.int("SECURE_HSTS_SECONDS", default=31_536_000)
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    SECURE_REDIRECT_EXEMPT = [r"^healthz/"]
if unsafe := list((safety.faults if PRODUCTION else safety.faults_outside_production)(globals())):
    raise ImproperlyConfigured("This is not safe" + " in production" * PRODUCTION + ".\n" + "\n".join(unsafe))
