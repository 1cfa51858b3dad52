"""Our own drawings of a cornea by grade: iris seen from the front, with the graded ring dotted, and a slit section.

An eye looks the same on a light and on a dark screen, so these drawings take their greys from fixed ends of the table
of colours. Only the ring is described: haze is drawn inside it, whatever the rest of the cornea may be. Sketches, not
to scale, made for this program.
"""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen

from clinic_app.desktop.mirror import mirrored
from clinic_app.figures.tokens import DARK, LIGHT

RING = 0.62
"""Radius of the graded ring as a share of the drawing's."""
PUPIL = 0.26
VEIL = (0, 46, 104, 168, 246)
"""How dense the haze is, 0 to 255, by grade."""
STROKES = 44
FOLDS: dict[int, tuple[tuple[float, float, float, float], ...]] = {
    1: ((-0.10, -0.28, 0.04, 0.30), (0.20, -0.16, 0.26, 0.20)),
    2: (
        (-0.34, -0.24, -0.16, 0.34), (-0.12, -0.42, 0.02, 0.40), (0.12, -0.30, 0.20, 0.36), (0.32, -0.26, 0.36, 0.20),
        (-0.46, -0.02, -0.30, 0.26),
    ),
    3: ((-0.36, -0.30, -0.14, 0.38), (-0.10, -0.46, 0.06, 0.44), (0.16, -0.40, 0.26, 0.40), (0.38, -0.30, 0.42, 0.22)),
}  # fmt: skip
BLISTERS = ((-0.30, -0.22, 0.10), (-0.12, -0.36, 0.07), (0.24, 0.16, 0.11), (0.04, 0.34, 0.08), (0.36, -0.18, 0.07))


def _shade(name: str, alpha: int = 255, *, pale: bool = False) -> QColor:
    colour = QColor(str(getattr(DARK if pale else LIGHT, name)))
    colour.setAlpha(alpha)
    return colour


def draw_iris(painter: QPainter, box: QRectF, grade: int) -> None:
    """The eye from the front, as large as fits into `box`; haze of grade 0 to 4 inside the dotted 4 mm ring."""
    box = mirrored(painter, box)
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    centre, radius = box.center(), min(box.width(), box.height()) / 2 - 1
    painter.setPen(QPen(_shade("edge"), 1))
    painter.setBrush(_shade("soft"))
    painter.drawEllipse(centre, radius, radius)
    painter.setPen(QPen(_shade("ref", 150, pale=True), max(0.7, radius * 0.018)))
    for stroke in range(STROKES):
        angle = 2 * math.pi * stroke / STROKES
        inner = PUPIL + 0.05 + 0.06 * (stroke % 3)
        outer = 0.95 - 0.07 * (stroke % 2)
        way = QPointF(math.cos(angle), math.sin(angle))
        painter.drawLine(centre + way * (radius * inner), centre + way * (radius * outer))
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(_shade("ink"))
    painter.drawEllipse(centre, radius * PUPIL, radius * PUPIL)
    painter.setBrush(_shade("ink", VEIL[grade], pale=True))
    painter.drawEllipse(centre, radius * RING, radius * RING)
    _marks(painter, centre, radius * RING, grade)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    ring = QPen(_shade("ink", pale=grade < 3), max(1.8, radius * 0.06))
    ring.setDashPattern([0.1, 1.9])
    ring.setCapStyle(Qt.PenCapStyle.RoundCap)
    painter.setPen(ring)
    painter.drawEllipse(centre, radius * RING, radius * RING)
    painter.restore()


def _marks(painter: QPainter, centre: QPointF, radius: float, grade: int) -> None:
    """Folds, and at grade 4 blisters of the surface."""
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(QPen(_shade("ink", 235 if grade < 3 else 255, pale=grade < 3), max(1.1, radius * 0.07)))
    for left, top, right, bottom in FOLDS.get(grade, ()):
        path = QPainterPath(centre + QPointF(left, top) * radius)
        middle = QPointF((left + right) / 2 + 0.12, (top + bottom) / 2) * radius
        path.quadTo(centre + middle, centre + QPointF(right, bottom) * radius)
        painter.drawPath(path)
    if grade == len(VEIL) - 1:
        painter.setPen(QPen(_shade("edge"), max(0.9, radius * 0.05)))
        for x, y, size in BLISTERS:
            painter.drawEllipse(centre + QPointF(x, y) * radius, size * radius, size * radius)


def draw_slit(painter: QPainter, box: QRectF, grade: int) -> None:
    """A section of the cornea in the slit, the front at the left: thicker and denser by grade, its back in folds."""
    box = mirrored(painter, box)
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(_shade("ink"))
    painter.drawRoundedRect(box, 3, 3)
    high = box.height() * 0.86
    top, bend = box.center().y() - high / 2, box.width() * 0.34
    thick = box.width() * (0.20 + 0.055 * grade)
    left = box.left() + box.width() * 0.16
    points = 24
    front, back = [], []
    for place in range(points + 1):
        share = place / points
        bow = bend * (2 * share - 1) ** 2
        wave = 0.0 if grade < 2 else math.sin(share * math.pi * 9) * box.width() * 0.022 * (grade - 1)
        y = top + high * share
        blister = box.width() * 0.05 if grade == len(VEIL) - 1 and place % 5 == 2 else 0.0
        front.append(QPointF(left + bow - blister, y))
        back.append(QPointF(left + bow + thick + wave, y))
    path = QPainterPath(front[0])
    for point in (*front[1:], *back[::-1]):
        path.lineTo(point)
    path.closeSubpath()
    painter.setBrush(_shade("ref", 70 + 34 * grade, pale=True))
    painter.drawPath(path)
    painter.setBrush(_shade("ink", VEIL[grade], pale=True))
    painter.drawPath(path)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(QPen(_shade("ink", pale=True), max(0.9, box.width() * 0.035)))
    for edge in (front, back):
        painter.drawPolyline(edge)
    painter.restore()
