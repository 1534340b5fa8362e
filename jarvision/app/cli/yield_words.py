"""What jars gave, in words: by flush, beside jars like them, and what goes together with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from jarvision.base.text import counted

if TYPE_CHECKING:
    from jarvision.truth.groups import Mean
    from jarvision.truth.yields import Efficiency, Together


def tell_flushes(means: Mapping[int, Mean]) -> Iterator[str]:
    """A line for each flush: ``Flush 1: 84 g (95 % interval 70 to 98 g, 5 jars)``."""
    if not means:
        return
    yield ""
    for number, found in means.items():
        if found.low is None or found.high is None:
            yield f"Flush {number}: {found.value:.0f} g (1 jar)."
        else:
            yield (
                f"Flush {number}: {found.value:.0f} g (95 % interval {found.low:.0f} to "
                f"{found.high:.0f} g, {found.of} jars)."
            )


def tell_among_like(found: Sequence[Efficiency]) -> Iterator[str]:
    """Each jar beside the others of its species and substrate."""
    if not found:
        return
    yield ""
    yield "Biological efficiency beside the other jars of the same species and substrate:"
    for jar in found:
        yield f"  {jar.jar}: {jar.percent:.0f} % ({jar.like}), {_beside(jar)}."


def _beside(jar: Efficiency) -> str:
    if jar.others_percent is None:
        return "no other such jar has been weighed"
    who = "the other one" if jar.others == 1 else f"the {jar.others} others"
    others = f"{who} gave {jar.others_percent:.0f} %"
    if jar.low_percent is None or jar.high_percent is None:
        return f"{others}, too few to say what is usual"
    span = f"{jar.low_percent:.0f} to {jar.high_percent:.0f} %"
    if jar.percent < jar.low_percent:
        return f"{others}: less than usual, where 95 of 100 would lie in {span}"
    if jar.percent > jar.high_percent:
        return f"{others}: more than usual, where 95 of 100 would lie in {span}"
    return f"{others}: as usual, where 95 of 100 would lie in {span}"


def tell_together(found: Sequence[Together]) -> Iterator[str]:
    """What goes together with the yield, and how little so few jars prove."""
    if not any(told.jars for told in found):
        return
    yield ""
    yield "Yield against how the jars stood before (rank correlation, -1 to 1; 0: nothing to do):"
    for told in found:
        yield f"  {told.what}: {_correlation(told)}."
    proven = sum(told.proven for told in found)
    if proven:
        yield (
            f"{counted(proven, 'of these hangs', 'of these hang')} together beyond chance in your "
            "jars. That is no proof that one makes the other: a warm week may make both."
        )
    else:
        yield (
            "Nothing here is beyond chance: so few jars prove nothing, whatever the numbers seem "
            "to say. Change nothing because of them; weigh on."
        )


def _correlation(told: Together) -> str:
    if told.rho is None or told.low is None or told.high is None:
        return f"{counted(told.jars, 'jar')}, too few or too alike to say anything"
    span = f"95 % interval {told.low:+.2f} to {told.high:+.2f}"
    return f"{told.rho:+.2f} ({span}, {counted(told.jars, 'jar')})"
