"""SHA-256 while receiving, and again from the disk."""

from __future__ import annotations

import errno
import hashlib
import io
import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from imaging_requests.imaging.files import fixity
from imaging_requests.imaging.files.fixity import (
    LengthMismatchError,
    hash_file,
    hash_stream,
    receive,
)

# FIPS 180-4 example values, NIST Cryptographic Standards and Guidelines, SHA-256.
PUBLISHED = {
    b"": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    b"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": (
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    ),
}


@pytest.mark.parametrize("content", PUBLISHED)
@pytest.mark.parametrize("step", [1, 7, 1024])
def test_the_published_values_come_out_however_the_stream_is_cut(content: bytes, step: int) -> None:
    chunks = [content[at : at + step] for at in range(0, len(content), step)]
    found = hash_stream(chunks)
    assert (found.sha256, found.size_bytes) == (PUBLISHED[content], len(content))


def test_what_is_received_is_what_was_sent_and_is_hashed_on_the_way(tmp_path: Path) -> None:
    content = os.urandom(3_000_001)
    chunks = (content[at : at + 100_000] for at in range(0, len(content), 100_000))
    found = receive(chunks, target=tmp_path / "a.tif", expected_bytes=len(content))
    assert (tmp_path / "a.tif").read_bytes() == content
    assert found.sha256 == hashlib.sha256(content).hexdigest()
    assert hash_file(tmp_path / "a.tif") == found
    assert hash_file(tmp_path / "a.tif", is_from_disk=True) == found


def test_file_and_folder_are_synced_before_the_digest_is_known(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[str] = []
    real = os.fsync

    def noting(descriptor: int) -> None:
        synced.append(os.readlink(f"/proc/self/fd/{descriptor}"))
        real(descriptor)

    monkeypatch.setattr(fixity.os, "fsync", noting)
    receive([b"abc"], target=tmp_path / "a.tif")
    assert synced == [str(tmp_path / "a.tif"), str(tmp_path)]


def test_an_existing_file_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "a.tif").write_bytes(b"master")
    with pytest.raises(FileExistsError):
        receive([b"other"], target=tmp_path / "a.tif")
    assert (tmp_path / "a.tif").read_bytes() == b"master"


def test_a_broken_transfer_keeps_nothing(tmp_path: Path) -> None:
    with pytest.raises(LengthMismatchError, match="10 bytes were announced, 3 arrived") as caught:
        receive([b"abc"], target=tmp_path / "a.tif", expected_bytes=10)
    assert "Send the file again" in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_a_sender_that_fails_keeps_nothing(tmp_path: Path) -> None:
    def broken() -> Iterator[bytes]:
        yield b"abc"
        raise ConnectionResetError

    with pytest.raises(ConnectionResetError):
        receive(broken(), target=tmp_path / "a.tif")
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_is_an_error_and_no_digest() -> None:
    with open("/dev/full", "wb", buffering=0) as full:
        with pytest.raises(OSError, match="No space") as caught:
            hash_stream([b"x" * 100_000], into=full)
        assert caught.value.errno == errno.ENOSPC


def test_a_half_written_chunk_is_an_error(tmp_path: Path) -> None:
    class Half(io.FileIO):
        def write(self, chunk: object) -> int:
            return super().write(bytes(chunk)[:1])  # type: ignore[call-overload]

    with Half(tmp_path / "a", "w") as half, pytest.raises(OSError, match="only 1 of 3 bytes"):
        hash_stream([b"abc"], into=half)


def test_memory_is_one_chunk(tmp_path: Path) -> None:
    """The generator counts how far it is ahead: nothing is collected."""
    held: list[int] = []

    def chunks() -> Iterator[bytes]:
        for number in range(50):
            held.append((tmp_path / "a.tif").stat().st_size)
            yield bytes([number]) * fixity.CHUNK_BYTES

    receive(chunks(), target=tmp_path / "a.tif")
    assert all(size >= (number - 1) * fixity.CHUNK_BYTES for number, size in enumerate(held))
