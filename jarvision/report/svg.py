"""A matplotlib figure as a small SVG, alone in a file or inside the page.

Inside the page its colours follow the style sheet: each of :data:`THEMED` becomes a CSS variable.
"""

from __future__ import annotations

import io
import re
import warnings
from typing import TYPE_CHECKING, Final

from markupsafe import Markup, escape

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Colours of the charts; each name is a variable of page.css.
INK: Final = "#17211f"
QUIET: Final = "#51605d"
RULE: Final = "#d7dfdc"
SHEET: Final = "#ffffff"
FIT: Final = "#1f7a6c"
DUE: Final = "#8f6a1f"
VERDICT: Final = {"no-go": "#a3123f", "check": "#8a5a01", "go": "#0e6b52", "wait": "#40607c"}

THEMED: Final = {
    INK: "--ink",
    QUIET: "--quiet",
    RULE: "--rule",
    SHEET: "--sheet",
    FIT: "--fit",
    DUE: "--due",
    VERDICT["no-go"]: "--nogo",
    VERDICT["check"]: "--check",
    VERDICT["go"]: "--go",
    VERDICT["wait"]: "--wait",
}

_FONT: Final = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', sans-serif"


def to_svg(figure: Figure, *, key: str) -> str:
    """Return the figure as compact SVG text with literal colours.

    Parameters
    ----------
    key
        Parts the ids of this chart from those of the others on a page.
    """
    import matplotlib as mpl

    data = io.BytesIO()
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": key}), warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing")  # the browser has other fonts
        figure.savefig(data, format="svg", metadata={"Date": None})
    return _compact(data.getvalue().decode("utf-8"))


def in_page(svg: str, *, finding: str, css_class: str) -> Markup:
    """Return the SVG as an element of the page; ``finding`` is its text alternative."""
    for colour, name in THEMED.items():
        svg = svg.replace(colour, f"var({name})")
    head = f'<svg class="{css_class}" role="img" aria-label="{escape(finding)}"'
    whole = re.sub(r'<svg xmlns="[^"]*"', lambda _: head, svg, count=1)
    return Markup(whole)  # noqa: S704 - matplotlib has escaped the words in the drawing


def _compact(svg: str) -> str:
    """Drop what a browser does not need, round to a tenth, keep only ids that are used."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>|<!--.*?-->", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>", "", svg, flags=re.DOTALL)
    svg = svg.replace("xlink:href", "href")
    used = set(re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', svg))
    kept = {name for pair in used for name in pair if name}
    svg = re.sub(r' id="([^"]+)"', lambda m: m[0] if m[1] in kept else "", svg)
    svg = re.sub(r"\s*font-family: [^;\"]+;", "", svg)
    svg = re.sub(r'font: ([^;"]*?px) [^;"]*', r"font-size: \1", svg)
    svg = re.sub(r' transform="rotate\(-?0 [^)]*\)"', "", svg)
    svg = re.sub(r"-?\d+\.\d{2,}", lambda m: f"{float(m[0]):.1f}".removesuffix(".0"), svg)
    svg = re.sub(r"\s*\n\s*", " ", svg).replace("> <", "><")
    while "<g></g>" in svg:
        svg = svg.replace("<g></g>", "")
    box = re.search(r'viewBox="([^"]+)"', svg)
    assert box is not None
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box[1]}" font-family="{_FONT}"'
    return re.sub(r"<svg [^>]*", lambda _: head, svg, count=1)
