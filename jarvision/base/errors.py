"""Exceptions that a user can meet: each knows its exit code and says what to do next."""

from __future__ import annotations

from enum import IntEnum


class ExitCode(IntEnum):
    """What the ``jarvision`` command returns to the shell."""

    DONE = 0
    UNEXPECTED = 1
    BAD_USAGE = 2
    NOTHING_TO_SCORE = 3
    SOME_UNUSABLE = 4
    NOT_WRITABLE = 5
    FOLDER_LOST = 6
    STOPPED = 130
    PIPE_CLOSED = 141


class JarvisionError(Exception):
    """An error told to the user as one sentence, followed by the next step.

    Parameters
    ----------
    message
        What went wrong, one sentence without a final stop.
    remedy
        What the user can do about it, one sentence.
    """

    exit_code: ExitCode = ExitCode.UNEXPECTED

    def __init__(self, message: str, remedy: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.message}. {self.remedy}".rstrip(". ") + "." if self.remedy else self.message


class UsageError(JarvisionError):
    """A wrong option, register line or setting."""

    exit_code = ExitCode.BAD_USAGE


class RegisterError(UsageError):
    """A jar register (``jars.csv``) that cannot be read as it stands."""


class SettingsError(UsageError):
    """A settings file, or a species profile of the grower's own, that is wrong as it stands."""


class WorkersError(JarvisionError):
    """Worker processes that cannot be started."""


class NothingToScoreError(JarvisionError):
    """A folder that holds no photo."""

    exit_code = ExitCode.NOTHING_TO_SCORE


class FolderLostError(JarvisionError):
    """A folder of photos that went away while it was read; nothing was published."""

    exit_code = ExitCode.FOLDER_LOST


class NotWritableError(JarvisionError):
    """An output folder that cannot be written."""

    exit_code = ExitCode.NOT_WRITABLE


class StoppedError(JarvisionError):
    """The user ended a run; what it has read is kept."""

    exit_code = ExitCode.STOPPED


class PhotoRefusedError(JarvisionError):
    """A photo that gives no reading.

    ``reason`` is a word of :data:`jarvision.records.photo_reasons.PHOTO_REASONS`. Raised by the
    stages between photo and reading, caught in :mod:`jarvision.vision.read`, which turns it into a
    reading with ``status = unusable``. It never reaches the user as an exception.
    """

    def __init__(self, reason: str, detail: str = "") -> None:
        super().__init__(detail or reason)
        self.reason = reason
        self.detail = detail
