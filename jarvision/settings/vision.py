"""Every threshold of the stages from card to reading: its value, its unit and why it is so."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated

from jarvision.settings.evidence import EvidenceSettings
from jarvision.settings.limits import Limits
from jarvision.settings.sight import SightSettings


@dataclass(frozen=True)
class ColourSettings:
    """How swatches become a colour correction, and when a photo is refused for its colours."""

    clipped_share_max: float = 0.02
    """A swatch with a larger share of burnt-out pixels says nothing about its colour."""

    swatch_spread_max: float = 0.25
    """Relative spread inside a plain swatch; glare, a thumb or a shadow edge raise it."""

    swatches_min: Annotated[int, Limits(5, 32)] = 14
    """Fewest clean swatches: half of the card, five for each row of the matrix."""

    swatch_scale_de: float = 3.0
    """CIELAB distance at which a swatch starts to lose weight: the usual residual of a fit."""

    swatch_outlier_de: float = 12.0
    """CIEDE2000 beyond which a swatch counts as spoiled."""

    residual_max_de: float = 6.0
    """Median CIEDE2000 over the swatches beyond which no colour can be told: one photo in ten moved
    by 6.6 points of coverage between 4 and 6; good photos of rendered cards stay below 3.7, and a
    home print with nominal values may add 2."""

    paper_clipped_max: float = 0.05
    """A paper spot with a larger share of burnt-out pixels is left out of the light."""

    paper_weight: Annotated[float, Limits(0)] = 0.6
    """Weight of a paper spot against a grey: there are four times as many spots."""

    veil_level: float = 0.05
    """Linear value below which stray light rules a reading (common practice, no source)."""

    veil_sd: float = 0.01
    """Usual offset that lens flare adds to the print's sheen, linear: one per cent of white."""

    sheen_usual: Annotated[float, Limits(1e-4, 0.02)] = 0.01
    """What the surface of a matte print mirrors as a rule, as a share of white. This and the three
    below are the best of a few in the cross-validation of colour/fit.py."""

    sheen_max: Annotated[float, Limits(0.021, 0.2)] = 0.04
    """... and the most: a smooth dielectric of index 1.5 mirrors 4 % (Fresnel)."""

    sheen_log_sd: float = 0.5
    """Spread of its odds between none and the most."""

    sheen_slope_sd: float = 0.35
    """How much its logarithm grows over half a card."""

    tone_sd: float = 0.1
    """Usual bend of a tone curve, encoded signal: a prior that holds what paper and greys leave
    open, as the two below are. The best of 0.07, 0.1, 0.17 and 0.3 in the cross-validation of
    colour/fit.py."""

    field_sd: float = 2.0
    """Usual size of the terms of the light over half a card, natural logarithm."""

    tilt_sd: float = 0.2
    """Usual size of a second lamp's tint over half a card, natural logarithm."""

    white_reflectance_min: Annotated[float, Limits(0, 0.7)] = 0.55
    """Nominal linear value from which a swatch counts as white when exposure is judged."""

    calibration_white_min: float = 0.12
    """Least linear signal of the paper on a photo of the fresh card, from which all later photos
    take their colours: three stops under, so that its noise stays small (common practice, no
    source)."""


