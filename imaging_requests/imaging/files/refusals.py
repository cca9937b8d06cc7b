"""Why a file cannot be read, as a code for programs and a sentence for people."""

from dataclasses import dataclass
from enum import StrEnum


class Reason(StrEnum):
    """Stable codes; the sentence beside a code may change, the code does not."""

    NOT_A_FILE = "not_a_file"
    EMPTY = "empty"
    TEXT = "text"
    UNKNOWN_FORMAT = "unknown_format"
    OTHER_FORMAT = "other_format"
    CAMERA_RAW = "camera_raw"
    TRUNCATED = "truncated"
    DAMAGED = "damaged"
    UNSUPPORTED = "unsupported"
    TOO_MANY_PIXELS = "too_many_pixels"
    EXPANDS_TOO_FAR = "expands_too_far"


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A file that gives no picture: the reason, the sentence, and the decoder's own words.

    ``sentence`` says what happened, why, and what to do next. ``detail`` is for the log.

    >>> Unreadable(Reason.EMPTY, "The file is empty.").as_data()
    {'reason': 'empty', 'sentence': 'The file is empty.', 'detail': ''}
    """

    reason: Reason
    sentence: str
    detail: str = ""

    def as_data(self) -> dict[str, str]:
        """Return the refusal as plain values that fit into JSON."""
        return {"reason": self.reason.value, "sentence": self.sentence, "detail": self.detail}

    @classmethod
    def from_data(cls, data: dict[str, str]) -> "Unreadable":
        """Rebuild a refusal from ``as_data``."""
        return cls(Reason(data["reason"]), data["sentence"], data.get("detail", ""))


class HeaderError(Exception):
    """A header that breaks the rules of its format; carries the refusal that it leads to."""

    def __init__(self, reason: Reason, sentence: str, detail: str = "") -> None:
        super().__init__(sentence)
        self.refusal = Unreadable(reason, sentence, detail)


def cut_short(shortfall: str) -> Unreadable:
    """Return the refusal for a file whose header announces more than the file holds."""
    return Unreadable(
        Reason.TRUNCATED,
        f"The file is cut short: {shortfall}. It probably broke off while being copied. Copy it "
        "again from the card before the card is formatted.",
    )


def truncated(what_is_missing: str, *, actual_bytes: int) -> HeaderError:
    """Return the error for a file that ends before its own header says it should."""
    refusal = cut_short(f"{what_is_missing}, but the file ends after {actual_bytes:,} bytes")
    return HeaderError(refusal.reason, refusal.sentence)


def damaged(what_is_wrong: str) -> HeaderError:
    """Return the error for a header that contradicts itself."""
    return HeaderError(
        Reason.DAMAGED,
        f"The file is damaged: {what_is_wrong}. Copy it again from the card, or export it again.",
    )
