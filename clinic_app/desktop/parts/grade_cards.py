"""The five cards of a grade: each drawn from the front and in the slit, its word above its digit, and what is seen."""

from __future__ import annotations

from PySide6.QtCore import QRect, QRectF, QSize
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from clinic_app.desktop.icons import draw_icon
from clinic_app.desktop.look import BOLD, STRONG, Look
from clinic_app.desktop.mirror import put
from clinic_app.desktop.parts.choice import ChoiceRow, Option
from clinic_app.desktop.parts.eye_sketch import draw_iris, draw_slit
from clinic_app.desktop.parts.frame import draw_ring, rounded
from clinic_app.desktop.parts.label import Words, draw_words, draw_wrapped, text_width, wrapped_rows
from models.codebook import Field, field

SEEN = {
    "0": "No haze, no folds.",
    "1": "Local haze. Iris pattern sharp. Under 5 folds.",
    "2": "Haze all over, or 5 folds or more. Iris pattern softened.",
    "3": "Iris pattern blurred. Pupil edge seen.",
    "4": "Pupil and iris not seen. Often blisters.",
}
"""What is seen inside the ring, by grade; our own wording."""
INTRO = "Inside the dotted 4 mm ring. Sketches, not photographs."
NARROWEST = 128
GAP = 8


class GradeCard(Option):
    """One grade of the five; a radio button that is a card, or a row where the page is narrow."""

    def __init__(self, row: ChoiceRow, code: str, text: str) -> None:
        super().__init__(row, code, text, hint=code)
        self.wide = False
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)

    def set_words(self, text: str) -> None:
        super().set_words(text)
        self.setAccessibleName(f"{self.row.field.label}: {self.code}, {text}")
        self.setAccessibleDescription(SEEN[self.code])

    def narrowest(self) -> int:
        """Pixels below which the card's word would not fit."""
        look = self.row.look
        return max(look.px(NARROWEST), text_width(look, self.words, 14, STRONG) + look.px(28))

    def height_for(self, width: int, *, wide: bool) -> int:
        """Height of the card, or of the row, in a width."""
        px = self.row.look.px
        rows = wrapped_rows(self.row.look, SEEN[self.code], self._room(width, wide=wide), 12.5)
        said = rows * self.row.look.metrics(12.5).height()
        if wide:
            return max(px(72), said + px(24))
        return px(14 + 82 + 8 + 22 + 26 + 2) + said + px(14)

    def _room(self, width: int, *, wide: bool) -> int:
        px = self.row.look.px
        return width - px(28) if not wide else width - self._text_left() - self._word_width() - px(16 + 36)

    def _text_left(self) -> int:
        return self.row.look.px(14 + 52 + 6 + 20 + 14)

    def _word_width(self) -> int:
        row = self.row
        return max(text_width(row.look, one.words, 14, STRONG) for one in row.options if isinstance(one, GradeCard))

    def sizeHint(self) -> QSize:
        width = self.width() if self.width() > self.narrowest() else self.narrowest()
        return QSize(self.narrowest(), self.height_for(width, wide=self.wide))

    def paintEvent(self, event: QPaintEvent) -> None:
        look, px = self.row.look, self.row.look.px
        painter = QPainter(self)
        box = QRectF(self.rect()).adjusted(px(3), px(3), -px(3), -px(3))
        chosen = self.isChecked()
        ground = "seen_wash" if chosen else ("act_wash" if self.underMouse() else "sheet")
        line = "seen" if chosen else "edge"
        rounded(
            painter, box, px(6), fill=look.colour(ground), line=look.colour(line), width=px(2.4) if chosen else 1.0,
            dashed=self.row.given.proposed and chosen,
        )  # fmt: skip
        grade = int(self.code)
        digit = "seen" if chosen else "ink"
        if self.wide:
            middle = box.center().y()
            draw_iris(painter, QRectF(px(14), middle - px(26), px(52), px(52)), grade)
            draw_slit(painter, QRectF(px(14 + 52 + 6), middle - px(26), px(20), px(52)), grade)
            left, wide = self._text_left(), self._word_width()
            upper = QRect(left, int(middle) - px(24), wide, px(22))
            draw_words(painter, look, self.words, upper, weight=STRONG)
            lower = QRect(left, int(middle) - px(2), wide, px(26))
            draw_words(painter, look, self.code, lower, size=18, weight=BOLD, colour=digit)
            said = QRect(left + wide + px(16), px(6), self._room(self.width(), wide=True), self.height() - px(12))
        else:
            across = px(82 + 8 + 24)
            left = (self.width() - across) // 2
            draw_iris(painter, QRectF(left, px(14), px(82), px(82)), grade)
            draw_slit(painter, QRectF(left + px(90), px(14), px(24), px(82)), grade)
            top = px(14 + 82 + 8)
            draw_words(painter, look, self.words, QRect(px(14), top, self.width() - px(22), px(22)), weight=STRONG)
            lower = QRect(px(14), top + px(22), self.width() - px(28), px(26))
            draw_words(painter, look, self.code, lower, size=18, weight=BOLD, colour=digit)
            top += px(22 + 26 + 2)
            rows = wrapped_rows(look, SEEN[self.code], self._room(self.width(), wide=False), 12.5)
            said = QRect(px(14), top, self._room(self.width(), wide=False), rows * look.metrics(12.5).height())
        draw_wrapped(painter, look, SEEN[self.code], said, size=12.5, colour="soft" if not chosen else "ink")
        if chosen:
            side = px(18)
            check = QRectF(box.right() - side - px(9), box.bottom() - side - px(9), side, side)
            if not self.wide:
                check.moveTop(lower.top() + px(3))
            draw_icon(painter, "check", check, look.colour("seen"))
        if self.hasFocus():
            draw_ring(painter, look, box, px(6))
        painter.end()


