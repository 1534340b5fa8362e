"""Groups of thresholds for the stages from card to reading, a module each."""

from __future__ import annotations

from dataclasses import dataclass, field

from jarvision.settings.acceptance import AcceptanceSettings
from jarvision.settings.colour import ColourSettings
from jarvision.settings.evidence import EvidenceSettings
from jarvision.settings.jar import JarSettings
from jarvision.settings.sight import SightSettings
from jarvision.settings.surface import SurfaceSettings
from jarvision.settings.tissue import (
    CoverageSettings,
    LabelSettings,
    MaskSettings,
    PinSettings,
    VeilSettings,
)


@dataclass(frozen=True)
class PhotoSettings:
    """Groups for the stages from card to reading."""

    colour: ColourSettings = field(default_factory=ColourSettings)
    acceptance: AcceptanceSettings = field(default_factory=AcceptanceSettings)
    sight: SightSettings = field(default_factory=SightSettings)
    jar: JarSettings = field(default_factory=JarSettings)
    masks: MaskSettings = field(default_factory=MaskSettings)
    veil: VeilSettings = field(default_factory=VeilSettings)
    label: LabelSettings = field(default_factory=LabelSettings)
    evidence: EvidenceSettings = field(default_factory=EvidenceSettings)
    pins: PinSettings = field(default_factory=PinSettings)
    coverage: CoverageSettings = field(default_factory=CoverageSettings)
    surface: SurfaceSettings = field(default_factory=SurfaceSettings)
