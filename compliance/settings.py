"""Settings of Noughtbook, driven by the environment. A fresh clone runs with none of them set; README lists them."""

import gc
import os
import sys
from pathlib import Path

from shared.environment import broker_of, database_of, hours_of, listed, log_level_of, mail_of, seconds_of
from shared.private import keep_private, private_file, private_folder
from shared.secret import kept_secret

# What a program loads, it keeps: looking through it for what might be left over takes a tenth of its start. When all is loaded,
# compliance/service/apps.py sets what is looked through, and how often.
gc.set_threshold(200_000, 20, 50)
# django_tables2 would load these for a kind of column that no table here has, and with them psycopg: a tenth of a start.
sys.modules["django.contrib.postgres.fields"] = None

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = Path(os.environ.get("NOUGHTBOOK_DATA", BASE_DIR / ".noughtbook"))
DATABASE_FILE = DATA_DIR / "noughtbook.sqlite3"  # unless DATABASE_URL names another database
DATA_REFUSED = private_folder(DATA_DIR) or private_folder(DATA_DIR / "static")
if not os.environ.get("DATABASE_URL"):
    private_file(DATABASE_FILE)
keep_private(DATA_DIR / "secret_key", *DATA_DIR.glob(f"{DATABASE_FILE.name}*"))

DEBUG = os.environ.get("NOUGHTBOOK_DEBUG", "") == "1"
SECRET_KEY = os.environ.get("NOUGHTBOOK_SECRET_KEY") or kept_secret(DATA_DIR / "secret_key")
DATA_REFUSED = DATA_REFUSED or ("" if SECRET_KEY else "The secret key cannot be read there, nor made.")
ALLOWED_HOSTS = listed(os.environ.get("NOUGHTBOOK_HOSTS", "localhost,127.0.0.1,[::1]"))
CSRF_TRUSTED_ORIGINS = listed(os.environ.get("NOUGHTBOOK_ORIGINS", ""))
BEHIND_HTTPS = os.environ.get("NOUGHTBOOK_HTTPS", "") == "1"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
    "django_tables2",
    "django_filters",
    "django_htmx",
    "shared",
    "shared.audit",
    "sites",
    "compliance.limits",
    "compliance.probes",
    "compliance.appliances",
    "compliance.plans",
    "compliance.checks",
    "compliance.readings",
    "compliance.advice",
    "compliance.quarantine",
    "compliance.reminders",
    "compliance.reviews",
    "compliance.notices",
    "compliance.overview",
    "compliance.records",
    "compliance.phone",
    "compliance.service",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "shared.middleware.Compressed",
    "shared.static_files.StaticFiles",
    "shared.middleware.content_security_policy",
    "compliance.service.bodies.small_enough",
    "shared.middleware.text_that_can_be_kept",
    "compliance.service.middleware.health_first",
    "compliance.service.unavailable.pages_that_end",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "sites.middleware.roles_of_then_change_nothing",
    "sites.kitchen_sessions.KitchenSessions",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "sites.middleware.idle_sessions_end",
    "shared.kept_pages.says_whose",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]

# So many pages are made at once by one process; its web server has a thread more, for the health page.
PAGES_AT_ONCE = 14

ROOT_URLCONF = "compliance.urls"
WSGI_APPLICATION = "compliance.wsgi.application"
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"
DJANGO_TABLES2_TEMPLATE = "tables/list.html"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "compliance.overview.context.navigation",
            ],
            "builtins": ["shared.templatetags.noughtbook"],
        },
    },
]

DATABASES = {
    "default": database_of(os.environ.get("DATABASE_URL") or f"sqlite:///{DATABASE_FILE}"),
}
# Options in DATABASE_URL, such as ?sslmode=require, come before these.
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    # A deferred BEGIN that reads and then writes fails under two writers ("database is locked"); IMMEDIATE queues them.
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
    } | DATABASES["default"].get("OPTIONS", {})
elif DATABASES["default"]["ENGINE"] == "django.db.backends.postgresql":
    # Each page and each task connects anew, Django's usual way: `connect_timeout` then tells that a server has fallen silent.
    # A network that swallows what is sent is noticed in 10 s; by default Linux takes a quarter of an hour to two hours.
    DATABASES["default"]["OPTIONS"] = {
        "connect_timeout": 3,  # seconds
        "keepalives_idle": 5,
        "keepalives_interval": 2,
        "keepalives_count": 3,
        "tcp_user_timeout": 10_000,  # milliseconds
        # The server's side of that; statements are not compiled, which takes longer than any of ours;
        # and one that is read piece by piece is planned to be read to its end.
        "options": "-c tcp_keepalives_idle=10 -c tcp_keepalives_interval=5 -c tcp_keepalives_count=3 "
        "-c jit=off -c cursor_tuple_fraction=1",
    } | DATABASES["default"].get("OPTIONS", {})
