"""Records for the page that are made one by one, as its template comes to them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

Made = TypeVar("Made")


@dataclass(frozen=True)
class Each(Generic[Made]):
    """What ``make`` makes of each thing, anew whenever it is read: nothing made is held.

    A jar's pictures take some hundred kilobytes in the page; a thousand jars would fill the memory.
    """

    things: Sequence[Any]
    make: Callable[[Any], Made]

    def __len__(self) -> int:
        return len(self.things)

    def __iter__(self) -> Iterator[Made]:
        return map(self.make, self.things)
