"""An address as a QR code (ISO/IEC 18004): on the terminal, and as a picture in a page."""

from __future__ import annotations

import io

from markupsafe import Markup


def qr_svg(text: str) -> Markup:
    """SVG for the middle of a page: black on white, with the quiet zone of four modules."""
    import segno

    made = io.BytesIO()
    segno.make_qr(text).save(
        made, kind="svg", scale=8, border=4, dark="#000000", light="#ffffff", xmldecl=False,
        svgclass="qr", lineclass=None, omitsize=True, title="The address as a QR code",
    )  # fmt: skip
    return Markup(made.getvalue().decode("utf-8"))  # noqa: S704 - drawn here, of an address of ours


def qr_letters(text: str) -> str:
    """Half blocks for a terminal."""
    import segno

    made = io.StringIO()
    segno.make_qr(text).terminal(out=made, border=2, compact=True)
    return made.getvalue()
