"""All thresholds: a group per stage, each with its value, its unit and why it is so.

Unit and range follow from a setting's name, see
:mod:`jarvision.settings.table`; ``Limits`` stand where they do not. The defaults are the only
values that the tests vouch for; a changed setting changes :meth:`Settings.digest`, which is stored
beside what was computed with it.
"Common practice, no source" marks a rule of the trade for which no measurement was found.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field
from functools import cached_property

from jarvision.settings.count import CountSettings
from jarvision.settings.fruiting import FruitingSettings
from jarvision.settings.growth import GrowthSettings
from jarvision.settings.history import FrontSettings, TogetherSettings, TrackingSettings
from jarvision.settings.page import PageSettings
from jarvision.settings.plan import PlanSettings
from jarvision.settings.verdict import VerdictSettings
from jarvision.settings.vision import PhotoSettings


@dataclass(frozen=True)
class Settings:
    """All settings, one group per stage; ``photo`` holds the groups from card to reading."""

    photo: PhotoSettings = field(default_factory=PhotoSettings)
    tracking: TrackingSettings = field(default_factory=TrackingSettings)
    front: FrontSettings = field(default_factory=FrontSettings)
    together: TogetherSettings = field(default_factory=TogetherSettings)
    growth: GrowthSettings = field(default_factory=GrowthSettings)
    verdict: VerdictSettings = field(default_factory=VerdictSettings)
    plan: PlanSettings = field(default_factory=PlanSettings)
    count: CountSettings = field(default_factory=CountSettings)
    page: PageSettings = field(default_factory=PageSettings)
    fruiting: FruitingSettings = field(default_factory=FruitingSettings)

    def digest(self) -> str:
        """12 hex digits that change when any value does, the same on every machine."""
        return self._digest

    @cached_property
    def _digest(self) -> str:
        """Worked out once: it is asked for with every part of every jar."""
        text = json.dumps(asdict(self), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:12]
