"""Settings of a test run: all its data in one temporary folder, one part for each pytest worker.

They are loaded before any conftest.py, and again in each process that a test starts. From the
environment: DATABASE (`sqlite`, the default, or `postgres` on the server that DATABASE_URL and
SCHEMA_DATABASE_URL name), TEST_DATABASE (name of the database), TEST_REDIS_URL.
"""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

if "TEST_RUN_DIR" not in os.environ:
    os.environ["TEST_RUN_DIR"] = tempfile.mkdtemp(prefix="maindrain-test-")
    atexit.register(shutil.rmtree, os.environ["TEST_RUN_DIR"], ignore_errors=True)

_worker = os.environ.get("PYTEST_XDIST_WORKER", "main")
_folder = Path(os.environ["TEST_RUN_DIR"]) / _worker
_folder.mkdir(exist_ok=True)
_database = os.environ.get("TEST_DATABASE", f"test_{_worker}")

if os.environ.get("DATABASE", "sqlite") == "postgres":
    for _variable in ("DATABASE_URL", "SCHEMA_DATABASE_URL"):
        _server = os.environ[_variable].rpartition("/")[0]
        os.environ[_variable] = f"{_server}/{_database}"
else:
    os.environ["DATABASE_URL"] = f"sqlite:///{_folder / _database}.sqlite3"
    os.environ.pop("SCHEMA_DATABASE_URL", None)

if "TEST_REDIS_URL" in os.environ:
    _number = _worker.removeprefix("gw") if _worker.startswith("gw") else "15"
    os.environ["BROKER_URL"] = f"{os.environ['TEST_REDIS_URL']}/{_number}"
else:
    os.environ.pop("BROKER_URL", None)

os.environ["DATA_DIR"] = str(_folder)
os.environ.setdefault("SECRET_KEY", "of the tests alone")

from config.settings import *  # noqa: E402, F403

# A pool would keep connections to a database that the next test replaces.
_options = DATABASES["default"]["OPTIONS"]  # noqa: F405
assert isinstance(_options, dict)
_options.pop("pool", None)
# A test run need not survive a power cut.
if "init_command" in _options:
    _options["init_command"] = _options["init_command"].replace("=FULL", "=OFF")
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

# The folder is empty: files are served from where they lie in the apps.
STATIC_ROOT.mkdir(parents=True, exist_ok=True)  # noqa: F405
WHITENOISE_USE_FINDERS = True

# A plan then depends on its problem alone, not on how busy the machine is; one that a worker
# searches for a test ends by the clock or is called off.
PLAN_ITERATIONS = None if "TEST_DATABASE" in os.environ else 400

# All tests come from one address, with few accounts; those about limits set their own.
REQUEST_LIMITS = {}
