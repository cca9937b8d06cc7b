"""Send files with the protocol's own Python client (tuspy), through cuts, until they are there."""

from __future__ import annotations

import io
import time
from dataclasses import dataclass, field

import requests
from tusclient.client import TusClient
from tusclient.exceptions import TusCommunicationError, TusUploadFailed
from tusclient.uploader import Uploader

TROUBLE = (TusCommunicationError, TusUploadFailed, requests.RequestException)
PAUSE_S = 0.2


@dataclass
class Sending:
    """One file on its way; it goes on from what the server has, however often it is cut."""

    client: TusClient
    name: str
    data: bytes
    drop: int
    chunk_bytes: int = 1 << 20
    url: str = ""
    cuts: int = 0
    offsets: list[int] = field(default_factory=list)

    def uploader(self) -> Uploader:
        """Return the client's uploader, on the address that the file has already."""
        return self.client.uploader(
            file_stream=io.BytesIO(self.data),
            metadata={"filename": self.name, "drop": str(self.drop)},
            chunk_size=self.chunk_bytes,
            url=self.url or None,
        )

    def send(self, *, seconds: float = 120) -> None:
        """Send until everything is there; raise `TimeoutError` if that takes too long."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            try:
                uploader = self.uploader()
                if not self.url:
                    self.url = uploader.create_url()
                    uploader.set_url(self.url)
                uploader.offset = uploader.get_offset()
                self.offsets.append(uploader.offset)
                uploader.upload()
            except TROUBLE:
                self.cuts += 1
                time.sleep(PAUSE_S)
            else:
                return
        raise TimeoutError(f"{self.name} was not received within {seconds} s")
