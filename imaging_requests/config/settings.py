"""Settings of every size of installation, read from the environment through `env`."""

from pathlib import Path
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.core.management.utils import get_random_secret_key

from imaging_requests.config import env

SIZE = env.size()
IS_DESK = SIZE == "desk"
BASE_DIR = env.CHECKOUT
DATA_DIR = Path(env.text("IMAGING_DATA_DIR", str(BASE_DIR / "var")))
SECRET_KEY_FILE = DATA_DIR / "secret-key"
DEBUG = env.flag("IMAGING_DEBUG", default=False)

if IS_DESK:
    # `serve` and `demo` write the key file; a command run before that works with a passing key.
    _stored_key = SECRET_KEY_FILE.read_text().strip() if SECRET_KEY_FILE.exists() else ""
    SECRET_KEY = env.text("IMAGING_SECRET_KEY", _stored_key or get_random_secret_key())
    ALLOWED_HOSTS = env.listed("IMAGING_HOSTS", "127.0.0.1,localhost,[::1]")
    DATABASE_URL = env.text("DATABASE_URL", "")
    REDIS_URL = env.text("REDIS_URL", "")
else:
    SECRET_KEY = env.secret_key("IMAGING_SECRET_KEY")
    ALLOWED_HOSTS = env.hosts("IMAGING_HOSTS")
    DATABASE_URL = env.text("DATABASE_URL")
    REDIS_URL = env.broker(env.text("REDIS_URL"))
    if DEBUG:
        raise ImproperlyConfigured(f"IMAGING_DEBUG must not be on at {SIZE} size.")

STORE_DIR = env.folder("IMAGING_STORE", DATA_DIR / "store")
SECOND_STORE_BUCKET = env.bucket("IMAGING_SECOND_STORE")
SECOND_STORE_DIR = (
    DATA_DIR / "second-copy"
    if SECOND_STORE_BUCKET
    else env.folder("IMAGING_SECOND_STORE", DATA_DIR / "second-copy")
)
DERIVED_DIR = env.folder("IMAGING_DERIVED", DATA_DIR / "derived")
QUARANTINE_DIR = STORE_DIR / "quarantine"

STUDIO_ZONE = env.zone("IMAGING_ZONE", "Europe/London")
UPLOAD_LIMIT_BYTES = env.number("IMAGING_UPLOAD_LIMIT_BYTES", 64 * 1024**3, least=1024)
DECODE_MEMORY_LIMIT_BYTES = env.number(
    "IMAGING_DECODE_MEMORY_BYTES", 1_400 * 1024**2, least=128 * 1024**2
)
DECODE_SECONDS_LIMIT = env.number("IMAGING_DECODE_SECONDS", 600, least=5)
DECODE_PIXEL_LIMIT = env.number("IMAGING_DECODE_PIXELS", 3_000_000_000, least=1_000_000)
WORKER_SLOTS = env.number("IMAGING_WORKERS", 2, least=1)
JOB_LEASE_SECONDS = env.number("IMAGING_JOB_LEASE_SECONDS", 30, least=1)

INSTALLED_APPS = [
    "django.contrib.contenttypes",
    "django.contrib.auth",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "django_filters",
    "imaging_requests.people",
    "imaging_requests.collection",
    "imaging_requests.protocols",
    "imaging_requests.treatments",
    "imaging_requests.requesting",
    "imaging_requests.campaigns",
    "imaging_requests.intake",
    "imaging_requests.deliverables",
    "imaging_requests.pictures",
    "imaging_requests.progress",
    "imaging_requests.demo",
    "imaging_requests.config",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "imaging_requests.people.middleware.ContentSecurityPolicy",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "imaging_requests.people.middleware.StudioZone",
    "imaging_requests.people.middleware.DomainErrors",
]

ROOT_URLCONF = "imaging_requests.config.urls"
WSGI_APPLICATION = "imaging_requests.config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": False,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "imaging_requests.people.context.shell",
            ],
            "loaders": [
                (
                    "django.template.loaders.cached.Loader",
                    [
                        "django.template.loaders.filesystem.Loader",
                        "django.template.loaders.app_directories.Loader",
                    ],
                )
            ],
        },
    }
]

DATABASES: dict[str, dict[str, Any]] = {
    "default": env.database(DATABASE_URL)
    if DATABASE_URL
    else env.sqlite(DATA_DIR / "imaging.sqlite3")
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "people.User"
LOGIN_URL = "people:sign_in"
LOGIN_REDIRECT_URL = "progress:first_page"
LOGOUT_REDIRECT_URL = "people:sign_in"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"
FORMAT_MODULE_PATH = None
DATE_FORMAT = "j M Y"
DATETIME_FORMAT = "j M Y, H:i"
SHORT_DATE_FORMAT = "Y-m-d"
TIME_FORMAT = "H:i"

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "imaging_requests" / "static"]
WHITENOISE_USE_FINDERS = IS_DESK
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "imaging_requests.config.static_files.DeskFiles"
        if IS_DESK
        else "imaging_requests.config.static_files.CollectedFiles"
    },
}

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 60 * 60 * 12
CSRF_FAILURE_VIEW = "imaging_requests.people.views.csrf_failure"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
DATA_UPLOAD_MAX_MEMORY_SIZE = 20 * 1024**2
DATA_UPLOAD_MAX_NUMBER_FILES = 3000
FILE_UPLOAD_HANDLERS = ["django.core.files.uploadhandler.TemporaryFileUploadHandler"]
if not IS_DESK:
    SECURE_SSL_REDIRECT = env.flag("IMAGING_TLS_REDIRECT", default=True)
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = env.number("IMAGING_HSTS_SECONDS", 31_536_000, least=3600)
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in ALLOWED_HOSTS]

CELERY_BROKER_FOLDER = DATA_DIR / "broker"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "plain": {"format": "{asctime} {levelname} {name} {message}", "style": "{"},
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {
        "handlers": ["stderr"],
        "level": env.one_of("IMAGING_LOG_LEVEL", "INFO", env.LOG_LEVELS),
    },
    "loggers": {"pyvips": {"level": "WARNING"}},
}
