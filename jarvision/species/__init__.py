"""Species profiles: what is normal for each cultivated species, with a source for every value."""

from jarvision.species.profiles import (
    DEFAULT_PROFILE,
    SpeciesProfile,
    find_profile,
    is_known,
    load_profiles,
)

__all__ = ["DEFAULT_PROFILE", "SpeciesProfile", "find_profile", "is_known", "load_profiles"]
