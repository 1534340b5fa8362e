"""From reading to shelf: small, picklable records of photos, days, growth and verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from jarvision.records.flags import FINDINGS
from jarvision.records.fruiting import Fruiting
from jarvision.records.jar import DiaryLine, DiaryWord, JarEntry
from jarvision.records.photo import TimeSource
from jarvision.records.reference import BareLook
from jarvision.records.species import SpeciesProfile
from jarvision.records.surface import Top, TopDay
from jarvision.records.wall import Coverage, Patch, WallThumbnail
from jarvision.records.wording import PLAIN, Fact, Voice, put_into_words

View = Literal["front", "a", "b", "c", "d", "top"]
VerdictWord = Literal["go", "wait", "check", "no-go"]
Trend = Literal["new", "closing", "still", "growing"]


@dataclass(frozen=True)
class Reading:
    """One row of ``readings.csv``: what one photo said. Small and picklable.

    ``coverage`` and the other measurements are None when ``status`` is ``unusable``.
    ``card_values`` says which values of the card were used, ``card_values_de00`` how far a swatch
    of theirs is typically off, CIEDE2000. ``overlay`` and ``wall_picture`` are paths relative to
    the output folder; the overlay of an unusable photo shows it with what to do. ``radius_mm`` is
    the inner radius of the jar, by which degrees become lengths on its wall. ``groove_height_mm``
    is above the inner floor; ``shape_conflict`` says how the photo contradicts the jar's profile;
    ``fill_sd_mm`` is the standard uncertainty of ``fill_height_mm``. ``notes`` say what was odd
    about how the file was read, one sentence each without a full stop. ``bare_look`` is that of a
    photo read on its own; one that was held against a
    :class:`~jarvision.records.reference.KnownLook` names that one's jar and day, and has no look
    itself: what is learned from others teaches no others. ``unproven_cm2`` looks like stain, but
    nothing shows growth there: it counts as bare. ``ignored_day`` stood in EXIF, cannot be right
    and was not used. ``picture`` tells the decoded pixels of a usable photo: equal ones are the
    same shot. ``raw_coverage`` is what the photo gave, where ``coverage`` was put right by counts
    (:mod:`jarvision.truth.adjust`); a reading that is kept has none. A photo from above (``view``
    is ``top``) has ``top`` in place of ``coverage``, ``patches`` and all else that is of the wall.
    """

    photo: str
    jar: str
    view: View
    taken_at: datetime
    time_source: TimeSource
    status: Literal["ok", "unusable"]
    reason: str = ""
    detail: str = ""
    coverage: Coverage | None = None
    patches: tuple[Patch, ...] = ()
    fill_height_mm: float | None = None
    colour_de00_median: float | None = None
    card_values: str = ""
    card_values_de00: float | None = None
    overlay: str = ""
    wall_picture: str = ""
    radius_mm: float | None = None
    thumbnail: WallThumbnail | None = None
    groove_height_mm: float | None = None
    shape_conflict: str = ""
    fill_sd_mm: float | None = None
    notes: tuple[str, ...] = ()
    bare_look: BareLook | None = None
    reference_jar: str = ""
    reference_day: date | None = None
    unproven_cm2: float = 0.0
    ignored_day: date | None = None
    picture: str = ""
    raw_coverage: Coverage | None = None
    top: Top | None = None

    def area_cm2(self, *kinds: str) -> float:
        """Summed area of the patches of the given kinds, cm2."""
        return sum(p.area_cm2 for p in self.patches if p.kind in kinds)


OFF_COLOUR_KINDS = ("green", "black", "pink", "yellow")


@dataclass(frozen=True)
class TrackedPatch:
    """A patch with an identity that lasts over days. ``patch`` is a name such as ``bare-1``.

    The name is that of its first day; ``kind`` is today's (a mould may change colour).
    ``mm_per_day`` is the speed of its edge, outwards positive, with its standard uncertainty; None
    on its ``first_day``. ``round_share`` is the share that it fills of the smallest circle about
    it, None where its outline is not known.
    """

    patch: str
    kind: str
    area_cm2: float
    angle_deg: float
    height_mm: float
    trend: Trend
    mm_per_day: float | None = None
    sd_mm_per_day: float | None = None
    first_day: date | None = None
    round_share: float | None = None


@dataclass(frozen=True)
class Turn:
    """How a jar moved from one photo to a later one.

    Attributes
    ----------
    turn_deg
        A place at angle ``a`` before is at ``a + turn_deg`` after.
    rise_mm
        A place at height ``h`` before is at ``h + rise_mm`` after: the floor was found anew.
    confidence
        Pearson's r of the two patterns over their overlap, 0 to 1.
    found
        Whether the confidence allows to believe it; else ``turn_deg`` and ``rise_mm`` are 0.
    """

    turn_deg: float = 0.0
    rise_mm: float = 0.0
    confidence: float = 0.0
    found: bool = False


@dataclass(frozen=True)
class Front:
    """The fastest white front since the day before: speed, the area it has crossed, its place.

    Of 0 mm/day where a wall with room to grow was seen, and no front has crossed enough of it.
    """

    mm_per_day: float
    area_cm2: float
    angle_deg: float
    height_mm: float


@dataclass(frozen=True)
class JarDay:
    """All views of one jar on one day, pooled (one row of ``days.csv``).

    Attributes
    ----------
    radius_mm
        Inner radius; None where no reading has one.
    turn
        Since an earlier day with the same side; None where there is none to compare with.
    turned_away
        True when the contents show, and are not those of any day before: another side.
    front
        The fastest white front since the day before; None where none could be measured.
    cleared
        Names of patches of earlier days whose places have been seen again without them.
    together
        The coverage as the days of the jar say it together: a day's from those before and after,
        the last day's from those before. None where the days were not read together.
    parted
        Names of patches of earlier days over whose places others lay when they were first missed.
    told_shaken
        Whether the grower has said that it was shaken since the day before, or on this one.
    absent
        On how many days since a patch was not at its place, if the jar was not turned unnoticed.
    """

    jar: str
    day: date
    views: int
    coverage: Coverage
    patches: tuple[TrackedPatch, ...]
    fill_height_mm: float
    readings: tuple[Reading, ...]
    radius_mm: float | None = None
    turn: Turn | None = None
    turned_away: bool = False
    front: Front | None = None
    cleared: tuple[str, ...] = ()
    together: Coverage | None = None
    parted: tuple[str, ...] = ()
    told_shaken: bool = False
    absent: Mapping[str, int] = field(default_factory=dict)

    @property
    def level(self) -> Coverage:
        """The coverage by the light of all days, else by that of this day's photos alone."""
        return self.together or self.coverage


