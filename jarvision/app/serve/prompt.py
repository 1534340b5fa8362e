"""Connections whose request does not come are closed, so that silent ones cannot fill the server.

uvicorn shuts a connection that is quiet after an answer, but waits for a request's head for ever.
"""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

from jarvision.app.serve.limits import SERVE_LIMITS


class PromptProtocol(H11Protocol):
    """uvicorn's HTTP, which closes a connection that brings no whole head in ``head_s`` seconds."""

    head_s = SERVE_LIMITS.head_s
    _closing: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Begin to wait for a head."""
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Go on waiting, unless a request has begun by now."""
        super().data_received(data)
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._stop()
        super().connection_lost(exc)

    def _wait(self) -> None:
        if self.cycle is not None and not self.cycle.response_complete:
            self._stop()
        elif self._closing is None:  # more of the same head buys no more time
            self._closing = self.loop.call_later(self.head_s, self.transport.close)

    def _stop(self) -> None:
        if self._closing is not None:
            self._closing.cancel()
            self._closing = None
