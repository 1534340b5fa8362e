"""How much a phone may send: sizes, numbers, and a bucket that lets through so many a minute."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final


@dataclass(frozen=True)
class ServeLimits:
    """What the server takes before it says no; common practice, no source.

    Attributes
    ----------
    photo_bytes
        A photo of 50 million pixels as HEIC or JPEG has 10 to 30 MB.
    form_bytes
        A form, or a jar's name.
    head_s
        How long a connection may take to bring the head of a request, s.
    chunk_s, body_s
        How long a phone may send nothing, and how long a whole photo may take, s.
    uploads_at_once
        Photos that are taken in at the same time.
    waiting_photos
        Photos that wait for their jar or to be read.
    rest_s
        After so long without a photo the shelf is kept as the last scoring, s.
    sessions
        Devices that are let in; the one that was seen least lately makes room.
    session_s, code_s
        How long a device is let in, and how long a code opens the door, s.
    """

    photo_bytes: int = 60_000_000
    form_bytes: int = 20_000
    head_s: float = 10.0
    chunk_s: float = 15.0
    body_s: float = 300.0
    uploads_at_once: int = 4
    waiting_photos: int = 200
    rest_s: float = 20.0
    sessions: int = 20
    session_s: float = 12 * 3600.0
    code_s: float = 15 * 60.0


SERVE_LIMITS: Final = ServeLimits()


@dataclass
class Bucket:
    """Lets ``most`` through at once, and then ``a_second`` more; not for several threads.

    Each key has a bucket of its own; the oldest are forgotten when there are too many.
    """

    most: float
    a_second: float
    clock: Callable[[], float] = time.monotonic
    keys: int = 1000
    _left: dict[str, tuple[float, float]] = field(default_factory=dict)

    def take(self, key: str) -> bool:
        """Take one; False when there is none left."""
        now = self.clock()
        left, since = self._left.pop(key, (self.most, now))
        left = min(self.most, left + (now - since) * self.a_second)
        while len(self._left) >= self.keys:
            del self._left[next(iter(self._left))]
        self._left[key] = (left - 1.0 if left >= 1.0 else left, now)
        return left >= 1.0
