"""Which eye: a word, a fill and a drawing of both eyes as one faces the patient. Never mirrored, no hue."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from clinic_app.desktop.look import BOLD, Look
from clinic_app.desktop.mirror import from_the_left, mirrored
from clinic_app.desktop.parts.frame import rounded
from clinic_app.desktop.parts.label import draw_words, text_width

SIDES = {"R": "Right", "L": "Left"}


def eyes_width(look: Look, height: float) -> int:
    """Pixels the drawing of two eyes takes at that height (pixels at 100 %)."""
    return look.px(height * 3.1)


def _almond(box: QRectF) -> QPainterPath:
    path = QPainterPath(QPointF(box.left(), box.center().y()))
    path.quadTo(QPointF(box.center().x(), box.top() - box.height() * 0.45), QPointF(box.right(), box.center().y()))
    path.quadTo(QPointF(box.center().x(), box.bottom() + box.height() * 0.45), QPointF(box.left(), box.center().y()))
    return path


def draw_eyes(painter: QPainter, look: Look, box: QRectF, side: str, *, ink: QColor, ground: QColor) -> None:
    """Both eyes facing us, the patient's right at our left; the operated one filled, each with its letter."""
    box = mirrored(painter, box)
    painter.save()
    from_the_left(painter)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    wide = box.width() * 0.44
    for letter, left in (("R", box.left()), ("L", box.right() - wide)):
        eye = QRectF(left, box.top() + box.height() * 0.08, wide, box.height() * 0.84)
        filled = letter == side
        painter.setPen(QPen(ink, max(1.0, box.height() * 0.07)))
        painter.setBrush(ink if filled else Qt.BrushStyle.NoBrush)
        painter.drawPath(_almond(eye))
        font = QFont(look.font(12, BOLD))
        font.setPixelSize(max(6, int(box.height() * 0.56)))
        painter.setFont(font)
        painter.setPen(ground if filled else ink)
        painter.drawText(eye, int(Qt.AlignmentFlag.AlignCenter), letter)
    nose = box.center().x()
    painter.setPen(QPen(ink, max(1.0, box.height() * 0.07)))
    painter.drawLine(
        QPointF(nose + box.width() * 0.012, box.center().y()), QPointF(nose - box.width() * 0.012, box.bottom())
    )
    painter.restore()


class EyePlate(QWidget):
    """The plate that heads every case: right = solid, left = outlined; blank until the eye is chosen."""

    def __init__(self, look: Look, side: str | None = None) -> None:
        super().__init__()
        self.look = look
        self.side = side
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        look.changed.connect(self.updateGeometry)
        self.set_side(side)

    @property
    def words(self) -> str:
        """The plate in words."""
        return f"{SIDES[self.side]} eye" if self.side in SIDES else "Which eye?"

    def set_side(self, side: str | None) -> None:
        """R, L, or None when the eye is not yet chosen."""
        self.side = side if side in SIDES else None
        self.setAccessibleName(self.words)
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        look = self.look
        words = max(text_width(look, one, 20, BOLD) for one in ("Right eye", "Left eye", "Which eye?"))
        return QSize(words + eyes_width(look, 24) + look.px(44), look.px(48))

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        painter = QPainter(self)
        solid = self.side == "R"
        ink, ground = look.colour("on_act" if solid else "act"), look.colour("act" if solid else "sheet")
        line = look.colour("act" if self.side else "edge")
        rounded(painter, QRectF(self.rect()), look.px(4), fill=ground, line=line, width=2, dashed=self.side is None)
        wide, high = eyes_width(look, 24), look.px(24)
        drawing = QRectF(look.px(14), (self.height() - high) / 2, wide, high)
        draw_eyes(
            painter, look, drawing, self.side or "", ink=ink if self.side else look.colour("faint"), ground=ground
        )
        box = self.rect().adjusted(int(drawing.right()) + look.px(14), 0, 0, 0)
        role = "on_act" if solid else ("act" if self.side else "soft")
        draw_words(painter, look, self.words, box, size=20, weight=BOLD, colour=role)
        painter.end()
