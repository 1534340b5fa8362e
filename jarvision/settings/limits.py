"""The range of a setting, stated beside it: ``Annotated[float, Limits(0, 1)]``."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    """What a number may be: ends included, unless ``above`` says that ``low`` itself is not.

    ``high`` None: the usual upper end of the unit. ``unit`` in words, where the name of the setting
    does not tell it.
    """

    low: float
    high: float | None = None
    above: bool = False
    unit: str | None = None
    odd: bool = False

    def allows(self, value: float) -> bool:
        """Tell whether a finite number lies in the range."""
        low_enough = self.high is None or value <= self.high
        high_enough = value > self.low if self.above else value >= self.low
        return low_enough and high_enough and (not self.odd or value % 2 == 1)

    def __str__(self) -> str:
        begin = f"above {self.low:g}" if self.above else f"{self.low:g}"
        odd = ", odd" if self.odd else ""
        if self.high is None:
            return f"{begin if self.above else f'{begin} or more'}{odd}"
        return f"{begin} {'up ' if self.above else ''}to {self.high:g}{odd}"
