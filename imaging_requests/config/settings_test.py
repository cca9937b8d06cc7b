"""Settings of the tests: the desk size in a folder of its own, or what the environment raises."""

import os
import tempfile
from pathlib import Path

_work_dir = Path(os.environ.get("IMAGING_TEST_DIR") or tempfile.mkdtemp(prefix="imaging-tests-"))
os.environ.setdefault("IMAGING_DATA_DIR", str(_work_dir))
os.environ.setdefault("IMAGING_SECRET_KEY", "only-for-tests-" * 5)

from imaging_requests.config.settings import *  # noqa: E402, F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
ALLOWED_HOSTS = ["testserver", "127.0.0.1", "localhost"]

# A lease is extended on a connection of its own, which on SQLite would wait half a minute for the
# transaction of the test. The tests of leases choose their own.
JOB_LEASE_SECONDS = 600

# WhiteNoise warns of a folder that is not there, and a warning fails a test.
STATIC_ROOT.mkdir(parents=True, exist_ok=True)  # noqa: F405

if DATABASES["default"]["ENGINE"].endswith("sqlite3"):  # noqa: F405
    # A file and not memory: threads of a live server then wait for each other as at desk size.
    DATABASES["default"]["TEST"] = {"NAME": str(_work_dir / "tests.sqlite3")}  # noqa: F405
    DATABASES["default"]["OPTIONS"]["init_command"] = (  # noqa: F405
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=OFF; PRAGMA foreign_keys=ON;"
        "PRAGMA recursive_triggers=ON;"
    )
