"""The table of how well photos from above are read, from rows made by hand."""

from tests.accuracy.tops import NEVER_SEEN, Row, report

GOOD = Row(1, "oat", None, coverage=(50.0, 53.0, 45.0, 61.0), moisture=("dry", "dry", 0.9))
STRANGE = Row(2, NEVER_SEEN[0], None, coverage=(50.0, 40.0, 35.0, 45.0), pins=(4, 3, 5, 1))


def test_contents_never_seen_come_first_and_alone():
    never, everything = report([GOOD, STRANGE]).split("-- all")
    assert "1 photos" in never and "mean error 10.00" in never
    assert "mean error 6.50" in everything and "interval holds 1 of 2" in everything
    assert "found 3 of 4 (75%), false 1 of 5 (20%)" in everything


def test_a_bad_photo_needs_the_fitting_reason():
    dark = Row(3, "oat", "dark", reason="underexposed")
    unfit = Row(4, "oat", "dark", reason="no_ring")
    read = Row(5, "oat", "glare")
    told = report([GOOD, dark, unfit, read])
    assert "bad ones refused: 2 of 3" in told
    assert "with a fitting reason: 1 of 3" in told


def test_a_good_photo_refused_is_named():
    assert "good ones refused: 1 of 2" in report([GOOD, Row(6, "oat", None, reason="glare")])