class CardGround(QWidget):
    """Places the cards: side by side and equally high, or one below the other."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.cards: list[GradeCard] = []
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def add(self, card: GradeCard) -> None:
        """One more card at the end."""
        card.setParent(self)
        self.cards.append(card)

    def in_rows(self, width: int) -> bool:
        """Whether the cards stand below one another in this width."""
        gaps = self.look.px(GAP) * (len(self.cards) - 1)
        return width < len(self.cards) * max(card.narrowest() for card in self.cards) + gaps

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        return self._place(width, move=False)

    def sizeHint(self) -> QSize:
        width = len(self.cards) * (self.look.px(NARROWEST + GAP))
        return QSize(width, self.heightForWidth(width))

    def minimumSizeHint(self) -> QSize:
        narrow = self.look.px(240)
        return QSize(narrow, self.heightForWidth(max(narrow, self.width())))

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.placed()

    def placed(self) -> None:
        """Place the cards anew."""
        self._place(self.width(), move=True)

    def _place(self, width: int, *, move: bool) -> int:
        gap, wide = self.look.px(GAP), self.in_rows(width)
        each = width if wide else (width - gap * (len(self.cards) - 1)) // len(self.cards)
        heights = [card.height_for(each, wide=wide) for card in self.cards]
        if not wide:
            heights = [max(heights)] * len(heights)
        left = top = 0
        for card, high in zip(self.cards, heights, strict=True):
            if move:
                card.wide = wide
                put(card, self, QRect(left, top, each, high))
                card.update()
            if wide:
                top += high + self.look.px(4)
            else:
                left += each + gap
        return top - self.look.px(4) if wide else heights[0]


class GradeCards(ChoiceRow):
    """A choice of the centre's grade: one tab stop, digits 0 to 4 choose, *Not possible* stands below the cards."""

    def __init__(self, look: Look, grade: Field | None = None, *, label: str | None = None) -> None:
        self.ground = CardGround(look)
        super().__init__(look, grade or field("edema_grade_central"), label=label, reason="not_possible")
        self.intro = Words(look, INTRO, size=12.5, colour="faint", wrap=True)
        self.intro.setContentsMargins(look.px(3), 0, look.px(3), look.px(2))
        for widget in (self.intro, self.ground):
            self.column.insertWidget(self.column.indexOf(self.row), widget)

    def make_option(self, code: str, words: str, hint: str) -> Option:
        return GradeCard(self, code, words)

    def place_option(self, option: Option) -> None:
        if isinstance(option, GradeCard):
            self.ground.add(option)
        else:
            super().place_option(option)

    def restyle(self) -> None:
        self.ground.placed()
        self.ground.updateGeometry()
        super().restyle()

    def natural_width(self) -> int:
        return self.ground.sizeHint().width()