@dataclass(frozen=True)
class AcceptanceSettings:
    """Limits of a photo that can be read.

    Each stands where the harm begins when 30 partly grown jars of known truth are spoiled step by
    step: where a tenth of the photos moves by 3 points of coverage, or where the median photo moves
    by as much as it was wrong before (1.4 points), whichever comes first. ``docs/acceptance.md``
    shows the measurements. Of 160 good photos of all lights, these limits refuse three.
    """

    px_per_mm_min: float = 1.7
    """Scale at the card. Down to here the median photo moved by 0.3 points and a tenth by 1.9; at
    1.4 by 0.9 and 3."""

    oblique_max_deg: Annotated[float, Limits(0, 60, above=True)] = 20.0
    """Angle between the card's normal and the line to the camera. No harm was seen up to 15
    degrees, the most that was measured. The jar may stand 10 mm nearer or farther than believed,
    which at 20 degrees moves what is seen on it by 3.6 mm."""

    edge_rise_max_mm: float = 1.2
    """10-90 % rise of the card's edges. Around 1.15 mm a tenth moved by 2.3 points, around 1.25 by
    3.2, around 1.45 by 8. Sharp photos show 0.2 to 0.8."""

    white_clipped_max: float = 0.02
    """Share of burnt-out pixels in the white swatch that has fewest."""

    clipped_swatches_max: Annotated[float, Limits(0, 32)] = 9
    """Swatches of 32 that are burnt out. With up to 9 a tenth moved by 2 to 3 points, with 9 to 12
    by 4 (about then every white is gone), with more than 15 by 15."""

    white_level_min: Annotated[float, Limits(0, 1)] = 0.03
    """Linear signal of the card's white, five stops under the end of the scale. At 0.037 a tenth
    moved by 1.3 points, at 0.018 by 3.1, at 0.009 by 8."""

    noise_max: float = 0.12
    """Relative spread inside plain swatches. At 0.11 a tenth moved by 2.5 points, at 0.165 by 4.6.
    Good photos show 0.01 to 0.1."""

    light_ratio_max: Annotated[float, Limits(1)] = 7.0
    """Brighter over darker side of the card; the colour correction takes out what is below. At 5.7
    a tenth moved by 2.5 points, at 8.7 by 3.2, at 14 by 5.6."""

    tint_ratio_max: Annotated[float, Limits(1)] = 1.7
    """Change of red over green or blue over green from side to side. From 1.5 to 1.7 a tenth moved
    by 1.4 points, from 1.7 to 1.9 by 4.4, and above 1.8 the jar is lost more and more often."""

    hidden_swatches_max: Annotated[float, Limits(0, 32)] = 6
    """Swatches of 32 that do not look as printed. With 6 the median photo moved by 0.9 points,
    with 7 by 1.9 and a tenth by 4."""

    glare_max_percent: Annotated[float, Limits(0, 100)] = 3.0
    """Share of the jar's wall under mirrored lamps. Between 1 and 2 % a tenth moved by 1.3 points,
    between 2 and 3 % by 3.4, between 3 and 5 % by 5."""


