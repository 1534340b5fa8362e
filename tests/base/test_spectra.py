"""Spectra to XYZ, and card values that are given as spectra.

The surfaces are the 99 colour evaluation samples of CIE 224:2017: measured natural things, skin,
cloth, paints, plastics and prints, as ``colour-science`` carries them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

import colour
import numpy as np
import pytest
from colour.quality.cfi2017 import load_TCS_CIE2017
from hypothesis import given, settings
from hypothesis import strategies as st

from jarvision.base.colourspace import WHITE_D65, delta_e_2000, linear_to_lab, xyz_to_linear
from jarvision.base.errors import UsageError
from jarvision.base.spectra import Illuminant, reflectance_to_xyz
from jarvision.vision.calibration.value_files import read_card_values
from jarvision.vision.card.layout import load_layout

LAYOUT = load_layout()
OBSERVER = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
SAMPLES = load_TCS_CIE2017(colour.SpectralShape(380, 780, 5))
COUNT = len(LAYOUT.names)


def samples(start: float, end: float, step: float) -> tuple[np.ndarray, np.ndarray]:
    """Wavelengths and ``(99, n)`` reflectances as an instrument would give them."""
    nm = np.arange(start, end + step / 2, step)
    spline = colour.SpragueInterpolator
    return nm, np.array([spline(SAMPLES.wavelengths, row)(nm) for row in SAMPLES.values.T])


@cache
def astm_e308(light: str) -> np.ndarray:
    """XYZ of every sample, and last of the perfect white, by colour-science; white 1."""
    lamp = colour.SDS_ILLUMINANTS[light].copy().align(colour.SpectralShape(380, 780, 5))
    white = colour.SpectralDistribution(np.ones(81), SAMPLES.wavelengths)
    with colour.utilities.suppress_warnings(colour_runtime_warnings=True):
        rows = [
            colour.sd_to_XYZ(sample, OBSERVER, lamp, method="ASTM E308") / 100.0
            for sample in (*SAMPLES.to_sds(), white)
        ]
    return np.array(rows)


# --------------------------------------------------------------------------- the sums
@pytest.mark.parametrize("light", ["D50", "D65"])
@pytest.mark.parametrize(
    ("start", "end", "step", "tolerance"),
    [
        (380, 780, 5, 2e-4),  # D65 to four decimals, the observer to six
        (380, 730, 10, 2e-4),
        (400, 700, 10, 2.5e-4),
        (400, 700, 20, 2e-3),  # E308's own weights for 20 nm are off by 2.3e-3
        (380, 730, 10 / 3, 2e-4),
    ],
)
def test_xyz_is_that_of_astm_e308(
    light: Illuminant, start: float, end: float, step: float, tolerance: float
) -> None:
    """Against the fully measured spectra, summed by colour-science in steps of 1 nm."""
    nm, spectra = samples(start, end, step)
    expected = astm_e308(light)[:-1]
    assert np.abs(reflectance_to_xyz(nm, spectra, light=light) - expected).max() < tolerance


def test_the_perfect_white_has_the_white_point_of_its_light() -> None:
    """CIE 15:2018 table T.3 from memory: D50 0.9642 1 0.8251, D65 0.9504 1 1.0888."""
    nm = np.arange(380, 781, 5)
    for light, white in (("D50", (0.9642, 1.0, 0.8251)), ("D65", (0.9504, 1.0, 1.0888))):
        assert np.allclose(reflectance_to_xyz(nm, np.ones(81), light=light), white, atol=1e-4)


def test_wavelengths_that_cannot_be_used_are_an_error() -> None:
    for nm in ([], [400.0], np.arange(410, 701, 10), np.arange(400, 691, 10)):
        with pytest.raises(ValueError, match="at least 400 to 700 nm"):
            reflectance_to_xyz(nm, np.ones(len(nm)), light="D65")
    with pytest.raises(ValueError, match="25 nm after 400 nm"):
        reflectance_to_xyz(np.arange(400, 701, 25), np.ones(13), light="D65")
    with pytest.raises(ValueError, match="400 nm stands twice"):
        reflectance_to_xyz([380.0, 400.0, 400.0, 700.0], np.ones(4), light="D65")


# --------------------------------------------------------------------------- in a file
NM, MEASURED = samples(380, 730, 10)
CHOSEN = slice(0, 3 * COUNT, 3)
SWATCHES = MEASURED[CHOSEN]
EXPECTED = xyz_to_linear(astm_e308("D65")[CHOSEN] * (WHITE_D65 / astm_e308("D65")[-1]))


def wide(name: Callable[[int], str], *, white: float = 1.0, header: str = "") -> str:
    fields = " ".join(name(int(nm)) for nm in NM)
    rows = [
        f'"{word}" ' + " ".join(f"{white * value:.5f}" for value in row)
        for word, row in zip(LAYOUT.names, SWATCHES, strict=True)
    ]
    return text_of(f"SAMPLE_NAME {fields}", rows, header=header)


def text_of(fields: str, rows: Sequence[str], *, header: str = "") -> str:
    body = "\n".join(rows)
    return (
        f"CGATS.17\n{header}\nBEGIN_DATA_FORMAT\n{fields}\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{body}\nEND_DATA\n"
    )


def paired(*, down: bool, value: str = "SPECTRAL_DEC", white: float = 1.0) -> str:
    """Pairs of wavelength and reflectance: down the rows, or repeated over each row."""
    rows, times = [], 1 if down else len(NM)
    for word, row in zip(LAYOUT.names, SWATCHES, strict=True):
        pairs = [f"{nm:g} {white * v:.5f}" for nm, v in zip(NM[::-1], row[::-1], strict=True)]
        rows += [f'"{word}" {pair}' for pair in pairs] if down else [f'"{word}" ' + " ".join(pairs)]
    return text_of("SAMPLE_NAME" + f" SPECTRAL_NM {value}" * times, rows)


def linear(tmp_path: Path, text: str) -> np.ndarray:
    path = tmp_path / "m.txt"
    path.write_text(text)
    values = read_card_values(path).values
    assert values.reference == "measured"
    return values.linear


FORMS = {
    "SPECTRAL_NM380": wide(lambda nm: f"SPECTRAL_NM{nm}"),
    "SPECTRAL_NM_380": wide(lambda nm: f"SPECTRAL_NM_{nm}"),
    "SPECTRAL_380": wide(lambda nm: f"SPECTRAL_{nm}", white=100, header="SPECTRAL_NORM 100"),
    "SPECTRAL_PCT380": wide(lambda nm: f"SPECTRAL_PCT{nm}", white=100),
    "SPECTRAL_DEC_380": wide(lambda nm: f"SPECTRAL_DEC_{nm}"),
    "SPEC_380": wide(lambda nm: f"SPEC_{nm}", white=100),
    "nm380": wide(lambda nm: f"nm{nm}"),
    "380nm": wide(lambda nm: f"{nm}nm", header="ILLUMINANT D50\nOBSERVER 10"),
    "R_380": wide(lambda nm: f"R_{nm}"),
    "down the rows": paired(down=True),
    "down the rows, per cent": paired(down=True, value="SPECTRAL_PCT", white=100),
    "over the row": paired(down=False),
}


@pytest.mark.parametrize("text", FORMS.values(), ids=FORMS.keys())
def test_spectra_are_read_in_every_form(text: str, tmp_path: Path) -> None:
    off = delta_e_2000(linear_to_lab(linear(tmp_path, text)), linear_to_lab(EXPECTED))
    assert off.max() < 0.1
    assert np.median(off) < 0.02


def test_spectra_go_before_values_of_another_light(tmp_path: Path) -> None:
    """The spectrum says what the surface is under D65; adapting D50 values only guesses it."""
    xyz = 100 * astm_e308("D50")[CHOSEN]
    rows = [
        f'"{word}" ' + " ".join(f"{n:.5f}" for n in (*row, *spectrum))
        for word, row, spectrum in zip(LAYOUT.names, xyz, SWATCHES, strict=True)
    ]
    fields = "SAMPLE_NAME XYZ_X XYZ_Y XYZ_Z"
    short = [" ".join(row.split()[:4]) for row in rows]
    adapted = linear(tmp_path, text_of(fields, short))
    both = linear(tmp_path, text_of(f"{fields} " + " ".join(f"NM_{nm:g}" for nm in NM), rows))
    truth = linear_to_lab(EXPECTED)
    assert delta_e_2000(linear_to_lab(both), truth).max() < 0.1
    assert delta_e_2000(linear_to_lab(adapted), truth).max() > 1.0


def test_repeated_spectra_are_averaged(tmp_path: Path) -> None:
    lines = FORMS["down the rows"].splitlines()
    place = lines.index("BEGIN_DATA") + 1
    first = lines[place : place + len(NM)]
    again = "\n".join([*lines[:place], *first, *lines[place:]])
    assert np.allclose(linear(tmp_path, again), linear(tmp_path, FORMS["down the rows"]))


NARROW = text_of("SAMPLE_NAME NM_500 NM_510", [f'"{name}" 0.5 0.5' for name in LAYOUT.names])
PAIR = "SPECTRAL_NM SPECTRAL_DEC"
EMPTY = "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {}\nEND_DATA_FORMAT\nBEGIN_DATA\nEND_DATA\n"
PLAIN, DOWN = FORMS["SPECTRAL_NM380"], FORMS["down the rows"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (NARROW, "spectra of 500 to 510 nm: at least 400 to 700 nm"),
        (PLAIN.replace("SPECTRAL_NM500", "A").replace("SPECTRAL_NM510", "B"), "30 nm after 490"),
        (PLAIN.replace("SPECTRAL_NM500", "NM500").replace("SPECTRAL_NM510", "NM500.0"), "twice"),
        (PLAIN.replace("SPECTRAL_NM500", "SPECTRAL_PCT500").replace("NM510", "DEC510"), "per cent"),
        (PLAIN.replace("BEGIN_DATA\n", 'BEGIN_DATA\n"x"' + 36 * " -1" + "\n"), "-1 is no refl"),
        (PLAIN.replace("\nBEGIN_DATA_F", "SPECTRAL_NORM none\nBEGIN_DATA_F"), "neither 1 nor 100"),
        (DOWN.replace("SPECTRAL_DEC", "SPECTRAL_DEN"), "SPECTRAL_NM needs SPECTRAL_DEC"),
        (DOWN.replace("730 ", "725 ", 1), r"line \d+: other wavelengths"),
        (
            FORMS["over the row"].replace("SPECTRAL_DEC", "LAB_L", 1),
            "36 fields SPECTRAL_NM, but 35",
        ),
        *((EMPTY.format(fields), "the table is empty") for fields in ("NM1 NM400 NM700", PAIR)),
    ],
)
def test_what_is_wrong_with_spectra_is_told(text: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "m.txt"
    path.write_text(text)
    with pytest.raises(UsageError, match=said) as caught:
        read_card_values(path)
    assert caught.value.remedy


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([PLAIN, DOWN, FORMS["over the row"]]),
    st.floats(0.0, 1.0),
    st.integers(0, 12),
    st.sampled_from(["", "0", "-", "1e300", '"', " ", "SPECTRAL_NM", "NM400", "\n", "NaN"]),
)
def test_spoilt_spectra_give_values_or_a_sentence(
    tmp_path_factory: pytest.TempPathFactory, text: str, share: float, cut: int, put_in: str
) -> None:
    place = int(share * len(text))
    path = tmp_path_factory.getbasetemp() / "spoilt-spectra.txt"
    path.write_text(text[:place] + put_in + text[place + cut :])
    try:
        values = read_card_values(path).values
    except UsageError as error:
        assert error.message
        return
    assert np.isfinite(values.linear).all()
