"""The manual inside the program: its chapters at the left, the chapter at the right, as in the files."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt, QTimer, QUrl, Signal
from PySide6.QtGui import (
    QFocusEvent,
    QImage,
    QKeyEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QTextCursor,
    QTextDocument,
)
from PySide6.QtWidgets import QHBoxLayout, QTextBrowser, QVBoxLayout, QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import STRONG, Look
from clinic_app.desktop.pages.help_text import TEXT, dress
from clinic_app.desktop.pages.page import Page
from clinic_app.desktop.parts.eye_list import EyeList, ListRow
from clinic_app.desktop.parts.frame import Bar, Card, draw_ring
from clinic_app.desktop.parts.label import Words
from clinic_app.desktop.parts.picker import Picker
from clinic_app.manual.chapters import CHAPTERS, MANUAL, Chapter, chapter_of, text_of
from clinic_app.session import Session

LIST_WIDTH = 280
RING = 7
"""Pixels between the text and what is around it."""
LIST_BEHIND = 1000
"""Pixels at 100 % text below which the list folds into a button."""
EDGE = 10
"""Pixels at 100 % around the text."""
FIT_AFTER = 60
"""Milliseconds after the last change of width until pictures and lines are fitted to it."""


class ChapterView(QTextBrowser):
    """A chapter; its pictures come from the manual's folder and are never wider than the page.

    `held`: the keyboard came here, or left.
    """

    held = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.setAccessibleName("The manual")
        self.setObjectName("chapter")
        self.setFrameShape(QTextBrowser.Shape.NoFrame)
        self.setOpenLinks(False)
        self.setVerticalScrollBar(Bar(look))
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOn)  # else it takes its room afterwards
        self.viewport().setAutoFillBackground(False)
        self._chapter: Chapter | None = None
        self._fitted = 0
        self._later = QTimer(self, singleShot=True, interval=FIT_AFTER)
        self._later.timeout.connect(self.again)

    @property
    def room(self) -> int:
        """Pixels that text and pictures may take across."""
        return max(self.look.px(200), self.viewport().width() - 2 * self.look.px(EDGE))

    def show_chapter(self, chapter: Chapter) -> None:
        """Show a chapter from its beginning."""
        self._chapter, self._fitted = chapter, self.room
        document = self.document()
        document.setDefaultFont(self.look.font(TEXT))
        self.setMarkdown(text_of(chapter))
        document.setDocumentMargin(self.look.px(EDGE))
        dress(document, self.look, self._fitted)
        self.moveCursor(QTextCursor.MoveOperation.Start)
        self.setAccessibleDescription(chapter.title)
        self.verticalScrollBar().setValue(0)

    def again(self) -> None:
        """The same chapter in the colours, at the size and for the width there are now, at the same place."""
        if self._chapter is None:
            return
        bar = self.verticalScrollBar()
        share = bar.value() / max(1, bar.maximum())
        self.show_chapter(self._chapter)
        bar.setValue(round(share * bar.maximum()))

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        if self._chapter is not None and self.room != self._fitted:
            self._later.start()

    def loadResource(self, kind: int, name: QUrl | str) -> object:
        """A picture of the manual with a line around it, fitted to the page."""
        path = MANUAL / QUrl(name).path()
        if kind != QTextDocument.ResourceType.ImageResource.value or not path.is_file():
            return super().loadResource(kind, QUrl(name))
        image = QImage(str(path)).convertToFormat(QImage.Format.Format_RGB32)
        sharp = self.devicePixelRatioF()
        wide = round(min(self.room, image.width()) * sharp)
        if image.width() != wide:
            image = image.scaledToWidth(wide, Qt.TransformationMode.SmoothTransformation)
        painter = QPainter(image)
        painter.setPen(self.look.colour("edge"))
        painter.drawRect(image.rect().adjusted(0, 0, -1, -1))
        painter.end()
        image.setDevicePixelRatio(sharp)
        return image

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.held.emit()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.held.emit()


class Ringed(QWidget):
    """The ground around a chapter: the ring says that the keyboard is on it."""

    def __init__(self, look: Look, view: ChapterView) -> None:
        super().__init__()
        self.look, self.view = look, view
        column = QVBoxLayout(self)
        column.setContentsMargins(RING, RING, RING, RING)
        column.addWidget(view)
        view.held.connect(self.update)

    def paintEvent(self, event: QPaintEvent) -> None:
        if self.view.hasFocus():
            painter = QPainter(self)
            inside = self.rect().adjusted(RING, RING, -RING, -RING)
            draw_ring(painter, self.look, QRectF(inside), self.look.px(4))
            painter.end()


class ChapterList(EyeList):
    """The chapters; Enter goes on to the text."""

    def __init__(self, look: Look, after: QWidget) -> None:
        super().__init__(look, "Chapters of the manual", follows=True)
        self.setObjectName("chapters")
        self._after = after

    def sizeHint(self) -> QSize:
        return QSize(self.look.px(LIST_WIDTH), self.look.px(400))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._after.setFocus(Qt.FocusReason.TabFocusReason)
            return
        super().keyPressEvent(event)


class HelpPage(Page):
    """The whole manual; opened at the chapter of the page one came from."""

    def __init__(self, session: Session, look: Look, jobs: Jobs) -> None:
        super().__init__()
        self.session, self.look, self.jobs = session, look, jobs
        self.view = ChapterView(look)
        self.list = ChapterList(look, self.view)
        left = Card(look, margins=(1, 12, 1, 8), spacing=6)
        title = Words(look, "Manual", size=15, weight=STRONG)
        title.setContentsMargins(look.px(15), 0, 0, 0)
        left.column.addWidget(title)
        left.column.addWidget(self.list, 1)
        left.setFixedWidth(look.px(LIST_WIDTH))
        right = Card(look, margins=(8, 8, 4, 4), spacing=2)
        self.picker = Picker(look, "Chapter", [(one.name, one.title) for one in CHAPTERS])
        self.picker.setObjectName("chapter_picker")
        self.picker.picked.connect(self.show_chapter)
        right.column.addWidget(self.picker, 0, Qt.AlignmentFlag.AlignLeft)
        right.column.addWidget(Ringed(look, self.view), 1)
        across = QHBoxLayout(self)
        across.setContentsMargins(look.px(11), look.px(11), look.px(11), look.px(11))
        across.setSpacing(look.px(8))
        across.addWidget(left)
        across.addWidget(right, 1)
        self.left = left
        self.set_width(LIST_BEHIND)
        rows = [ListRow(one.name, one.title, under=one.about, spoken=f"{one.title}. {one.about}") for one in CHAPTERS]
        self.list.set_rows(rows)
        self.list.wished.connect(self.show_chapter)
        self.view.anchorClicked.connect(self._follow)
        look.changed.connect(self._restyle)
        self.show_chapter(CHAPTERS[0].name)

    def show_chapter(self, name: str) -> None:
        """Show the chapter of that name."""
        chapter = next(one for one in CHAPTERS if one.name == name)
        self.list.choose(name)
        self.picker.choose(name)
        self.view.show_chapter(chapter)

    def show_for(self, page: str) -> None:
        """Show the chapter about a page of the window."""
        self.show_chapter(chapter_of(page).name)

    def _follow(self, link: QUrl) -> None:
        name = link.fileName().removesuffix(".md")
        if any(one.name == name for one in CHAPTERS):
            self.show_chapter(name)

    def set_width(self, effective: float) -> None:
        """On a narrow page the list folds into a button above the text."""
        self.left.setVisible(effective >= LIST_BEHIND)
        self.picker.setVisible(effective < LIST_BEHIND)

    def _restyle(self) -> None:
        self.left.setFixedWidth(self.look.px(LIST_WIDTH))
        self.view.again()

    def first_focus(self) -> QWidget:
        """The text, so that the keys that scroll work at once."""
        self.view.setFocus(Qt.FocusReason.OtherFocusReason)
        return self.view
