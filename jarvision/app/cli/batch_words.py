"""How groups of jars did, in words: contamination and yield, with what so few jars can say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from jarvision.base.text import counted

if TYPE_CHECKING:
    from jarvision.truth.groups import Grouping, JarGroup, Mean


def tell_groups(whole: JarGroup, groups: Mapping[Grouping, tuple[JarGroup, ...]]) -> Iterator[str]:
    """All jars together, then each way to part them that makes two groups or more."""
    if not whole.jars:
        return
    yield ""
    yield _tell(whole)
    for grouping, own in groups.items():
        if len(own) > 1:
            yield ""
            yield f"By {grouping}:"
            yield from (f"  {_tell(group)}" for group in own)
    if any(group.few for own in groups.values() if len(own) > 1 for group in own):
        yield ""
        yield (
            "Groups that are called too few differ by chance alone, as far as anybody can tell: "
            "change nothing because of them."
        )


def _tell(group: JarGroup) -> str:
    found = group.contaminated
    parts = [f"{found.count} of {counted(found.of, 'jar')} contaminated"]
    if found.percent is not None:
        ends = f"{found.low_percent:.0f} to {found.high_percent:.0f} %"
        parts[0] += (
            f", too few to say more (anything from {ends})"
            if group.few
            else f", {found.percent:.0f} % (95 % interval {ends})"
        )
    if group.discarded:
        parts.append(f"{group.discarded} thrown out without a look")
    if group.fresh_grams:
        parts.append(_mean(group.fresh_grams, " g", " a jar"))
    if group.efficiency_percent:
        parts.append(f"biological efficiency {_mean(group.efficiency_percent, ' %')}")
    return f"{group.name}: {'; '.join(parts)}."


def _mean(mean: Mean, unit: str, each: str = "") -> str:
    """``84 g a jar (95 % interval 70 to 98 g, 5 jars)``; of one jar its number alone."""
    told = f"{mean.value:.0f}{unit}{each}"
    if mean.low is None or mean.high is None:
        return f"{told} (1 jar)"
    return f"{told} (95 % interval {mean.low:.0f} to {mean.high:.0f}{unit}, {mean.of} jars)"
