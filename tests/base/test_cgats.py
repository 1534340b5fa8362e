"""CGATS.17 / ISO 28178 text: files written by hand from the standards' grammar, and any text."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jarvision.base.cgats import CgatsError, CgatsTable, read_cgats, write_cgats

# Keywords, comment, quoted strings, tabs: the layout of the standard's annex, in our own words.
BY_HAND = """\
CGATS.17
ORIGINATOR\t"a grower"
FILE_DESCRIPTOR "the ""second"" print, # not a comment"
CREATED "2026-03-01"   # the day of the measurement
KEYWORD "PAPER"
PAPER "matt, 120 g"
WEIGHTING_FUNCTION "ILLUMINANT, D50"
WEIGHTING_FUNCTION "OBSERVER, 2 degree"

NUMBER_OF_FIELDS 5
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME\tXYZ_X XYZ_Y XYZ_Z
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1\t"red swatch"\t18.5\t10.25  2.0e0
# between the sets
2 grey 20. +21.1 -.5
END_DATA
"""


def only(text: str) -> CgatsTable:
    (table,) = read_cgats(text)
    return table


def refused(text: str) -> CgatsError:
    with pytest.raises(CgatsError) as caught:
        read_cgats(text)
    return caught.value


def test_a_file_written_by_hand_is_read_as_the_grammar_says() -> None:
    table = only(BY_HAND)
    assert table.fields == ("SAMPLE_ID", "SAMPLE_NAME", "XYZ_X", "XYZ_Y", "XYZ_Z")
    assert table.column("SAMPLE_NAME") == ("red swatch", "grey")
    assert table.numbers("XYZ_X", "XYZ_Y", "XYZ_Z").tolist() == [
        [18.5, 10.25, 2.0],
        [20.0, 21.1, -0.5],
    ]
    assert table.lines == (16, 18)
    assert table.header["FILE_DESCRIPTOR"] == ('the "second" print, # not a comment',)
    assert table.header["CREATED"] == ("2026-03-01",)
    assert table.header["WEIGHTING_FUNCTION"] == ("ILLUMINANT, D50", "OBSERVER, 2 degree")
    assert table.header["PAPER"] == ("matt, 120 g",)


@pytest.mark.parametrize("end", ["\r\n", "\r", "\n"])
def test_every_line_end_is_a_line_end(end: str) -> None:
    table = only("\ufeff" + BY_HAND.replace("\n", end))
    assert table == only(BY_HAND)


def test_white_space_of_any_kind_parts_words() -> None:
    spread = "ISO28178\nBEGIN_DATA_FORMAT\nSAMPLE_ID\n\tLAB_L LAB_A\nLAB_B END_DATA_FORMAT\n"
    table = only(spread + "BEGIN_DATA 1 50\n0\n0 2 60 1\n\n1\nEND_DATA")
    assert table.fields == ("SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B")
    assert table.rows == (("1", "50", "0", "0"), ("2", "60", "1", "1"))


def test_a_quoted_word_is_never_a_keyword() -> None:
    text = BY_HAND.replace('"red swatch"', '"END_DATA"')
    assert only(text).column("SAMPLE_NAME") == ("END_DATA", "grey")


def test_a_file_may_hold_several_tables() -> None:
    first, second = read_cgats(BY_HAND + BY_HAND.replace("SAMPLE_NAME", "NAME"))
    assert "NAME" in second.fields
    assert first.rows == second.rows


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ("2 grey 20. +21.1 -.5", "2 grey 20. +21.1", 18, "4 values for 5 fields"),
        ("2 grey 20. +21.1 -.5", "2 light grey 20. +21.1 -.5", 18, "6 values for 5 fields"),
        ("NUMBER_OF_SETS 2", "NUMBER_OF_SETS 3", 19, "NUMBER_OF_SETS is 3 but 2"),
        ("NUMBER_OF_FIELDS 5", "NUMBER_OF_FIELDS 4", 13, "NUMBER_OF_FIELDS is 4 but 5"),
        ("END_DATA\n", "", 15, "never ended"),
        ("END_DATA_FORMAT\n", "", 14, "BEGIN_DATA before the end"),
        ("BEGIN_DATA_FORMAT\n", "", 12, "END_DATA_FORMAT without its beginning"),
        ('"red swatch"', '"red swatch', 16, "never closed"),
        ("XYZ_Z\n", "XYZ_Y\n", 12, "named twice"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(old: str, new: str, line: int, said: str) -> None:
    text = BY_HAND.replace(old, new, 1)
    assert text != BY_HAND
    error = refused(text)
    assert said in error.message
    assert error.line == line
    assert f"line {line}" in error.message


@pytest.mark.parametrize("text", ["", "CGATS.17\n", "hello", "\x00\x01", "# only a comment\n"])
def test_text_without_a_table_is_told(text: str) -> None:
    assert "no table" in refused(text).message


@pytest.mark.parametrize("value", ["12,5", "nan", "inf", "1_0", "0x10", "", "1e9999", "1e999", "-"])
def test_values_that_are_no_numbers_are_told_with_their_line(value: str) -> None:
    table = only(BY_HAND.replace("18.5", f'"{value}"'))
    with pytest.raises(CgatsError, match="line 16"):
        table.numbers("XYZ_X")


def test_a_decimal_comma_is_named() -> None:
    with pytest.raises(CgatsError, match="decimal point"):
        only(BY_HAND.replace("18.5", "18,5")).numbers("XYZ_X")


# --------------------------------------------------------------------------- any text
KEYWORDS = ("BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA", "NUMBER_OF_SETS")
PIECES = ('"', "#", "\n", "\t", "\r", "2", "1.5", "SAMPLE_ID", '"a b"', "\x85", "\u2028", "é")
WORDS = st.sampled_from((*KEYWORDS, *PIECES))


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(max_size=300), st.lists(WORDS, max_size=40).map(" ".join)))
def test_any_text_is_a_table_or_a_sentence(text: str) -> None:
    try:
        tables = read_cgats(text)
    except CgatsError as error:
        assert error.message
        return
    assert all(len(row) == len(table.fields) for table in tables for row in table.rows)


CELLS = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=12)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(CELLS, st.floats(-1e6, 1e6)), max_size=6),
    st.dictionaries(st.sampled_from(["ORIGINATOR", "PAPER", "CREATED"]), CELLS),
)
def test_what_is_written_is_read_again(
    rows: list[tuple[str, float]], header: dict[str, str]
) -> None:
    table = only(write_cgats(header, fields=("SAMPLE_ID", "XYZ_X"), rows=rows))
    assert table.column("SAMPLE_ID") == tuple(" ".join(name.split()) for name, _ in rows)
    written = table.numbers("XYZ_X")[:, 0] if rows else []
    assert list(written) == pytest.approx([number for _, number in rows], abs=5.001e-5)
    for keyword, value in header.items():
        assert table.header[keyword] == (" ".join(value.split()),)
