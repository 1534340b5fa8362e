"""Who is let in: codes that open the door once, sessions, and the token that each change needs.

All of it is held in memory: when the server ends, every door is shut. Secrets are kept as digests
and compared in constant time.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from jarvision.app.serve.limits import SERVE_LIMITS, ServeLimits

_LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that is taken for another
_CODE_LETTERS: Final = 12  # 60 bits; ten tries a minute do not get through them


@dataclass
class Session:
    """One device that was let in.

    Attributes
    ----------
    token
        What each change must bring along (CSRF); another site's page cannot know it.
    notes
        What the next page that it opens tells it, once.
    """

    token: str
    seen_s: float
    notes: list[str] = field(default_factory=list)


@dataclass
class Doors:
    """Codes and sessions; every method is called from the server's one event loop."""

    limits: ServeLimits = SERVE_LIMITS
    clock: Callable[[], float] = time.monotonic
    _codes: dict[str, float] = field(default_factory=dict)
    _sessions: dict[str, Session] = field(default_factory=dict)

    def new_code(self) -> str:
        """A code that lets one device in, for a while; of several the newest few count."""
        code = "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LETTERS))
        self._codes[_digest(code)] = self.clock()
        while len(self._codes) > self.limits.sessions:
            del self._codes[next(iter(self._codes))]
        return code

    def enter(self, code: str) -> str | None:
        """Use a code up; the secret of a new session, None for a code that opens nothing."""
        digest, now = _digest(code.strip().upper()), self.clock()
        held = next((known for known in self._codes if hmac.compare_digest(known, digest)), None)
        if held is None or now - self._codes.pop(held) > self.limits.code_s:
            return None
        while len(self._sessions) >= self.limits.sessions:
            least = min(self._sessions, key=lambda known: self._sessions[known].seen_s)
            del self._sessions[least]
        secret = secrets.token_urlsafe(32)
        self._sessions[_digest(secret)] = Session(secrets.token_urlsafe(32), now)
        return secret

    def session(self, secret: str) -> Session | None:
        """The session of a cookie; None when there is none, or it has not been used for long."""
        digest, now = _digest(secret), self.clock()
        found = self._sessions.get(digest)
        if found is None:
            return None
        if now - found.seen_s > self.limits.session_s:
            del self._sessions[digest]
            return None
        found.seen_s = now
        return found

    def leave(self, secret: str) -> None:
        """Forget a session."""
        self._sessions.pop(_digest(secret), None)


def is_token(session: Session, told: str) -> bool:
    """Whether a change brings the session's token."""
    return hmac.compare_digest(session.token.encode(), told.encode("utf-8", "replace"))


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()
