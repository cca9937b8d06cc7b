"""A bucket that speaks the S3 protocol as the second place of masters, through django-storages."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any

from boto3.s3.transfer import TransferConfig
from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError
from storages.backends.s3 import S3Storage

from imaging_requests.imaging.files.fixity import CHUNK_BYTES
from imaging_requests.intake.places import Key, NotTheSameError, StoreError, cannot_take

PART_BYTES = 16 * 1024**2
CONNECT_S, READ_S, TRIES = 10, 60, 3
MISSING = frozenset({"404", "NoSuchKey", "NotFound"})
REASONS = {
    "AccessDenied": "it may not be written to or read",
    "403": "it may not be written to or read",
    "InvalidAccessKeyId": "it does not know the key that is set",
    "SignatureDoesNotMatch": "it does not accept the secret that is set",
    "NoSuchBucket": "there is no such bucket",
    "QuotaExceeded": "its quota is used up",
}


@dataclass(frozen=True)
class Bucket:
    """A bucket, or the part of one below a prefix."""

    name: str
    bucket: str
    prefix: str = ""
    endpoint: str = ""
    region: str = ""
    access_key: str = ""
    secret_key: str = ""

    @cached_property
    def _storage(self) -> Any:
        return S3Storage(
            bucket_name=self.bucket,
            location=self.prefix,
            endpoint_url=self.endpoint or None,
            region_name=self.region or None,
            access_key=self.access_key or None,
            secret_key=self.secret_key or None,
            default_acl=None,
            file_overwrite=False,
            client_config=Config(
                s3={"addressing_style": "path" if self.endpoint else "auto"},
                request_checksum_calculation="when_required",
                response_checksum_validation="when_required",
                connect_timeout=CONNECT_S,
                read_timeout=READ_S,
                retries={"max_attempts": TRIES, "mode": "standard"},
            ),
        )

    @property
    def _client(self) -> Any:
        return self._storage.connection.meta.client

    def _name(self, path: str) -> str:
        return f"{self.prefix}/{path}" if self.prefix else path

    def holds(self, key: Key) -> bool:
        """Whether an object lies under the key."""
        with self._errors():
            try:
                self._client.head_object(Bucket=self.bucket, Key=self._name(key.path))
            except ClientError as error:
                if _code(error) in MISSING:
                    return False
                raise
        return True

    def read(self, key: Key) -> Iterator[bytes]:
        """Yield an object as the bucket sends it; `FileNotFoundError` if there is none."""
        with self._errors():
            try:
                answer = self._client.get_object(Bucket=self.bucket, Key=self._name(key.path))
            except ClientError as error:
                if _code(error) in MISSING:
                    raise FileNotFoundError(key.path) from error
                raise
            yield from answer["Body"].iter_chunks(CHUNK_BYTES)

    def write(self, key: Key, chunks: Iterable[bytes]) -> None:
        """Send a stream; it appears only if it came to its end and has the right digest."""
        if not self.holds(key):
            self._send(key, chunks)

    def replace(self, key: Key, chunks: Iterable[bytes]) -> None:
        """Copy what lies there to the damaged ones, and send the right bytes over it.

        A bucket swaps an object at the instant at which the new one has come to its end.
        """
        if self.holds(key):
            source = {"Bucket": self.bucket, "Key": self._name(key.path)}
            with self._errors():
                self._client.copy(source, self.bucket, self._name(key.path_aside))
        self._send(key, chunks)

    def _send(self, key: Key, chunks: Iterable[bytes]) -> None:
        with self._errors():
            self._client.upload_fileobj(
                _Proving(chunks, key.sha256),
                self.bucket,
                self._name(key.path),
                Config=TransferConfig(
                    multipart_threshold=PART_BYTES,
                    multipart_chunksize=PART_BYTES,
                    use_threads=False,
                ),
            )

    def free_bytes(self) -> int | None:
        """A bucket does not say how much room it has."""
        return None

    def sweep_scratch(self, *, older_than_s: float) -> int:
        """End uploads that killed writers left open."""
        limit = datetime.now(UTC) - timedelta(seconds=older_than_s)
        ended = 0
        with self._errors():
            listed = self._client.list_multipart_uploads(Bucket=self.bucket, Prefix=self._name(""))
            for upload in listed.get("Uploads", []):
                if upload["Initiated"] < limit:
                    self._client.abort_multipart_upload(
                        Bucket=self.bucket, Key=upload["Key"], UploadId=upload["UploadId"]
                    )
                    ended += 1
        return ended

    @contextmanager
    def _errors(self) -> Iterator[None]:
        """Say in words what is in the way."""
        try:
            yield
        except ClientError as error:
            code = _code(error)
            raise self._trouble(REASONS.get(code, f"it answered {code}")) from error
        except BotoCoreError as error:
            raise self._trouble(f"it does not answer ({type(error).__name__})") from error

    def _trouble(self, reason: str) -> StoreError:
        return cannot_take(self.name, f"s3://{self.bucket}/{self.prefix}", reason)


def _code(error: ClientError) -> str:
    return str(error.response.get("Error", {}).get("Code", ""))


class _Proving(io.RawIOBase):
    """A stream that refuses to end if its bytes are not those that were meant.

    The sender then never learns of an end, so that no object appears in the bucket.
    """

    def __init__(self, chunks: Iterable[bytes], sha256: str) -> None:
        super().__init__()
        self._chunks, self._sha256 = iter(chunks), sha256
        self._digest = hashlib.sha256()
        self._waiting = b""

    def readable(self) -> bool:
        """Return that it can be read."""
        return True

    def read(self, size: int | None = -1) -> bytes:
        """Return exactly `size` bytes, fewer only at the end."""
        parts, have = [self._waiting], len(self._waiting)
        while size is None or size < 0 or have < size:
            chunk = next(self._chunks, b"")
            if not chunk:
                if self._digest.hexdigest() != self._sha256:
                    raise NotTheSameError(f"the source of the copy of {self._sha256}")
                break
            self._digest.update(chunk)
            parts.append(chunk)
            have += len(chunk)
        data = b"".join(parts)
        if size is None or size < 0:
            size = have
        self._waiting = data[size:]
        return data[:size]
