"""An address as a QR code (ISO/IEC 18004) in characters, for a phone's camera at a terminal."""

from __future__ import annotations

QUIET = 4
"""Light modules around the code, as the standard asks for."""
_HALVES = {(0, 0): " ", (1, 0): "▀", (0, 1): "▄", (1, 1): "█"}


def qr_lines(address: str) -> list[str]:
    """The code, two rows of modules a line; a filled half is dark, so print dark on light."""
    import segno

    code = segno.make(address, micro=False, error="m")
    rows = [list(row) for row in code.matrix_iter(border=QUIET)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    return [
        "".join(_HALVES[min(top, 1), min(bottom, 1)] for top, bottom in zip(*pair, strict=True))
        for pair in zip(rows[::2], rows[1::2], strict=True)
    ]
