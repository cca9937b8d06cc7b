"""The second copy in a bucket: written, proven, healed and healing, against an S3 emulator.

Outside truth: moto 5, an emulator of the S3 protocol that this project did not make, reached over
real connections on this machine.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import boto3
import pytest
from django.core.exceptions import ImproperlyConfigured
from django.core.management import CommandError, call_command
from moto.server import ThreadedMotoServer

from imaging_requests.config import env
from imaging_requests.intake import bucket as bucket_module
from imaging_requests.intake import quarantine, store
from imaging_requests.intake.models import Copy, Frame, Job
from imaging_requests.intake.places import DAMAGED, Key
from tests import factory
from tests.intake_scene import bring, frame_of, open_drop, settle, tiff

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("stores"),
    pytest.mark.any_database,
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]
BUCKET = "second-copies"
BIG = bytes(range(256)) * 4 * 5000
SHA = hashlib.sha256(BIG).hexdigest()


@pytest.fixture(scope="module")
def endpoint() -> Iterator[str]:
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    yield f"http://{host}:{port}"
    server.stop()


@pytest.fixture
def s3(endpoint: str, settings: Any) -> Any:
    """A client past the program, on a bucket of the test's own."""
    settings.SECOND_STORE_BUCKET = {
        "bucket": f"{BUCKET}-{uuid4().hex[:8]}",
        "prefix": "masters",
        "endpoint": endpoint,
        "region": "us-east-1",
        "access_key": "invented",
        "secret_key": "invented too",
    }
    client = boto3.client(
        "s3",
        endpoint_url=endpoint,
        region_name="us-east-1",
        aws_access_key_id="other",
        aws_secret_access_key="other",
    )
    client.create_bucket(Bucket=settings.SECOND_STORE_BUCKET["bucket"])
    return client


def objects(s3: Any, settings: Any) -> dict[str, bytes]:
    name = settings.SECOND_STORE_BUCKET["bucket"]
    listed = s3.list_objects_v2(Bucket=name).get("Contents", [])
    return {
        each["Key"]: s3.get_object(Bucket=name, Key=each["Key"])["Body"].read() for each in listed
    }


def part(data: bytes) -> Path:
    path = quarantine.part_path(uuid4())
    path.write_bytes(data)
    return path


def test_a_drop_is_proven_in_folder_and_bucket(s3: Any, settings: Any) -> None:
    data = tiff(1, at=factory.NOW)
    arrival = bring(open_drop(factory.photographer()), "A.tif", data)
    settle()
    frame = frame_of(arrival)
    assert frame.copies.filter(is_good=True, verified_at__isnull=False).count() == 2
    key = Key(frame.sha256, "tif")
    assert objects(s3, settings) == {f"masters/{key.path}": data}
    assert not list(Path(settings.SECOND_STORE_DIR).rglob("*.tif")), "no folder took its place"


def test_a_large_file_goes_in_parts_and_twice_is_once(
    s3: Any, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bucket_module, "PART_BYTES", 5 * 1024**2)
    data = BIG + BIG
    sha256 = hashlib.sha256(data).hexdigest()
    assert len(data) > 2 * 5_000_000
    for _ in range(2):
        store.put(part(data), sha256=sha256, extension="tif")
    assert objects(s3, settings) == {f"masters/{Key(sha256, 'tif').path}": data}


@pytest.mark.parametrize("length", [len(BIG), 300], ids=["in parts", "in one"])
def test_bytes_with_another_digest_never_appear(
    s3: Any, settings: Any, length: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bucket_module, "PART_BYTES", 5 * 1024**2)
    with pytest.raises(store.NotTheSameError):
        store.put(part(BIG[:length]), sha256="0" * 64, extension="tif")
    assert objects(s3, settings) == {}
    assert not list(Path(settings.STORE_DIR).rglob("*.tif"))


@pytest.fixture
def frame(s3: Any) -> Frame:
    arrival = bring(open_drop(factory.photographer()), "A.tif", tiff(1, at=factory.NOW))
    settle()
    factory.person("Hale", "keeper")
    return frame_of(arrival)


def sweep() -> dict[str, Any]:
    out = StringIO()
    call_command("verify_store", "--json", stdout=out, stderr=out)
    found: dict[str, Any] = json.loads(out.getvalue())
    return found