SERVER_OPTIONS = DATABASES["default"].get("OPTIONS", {}).get("options", "")
DATABASE_ROLE = os.environ.get("NOUGHTBOOK_DATABASE_ROLE", "")
POSTGRES_TOOLS = os.environ.get("NOUGHTBOOK_POSTGRES_TOOLS", "")  # folder of pg_dump and pg_restore, if not on PATH
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "sites.Person"
AUTHENTICATION_BACKENDS = ["sites.backends.PeopleWithRoles"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "sites.passwords.UnlikeOneself"},
    {"NAME": "sites.passwords.VisibleCharacters"},
]
PASSWORD_RESET_TIMEOUT = 3 * 24 * 3600  # seconds for which a link to choose a password holds
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign_in"

LANGUAGE_CODE = "en"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STORAGES = {"staticfiles": {"BACKEND": "shared.static_files.HashedNames"}}
WHITENOISE_USE_FINDERS = True  # no collectstatic step on a fresh clone

IDLE_GIVEN = os.environ.get("NOUGHTBOOK_IDLE_HOURS", "")
SESSION_ENGINE = "sites.sessions"
SESSION_COOKIE_AGE = int(3600 * hours_of(IDLE_GIVEN, 12))  # renewed by sites.middleware.idle_sessions_end
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = BEHIND_HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_HTTPS else None
SECURE_HSTS_SECONDS = 31_536_000 if BEHIND_HTTPS else 0
X_FRAME_OPTIONS = "DENY"
SILENCED_SYSTEM_CHECKS: list[str] = []

# Without a broker the process of `start` does the tasks, one after the other.
BROKER_ASKED = bool(os.environ.get("REDIS_URL"))
BROKER = broker_of(os.environ.get("REDIS_URL", ""))
TASK_QUEUE = "compliance.celery.app"
SPANS = {  # in seconds, as they were given
    "NOUGHTBOOK_SWEEP_EVERY": os.environ.get("NOUGHTBOOK_SWEEP_EVERY", ""),
    "NOUGHTBOOK_REDELIVER_AFTER": os.environ.get("NOUGHTBOOK_REDELIVER_AFTER", ""),
    "NOUGHTBOOK_MAIL_TIMEOUT": os.environ.get("NOUGHTBOOK_MAIL_TIMEOUT", ""),
    "NOUGHTBOOK_STATEMENT_TIMEOUT": os.environ.get("NOUGHTBOOK_STATEMENT_TIMEOUT", ""),
}
SWEEP_EVERY = seconds_of(SPANS["NOUGHTBOOK_SWEEP_EVERY"], 60)
EXPAND_EVERY, TIDY_EVERY = 6 * 3600, 24 * 3600  # seconds
REDELIVER_AFTER = seconds_of(SPANS["NOUGHTBOOK_REDELIVER_AFTER"], 600)
PAGE_STATEMENT = seconds_of(SPANS["NOUGHTBOOK_STATEMENT_TIMEOUT"], 10)  # seconds; no statement of a page takes so long
TASK_STATEMENT = TASK_WITHIN = 0.7 * REDELIVER_AFTER  # seconds; a task has to be over before it counts as lost

# Where people reach the pages: mails link there.
ONE_HOST = [origin for origin in CSRF_TRUSTED_ORIGINS if "*" not in origin]
ADDRESS_GIVEN = os.environ.get("NOUGHTBOOK_ADDRESS", "").strip().rstrip("/") or next(iter(ONE_HOST), "")
ADDRESS = ADDRESS_GIVEN or "http://127.0.0.1:8000"  # the start command puts in what it serves

MAIL_ASKED = bool(os.environ.get("NOUGHTBOOK_MAIL_URL"))
DEFAULT_FROM_EMAIL = SERVER_EMAIL = os.environ.get("NOUGHTBOOK_MAIL_FROM", "")
MAIL = mail_of(os.environ.get("NOUGHTBOOK_MAIL_URL", ""))
MAIL_WORKS = bool(MAIL and DEFAULT_FROM_EMAIL)  # or notices are shown in the pages only
EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend" if MAIL else "django.core.mail.backends.dummy.EmailBackend"
)
EMAIL_HOST, EMAIL_PORT = MAIL.get("host", ""), MAIL.get("port", 0)
EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = MAIL.get("user", ""), MAIL.get("password", "")
EMAIL_USE_TLS, EMAIL_USE_SSL = MAIL.get("tls", False), MAIL.get("ssl", False)
EMAIL_TIMEOUT = seconds_of(SPANS["NOUGHTBOOK_MAIL_TIMEOUT"], 60)

LOG_LEVEL = os.environ.get("NOUGHTBOOK_LOG", "WARNING")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"secrets": {"()": "compliance.notices.log_filters.SecretsHidden"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "filters": ["secrets"]}},
    "root": {"handlers": ["console"], "level": log_level_of(LOG_LEVEL)},
}
