"""``jarvision calibrate``: from photos of a printed card to the dated file that scoring reads."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from card_photos import drawn_card, shoot
from PIL import Image
from typer.testing import CliRunner

from jarvision.app.cli import main
from jarvision.base.colourspace import delta_e_2000
from jarvision.base.errors import ExitCode, UsageError
from jarvision.vision.calibration.value_files import load_card_values
from jarvision.vision.card.layout import load_layout

LAYOUT = load_layout()


@pytest.fixture(scope="module")
def card() -> np.ndarray:
    return drawn_card()


def calibrate(*args: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(main.app, ["calibrate", *map(str, args)])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


def test_a_good_print_gives_values_near_the_design(card: np.ndarray, tmp_path: Path) -> None:
    photos = [
        shoot(card, tmp_path / "a.jpg", warm=1.15, day=1),
        shoot(card, tmp_path / "b.jpg", warm=0.95, day=2),
    ]
    code, text, talk = calibrate(*photos, "--out", tmp_path, "--bar-mm", 99.5)
    values = load_card_values(tmp_path)
    assert code == ExitCode.DONE
    assert text.strip() == str(tmp_path / "calibration" / "as-printed-2026-03-02.txt")
    assert (values.reference, values.print_scale) == ("as-printed", 0.995)
    # nothing is wrong with this print: light and exposure must have been taken out
    assert np.median(delta_e_2000(values.lab, LAYOUT.nominal_lab)) < 0.5
    assert "2 photos" in talk
    told = " ".join(talk.split())
    assert "The inks are good: cyan" in told
    assert "What is known of the card's colours is good" in told


def test_a_weak_print_is_seen_in_its_colours(card: np.ndarray, tmp_path: Path) -> None:
    """Yellow ink at 70 % of its density: the greys turn blue, yellow turns pale."""
    photo = shoot(card, tmp_path / "a.jpg", ink=np.array([1.0, 1.0, 0.7]), warm=1.1)
    code, _, talk = calibrate(photo, "--out", tmp_path, "--bar-mm", 100)
    off = load_card_values(tmp_path).lab - LAYOUT.nominal_lab
    assert code == ExitCode.DONE
    assert off[LAYOUT.names.index("yellow"), 2] < -5
    assert off[LAYOUT.names.index("grey-50-left"), 2] < -3
    assert "better than one" in talk
    assert "The inks are fair: cyan" in " ".join(talk.split())


@pytest.mark.parametrize(("channel", "ink"), [(0, "cyan"), (1, "magenta"), (2, "yellow")])
def test_an_empty_ink_stops_with_a_sentence(
    channel: int, ink: str, card: np.ndarray, tmp_path: Path
) -> None:
    powers = np.ones(3)
    powers[channel] = 0.1
    photo = shoot(card, tmp_path / "a.jpg", ink=powers)
    with pytest.raises(UsageError, match=f"run out of {ink}") as caught:
        calibrate(photo, "--out", tmp_path, "--bar-mm", 100)
    assert main.tell(caught.value) == ExitCode.BAD_USAGE
    assert not (tmp_path / "calibration").exists()


def test_a_print_of_the_wrong_size_is_refused_before_any_photo_is_read(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="measures 97 mm") as caught:
        calibrate(tmp_path / "none.jpg", "--out", tmp_path, "--bar-mm", 97)
    assert "100 %" in caught.value.remedy


def test_the_ruler_is_asked_for(tmp_path: Path) -> None:
    code, _, talk = calibrate(tmp_path / "a.jpg", "--out", tmp_path)
    assert code == ExitCode.BAD_USAGE
    assert "--bar-mm" in talk


def test_photos_that_do_not_show_the_card_are_left_out(card: np.ndarray, tmp_path: Path) -> None:
    good = shoot(card, tmp_path / "a.jpg")
    blank = tmp_path / "blank.jpg"
    Image.new("RGB", (800, 600), (90, 90, 90)).save(blank)
    code, _, talk = calibrate(blank, good, "--out", tmp_path, "--bar-mm", 100)
    assert code == ExitCode.DONE
    assert "blank.jpg left out" in talk
    with pytest.raises(Exception, match="None of the photos") as caught:
        calibrate(blank, "--out", tmp_path, "--bar-mm", 100)
    assert main.tell(caught.value) == ExitCode.NOTHING_TO_SCORE


def test_a_photo_with_a_jar_before_the_card_is_refused(card: np.ndarray, tmp_path: Path) -> None:
    good = shoot(card, tmp_path / "a.jpg")
    jar = tmp_path / "jar.jpg"
    with Image.open(good) as opened:
        picture, exif = np.array(opened), opened.getexif()
    rows, cols = picture.shape[:2]
    box = (slice(int(0.35 * rows), int(0.75 * rows)), slice(int(0.4 * cols), int(0.6 * cols)))
    picture[box] = (150, 120, 80)
    Image.fromarray(picture).save(jar, exif=exif)
    code, _, talk = calibrate(jar, good, "--out", tmp_path, "--bar-mm", 100)
    assert code == ExitCode.DONE
    assert "jar.jpg left out: something hides" in talk
    assert "To undo that, delete the file." in talk
    with pytest.raises(Exception, match="no jar may stand before it"):
        calibrate(jar, "--out", tmp_path / "other", "--bar-mm", 100)
    assert not (tmp_path / "other").exists()


@pytest.mark.slow
def test_every_sample_photo_of_a_jar_is_refused(tmp_path: Path) -> None:
    photos = sorted((Path(__file__).parents[3] / "sample_images").glob("SL0?_2026-03-0[29].jpg"))
    assert len(photos) == 16
    with pytest.raises(Exception, match="None of the photos"):
        calibrate(*photos, "--out", tmp_path, "--bar-mm", 100)


def test_the_help_has_an_example() -> None:
    result = CliRunner().invoke(main.app, ["calibrate", "--help"])
    assert "Example: jarvision calibrate" in " ".join(result.stdout.split())