@dataclass(frozen=True)
class JarSettings:
    """How the jar is found before the card."""

    smooth_px: float = 1.5
    """Blur of the card-plane view (3 px/mm) before its edges are sought: half a millimetre."""

    blueness_edge: float = 0.62
    """Log of blue over the mean of red and green that parts the card's blue-violet field (1.0)
    from bluish mould (below 0.45): about the middle."""

    blueness_contrast_min: float = 0.4
    otsu_levels: Annotated[float, Limits(1, unit="")] = 60.0
    """Least difference of blueness between the field and what hides it, and levels per unit of
    blueness when the two are parted."""

    close_px: Annotated[int, Limits(1, 99, odd=True)] = 7
    """Gaps of up to 2 mm between bits of contents are closed."""

    off_centre_mm: float = 30.0
    """How far the middle of the jar may stand from the card's middle, mm."""

    contents_min_cm2: float = 15.0
    """Smaller things are no jar: a 60 mm jar filled 30 mm high shows 18 cm2."""

    alike_share: float = 0.5
    apart_mm: float = 15.0
    """Something at least half as big as the biggest is a jar, too. The nearest to the card's middle
    is meant, if the next one is so much farther from it."""

    lid_wide_mm: float = 25.0
    """What is at least so wide above the contents is a lid ..."""

    lid_tall_mm: float = 8.0
    """... if it is so tall, too."""

    neighbour_tall_mm: float = 30.0
    """What is so tall beside the contents is another jar."""

    upright_top_mm: Annotated[float, Limits(0, 260)] = 195.0
    upright_bottom_mm: Annotated[float, Limits(0, 300)] = 280.0
    """Card-plane heights between which every jar's wall is straight: its foot shows near 290, its
    rounding ends above 280, and jars of a pint reach higher than 195."""

    quiet_min: float = 0.3
    """Liveliness (CIELAB bytes a pixel) of plain print without noise."""

    peak_share: float = 0.35
    """The outer edge is at least this share of the side's strongest edge: against white paper glass
    shows far less than what stands in it."""

    peak_over_quiet: float = 2.5
    """... and at least so many times the liveliness of plain print."""

    peak_clear: float = 2.2
    """An edge of this liveliness is clear by itself, whatever share of the strongest it is."""

    border_mm: float = 3.0
    """Contents hidden to within this of the field's border may reach beyond it."""

    beyond_mm: float = 29.0
    """Where the hidden span meets the field's border, the edge is sought so far outside it: to the
    card's side."""

    outside_mm: float = 8.0
    """... and elsewhere so far outside, past glass of 3 mm and a millimetre of gap."""

    inside_mm: float = 6.0
    """The edge is sought so far inside the hidden span ..."""

    shadow_mm: float = 30.0
    """... and so far where the span meets the border: that may be a shadow lit by a second lamp,
    and then the jar may end well inside."""

    line_reach_mm: float = 1.5
    """Each row's edge is sought within this of its column."""

    beside_print_mm: float = 2.5
    beside_print_sd_mm: float = 1.0
    """An edge found so close inside one of the card's own may be the second line of the glass: the
    first is then hidden by the print, up to two millimetres farther out."""

    row_peak_share: float = 0.5
    """In each row the outermost peak of at least this share of the highest one is the edge."""

    edge_change_min: float = 1.5
    """Liveliness from which a row shows the edge."""

    on_line_mm: float = 1.0
    """An edge within this of its line is on it."""

    top_step_mm: Annotated[float, Limits(0.5)] = 4.0
    """Lines are followed upwards in steps of this."""

    top_missed_steps: Annotated[int, Limits(1, 100)] = 3
    """The straight wall ends where an edge is off its line for so many steps."""

    on_line_unknown: float = 0.5
    """A line of which more than this share runs along a printed edge tells nothing."""

    lid_min_mm: float = 4.0
    """Empty glass and the lid above it are each at least so high."""

    lid_empty_share: float = 0.3
    """A row of empty glass hides less than this share of the field: it is seen through it."""

    lid_hidden_share: float = 0.6
    """A row of the lid hides more than this share."""

    lean_max: float = 0.09
    """Greatest slope of a leaning card that is believed: 5 degrees."""

    axis_before_card_mm: Annotated[float, Limits(10, 300)] = 70.0
    axis_before_card_sd_mm: float = 6.0
    """The jar's axis stands 60 to 80 mm before the card's foot: the middle, and the standard
    uncertainty of a uniform spread of that width."""

    diameter_sd_mm: float = 1.0
    """Standard uncertainty of a diameter that a grower states: moulded glass is true to about one
    per cent, and a ruler to half a millimetre (common practice, no source)."""

    shape_conflict_sd: float = 3.0
    """A stated diameter so many standard uncertainties from what the photo shows is not used."""

    radius_min_mm: float = 28.0
    radius_max_mm: float = 66.0
    """Jars are 60 to 120 mm wide; a tenth more for the uncertain distance."""

    glass_mm: float = 3.0
    floor_mm: float = 6.0
    """Usual glass of a wall and of a jar's bottom (common practice, no source)."""

    px_per_mm_min: float = 2.5
    """Kernels are 2 to 6 mm: fewer pixels lose the texture of thin growth."""

    page_reach_mm: float = 4.0
    """The page's lower end is sought this far around A4's and Letter's."""

    page_edge_levels: Annotated[float, Limits(0, unit="grey levels a row")] = 1.5
    """A weaker step of grey levels a row is no edge of the page."""

    fill_median_cells: Annotated[int, Limits(1, 999, odd=True)] = 21
    """Median window (6 mm) of the fill line."""

    fill_wide_cells: Annotated[int, Limits(1, 999, odd=True)] = 121
    fill_jump_mm: float = 5.0
    """A column whose fill line is off the median of 33 mm around it by more than this shows a
    mirrored lamp or a label there; heaps of grain are flatter."""

    vote_mm: Annotated[float, Limits(0, above=True)] = 0.25
    """Height of wall that counts as one independent vote for or against contents."""

    floor_sd_mm: Annotated[float, Limits(0, above=True)] = 2.5
    """Standard deviation of the floor about its usual height: glass of 4 to 8 mm, and the lean."""

    floor_below_mm: float = 6.0
    """The wall is unrolled this far below the expected floor: glass bottoms are 4 to 8 mm thick
    and a card's lean shifts the table by another two."""

    lean_prior: Annotated[float, Limits(-0.5, 0.5)] = 0.0
    """Slope of a standing page before anything is measured: upright."""

    lean_prior_sd: float = 0.03
    """Standard deviation of that: pages lean by up to 3 degrees, backwards as a rule (common
    practice, no source)."""

    lean_sd: float = 0.015
    """Standard uncertainty of the slope as measured on the edges: about 0.9 degrees."""


