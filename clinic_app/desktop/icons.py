"""Our own line drawings: 20-unit grid, stroke 1.6, tinted when drawn. They stand beside words, never instead."""

from __future__ import annotations

from PySide6.QtCore import QByteArray, QRectF
from PySide6.QtGui import QColor, QPainter
from PySide6.QtSvg import QSvgRenderer

from clinic_app.desktop.mirror import mirrored

_OPEN = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 20" fill="none" stroke="#INK#" stroke-width="1.6"'
    ' stroke-linecap="round" stroke-linejoin="round">'
)

DRAWINGS: dict[str, str] = {
    "plus": '<path d="M10 4v12M4 10h12"/>',
    "check": '<path d="M4 10.5l4 4 8-9"/>',
    "flag": '<path d="M5 17V3h10l-2.5 4L15 11H5"/>',
    "info": '<circle cx="10" cy="10" r="7.2"/><path d="M10 9.2v4.6M10 6.2v.2"/>',
    "ask": (
        '<circle cx="10" cy="10" r="7.2"/><path d="M7.8 8c0-1.4 1-2.2 2.2-2.2s2.2.8 2.2 2c0 1.6-2.2 1.7-2.2 3.4"/>'
        '<path d="M10 14v.2"/>'
    ),
    "stop": '<path d="M7 2.8h6L17.2 7v6L13 17.2H7L2.8 13V7z"/><path d="M10 6.4v4.6M10 13.6v.2"/>',
    "refuse": '<circle cx="10" cy="10" r="7.2"/><path d="M5 15L15 5"/>',
    "person": '<circle cx="10" cy="6.6" r="3.2"/><path d="M3.6 17c.6-3.6 3-5.4 6.4-5.4s5.8 1.8 6.4 5.4"/>',
    "practice": '<path d="M3 17V8l7-5 7 5v9zM8 17v-5h4v5"/>',
    "list": '<path d="M4 5.5h12M4 10h12M4 14.5h12"/>',
    "table": '<path d="M3 4.5h14v11H3zM3 8.5h14M8.5 8.5v7"/>',
    "chart": '<path d="M3.5 3.5v13h13M6.5 12.5l3-3.5 2.5 2 4-5.5"/>',
    "note": '<path d="M4 3.5h12v9l-4 4H4zM16 12.5h-4v4"/>',
    "down": '<path d="M5 8l5 5 5-5"/>',
    "lock": '<path d="M4.5 9h11v8h-11zM7 9V6.5a3 3 0 0 1 6 0V9"/>',
    "clock": '<circle cx="10" cy="10" r="7.2"/><path d="M10 5.6V10l3 2"/>',
}


def draw_icon(painter: QPainter, name: str, box: QRectF, colour: QColor) -> None:
    """Paint the drawing into `box` in `colour`."""
    text = f"{_OPEN}{DRAWINGS[name]}</svg>".replace("#INK#", colour.name())
    QSvgRenderer(QByteArray(text.encode())).render(painter, mirrored(painter, box))
