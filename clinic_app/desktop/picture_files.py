"""Pictures of the window as small files: few colours, each the one that stood there or its nearest."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QImage

COLOURS, EXACT = 256, 144
"""Colours of a palette, and how many of them are the picture's most frequent ones as they are."""
NEAR = 0xF8F8F8
"""Colours that agree in these bits are taken as one for the rest of the palette."""


def palette_of(image: QImage) -> list[int]:
    """At most 256 colours for the picture: its most frequent ones, then of each group of near ones the most frequent.

    Grounds and lines thereby keep their colours; only the edges of letters are drawn in a near one.
    """
    whole = image.convertToFormat(QImage.Format.Format_RGB32)
    counts = Counter(memoryview(whole.constBits()).cast("I").tolist()).most_common()
    kept = [colour for colour, _ in counts[:EXACT]]
    groups: Counter[int] = Counter()
    first = {colour & NEAR: colour for colour in kept}
    for colour, count in counts[EXACT:]:
        if first.setdefault(colour & NEAR, colour) not in kept:
            groups[colour & NEAR] += count
    return kept + [first[group] for group, _ in groups.most_common(COLOURS - len(kept))]


def save_small(image: QImage, path: Path) -> Path:
    """Save the picture as a PNG with a palette; the path written."""
    small = image.convertToFormat(QImage.Format.Format_Indexed8, palette_of(image), Qt.ImageConversionFlag.AvoidDither)
    if not small.save(str(path), quality=0):
        raise OSError(f"{path} could not be written")
    return path
