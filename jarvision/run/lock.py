"""One run at a time in an output folder.

The lock is the operating system's: it ends with the process that holds it, however that ends, so
that no stale lock is ever in the way. The file itself means nothing and stays.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from jarvision.base.errors import NotWritableError
from jarvision.base.text import printable

LOCK_NAME: Final = "run.lock"
_POLL_S: Final = 0.2


@contextmanager
def only_run(out: Path, *, tell: Callable[[str], None]) -> Iterator[None]:
    """Hold the output folder; while another run holds it, say so once and wait.

    Raises
    ------
    NotWritableError
        The lock's file cannot be made.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(out / LOCK_NAME, thread_local=False)
    try:
        try:
            lock.acquire(timeout=0)
        except Timeout:
            tell(f"Another run is writing into {printable(str(out))}: waiting until it ends.")
            lock.acquire(poll_interval=_POLL_S)
    except OSError as error:
        raise NotWritableError(
            f"The output folder {printable(str(out))} cannot be locked ({error.strerror})",
            "Choose another folder with --out.",
        ) from error
    try:
        yield
    finally:
        lock.release()
