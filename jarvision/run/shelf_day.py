"""The day that verdicts are for, when nobody says: that of the newest photo of the shelf's jars."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from jarvision.base.days import latest_day, machine_day
from jarvision.records import Reading


def shelf_day(readings: Sequence[Reading]) -> date:
    """Day of the newest photo of a jar of the shelf, usable or not.

    An evening whose photos were all refused is a day of its own: what was seen the day before is
    not its answer. So that one odd photo does not make all others old, these do not count:

    - one dated later than it can be;
    - a refused one that has no day of its own, or of a jar without any usable photo;
    - the time of a file, which is that of a copy, unless at least half of the jars have nothing
      newer.

    Without a usable photo: the day of the newest photo, else the machine's.
    """
    latest = latest_day()
    known = [r for r in readings if r.taken_at.date() <= latest]
    usable = [r for r in known if r.status == "ok" and r.jar]
    jars = {r.jar for r in usable}
    dated = [r.taken_at.date() for r in known if r.jar in jars and r.time_source != "file"]
    newest = max(dated, default=None)
    copied = [
        r
        for r in usable
        if r.time_source == "file"
        and r.ignored_day is None
        and (newest is None or r.taken_at.date() > newest)
    ]
    if copied and 2 * len({r.jar for r in copied}) >= len(jars):
        return max(r.taken_at.date() for r in copied)
    if newest is not None:
        return newest
    days = (r.taken_at.date() for r in known if r.ignored_day is None or r.time_source != "file")
    return max(days, default=machine_day())
