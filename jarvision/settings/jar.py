"""Thresholds that find the jar: its edges, axis, floor and top, and how high it is filled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


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

    field_over_white: Annotated[float, Limits(0.5, 2, unit="")] = 1.0
    """The field's blueness over that of white in the same light, whatever its colour."""

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

    trimmed_edge_levels: Annotated[float, Limits(0, unit="grey levels a row")] = 4.0
    """... and a weaker one under the card, where there should be bare paper, no trimmed page's: it
    only counts where the jar's foot stands on it, in a photo that ends above the printed end."""

    foot_from_mm: Annotated[float, Limits(0, 300)] = 255.0
    """Card-plane height below which the jar's foot is sought: where it shows when the camera is
    level with the table."""

    foot_reach_mm: Annotated[float, Limits(20, 300)] = 160.0
    """It is sought so far down: a page that hangs 50 mm above the table is told by it."""

    foot_arcs_mm: Annotated[float, Limits(1, 50)] = 12.0
    """The arcs that a jar's thick bottom shows lie this close together."""

    foot_power_share: Annotated[float, Limits(0.05, 1)] = 0.35
    """The lowest such stack with this share of the strongest one's power, its squared changes added
    up, is the foot: a line of the table has a tenth of it, a fifth at most."""

    foot_change_min: float = 2.0
    foot_over_quiet: float = 3.5
    foot_share: float = 0.3
    """An arc is the foot if it is at least so lively (CIELAB bytes a row), so many times as lively
    as the table, and this share of the strongest arc: a polished table mirrors them all."""

    foot_free_mm: Annotated[float, Limits(0, 50)] = 2.0
    """So much of the table must show below it: the photo's own end is no foot."""

    foot_round_mm: float = 0.75
    """What is seen lies so much above the table: the foot of a jar is rounded."""

    foot_bend_sd_mm: Annotated[float, Limits(0, above=True)] = 0.35
    """Standard uncertainty of how the foot's arc bends, its outer thirds against its middle."""

    page_sd_mm: Annotated[float, Limits(0, above=True)] = 3.2
    """Standard uncertainty of the table as the page's lower edge has it under the jar's front:
    its lean, and 6 mm in the place of the axis."""

    page_off_max_mm: Annotated[float, Limits(0)] = 6.4
    """A foot farther than this from the page's end, two of them, does not stand where the page
    ends: the page is trimmed, taped up or lifted. Where the foot's arc bends off what it should,
    it must be farther: at one standard uncertainty by 1.4 times, at two by 2.2."""

    no_foot_misfit: Annotated[float, Limits(0)] = 18.0
    """What speaks against a lens through which no foot shows, in squares of standard uncertainties;
    half of it is the most that the page, or the bend of the foot, may say: it may be trimmed."""

    distance_mm: Annotated[float, Limits(0, above=True)] = 440.0
    distance_log_sd: Annotated[float, Limits(0, above=True)] = 0.2
    """The phone is held 35 to 55 cm from the card: the middle, and the standard deviation of the
    logarithm, wide enough for 30 and 65 cm."""

    card_strain_sd: Annotated[float, Limits(0, above=True)] = 0.0025
    """Printers stretch a page more along than across, or shear it, by this share (common practice,
    no source)."""

    focal_low_35mm: Annotated[float, Limits(5, 400)] = 20.0
    focal_high_35mm: Annotated[float, Limits(5, 400)] = 120.0
    focal_step: Annotated[float, Limits(0.02, 1)] = 0.1
    """Where the focal length is not known, lenses between these are tried, mm for a frame of
    36 x 24 mm, in steps of this share. A crop acts as a longer lens."""

    focal_doubt: Annotated[float, Limits(0)] = 12.0
    """A focal length that the file states is doubted where its misfit is greater than this, and
    dropped where another lens fits better by this: three to four standard uncertainties."""

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
