"""One answer out of a few: a row of radio buttons with one tab stop, chosen by digit, letter, arrow or mouse."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QFocusEvent, QFont, QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QButtonGroup, QRadioButton, QSizePolicy, QWidget

from clinic_app.desktop.look import MEDIUM, NORMAL, Look
from clinic_app.desktop.mirror import mirrored
from clinic_app.desktop.parts.answer import SHORT_MISSING, Answer, Given, is_enter
from clinic_app.desktop.parts.flow import FlowLayout
from clinic_app.desktop.parts.frame import draw_ring, rounded
from clinic_app.desktop.parts.label import draw_words, text_width
from clinic_app.desktop.parts.plate import SIDES, draw_eyes, eyes_width
from models.codebook import MISSING_CODES, Field, Kind

CYCLE = ("not_done", "not_possible", "not_recorded", "not_applicable")
STEP = {Qt.Key.Key_Left: -1, Qt.Key.Key_Up: -1, Qt.Key.Key_Right: 1, Qt.Key.Key_Down: 1}
NO_ANSWER = "-"


class Option(QRadioButton):
    """One radio button of a row, painted; `hint` is the digit that chooses it, `letter` marks its first letter."""

    def __init__(self, row: ChoiceRow, code: str, text: str, *, hint: str = "", letter: bool = False) -> None:
        super().__init__(row)
        self.row, self.code, self.hint, self.letter = row, code, hint, letter
        self.words = text
        self.side = code if row.field.codes == tuple(SIDES) and code in SIDES else ""
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def set_words(self, text: str) -> None:
        """Other words on the option."""
        self.words = text
        self.setAccessibleName(f"{self.row.field.label}: {text if text != NO_ANSWER else 'no answer, give the reason'}")
        self.updateGeometry()

    def sizeHint(self) -> QSize:
        look = self.row.look
        width = look.px(20 + 6) + max(look.px(8), self._text_width())
        if self.hint:
            width += text_width(look, self.hint, 12) + look.px(6)
        if self.side:
            width += eyes_width(look, 15) + look.px(8)
        return QSize(max(width, look.px(40)), look.px(40))

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def _weight(self) -> QFont.Weight:
        return NORMAL if self.code == NO_ANSWER else MEDIUM

    def _text_width(self) -> int:
        return self.row.look.text_width(self.words, 14, self._weight(), italic=self.code == NO_ANSWER)

    def hitButton(self, pos: object) -> bool:
        return True

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.row.look
        painter = QPainter(self)
        edge = look.px(3)
        box = QRectF(self.rect()).adjusted(edge, edge, -edge, -edge)
        chosen, absent, dashed = self.isChecked(), self.code == NO_ANSWER, self.row.given.proposed
        ink, fill, line = "ink", look.colour("sheet"), look.colour("edge")
        if absent:
            ink = "ink" if chosen else "faint"
            fill = look.colour("well" if chosen else "sheet")
            line = look.colour("edge" if chosen else "rule")
        elif chosen and dashed:
            fill, line = look.colour("act_wash"), look.colour("act")
        elif chosen:
            ink, fill, line = "on_act", look.colour("act"), look.colour("act")
        elif self.underMouse():
            fill = look.colour("act_wash")
        if not self.isEnabled():
            ink, fill, line = (
                "ink" if chosen else "faint",
                look.colour("well" if chosen else "sheet"),
                look.colour("rule"),
            )
        if self.row.tabs:
            ink = "ink" if chosen else "soft"
            if chosen:
                under = QRectF(box.left() + look.px(10), box.bottom() - look.px(4), self._text_width(), look.px(2.5))
                painter.fillRect(mirrored(painter, under), look.colour("act"))
        else:
            rounded(
                painter, box, look.px(4), fill=fill, line=line, dashed=absent or (chosen and dashed),
                width=1.0 if not (chosen and dashed) else 1.5,
            )  # fmt: skip
        inner = box.toRect().adjusted(look.px(10), 0, 0, 0)
        if self.side:
            wide = eyes_width(look, 15)
            draw_eyes(
                painter, look, QRectF(inner.left(), box.center().y() - look.px(7.5), wide, look.px(15)), self.side,
                ink=look.colour(ink), ground=fill,
            )  # fmt: skip
            inner.setLeft(inner.left() + wide + look.px(8))
        if self.hint:
            faint = "on_act" if ink == "on_act" else "faint"
            draw_words(painter, look, self.hint, inner, size=12, colour=faint)
            inner.setLeft(inner.left() + text_width(look, self.hint, 12) + look.px(6))
        if absent and not chosen:
            inner.setLeft(int(box.center().x() - self._text_width() / 2))
        draw_words(painter, look, self.words, inner, weight=self._weight(), colour=ink, italic=absent)
        if self.letter and not self.row.tabs:
            metrics = look.metrics(14, MEDIUM)
            wide = text_width(look, self.words[0], 14, MEDIUM)
            line_at = inner.center().y() + metrics.ascent() // 2 + look.px(2)
            under = QRectF(inner.left(), line_at, wide, max(1, look.px(1)))
            painter.fillRect(mirrored(painter, under), look.colour(ink))
        if self.hasFocus():
            draw_ring(painter, look, box, look.px(4))
        painter.end()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if not self.row.take_key(event):
            super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.row.entered.emit()


class ChoiceRow(Answer):
    """A field with a list of answers. Digits choose where the codes are digits or first letters repeat; letters
    otherwise. `-` gives the reason for having no answer, again for the next reason. Backspace empties.

    `absent`: whether a reason can be given at all; `reason`: the code of a reason whose words always stand at the end
    of the row (`not_possible`) and which is the first that is given; `tabs`: drawn as views of a page.
    """

    def __init__(
        self,
        look: Look,
        field: Field,
        *,
        label: str | None = None,
        absent: bool = True,
        reason: str = "",
        tabs: bool = False,
    ) -> None:
        super().__init__(look, field, label=label)
        self.tabs = tabs
        self._cycle = tuple(sorted(CYCLE, key=lambda code: code != reason))
        self._resting = MISSING_CODES.get(reason, NO_ANSWER)
        self._codes = [(one.code, one.label) for one in field.choices]
        if field.kind is Kind.YES_NO:
            self._codes = [("no", "No"), ("yes", "Yes")]
        self.keys: dict[str, str] = {}
        self._typed = ""
        self.row = QWidget(self)
        self.flow = FlowLayout(look, self.row, gap=0)
        self.group = QButtonGroup(self)
        self.options: list[Option] = []
        initials = [label[0].lower() for _, label in self._codes]
        self.by_letter = len(set(initials)) == len(initials) and all(one.isalpha() for one in initials)
        if field.kind is Kind.GRADE:
            self.by_letter = False
        first = 0 if self._codes and self._codes[0][0] in ("none", "no") else 1
        for place, (code, words) in enumerate(self._codes):
            digit = code if field.kind is Kind.GRADE else str(place + first)
            key = initials[place] if self.by_letter else digit
            self.keys[key] = code
            self._add(self.make_option(code, words, "" if self.by_letter else digit), words)
        if absent:
            self._add(Option(self, NO_ANSWER, self._resting), self._resting)
        self.column.addWidget(self.row)
        self.group.buttonClicked.connect(self._clicked)
        self.refresh()

    def make_option(self, code: str, words: str, hint: str) -> Option:
        """How one answer of the row is drawn."""
        return Option(self, code, words, hint=hint, letter=self.by_letter)

    def place_option(self, option: Option) -> None:
        """Where it stands."""
        self.flow.addWidget(option)

    def _add(self, option: Option, words: str) -> None:
        option.set_words(words)
        option.setObjectName(f"{self.field.name}.{option.code}")
        self.options.append(option)
        self.group.addButton(option)
        self.place_option(option)

    def restyle(self) -> None:
        for option in self.options:
            option.updateGeometry()
        self.flow.invalidate()
        self.row.updateGeometry()
        super().restyle()

    def stop(self) -> QWidget:
        chosen = self.group.checkedButton()
        return chosen if chosen is not None else self.options[0]

    def refresh(self) -> None:
        code = self._code()
        self.group.setExclusive(False)
        for option in self.options:
            option.setChecked(option.code == code)
        self.group.setExclusive(True)
        absent, words = self.options[-1], self.missing_words() or self._resting
        if absent.code == NO_ANSWER and absent.words != words:
            absent.set_words(words)
            self.flow.invalidate()
            self.row.updateGeometry()
            self.updateGeometry()
        self._settle()
        for option in self.options:
            option.update()

    def _settle(self) -> None:
        stop = self.stop()
        for option in self.options:
            option.setFocusPolicy(Qt.FocusPolicy.StrongFocus if option is stop else Qt.FocusPolicy.ClickFocus)

    def _code(self) -> str | None:
        if self.given.missing is not None:
            return NO_ANSWER
        value = self.given.value
        if value is None:
            return None
        if isinstance(value, bool):
            return "yes" if value else "no"
        return str(value)

    def value_of(self, code: str) -> Given:
        """The answer that a code stands for, by the field's kind."""
        if self.field.kind is Kind.YES_NO:
            return Given(code == "yes")
        if self.field.kind is Kind.GRADE:
            return Given(int(code))
        return Given(code)

    def none_code(self) -> str | None:
        """The code that says there is nothing of the kind, where the list has one."""
        return next((code for code, _ in self._codes if code in ("none", "no")), None)

    def choose(self, code: str, *, move: bool) -> None:
        """Take an answer; `move` asks the form for the next open one."""
        held = any(option.hasFocus() for option in self.options)
        self._typed = ""
        self.give(self.value_of(code))
        if held and not move:
            self.stop().setFocus(Qt.FocusReason.OtherFocusReason)
        if move:
            self.go_on.emit()

    def _clicked(self, button: Option) -> None:
        if button.code == NO_ANSWER:
            self._next_reason()
        else:
            self.choose(button.code, move=False)

    def _next_reason(self) -> None:
        held = self.given.missing
        place = self._cycle.index(held) + 1 if held in self._cycle else 0
        self.give(Given(missing=self._cycle[place % len(self._cycle)]))
        self.stop().setFocus(Qt.FocusReason.OtherFocusReason)

    def take_key(self, event: QKeyEvent) -> bool:
        """Act on a key; False when it is none of ours."""
        if event.modifiers() & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier):
            return False
        key, text = Qt.Key(event.key()), event.text().lower()
        if is_enter(event):
            self.go_on.emit()
        elif key in STEP:
            self._step(STEP[key])
        elif key in (Qt.Key.Key_Backspace, Qt.Key.Key_Delete):
            self._typed = ""
            self.give(Given())
            self.stop().setFocus(Qt.FocusReason.OtherFocusReason)
        elif text in self.keys:
            self.choose(self.keys[text], move=True)
        elif text == NO_ANSWER and self.options[-1].code == NO_ANSWER:
            self._next_reason()
        elif self._typed + text in SHORT_MISSING:
            code = SHORT_MISSING[self._typed + text]
            self._typed = ""
            self.give(Given(missing=code))
            self.go_on.emit()
        elif text == "n":
            self._typed = "n"
        else:
            return False
        return True

    def _step(self, by: int) -> None:
        shown = [option for option in self.options if option.code != NO_ANSWER]
        here = next((place for place, option in enumerate(shown) if option.hasFocus()), -1)
        place = max(0, min(len(shown) - 1, here + by))
        shown[place].setFocus(Qt.FocusReason.OtherFocusReason)
        self.choose(shown[place].code, move=False)

    def reasons(self) -> tuple[str, ...]:
        """The words of the reasons, for the help line."""
        return tuple(MISSING_CODES.values())
