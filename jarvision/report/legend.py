"""The legend: each kind of line of the overlays, drawn small, with what it means."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from jarvision.vision.overlay import strokes


@dataclass(frozen=True)
class Sample:
    """One kind of line and its meaning."""

    drawing: Markup
    name: str
    meaning: str


def legend_samples() -> tuple[Sample, ...]:
    """Samples in the colours and shapes of the overlays."""
    return (
        Sample(_line(strokes.ZONE, 2, "10 6"), "judged area", "what is measured: 60° to each side"),
        Sample(
            _line(strokes.COVERED_COLOUR, 2.5, ""),
            "covered",
            "white growth, and staining that is normal",
        ),
        Sample(_line(strokes.PATCH_COLOURS["bare"], 2.5, "8 5"), "bare", "no growth at the glass"),
        Sample(
            _line(strokes.PATCH_COLOURS["green"], 4, "", hatched=True),
            "green, black, pink, yellow",
            "growth of a colour that should not be there",
        ),
        Sample(
            _line(strokes.PATCH_COLOURS["wet"], 2.5, "", hatched=True),
            "wet",
            "slime or water at the glass",
        ),
        Sample(
            _line(strokes.PATCH_COLOURS["stain"], 2.5, "8 5"),
            "stain",
            "amber or brown; see the reasons",
        ),
        Sample(
            _line(strokes.UNJUDGED_COLOUR, 2.5, "1 5"),
            "not judged",
            "glare, fog or a label: not counted",
        ),
    )


def _line(colour: strokes.Colour, width: float, dash: str, *, hatched: bool = False) -> Markup:
    """Draw a blob with this outline on a ground as dark as grain."""
    stroke = f"rgb{colour}".replace(" ", "")
    shape = "M9 20C6 9 20 5 31 7S55 6 55 17 44 33 31 31 12 33 9 20Z"
    lines = "M17 29L37 8M27 31L48 9M38 31L54 14" if hatched else ""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return Markup(
        '<svg class="sample" viewBox="0 0 64 38" aria-hidden="true">'
        f'<rect width="64" height="38" rx="5" fill="rgb{strokes.STRIP}"/>'
        f'<g fill="none" stroke="{stroke}" stroke-linecap="round">'
        f'<path d="{lines}" stroke-width="1.2"/>'
        f'<path d="{shape}" stroke-width="{width}"{dashes}/></g></svg>'
    )
