"""Ranges of names, as jars are labelled."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jarvision.base.errors import UsageError
from jarvision.register.name_ranges import LONGEST_RANGE, gathered, jars_meant


@pytest.mark.parametrize(
    ("given_names", "meant"),
    [
        (("K07",), "K07"),
        (("K08..K11",), "K08 K09 K10 K11"),
        (("K8..K11",), "K8 K9 K10 K11"),
        (("K08..11",), "K08 K09 K10 K11"),
        (("K098-K101",), "K098 K099 K100 K101"),
        (("7..9",), "7 8 9"),
        (("B2-1..B2-3",), "B2-1 B2-2 B2-3"),
        (("2026-1..2026-2", " A "), "2026-1 2026-2 A"),
        (("K1..K1",), "K1"),
        (("B2-3",), "B2-3"),
        (("A-1",), "A-1"),
        (("A1-B3",), "A1-B3"),
        (("A1..B3",), "A1..B3"),
        (("2026-03",), "2026-03"),
        (("K..L",), "K..L"),
        (("",), ""),
    ],
)
def test_a_range_is_spread_out_and_any_other_name_is_one_jar(
    given_names: tuple[str, ...], meant: str
) -> None:
    assert jars_meant(given_names) == tuple(meant.split(" "))


@pytest.mark.parametrize("wrong", ["K12..K08", f"K1..K{LONGEST_RANGE + 1}", "K1-K0"])
def test_a_range_that_falls_or_is_too_long_is_refused(wrong: str) -> None:
    with pytest.raises(UsageError, match="no range of jars"):
        jars_meant((wrong,))
    assert len(jars_meant((f"K1..K{LONGEST_RANGE}",))) == LONGEST_RANGE


def test_a_name_that_is_there_twice_is_refused() -> None:
    with pytest.raises(UsageError, match="'K2' is named twice"):
        jars_meant(("K1..K3", "K2"))


@given(st.lists(st.from_regex(r"[A-C]?0?[0-9]{1,2}|[a-z]{1,3}", fullmatch=True), unique=True))
def test_what_is_gathered_is_spread_out_again(names: list[str]) -> None:
    assert list(jars_meant(gathered(names))) == names


def test_names_in_a_row_are_told_as_a_range() -> None:
    assert list(gathered(["K08", "K09", "K10", "K12", "S1", "S2", "x"])) == [
        "K08..K10", "K12", "S1", "S2", "x",
    ]  # fmt: skip
    assert list(gathered([])) == []