@dataclass(frozen=True)
class JarHistory:
    """All that is known of one jar: its register line, its days in order, its refused photos.

    ``diary`` is what the grower has told of it, in the order of the days. Days and refused photos
    of a long history are packed but for the newest (:mod:`jarvision.base.long`), its readings
    without thumbnails, those of days before the last one without outlines of patches. ``tops`` are
    its days with a photo from above; ``days`` are those with one of the wall, and a day may be in
    both.
    """

    entry: JarEntry
    days: Sequence[JarDay]
    refused: Sequence[Reading] = ()
    diary: tuple[DiaryLine, ...] = ()
    tops: tuple[TopDay, ...] = ()

    @property
    def last_day(self) -> date | None:
        """The last day with a usable photo of any side; None where there is none."""
        lasts = [part[-1].day for part in (self.days, self.tops) if part]
        return max(lasts, default=None)

    def told(self, what: DiaryWord) -> tuple[date, ...]:
        """The days on which the grower has told something of it."""
        return tuple(line.day for line in self.diary if line.what == what)


@dataclass(frozen=True)
class Finding:
    """What was found about a jar, as data; made by :meth:`of`, told by :meth:`tell`.

    Attributes
    ----------
    word
        Key of :data:`jarvision.records.flags.FINDINGS`, which has its wording and its flag.
    verdict
        The verdict that it asks for; None for a note, which asks for none.
    day
        The day that it is about; None where it is about no single one.
    numbers, dates, names
        The facts that its wording tells; units stand in the keys.

    Raises
    ------
    ValueError
        When the word is not known.
    """

    word: str
    verdict: VerdictWord | None = None
    day: date | None = None
    numbers: Mapping[str, float] = field(default_factory=dict)
    dates: Mapping[str, date] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.word not in FINDINGS:
            raise ValueError(f"finding '{self.word}' is not known")

    @classmethod
    def of(
        cls,
        word: str,
        verdict: VerdictWord | None = None,
        *,
        day: date | None = None,
        **facts: Fact | None,
    ) -> Finding:
        """Sort the facts by their kind; those that are None are left out."""
        known = {name: fact for name, fact in facts.items() if fact is not None}
        return cls(
            word=word,
            verdict=verdict,
            day=day,
            numbers={k: float(v) for k, v in known.items() if not isinstance(v, str | date)},
            dates={k: v for k, v in known.items() if isinstance(v, date)},
            names={k: v for k, v in known.items() if isinstance(v, str)},
        )

    @property
    def flag(self) -> str:
        """The flag that it raises, a word of ``FLAGS``; empty where none."""
        return FINDINGS[self.word].flag

    @property
    def sentence(self) -> str:
        """One sentence with all numbers, as files and terminals write."""
        return self.tell(PLAIN)

    def tell(self, voice: Voice) -> str:
        """Tell it in one sentence with all numbers."""
        return put_into_words(FINDINGS[self.word].sentence, self._facts(), voice)

    def tell_short(self, voice: Voice) -> str:
        """Tell it in one short line with the number that matters most."""
        wording = FINDINGS[self.word]
        return put_into_words(wording.short or wording.sentence, self._facts(), voice)

    def _facts(self) -> dict[str, Fact]:
        return {**self.numbers, **self.dates, **self.names}


