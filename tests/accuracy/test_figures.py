"""The figures of merit against published examples and plain counting; what they are made of."""

from __future__ import annotations

from pathlib import Path
from unittest.mock import create_autospec

import numpy as np
import pytest

from jarvision.records import Coverage, TissueClass
from tests.accuracy.benchmark import WIDTH_PX, render_missing
from tests.accuracy.figures import Answer, Errors, by_kind, concordance, patch_rows
from tests.accuracy.matching import match_patches
from tests.scenes import bulk

# First readings of peak expiratory flow, l/min, by a Wright meter and a mini meter: Bland and
# Altman 1986, Lancet i:307-310, table 1 (from memory). They give r = 0.94; 0.943 is the concordance
# that Steichen and Cox 1998, Stata Technical Bulletin 43, give for them (from memory).
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_concordance_of_two_flow_meters() -> None:
    first, second = np.array(WRIGHT, float), np.array(MINI, float)
    assert np.corrcoef(first, second)[0, 1] == pytest.approx(0.94, abs=0.005)
    assert concordance(first, second) == pytest.approx(0.943, abs=0.0005)


def test_concordance_punishes_what_correlation_forgives() -> None:
    truth = np.linspace(0.0, 100.0, 11)
    assert concordance(truth, truth) == pytest.approx(1.0)
    assert concordance(truth, truth + 30.0) < 0.75
    assert concordance(truth, 0.5 * truth) < 0.75
    assert np.corrcoef(truth, 0.5 * truth)[0, 1] == pytest.approx(1.0)


def answer(true: float, said: float, *, kind: str = "rye", half: float = 2.0) -> Answer:
    cover = Coverage(said, said - half, said + half, said, 100.0)
    return Answer("x", "", true, true, coverage=cover, kinds=(kind,))


def test_errors_are_counted_over_the_photos_that_were_read() -> None:
    unread = Answer("y", "", 40.0, 40.0, reason="glare: too much")
    errors = Errors.of([answer(10, 11), answer(50, 47), answer(90, 90), unread])
    assert errors.count == 3
    assert errors.mean == pytest.approx(4 / 3)
    assert errors.bias == pytest.approx(-2 / 3)
    assert errors.worst == pytest.approx(3.0)
    assert errors.held_percent == pytest.approx(200 / 3)
    assert errors.width == pytest.approx(4.0)


def test_kinds_stand_worst_first_and_rare_ones_are_left_out() -> None:
    answers = [
        answer(50, 51),
        answer(50, 51),
        answer(50, 55, kind="rice"),
        answer(50, 55, kind="rice"),
    ]
    answers.append(answer(50, 80, kind="oat"))
    assert [kind for kind, _ in by_kind(answers, least=2)] == ["rice", "rye"]


def test_areas_are_found_or_false_by_kind_and_size() -> None:
    truth = np.full((200, 200), TissueClass.MYCELIUM, np.uint8)
    said = truth.copy()
    truth[10:60, 10:60] = said[12:62, 12:62] = TissueClass.BARE  # 2500 cells of 0.001 cm2
    truth[100:120, 100:120] = TissueClass.GREEN  # 0.4 cm2, called pink
    said[100:120, 100:120] = TissueClass.PINK
    truth[150:190, 10:50] = TissueClass.WET  # missed
    said[150:190, 150:190] = TissueClass.WET  # where none is
    counts = match_patches(truth, said, cell_cm2=0.001)
    rows = patch_rows([Answer("x", "", 0.0, 0.0, counts=counts)])
    assert set(rows) == {
        ("bare", "1 to 4 cm2", "1 of 1", "0 of 1"),
        ("green", "0.25 to 1 cm2", "0 of 1", "0 of 0"),
        ("pink", "0.25 to 1 cm2", "0 of 0", "1 of 1"),
        ("off-colour", "0.25 to 1 cm2", "1 of 1", "0 of 1"),
        ("wet", "1 to 4 cm2", "0 of 1", "1 of 1"),
    }


def test_what_is_missing_is_rendered_and_what_is_there_is_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rendering = create_autospec(bulk.render)
    monkeypatch.setattr(bulk, "render", rendering)
    render_missing("unseen", tmp_path, count=1)
    assert rendering.call_args.kwargs["effort"].width == WIDTH_PX
    (tmp_path / "S6000.jpg").touch()
    render_missing("unseen", tmp_path, count=1)
    rendering.assert_called_once()
