"""Species profiles: what is normal for each cultivated species, with a source for every value."""

from jarvision.records import SpeciesProfile
from jarvision.register.species.own import load_species
from jarvision.register.species.profiles import (
    DEFAULT_PROFILE,
    SpeciesBook,
    find_profile,
    is_known,
    load_profiles,
)

__all__ = [
    "DEFAULT_PROFILE",
    "SpeciesBook",
    "SpeciesProfile",
    "find_profile",
    "is_known",
    "load_profiles",
    "load_species",
]