@dataclass(frozen=True)
class Growth:
    """A growth curve fitted to one jar.

    Attributes
    ----------
    model
        ``logistic``, ``gompertz``, ``kjma-2``, ``kjma-3`` (nucleation and growth), ``front``,
        ``discs``, one of these with a ``+`` (on top of what was white from the start) or
        ``too-few-days``.
    day_numbers, curve_percent, curve_low, curve_high
        The curve sampled for plotting: days since ``origin``, coverage and its 80 % band, percent.
    rate_percent_per_day
        Rate of the last days.
    ready_date, ready_low, ready_high
        Date on which coverage reaches the species' ready level, with its 80 % interval; None
        when it cannot be told.
    stall
        What was found where growth is below what the jar's own past predicts: among its numbers
        ``days``, for how long at least. None when not stalled.
    """

    model: str
    origin: date | None = None
    day_numbers: tuple[float, ...] = ()
    curve_percent: tuple[float, ...] = ()
    curve_low: tuple[float, ...] = ()
    curve_high: tuple[float, ...] = ()
    rate_percent_per_day: float | None = None
    ready_date: date | None = None
    ready_low: date | None = None
    ready_high: date | None = None
    stall: Finding | None = None

    @property
    def stalled(self) -> bool:
        """Whether the jar has stood still up to the last day."""
        return self.stall is not None

    @property
    def stall_reason(self) -> str:
        """The numbers behind a stall, one sentence, empty when not stalled."""
        return self.stall.sentence if self.stall else ""

    @property
    def stalled_days(self) -> int:
        """How long the stall has lasted at least, days; 0 when not stalled or not known."""
        return int(self.stall.numbers.get("days", 0)) if self.stall else 0


@dataclass(frozen=True)
class Flag:
    """One row of ``flags.csv``; ``flag`` is a word of :data:`jarvision.records.flags.FLAGS`."""

    jar: str
    day: date | None
    flag: str
    finding: Finding

    @property
    def message(self) -> str:
        """One sentence with the numbers."""
        return self.finding.sentence


@dataclass(frozen=True)
class Verdict:
    """What to do with one jar, and the findings behind it (one row of ``verdicts.csv``).

    ``findings`` are sorted, the hardest first: the first of them is the verdict.
    """

    jar: str
    species: str
    verdict: VerdictWord
    findings: tuple[Finding, ...]
    coverage: Coverage | None
    growth: Growth

    @property
    def reasons(self) -> tuple[str, ...]:
        """One sentence with its numbers for each finding."""
        return tuple(finding.sentence for finding in self.findings)


@dataclass(frozen=True)
class JarStory:
    """All that the report needs of one jar; ``fruiting`` where it was photographed from above."""

    history: JarHistory
    growth: Growth
    verdict: Verdict
    flags: tuple[Flag, ...]
    profile: SpeciesProfile
    fruiting: Fruiting | None = None