@pytest.mark.parametrize("is_gone", [False, True], ids=["rotten", "gone"])
def test_a_bad_object_is_restored_from_the_folder(
    frame: Frame, s3: Any, settings: Any, is_gone: bool
) -> None:
    ((name, good),) = objects(s3, settings).items()
    where = {"Bucket": settings.SECOND_STORE_BUCKET["bucket"], "Key": name}
    if is_gone:
        s3.delete_object(**where)
    else:
        s3.put_object(**where, Body=b"\x00" + good[1:])
    assert sweep()["counts"] == {"good": 1, "repaired": 1}
    found = objects(s3, settings)
    assert found.pop(name) == good
    aside = [(key, data) for key, data in found.items() if f"masters/{DAMAGED}/" in key]
    assert len(aside) == len(found) == (0 if is_gone else 1)
    assert sweep()["counts"] == {"good": 2}


def test_a_bad_file_is_restored_from_the_bucket(frame: Frame, s3: Any, settings: Any) -> None:
    path = Path(settings.STORE_DIR) / Key(frame.sha256, "tif").path
    good = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(good[:-1])
    assert sweep()["counts"] == {"good": 1, "repaired": 1}
    assert path.read_bytes() == good


def test_pixels_are_read_after_the_folder_has_lost_a_file(frame: Frame, settings: Any) -> None:
    path = Path(settings.STORE_DIR) / Key(frame.sha256, "tif").path
    good = path.read_bytes()
    path.unlink()
    assert store.readable_path(frame.sha256, "tif") == path
    assert path.read_bytes() == good


def test_a_bucket_that_is_gone_keeps_files_in_quarantine_and_says_why(
    s3: Any, settings: Any
) -> None:
    s3.delete_bucket(Bucket=settings.SECOND_STORE_BUCKET["bucket"])
    arrival = bring(open_drop(factory.photographer()), "A.tif", tiff(1, at=factory.NOW))
    settle()
    arrival.refresh_from_db()
    assert "there is no such bucket" in Job.objects.get(kind="receive").last_error
    assert "safe in quarantine" in arrival.answer
    assert not Frame.objects.exists()
    s3.create_bucket(Bucket=settings.SECOND_STORE_BUCKET["bucket"])
    Job.objects.update(state="due", tries=0)
    settle()
    assert frame_of(arrival).copies.filter(is_good=True).count() == 2


def test_a_place_that_does_not_answer_is_not_taken_for_a_lost_copy(
    frame: Frame, s3: Any, settings: Any
) -> None:
    name = settings.SECOND_STORE_BUCKET["bucket"]
    for key in objects(s3, settings):
        s3.delete_object(Bucket=name, Key=key)
    s3.delete_bucket(Bucket=name)
    before = set(Copy.objects.values_list("place", "is_good", "verified_at"))
    with pytest.raises(CommandError, match="could not be read"):
        sweep()
    after = set(Copy.objects.values_list("place", "is_good", "verified_at"))
    second = {row for row in before if row[0] == store.SECOND}
    assert second <= after


def test_the_settings_name_folder_or_bucket(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("IMAGING_SECOND_STORE", "/mnt/second")
    assert env.bucket("IMAGING_SECOND_STORE") == {}
    monkeypatch.setenv("IMAGING_SECOND_STORE", "s3://copies/of/masters")
    monkeypatch.delenv("IMAGING_S3_ACCESS_KEY", raising=False)
    with pytest.raises(ImproperlyConfigured, match="IMAGING_S3_ACCESS_KEY is not set"):
        env.bucket("IMAGING_SECOND_STORE")
    monkeypatch.setenv("IMAGING_S3_ACCESS_KEY", "a")
    monkeypatch.setenv("IMAGING_S3_SECRET_KEY", "b")
    found = env.bucket("IMAGING_SECOND_STORE")
    assert (found["bucket"], found["prefix"]) == ("copies", "of/masters")
    monkeypatch.setenv("IMAGING_SECOND_STORE", "ftp://copies")
    with pytest.raises(ImproperlyConfigured, match="must be a folder or read s3://"):
        env.bucket("IMAGING_SECOND_STORE")
    monkeypatch.setenv("IMAGING_STORE", "s3://masters")
    with pytest.raises(ImproperlyConfigured, match="must be a folder, since pixels"):
        env.folder("IMAGING_STORE", Path("/nowhere"))
