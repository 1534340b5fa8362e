"""Long sequences of records of which few are in memory: the others are packed, chunk by chunk."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import islice
from operator import index
from typing import Any, TypeVar, overload

Item = TypeVar("Item")


class LongSequence(Sequence[Item]):
    """A sequence that holds packed chunks, its first item and its last ones.

    What is read often, the newest days of a jar, costs nothing to read; a walk through all unpacks
    chunk by chunk and holds one. Equal to every sequence of equal items, tuples too.

    Parameters
    ----------
    chunks
        Packed items, ``size`` in each but the last.
    count
        Items in all.
    unpack
        Items of a chunk, in order.
    first, last
        The first item, and the newest ones in order: those that are held. Empty: none is.
    """

    __slots__ = ("_count", "_size", "_unpack", "chunks", "first", "last")
    __hash__ = None  # type: ignore[assignment]

    def __init__(
        self,
        chunks: Sequence[bytes],
        *,
        size: int,
        count: int,
        unpack: Callable[[bytes], Sequence[Item]],
        first: tuple[Item, ...] = (),
        last: tuple[Item, ...] = (),
    ) -> None:
        self.chunks, self.first, self.last = chunks, first, last
        self._count, self._size, self._unpack = count, size, unpack

    def __len__(self) -> int:
        return self._count

    def __iter__(self) -> Iterator[Item]:
        if len(self.last) == self._count:
            yield from self.last
            return
        for chunk in self.chunks:
            yield from self._unpack(chunk)

    def __reversed__(self) -> Iterator[Item]:
        yield from reversed(self.last)
        left = self._count - len(self.last)
        for number in reversed(range((left + self._size - 1) // self._size)):
            items = self._unpack(self.chunks[number])
            yield from reversed(items[: left - number * self._size])

    @overload
    def __getitem__(self, place: int) -> Item: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[Item, ...]: ...
    def __getitem__(self, place: int | slice) -> Item | tuple[Item, ...]:
        if isinstance(place, slice):
            return self._part(range(self._count)[place])
        number = range(self._count)[index(place)]  # raises IndexError in its own words
        if number == 0 and self.first:
            return self.first[0]
        held = self._count - len(self.last)
        if number >= held:
            return self.last[number - held]
        return self._unpack(self.chunks[number // self._size])[number % self._size]

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Sequence) or isinstance(other, str | bytes):
            return NotImplemented
        return len(other) == len(self) and all(a == b for a, b in zip(self, other, strict=True))

    def __repr__(self) -> str:
        return f"<LongSequence of {self._count}>"

    def __reduce__(self) -> tuple[Any, ...]:
        return tuple, (tuple(self),)  # whoever copies it elsewhere gets plain items

    def _part(self, places: range) -> tuple[Item, ...]:
        """Items at some places; of places in a row each chunk is unpacked once."""
        if not places:
            return ()
        held = self._count - len(self.last)
        if min(places) >= held:
            return tuple(self.last[place - held] for place in places)
        if places.step == 1:
            start = places.start // self._size
            every = (item for chunk in self.chunks[start:] for item in self._unpack(chunk))
            skipped = places.start - start * self._size
            return tuple(islice(every, skipped, skipped + len(places)))
        every_item = tuple(self)
        return tuple(every_item[place] for place in places)


def chunked(items: Iterable[Item], size: int) -> Iterator[list[Item]]:
    """Lists of ``size`` items each, the last one shorter."""
    every = iter(items)
    while chunk := list(islice(every, size)):
        yield chunk
