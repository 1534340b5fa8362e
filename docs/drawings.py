"""How to set up and take the photo, drawn as small SVG pictures: one good, the others bad."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

WIDTH: Final = 210
HEIGHT: Final = 280
_SWATCHES: Final = ("#8c8c8c", "#b5372f", "#c99a55", "#333333", "#33509b", "#e8e8e0", "#d07f2c")
_MORE: Final = ("#1f1f1f", "#7d8a2e", "#d8c08f", "#777777", "#a83a85", "#8a6a44", "#3f94b0")
_MARKS: Final = ((30, 34), (153, 34), (30, 204), (153, 204))
_GOOD: Final = '<path d="M-8 0 l6 6 L9 -7"/>'
_BAD: Final = '<path d="M-6 -6 L6 6 M6 -6 L-6 6"/>'


def drawings() -> Mapping[str, str]:
    """Return all drawings: file name to SVG text."""
    plain = _card() + _jar()
    middle = f"{WIDTH / 2} {HEIGHT / 2}"
    hand = (
        '<path d="M-6 246 C18 232 22 196 40 178 C50 168 62 176 57 190 C50 210 52 236 40 262 '
        'L-6 280Z" fill="#d9a07c" stroke="#8a5a3c" stroke-width="2"/>'
    )
    flash = (
        '<radialGradient id="f"><stop offset="0" stop-color="#fff"/>'
        '<stop offset=".25" stop-color="#fff" stop-opacity=".95"/>'
        '<stop offset="1" stop-color="#fff" stop-opacity="0"/></radialGradient>'
        '<ellipse cx="104" cy="166" rx="52" ry="60" fill="url(#f)"/>'
    )
    shade = (
        '<linearGradient id="s"><stop offset="0" stop-color="#fff3c4" stop-opacity=".75"/>'
        '<stop offset=".35" stop-color="#fff3c4" stop-opacity="0"/>'
        '<stop offset=".5" stop-color="#000" stop-opacity="0"/>'
        '<stop offset="1" stop-color="#000" stop-opacity=".72"/></linearGradient>'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="url(#s)"/>'
    )
    lean = "translate(46 -10) scale(.74 1) skewY(11)"
    far = f"translate({middle}) scale(.42) translate(-{WIDTH / 2} -{HEIGHT / 2 - 60})"
    return {
        "photo-good.svg": _photo(plain, _GOOD, "The whole page and the jar, straight ahead"),
        "photo-far.svg": _photo(f'<g transform="{far}">{plain}</g>', _BAD, "Too far away"),
        "photo-tilted.svg": _photo(
            f'<g transform="{lean}">{plain}</g>', _BAD, "Taken from the side"
        ),
        "photo-flash.svg": _photo(plain + flash, _BAD, "The flash is mirrored in the glass"),
        "photo-lamp.svg": _photo(plain + shade, _BAD, "A lamp at one side"),
        "photo-hidden.svg": _photo(plain + hand, _BAD, "A hand hides part of the card"),
        "setup.svg": _setup(),
    }


def _photo(scene: str, sign: str, title: str) -> str:
    """Draw what the phone shows: wall, table, the scene, and a tick or a cross."""
    colour = "#0b6148" if sign == _GOOD else "#a3123f"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'width="{WIDTH}" height="{HEIGHT}" role="img" aria-label="{title}">'
        f'<title>{title}</title><clipPath id="c"><rect width="{WIDTH}" height="{HEIGHT}" rx="14"/>'
        '</clipPath><g clip-path="url(#c)">'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#b9b2a3"/>'
        f'<rect y="222" width="{WIDTH}" height="58" fill="#b78f63"/>'
        f"{scene}</g>"
        f'<g transform="translate(184 254)" fill="none" stroke="#fff" stroke-width="4" '
        f'stroke-linecap="round"><circle r="18" fill="{colour}" stroke-width="3"/>{sign}</g>'
        "</svg>\n"
    )


def _card() -> str:
    """Draw the page with its card: corner marks, swatches, the plain field."""
    parts = [
        '<rect x="20" y="14" width="168" height="226" fill="#fbfaf6"/>',
        '<rect x="54" y="46" width="100" height="186" fill="#4b4594"/>',
        '<path d="M56 30h96M56 27v6M152 27v6" stroke="#333" fill="none"/>',
    ]
    for x, y in _MARKS:
        parts.append(f'<rect x="{x}" y="{y - 8}" width="22" height="22" fill="#111"/>')
        parts.append(f'<path d="M{x + 5} {y - 3}h6v6h6v6h-12z" fill="#fff"/>')
    for row, (left, right) in enumerate(zip(_SWATCHES, _MORE, strict=True)):
        y = 56 + 19.5 * row
        parts.append(f'<rect x="32" y="{y}" width="18" height="15" fill="{left}"/>')
        parts.append(f'<rect x="157" y="{y}" width="18" height="15" fill="{right}"/>')
    return "".join(parts)


def _jar() -> str:
    """Draw a jar, three quarters grown over."""
    grains = "".join(
        f'<ellipse cx="{74 + (i * 37) % 60}" cy="{178 + (i * 23) % 72}" rx="4" ry="2.4" '
        f'transform="rotate({(i * 53) % 180} {74 + (i * 37) % 60} {178 + (i * 23) % 72})"/>'
        for i in range(34)
    )
    return (
        '<g stroke-linejoin="round"><rect x="74" y="94" width="60" height="16" rx="3" '
        'fill="#d9d7d0" stroke="#77756e" stroke-width="2"/>'
        '<path d="M78 110 C78 122 66 122 66 136 V256 Q66 264 74 264 H134 Q142 264 142 256 V136 '
        'C142 122 130 122 130 110Z" fill="#cfd9dd" fill-opacity=".35"/>'
        '<path d="M69 168 H139 V254 Q139 261 132 261 H76 Q69 261 69 254Z" fill="#a77b45"/>'
        f'<g fill="#8a6032">{grains}</g>'
        '<path d="M69 168 H139 V232 C128 226 122 240 110 236 C96 232 92 214 80 220 L69 216Z" '
        'fill="#f4efe2"/>'
        '<path d="M78 110 C78 122 66 122 66 136 V256 Q66 264 74 264 H134 Q142 264 142 256 V136 '
        'C142 122 130 122 130 110" fill="none" stroke="#5f7077" stroke-width="2.5"/>'
        '<path d="M75 140V250" stroke="#fff" stroke-width="4" stroke-opacity=".6"/></g>'
    )


def _setup() -> str:
    """Draw the setup from the side, with the distances that the README tells."""
    title = "From the side: the card upright behind the jar, the phone level with its middle"
    label = 'font-family="sans-serif" font-size="15" fill="#1e211d" text-anchor="middle"'
    arrow = 'stroke="#1e211d" stroke-width="1.6" marker-start="url(#a)" marker-end="url(#a)"'
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 620 300" width="620" height="300" '
        f'role="img" aria-label="{title}"><title>{title}</title>'
        '<defs><marker id="a" viewBox="0 0 8 8" refX="4" refY="4" markerWidth="8" '
        'markerHeight="8" orient="auto-start-reverse"><path d="M0 0L8 4L0 8z" fill="#1e211d"/>'
        '</marker></defs><rect width="620" height="300" rx="14" fill="#f1efe7"/>'
        '<rect x="196" y="222" width="424" height="16" fill="#b78f63"/>'
        '<rect x="502" y="52" width="7" height="170" fill="#fbfaf6" stroke="#77756e"/>'
        '<path d="M511 52h10v170h-10z" fill="#8a8478"/><path d="M521 150l34 72h-34z" '
        'fill="none" stroke="#8a8478" stroke-width="6" stroke-linejoin="round"/>'
        '<g transform="translate(377 24) scale(.75)">' + _jar() + "</g>"
        '<g transform="translate(112 138)"><rect width="14" height="104" rx="6" fill="#333"/>'
        '<circle cx="14" cy="20" r="4" fill="#6fa3b8"/></g>'
        '<path d="M130 158L502 56M130 158L502 220" stroke="#4b4594" stroke-dasharray="5 5"/>'
        f'<path d="M458 250H502" {arrow}/><text x="480" y="276" {label}>6 to 8 cm</text>'
        '<path d="M456 238v22M502 238v22" stroke="#1e211d" stroke-dasharray="2 3"/>'
        f'<path d="M126 40H502" {arrow}/><text x="300" y="30" {label}>35 to 55 cm</text>'
        f'<text x="119" y="130" {label}>phone</text><text x="568" y="76" {label}>card on</text>'
        f'<text x="568" y="96" {label}>a stiff board</text>'
        f'<text x="140" y="276" {label}>one lamp behind you, or a window</text></svg>\n'
    )