@dataclass(frozen=True)
class MaskSettings:
    """What of the wall cannot be judged."""

    clipped_level: Annotated[int, Limits(1, 255)] = 252
    """All three bytes at or above this: the camera is burnt out."""

    spot_min_mm2: Annotated[float, Limits(0)] = 1.0
    """Smaller burnt-out specks are sparkle of fibres and wet kernels."""

    groove_mm: float = 2.5
    """So far above and below a groove its shadow and its lens hide what stands behind."""

    ring_mm: float = 1.5
    """What surrounds a burnt-out area is looked at this wide."""

    ring_white_share: float = 0.6
    """With a smaller share of growth around it a burnt-out area is a mirrored lamp."""


@dataclass(frozen=True)
class PinSettings:
    """When places that look like caps of fruit bodies are reported as pins.

    On 65 rendered photos with 0.1 cm2 of caps in view pins were found on 55, on 237 without any on
    3; the limits were chosen with these photos in view.
    """

    chance_min: Annotated[float, Limits(0, 1)] = 0.65
    """From this chance on a place counts as a cap."""

    spot_min_mm2: Annotated[float, Limits(0)] = 1.0
    """Smaller spots are left out."""

    group_mm: Annotated[float, Limits(0, above=True)] = 30.0
    area_min_cm2: Annotated[float, Limits(0)] = 0.08
    """Spots this near to each other are one group, which is reported from this area of caps on."""


@dataclass(frozen=True)
class CoverageSettings:
    """Interval of the coverage."""

    floor_points: float = 0.8
    """Half-width of the interval that is always there, points: what outline and colour cost. This
    and the three weights below, of the sets tried with rendered photos in view, are the narrowest
    that held the truth on 95 % of those whose contents the network knows."""

    doubt_weight: Annotated[float, Limits(0)] = 0.75
    """Points a percent of the network's mean doubt on what is seen."""

    guess_weight: Annotated[float, Limits(0)] = 0.6
    """Points a percent of its mean doubt on what is hidden."""

    unseen_weight: Annotated[float, Limits(0)] = 0.05
    """Points a percent of the wall that is hidden."""

    novelty_from: Annotated[float, Limits(0)] = 2.1
    novelty_full: Annotated[float, Limits(0, above=True)] = 2.8
    """Between these distances to the nearest known look of bare contents doubt comes to count as
    ``strange_doubt_weight``: half, and eight in ten of the jars learned from lie within them."""

    strange_doubt_weight: Annotated[float, Limits(0)] = 2.5
    """As ``doubt_weight``, on contents unlike any that is known. Of the sets tried, the weights
    here are the narrowest that held the truth on 95 % of rendered photos of drawn contents, each
    read by a network that never saw their family."""

    novelty_points: Annotated[float, Limits(0)] = 1.0
    """Points for each unit of distance beyond ``novelty_from``."""

    forecast_weight: Annotated[float, Limits(0)] = 1.0
    """Points a point of the error that the generalist expects, on strange contents."""

    colour_weight: Annotated[float, Limits(0)] = 0.35
    """Points a CIEDE2000 of residual: coverage moved by 0.05 to 0.56 points for each CIEDE2000 by
    which the swatches' values were made wrong (``tests/accuracy/bad_print.py``)."""

    seen_min_percent: Annotated[float, Limits(0, 100)] = 40.0
    """Less of the wall than this gives no reading."""


@dataclass(frozen=True)
class PhotoSettings:
    """Groups for the stages from card to reading."""

    colour: ColourSettings = field(default_factory=ColourSettings)
    acceptance: AcceptanceSettings = field(default_factory=AcceptanceSettings)
    sight: SightSettings = field(default_factory=SightSettings)
    jar: JarSettings = field(default_factory=JarSettings)
    masks: MaskSettings = field(default_factory=MaskSettings)
    evidence: EvidenceSettings = field(default_factory=EvidenceSettings)
    pins: PinSettings = field(default_factory=PinSettings)
    coverage: CoverageSettings = field(default_factory=CoverageSettings)
