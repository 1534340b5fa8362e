"""The card's own values: measured files, estimates from photos, missing inks, print scale."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from printed_cards import BLACK, photograph, print_card

from jarvision.base.colourspace import delta_e_2000, linear_to_lab, linear_to_xyz
from jarvision.base.errors import JarvisionError, NotWritableError, UsageError
from jarvision.vision.calibration.as_printed import estimate_print, light_slope
from jarvision.vision.calibration.calibrate import print_scale
from jarvision.vision.calibration.inks import INKS, check_inks, measure_inks
from jarvision.vision.calibration.value_files import (
    load_card_values,
    read_card_values,
    write_as_printed,
)
from jarvision.vision.calibration.values import CardValues, nominal_values, scale_layout
from jarvision.vision.card.layout import CardLayout, load_layout

LAYOUT = load_layout()
OBSERVER = "CIE 1931 2 Degree Standard Observer"
D50 = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS[OBSERVER]["D50"])
D65 = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS[OBSERVER]["D65"])


def table(
    numbers: np.ndarray,
    fields: str,
    *,
    names: tuple[str, ...] = LAYOUT.names,
    header: str = "",
    id_field: str = "SAMPLE_ID",
) -> str:
    rows = "\n".join(
        f'"{name}" ' + " ".join(f"{number:.5f}" for number in row)
        for name, row in zip(names, numbers, strict=True)
    )
    return (
        f"CGATS.17\n{header}\nBEGIN_DATA_FORMAT\n{id_field} {fields}\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{rows}\nEND_DATA\n"
    )


def put(folder: Path, name: str, text: str) -> Path:
    path = folder / "calibration" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(text)
    return path


def true_linear() -> np.ndarray:
    """A print that is not the design."""
    return print_card(LAYOUT, 1).swatches


XYZ_D65 = table(linear_to_xyz(true_linear()) * 100, "XYZ_X XYZ_Y XYZ_Z", header="ILLUMINANT D65")


# --------------------------------------------------------------------------- measured files
def test_measured_xyz_under_d65_are_taken_as_they_are(tmp_path: Path) -> None:
    values = read_card_values(put(tmp_path, "m.txt", XYZ_D65)).values
    assert values.reference == "measured"
    assert values.source == "m.txt"
    assert np.allclose(values.linear, true_linear(), atol=1e-6)


def test_measured_d50_values_are_adapted_as_colour_science_does(tmp_path: Path) -> None:
    """XYZ and CIELAB under D50, both by colour-science, Bradford between the whites."""
    xyz = linear_to_xyz(true_linear())
    d50 = colour.adaptation.chromatic_adaptation_VonKries(xyz, D65, D50, transform="Bradford")
    lab = colour.XYZ_to_Lab(d50, colour.CCS_ILLUMINANTS[OBSERVER]["D50"])
    for numbers, fields in ((d50 * 100, "XYZ_X XYZ_Y XYZ_Z"), (lab, "LAB_L LAB_A LAB_B")):
        values = read_card_values(put(tmp_path, "m.txt", table(numbers, fields))).values
        off = delta_e_2000(values.lab, linear_to_lab(true_linear()))
        assert off.max() < 0.03  # D50 to four digits in one place, five in the other


def test_cielab_under_d65_comes_back(tmp_path: Path) -> None:
    header = 'WEIGHTING_FUNCTION "ILLUMINANT,D65"\nWEIGHTING_FUNCTION "OBSERVER,2degree"'
    text = table(linear_to_lab(true_linear()), "LAB_L LAB_A LAB_B", header=header)
    assert np.allclose(
        read_card_values(put(tmp_path, "m.txt", text)).values.linear, true_linear(), atol=1e-5
    )


def test_swatches_are_known_by_name_or_number_in_any_order(tmp_path: Path) -> None:
    lab = LAYOUT.nominal_lab
    order = np.random.default_rng(1).permutation(len(lab))
    names = tuple(LAYOUT.names[index].upper() for index in order)
    numbers = tuple(str(index + 1) for index in order)
    for words, field in ((names, "SAMPLE_NAME"), (names, "SAMPLE_ID"), (numbers, "SAMPLE_ID")):
        text = table(
            lab[order], "LAB_L LAB_A LAB_B", names=words, header="ILLUMINANT D65", id_field=field
        )
        values = read_card_values(put(tmp_path, "m.txt", text)).values
        assert np.allclose(values.lab, lab, atol=1e-3)


def test_readings_of_one_swatch_are_averaged_unless_they_disagree(tmp_path: Path) -> None:
    xyz = linear_to_xyz(true_linear()) * 100
    near, far = xyz[:1] * 1.02, xyz[1:2]
    names = (*LAYOUT.names, LAYOUT.names[0])
    fields, header = "XYZ_X XYZ_Y XYZ_Z", "ILLUMINANT D65"
    text = table(np.vstack([xyz, near]), fields, names=names, header=header)
    values = read_card_values(put(tmp_path, "m.txt", text)).values
    assert np.allclose(values.linear[0], true_linear()[0] * 1.01, atol=1e-5)
    text = table(np.vstack([xyz, far]), fields, names=names, header=header)
    with pytest.raises(UsageError, match="disagree"):
        read_card_values(put(tmp_path, "m.txt", text))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("ILLUMINANT D65", 'OBSERVER "10 degree"', "10 degree"),
        ("ILLUMINANT D65", "ILLUMINANT D65\nNOTE D50", "both D50 and D65"),
        ('"cream"', '"cram"', "no values for cream"),
        ("XYZ_X XYZ_Y XYZ_Z", "RGB_R RGB_G RGB_B", "no XYZ_X"),
        ("XYZ_X XYZ_Y XYZ_Z", "SPECTRAL_400 SPECTRAL_410 SPECTRAL_420", "spectra of 400 to 420"),
        ("ILLUMINANT D65", "CARD_VERSION 0", "card version 0"),
        ("ILLUMINANT D65", "PRINT_SCALE big", "PRINT_SCALE is 'big'"),
        ("ILLUMINANT D65", "PRINT_SCALE -1", "PRINT_SCALE is -1"),
        ("END_DATA\n", "", "never ended"),
    ],
)
def test_what_is_wrong_with_a_file_is_told_with_its_name(
    old: str, new: str, said: str, tmp_path: Path
) -> None:
    assert old in XYZ_D65
    path = put(tmp_path, "m.txt", new.join(XYZ_D65.rsplit(old, 1)))
    with pytest.raises(UsageError, match=said) as caught:
        load_card_values(tmp_path)
    assert str(path) in caught.value.message
    assert caught.value.remedy


def test_values_of_another_scale_are_told(tmp_path: Path) -> None:
    text = table(linear_to_xyz(true_linear()), "XYZ_X XYZ_Y XYZ_Z")
    with pytest.raises(UsageError, match="0 to 100"):
        read_card_values(put(tmp_path, "m.txt", text))
    text = table(linear_to_xyz(true_linear()) * 1e4, "XYZ_X XYZ_Y XYZ_Z")
    with pytest.raises(UsageError, match=r"line \d+: .* no colour value"):
        read_card_values(put(tmp_path, "m.txt", text))


@settings(max_examples=150, deadline=None)
@given(
    st.integers(0, len(XYZ_D65) - 1),
    st.integers(0, 12),
    st.text(max_size=8),
)
def test_a_spoilt_file_gives_values_or_a_sentence(
    tmp_path_factory: pytest.TempPathFactory, place: int, cut: int, put_in: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "spoilt.txt"
    text = XYZ_D65[:place] + put_in + XYZ_D65[place + cut :]
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        values = read_card_values(path).values
    except JarvisionError as error:
        assert isinstance(error, UsageError)
        return
    assert np.isfinite(values.linear).all()


# --------------------------------------------------------------------------- which values
def test_without_files_the_nominal_values_are_used(tmp_path: Path) -> None:
    for _ in range(2):
        values = load_card_values(tmp_path)
        assert values.reference == "nominal"
        assert np.array_equal(values.linear, LAYOUT.nominal_linear)
        (tmp_path / "calibration").mkdir(exist_ok=True)
        (tmp_path / "calibration" / "card.jpg").write_bytes(b"x")


def test_measured_comes_before_newest_as_printed_before_nominal(tmp_path: Path) -> None:
    base = replace(nominal_values(), reference="as-printed", expected_de00=3.2)
    for day, share in ((date(2026, 3, 1), 0.9), (date(2026, 5, 1), 0.8), (date(2026, 4, 1), 0.7)):
        write_as_printed(tmp_path, replace(base, linear=base.linear * share), day=day)
    values = load_card_values(tmp_path)
    assert (values.reference, values.source) == ("as-printed", "as-printed-2026-05-01.txt")
    assert np.allclose(values.linear, base.linear * 0.8, atol=1e-5)
    put(
        tmp_path,
        "measured.txt",
        XYZ_D65.replace("ILLUMINANT D65", "CREATED 2020-01-01\nILLUMINANT D65"),
    )
    values = load_card_values(tmp_path)
    assert (values.reference, values.source) == ("measured", "measured.txt")
    assert values.expected_de00 < nominal_values().expected_de00


def test_what_calibrate_writes_is_read_again(tmp_path: Path) -> None:
    wrote = CardValues(true_linear(), "as-printed", 3.27, "as-printed-2026-03-01.txt", 0.995)
    path = write_as_printed(tmp_path, wrote, day=date(2026, 3, 1))
    read = load_card_values(tmp_path)
    assert path == tmp_path / "calibration" / "as-printed-2026-03-01.txt"
    assert path.read_text(encoding="ascii").startswith("CGATS.17\n")
    assert replace(read, linear=wrote.linear) == wrote
    assert np.allclose(read.linear, wrote.linear, atol=2e-6)


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(NotWritableError):
        write_as_printed(tmp_path / "file", nominal_values(), day=date(2026, 3, 1))


# --------------------------------------------------------------------------- as printed
def mean_errors(black: float, faults: float, *, shots: int = 1) -> tuple[float, float, float]:
    """Mean CIEDE2000 over 60 printers of nominal and estimated values, and the error foretold."""
    nominal, estimated, foretold = [], [], []
    for seed in range(60):
        printed = print_card(LAYOUT, seed, faults=faults, black=black)
        sights = [photograph(printed, seed, shot=shot) for shot in range(shots)]
        estimate = estimate_print(sights, layout=LAYOUT)
        # a lightness that paper and greys share is not seen: the paper's is taken out
        truth = linear_to_lab(printed.swatches / printed.paper.mean())
        nominal.append(delta_e_2000(LAYOUT.nominal_lab, truth).mean())
        estimated.append(delta_e_2000(linear_to_lab(estimate.linear), truth).mean())
        foretold.append(estimate.expected_de00)
    return float(np.mean(nominal)), float(np.mean(estimated)), float(np.mean(foretold))


@pytest.mark.parametrize(("black", "gain"), [(0.0, 1.5), (0.7, 0.6)])
def test_photos_bring_the_values_nearer_to_a_usual_print(black: float, gain: float) -> None:
    nominal, estimated, _ = mean_errors(black, 1.0)
    assert estimated < nominal - gain


@pytest.mark.parametrize("black", [0.0, 0.7])
def test_photos_cost_little_on_a_very_good_print(black: float) -> None:
    nominal, estimated, _ = mean_errors(black, 0.3)
    assert estimated < nominal + 0.3


@pytest.mark.parametrize("black", [0.0, 0.7])
@pytest.mark.parametrize("faults", [0.3, 1.0, 1.5])
def test_the_foretold_error_is_about_the_true_one(black: float, faults: float) -> None:
    _, estimated, foretold = mean_errors(black, faults)
    assert 0.7 < foretold / estimated < 1.5


def test_a_spoiled_swatch_in_one_photo_of_three_does_not_count() -> None:
    printed = print_card(LAYOUT, 3)
    sights = [photograph(printed, 3, shot=shot) for shot in range(3)]
    clean = estimate_print(sights, layout=LAYOUT)
    spoiled = sights[0].even.copy()
    spoiled[LAYOUT.names.index("green")] = 0.9  # a mirrored window
    hidden = sights[1].even.copy()
    hidden[LAYOUT.names.index("rose")] = np.nan  # a thumb
    mixed = [replace(sights[0], even=spoiled), replace(sights[1], even=hidden), sights[2]]
    estimate = estimate_print(mixed, layout=LAYOUT)
    off = delta_e_2000(linear_to_lab(estimate.linear), linear_to_lab(clean.linear))
    assert off.max() < 1.0
    hidden_everywhere = [replace(sights[1], even=hidden)]
    with pytest.raises(UsageError, match="rose"):
        estimate_print(hidden_everywhere, layout=LAYOUT)


def test_the_slope_of_the_light_is_found_from_equal_greys() -> None:
    true = np.array([0.002, -0.003])  # 35 % from left to right, 54 % from top to bottom
    light = np.exp((LAYOUT.centres_mm - np.array(LAYOUT.centre_mm)) @ true)
    printed = print_card(LAYOUT, 4).swatches
    assert np.allclose(light_slope(printed * light[:, None], LAYOUT), true, atol=1e-9)
    patchy = printed * light[:, None]
    patchy[LAYOUT.names.index("grey-50-left")] = np.nan
    assert np.allclose(light_slope(patchy, LAYOUT), true, atol=1e-9)


# --------------------------------------------------------------------------- inks
@pytest.mark.parametrize("black", [0.0, 0.5, 0.9])
@pytest.mark.parametrize("empty", range(3))
def test_an_empty_ink_is_named(empty: int, black: float) -> None:
    for seed in range(40):
        printed = print_card(LAYOUT, seed, black=black, empty=empty)
        strength = measure_inks([photograph(printed, seed)], layout=LAYOUT)
        with pytest.raises(UsageError, match=INKS[empty]):
            check_inks(strength)


def test_empty_black_is_named_where_greys_are_mostly_black() -> None:
    for seed in range(40):
        printed = print_card(LAYOUT, seed, black=0.8, empty=BLACK)
        strength = measure_inks([photograph(printed, seed)], layout=LAYOUT)
        with pytest.raises(UsageError, match="black"):
            check_inks(strength)


@pytest.mark.parametrize("black", [0.0, 0.5, 0.9])
def test_usual_prints_are_not_blamed(black: float) -> None:
    blamed = 0
    for seed in range(200):
        strength = measure_inks(
            [photograph(print_card(LAYOUT, seed, black=black), seed)], layout=LAYOUT
        )
        try:
            check_inks(strength)
        except UsageError:
            blamed += 1
    assert blamed == 0


# --------------------------------------------------------------------------- print scale
def test_the_bar_tells_the_print_scale_and_refuses_a_fitted_page() -> None:
    assert print_scale(99.5, layout=LAYOUT) == pytest.approx(0.995)
    assert print_scale(98.0, layout=LAYOUT) == pytest.approx(0.98)
    for wrong in (97.0, 103.0, 0.0, -100.0, 10.0, float("nan"), float("inf")):
        with pytest.raises(UsageError, match="bar measures"):
            print_scale(wrong, layout=LAYOUT)


def test_a_scaled_card_is_the_same_card_in_larger_millimetres() -> None:
    scaled: CardLayout = scale_layout(LAYOUT, 0.99)
    assert scale_layout(LAYOUT, 1.0) is LAYOUT
    assert np.allclose(scaled.centres_mm, LAYOUT.centres_mm * 0.99)
    assert np.allclose(
        [mark.corners_mm for mark in scaled.markers],
        [mark.corners_mm * 0.99 for mark in LAYOUT.markers],
    )
    assert scaled.scale_bar.length_mm == pytest.approx(99.0)
    assert scaled.slanted_square.side_mm == pytest.approx(LAYOUT.slanted_square.side_mm * 0.99)
    assert scaled.slanted_square.angle_deg == LAYOUT.slanted_square.angle_deg
    assert scaled.nominal_lab.tolist() == LAYOUT.nominal_lab.tolist()
