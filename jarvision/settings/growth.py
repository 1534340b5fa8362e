"""Thresholds of the growth of a jar: curve, forecast, stall."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from jarvision.settings.limits import Limits


@dataclass(frozen=True)
class GrowthSettings:
    """How curves are fitted, forecasts made and stalls told."""

    min_days: Annotated[int, Limits(4)] = 4
    """Fewest days for a curve of three parameters: one more than the parameters."""

    min_rise_points: float = 5.0
    """A record that rises less than this, in points of coverage, has no curve to fit; about twice
    the half-width of a good reading's 95 % interval."""

    sd_floor_points: float = 0.7
    """Smallest standard uncertainty given to a reading, points: no photo is better than this, and
    without a floor the days near 0 and 100 % would rule the fit."""

    full_mean_percent: float = 100.0
    """A healthy jar's curve ends here ..."""

    full_sd_points: float = 1.0
    """... give or take this: without it an early curve could end anywhere. The robust loss of the
    fit lets a jar that does level off elsewhere override it."""

    lag_share: Annotated[float, Limits(0, 1)] = 0.2
    """The lag of an ordinary jar, as a share of its spawn run: visible recovery after 1 to 5 days
    (common practice, no source)."""

    slope_of_run: Annotated[float, Limits(0.5, 3)] = 1.27
    """From lag to 95 % a curve of nucleation and growth (n = 2) takes this many times A/m; see
    ``jarvision.growth.models``."""

    species_log_rate_sd: Annotated[float, Limits(0.01, 5)] = 0.45
    """A species' jars differ by this in the logarithm of their rate: from two thirds of the middle
    to half as fast again, as the species' shortest and longest run do."""

    species_lag_sd_share: Annotated[float, Limits(0.01, 5)] = 0.15
    """... and by this share of the spawn run in their lag."""

    sibling_log_rate_sd: Annotated[float, Limits(0.01, 5)] = 0.25
    """Jars of one batch differ by this in the logarithm of their rate: healthy ones by 0.15, but a
    jar that is slow for a reason of its own must not be promised its siblings' date (common
    practice, no source)."""

    sibling_lag_sd_days: Annotated[float, Limits(0.01, unit="days")] = 1.2
    """... and by this in their lag, days."""

    teach_percent: float = 40.0
    """A jar says something of its siblings once it has passed this coverage."""

    teach_max_scale: Annotated[float, Limits(1)] = 4.0
    """... and if a curve of growth fits it: residuals of up to twice their uncertainty."""

    draws: Annotated[int, Limits(100, 100_000)] = 1500
    """Parameter draws for the bands: the 10 % quantile is then good to about 1 % of the draws."""

    interval: Annotated[float, Limits(0.5, 0.99)] = 0.80
    """Probability of the forecast's interval."""

    forecast_spread: Annotated[float, Limits(0.1, 5)] = 1.0
    """Power by which the drawn remaining times are spread about their median, so that the interval
    holds its share of the simulated jars (``tests/accuracy/histories``)."""

    misfit_share: Annotated[float, Limits(0, 1)] = 0.2
    """Real jars leave every curve: the time left is scattered by this, as a share of itself ..."""

    denied_share: Annotated[float, Limits(0, 5)] = 1.0
    """... by this times the logarithm of the ratio of what all days and what the newest ones
    promise: a jar that doubles its pace on its way keeps to neither ..."""

    misfit_days: Annotated[float, Limits(0, 5)] = 0.5
    """... and by this, days: weather, and the part of the wall that closes last."""

    alike_factor: Annotated[float, Limits(1, 5)] = 1.3
    """Errors of days that follow each other are alike, so that n days say less than n: curves are
    fitted to readings this much less sure than they say."""

    model_doubt: Annotated[float, Limits(0, 1)] = 0.2
    """This share of the draws is split evenly among the curves, whatever fits best so far."""

    newest_share: Annotated[float, Limits(0, 0.9)] = 0.5
    """This share of the draws is of curves that are fitted to the newest days alone: many jars are
    faster or slower than they began. Chosen on simulated jars of four laws ..."""

    newest_level_share: Annotated[float, Limits(0, 0.9)] = 0.5
    """... as are the days from which the coverage was this share of what it is now."""

    offset_percent: Annotated[float, Limits(0, 100)] = 12.0
    """A jar that was surely read this far covered on its first days may have been packed so ..."""

    offset_most_percent: Annotated[float, Limits(0, 100)] = 60.0
    """... but hardly further than this."""

    offset_lag_share: Annotated[float, Limits(0, 1)] = 0.5
    """The lag of such a jar, as a share of an ordinary one: growth goes on from many places."""

    horizon_days: Annotated[int, Limits(1, 1000)] = 120
    """No forecast further than this from today: longer than the slowest species' spawn run."""

    curve_points: Annotated[int, Limits(10, 10_000, unit="")] = 60
    """Samples of the curve for plotting."""

    shake_drop_points: float = 10.0
    """A lasting drop of this many points from one day to the next is a shaken jar: a new origin.
    Shaking at 20 to 40 % cover hides most of the white (common practice, no source); 10 points
    are 4 standard uncertainties of an ordinary reading."""

    shake_below_points: float = 2.0
    """... and it falls this far below the day before that, which one high reading does not do. On
    the day of a shake that was told a smaller fall is chance: its photo may be older."""

    outlier_z: Annotated[float, Limits(1)] = 4.0
    """A reading this many standard uncertainties outside its neighbours is a bad one: a stall is
    not told from it. The curves' robust loss sees to the fit."""

    fastest_rate_points: Annotated[float, Limits(5, 100, unit="points a day")] = 25.0
    """No jar gains more than this in a day, points: at 7 mm/day and a start in each 3 cm2, the
    fastest that the species profiles know, the steepest day brings 25."""

    stall_days: Annotated[int, Limits(2)] = 2
    """Shortest time over which a stall is told; growers wait for 3 days without growth (common
    practice, no source), a measured rate says it a day earlier where it was high."""

    stall_longest_days: int = 21
    """Longest look back for how long a stall has lasted, days."""

    stall_share: Annotated[float, Limits(0, 1)] = 0.35
    """Stalled when the rate is surely below this share of the expected rate."""

    stall_best_sd: Annotated[float, Limits(0, 3)] = 1.5
    """What is expected of a jar is the best it was seen to gain, less so many standard
    uncertainties of that: of a slow jar that is read on many days the largest gain is chance, and
    its ordinary days would look like standing still beside it."""

    stall_p: Annotated[float, Limits(0, 0.5)] = 0.1
    """Stalled when so little growth would be this unlikely in a jar that grows at ``stall_share``:
    with it every other simulated stall is told after 2 days; with 0.05 after 3. A jar so flagged
    is looked at, and no more, until the stall is long."""

    stall_species_share: Annotated[float, Limits(0, 5)] = 0.5
    """... and the rate is no more than this share of what the slowest jars of its species gain: one
    that is only slower than its batch has not stopped."""

    stall_front_mm_per_day: Annotated[float, Limits(0.5, 20)] = 1.0
    """... and no front of the white was seen to run so fast on half of the days: the least that is
    measured. Of 557 days of simulated stalls 96 in 100 showed none, of growing jars 12 in 100; of
    11 days of rendered jars that stood still, none did."""

    stall_ran_mm_per_day: Annotated[float, Limits(0.5, 20)] = 2.0
    """Fronts that ran so fast before (their median) would be seen if they still ran ..."""

    stall_stood_p: Annotated[float, Limits(0, 1)] = 0.6
    """... so where none has on any day since, this chance will do: a reading may rise by chance."""

    stall_crept_p: Annotated[float, Limits(0, 1)] = 0.3
    """... and where they ran slower, this one, of a rate no more than that share of its species': a
    front that creeps is missed now and then."""

    stall_grows_z: Annotated[float, Limits(0, 5)] = 1.0
    """A look back whose rate lies this many standard errors above the slow one shows growth, and
    none beyond it is tried: long ones are ruled by the days of the lag. Of simulated stalls one
    day in six is passed over so."""

    stall_flat_z: Annotated[float, Limits(-5, 5)] = 0.5
    """The newest days are flat by themselves below this many standard errors above the slow rate;
    else a stall is told as a short one, which ends no jar."""

    stall_gain_z: Annotated[float, Limits(0.5, 5)] = 2.0
    """... while the rate over the whole of its time is not above zero by this many standard
    errors: a jar that gains two points a day is slow, not at rest."""

    stall_rise_sd: Annotated[float, Limits(0.5, 5)] = 1.5
    """... and while the last reading lies no further above the three before it than this many
    standard uncertainties of a difference."""

    stall_newest_days: Annotated[int, Limits(2, 7, unit="days")] = 3
    """The newest days: looks back of up to this length."""

    stall_sibling_share: Annotated[float, Limits(0, 1)] = 0.8
    """A jar is expected to grow at least this share of its siblings' median rate."""

    leap_off_days: int = 10
    """No white by now means a dead culture or overheated grain: 7 to 10 days after inoculation
    (common practice, no source)."""

    leap_off_share: Annotated[float, Limits(0, 1)] = 0.45
    """... but not before this share of the species' longest spawn run: slow species lag for longer
    (a lag of about a fifth of the run, and twice that for a late jar)."""

    lag_percent: Annotated[float, Limits(0, 30)] = 8.0
    """A jar that was read this far covered on two days is out of its lag; before, its rate is not
    tested until it should have started: next to nothing is to be expected of it."""

    leap_off_percent: Annotated[float, Limits(0, 100)] = 3.0
    """Coverage that counts as a start, percent: above what dust and glare leave behind."""
