"""What a report is made of, part by part: made anew, or taken as an earlier run has made it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, TypeVar

_Record = TypeVar("_Record")


class Parts(Protocol):
    """Takes pure functions; what they return may be kept from run to run.

    A part belongs to a jar. It is made anew when the jar's story was told anew, when the code of
    the package is another, or when ``made_of`` differs: all else that ``make`` looks at must be in
    it, each thing with a ``repr`` that tells its value.
    """

    def text(
        self, kind: str, jar: str, made_of: tuple[object, ...], make: Callable[[], str]
    ) -> str:
        """Text, such as a chart or a piece of a page."""

    def record(
        self,
        kind: str,
        jar: str,
        made_of: tuple[object, ...],
        make: Callable[[], _Record],
        *,
        like: type[_Record],
    ) -> _Record:
        """A frozen dataclass of plain values, tuples and other such dataclasses."""


class MadeAnew:
    """Keeps nothing."""

    def text(
        self, kind: str, jar: str, made_of: tuple[object, ...], make: Callable[[], str]
    ) -> str:
        """Text, made now."""
        return make()

    def record(
        self,
        kind: str,
        jar: str,
        made_of: tuple[object, ...],
        make: Callable[[], _Record],
        *,
        like: type[_Record],
    ) -> _Record:
        """A record, made now."""
        return make()
