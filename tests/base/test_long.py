"""A long sequence reads as the tuple of its items does, whatever of it is packed."""

from __future__ import annotations

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jarvision.base.long import LongSequence, chunked


class Unpacker:
    """Unpacks chunks and counts them."""

    def __init__(self) -> None:
        self.asked = 0

    def __call__(self, chunk: bytes) -> tuple[int, ...]:
        self.asked += 1
        return tuple(chunk)


def long(items: list[int], size: int, held: int, unpack: Unpacker) -> LongSequence[int]:
    return LongSequence(
        [bytes(chunk) for chunk in chunked(items, size)],
        size=size,
        count=len(items),
        unpack=unpack,
        first=tuple(items[:1]) if held else (),
        last=tuple(items[-held:]) if held else (),
    )


@given(
    items=st.lists(st.integers(0, 255), max_size=40),
    size=st.integers(1, 12),
    held=st.integers(0, 9),
    part=st.slices(45),
)
def test_it_reads_as_a_tuple(items: list[int], size: int, held: int, part: slice) -> None:
    wanted, found = tuple(items), long(items, size, held, Unpacker())
    assert len(found) == len(wanted) and bool(found) == bool(wanted)
    assert tuple(found) == wanted
    assert found == wanted and wanted == found
    assert found == long(items, size + 1, 0, Unpacker())
    assert tuple(reversed(found)) == wanted[::-1]
    assert found[part] == wanted[part]
    assert [found[n] for n in range(-len(items), len(items))] == [*wanted, *wanted]
    assert pickle.loads(pickle.dumps(found)) == wanted
    assert found != (*wanted, 0) and found != str(items)


def test_a_place_that_is_not_there_is_an_error() -> None:
    for place in (3, -4):
        with pytest.raises(IndexError):
            long([1, 2, 3], 2, 1, Unpacker())[place]


def test_the_newest_and_the_first_are_read_without_unpacking() -> None:
    unpack = Unpacker()
    found = long(list(range(100)), 10, 9, unpack)
    assert (found[0], found[-1], found[-9:]) == (0, 99, tuple(range(91, 100)))
    assert next(iter(reversed(found))) == 99
    assert unpack.asked == 0
    assert found[5] == 5 and unpack.asked == 1
