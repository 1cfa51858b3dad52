"""The list of eyes at the left: days as headings, two lines an eye; painted, yet a list for readers of the screen."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from PySide6.QtCore import (
    QAbstractListModel,
    QEvent,
    QItemSelectionModel,
    QModelIndex,
    QPersistentModelIndex,
    QPointF,
    QRect,
    QRectF,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QKeyEvent, QPainter, QPen
from PySide6.QtWidgets import QFrame, QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from clinic_app.desktop.icons import draw_icon
from clinic_app.desktop.look import BOLD, MEDIUM, STRONG, Look
from clinic_app.desktop.mirror import from_the_left, mirrored
from clinic_app.desktop.parts.answer import is_enter
from clinic_app.desktop.parts.frame import Bar, draw_ring, rounded
from clinic_app.desktop.parts.gauges import axis_top
from clinic_app.desktop.parts.label import draw_words, elided, text_width
from clinic_app.desktop.parts.plate import SIDES, draw_eyes, eyes_width

Index = QModelIndex | QPersistentModelIndex


@dataclass(frozen=True, slots=True)
class Gauge:
    """A forecast in small: chances in 100, and the planning line."""

    low: float
    risk: float
    high: float
    line: float | None = None


@dataclass(frozen=True, slots=True)
class ListRow:
    """One row: a heading (`key` None) or an eye."""

    key: Hashable | None
    name: str
    aside: str = ""
    side: str = ""
    under: str = ""
    under_aside: str = ""
    plan: bool = False
    gauge: Gauge | None = None
    spoken: str = ""


class EyeModel(QAbstractListModel):
    """Rows in order; headings cannot be chosen."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: tuple[ListRow, ...] = ()

    def set_rows(self, rows: Sequence[ListRow]) -> None:
        """Other rows."""
        self.beginResetModel()
        self.rows = tuple(rows)
        self.endResetModel()

    def rowCount(self, parent: Index | None = None) -> int:
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        row = self.rows[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            return row.name
        if role in (Qt.ItemDataRole.AccessibleTextRole, Qt.ItemDataRole.AccessibleDescriptionRole):
            return row.spoken or f"{row.name}, {row.aside}"
        if role == Qt.ItemDataRole.UserRole:
            return row
        return None

    def flags(self, index: Index) -> Qt.ItemFlag:
        if self.rows[index.row()].key is None:
            return Qt.ItemFlag.NoItemFlags
        return Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable

    def place_of(self, key: Hashable) -> int:
        """The row of a key, or -1."""
        return next((place for place, row in enumerate(self.rows) if row.key is not None and row.key == key), -1)


class EyeDelegate(QStyledItemDelegate):
    """Paints headings and eyes."""

    def __init__(self, look: Look, view: QListView) -> None:
        super().__init__(view)
        self.look = look

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        row: ListRow = index.data(Qt.ItemDataRole.UserRole)
        return QSize(self.look.px(220), self.look.px(36 if row.key is None else 60))

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        row: ListRow = index.data(Qt.ItemDataRole.UserRole)
        painter.save()
        box: QRect = option.rect
        state: QStyle.StateFlag = option.state
        if row.key is None:
            self._heading(painter, box, row)
        else:
            self._eye(painter, box, row, chosen=bool(state & QStyle.StateFlag.State_Selected))
            view = self.parent()
            if isinstance(view, QWidget) and view.hasFocus() and bool(state & QStyle.StateFlag.State_HasFocus):
                gap = self.look.px(4)
                draw_ring(painter, self.look, QRectF(box).adjusted(gap, gap, -gap, -gap), self.look.px(4))
        painter.restore()

    def _heading(self, painter: QPainter, box: QRect, row: ListRow) -> None:
        inner = box.adjusted(self.look.px(16), self.look.px(6), -self.look.px(12), 0)
        draw_words(painter, self.look, row.name, inner, size=12.5, weight=STRONG, colour="soft")
        draw_words(painter, self.look, row.aside, inner, size=12.5, colour="faint", align=Qt.AlignmentFlag.AlignRight)

    def _eye(self, painter: QPainter, box: QRect, row: ListRow, *, chosen: bool) -> None:
        look = self.look
        if chosen:
            painter.fillRect(box, look.colour("act_wash"))
            edge = QRect(box.left(), box.top(), look.px(4), box.height())
            painter.fillRect(mirrored(painter, edge), look.colour("act"))
        under = QRect(box.left() + look.px(16), box.bottom(), box.width() - look.px(16), 1)
        painter.fillRect(mirrored(painter, under), look.colour("rule"))
        inner = box.adjusted(look.px(16), look.px(6), -look.px(12), -look.px(6))
        upper = QRect(inner.left(), inner.top(), inner.width(), inner.height() // 2)
        lower = QRect(inner.left(), inner.top() + inner.height() // 2, inner.width(), inner.height() // 2)
        right = self._aside(painter, upper, row)
        name = elided(look, row.name, inner.width() // 2, 14, STRONG)
        draw_words(painter, look, name, upper, weight=STRONG)
        left = upper.left() + text_width(look, name, 14, STRONG) + look.px(9)
        if row.side in SIDES:
            ground = look.colour("act_wash" if chosen else "sheet")
            wide, high = eyes_width(look, 13), look.px(13)
            place = QRectF(left, upper.center().y() - high / 2, wide, high)
            draw_eyes(painter, look, place, row.side, ink=look.colour("ink"), ground=ground)
            left += wide + look.px(6)
            if left + text_width(look, SIDES[row.side], 14, MEDIUM) < right:
                draw_words(painter, look, SIDES[row.side], upper.adjusted(left - upper.left(), 0, 0, 0), weight=MEDIUM)
        room = lower.width()
        if row.gauge is not None:
            room -= look.px(86)
        elif row.under_aside:
            wide = text_width(look, row.under_aside, 12.5)
            draw_words(
                painter, look, row.under_aside, lower, size=12.5, colour="soft", align=Qt.AlignmentFlag.AlignRight
            )
            room -= wide + look.px(8)
        draw_words(painter, look, fitting(look, row.under, room), lower, size=12.5, colour="soft")
        if row.gauge is not None:
            wide = look.px(78)
            self._gauge(painter, QRect(lower.right() - wide, lower.top(), wide, lower.height()), row.gauge)

    def _aside(self, painter: QPainter, upper: QRect, row: ListRow) -> int:
        look = self.look
        size, weight, colour = (17.0, BOLD, "forecast") if row.gauge is not None else (12.5, MEDIUM, "soft")
        draw_words(
            painter, look, row.aside, upper, size=size, weight=weight, colour=colour, align=Qt.AlignmentFlag.AlignRight
        )
        right = upper.right() - text_width(look, row.aside, size, weight) - look.px(8)
        if row.plan:
            side = look.px(16)
            right -= side
            draw_icon(painter, "flag", QRectF(right, upper.center().y() - side / 2, side, side), look.colour("ink"))
            right -= look.px(6)
        return right

    def _gauge(self, painter: QPainter, box: QRect, gauge: Gauge) -> None:
        look, box = self.look, mirrored(painter, box)
        from_the_left(painter)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        top, middle = axis_top(gauge.high, gauge.line), box.center().y()
        edge = look.px(4)

        def x(value: float) -> float:
            return box.left() + edge + (box.width() - 2 * edge) * min(value, top) / top

        painter.setPen(QPen(look.colour("rule"), 2))
        painter.drawLine(QPointF(x(0), middle), QPointF(x(top), middle))
        thick = look.px(6)
        band = QRectF(x(gauge.low), middle - thick / 2, max(3.0, x(gauge.high) - x(gauge.low)), thick)
        rounded(painter, band, thick / 2, fill=look.colour("forecast_mid"), line=look.colour("forecast"))
        if gauge.line is not None:
            painter.setPen(QPen(look.colour("ink"), 1.2, Qt.PenStyle.DotLine))
            painter.drawLine(QPointF(x(gauge.line), middle - look.px(8)), QPointF(x(gauge.line), middle + look.px(8)))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour("forecast"))
        painter.drawEllipse(QPointF(x(gauge.risk), middle), look.px(4), look.px(4))


def fitting(look: Look, words: str, room: int) -> str:
    """The parts of a line that fit whole; the first one alone is cut where even it does not."""
    while " · " in words and text_width(look, words, 12.5) > room:
        words = words.rsplit(" · ", 1)[0]
    return elided(look, words, room, 12.5)


class EyeList(QListView):
    """The list itself. `wished` carries the key a person goes to; the page decides whether it opens.

    Moving through the eyes opens nothing, Enter or a click does. `follows`: a list whose rows open at once.
    """

    wished = Signal(object)

    def __init__(self, look: Look, name: str, *, follows: bool = False) -> None:
        super().__init__()
        self.look, self.follows = look, follows
        self.rows = EyeModel()
        self.setModel(self.rows)
        self.setItemDelegate(EyeDelegate(look, self))
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setAccessibleName(name)
        self.setObjectName("eyes")
        self.setVerticalScrollBar(Bar(look))
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollMode(QListView.ScrollMode.ScrollPerPixel)
        self.setSelectionMode(QListView.SelectionMode.SingleSelection)
        self.viewport().setAutoFillBackground(False)
        self._shown: Hashable | None = None
        if follows:
            self.selectionModel().currentChanged.connect(self._moved)
        else:
            self.clicked.connect(self._take)
        look.changed.connect(self.restyle)

    def restyle(self) -> None:
        """Take sizes from the tokens."""
        self.scheduleDelayedItemsLayout()
        self.viewport().update()

    def set_rows(self, rows: Sequence[ListRow]) -> None:
        """Other rows; the chosen eye stays chosen."""
        self.scrollToTop()
        self.rows.set_rows(rows)
        self.choose(self._shown)

    def choose(self, key: Hashable | None) -> None:
        """Show which eye is open, without asking for it."""
        self._shown = key
        place = self.rows.place_of(key) if key is not None else -1
        index = self.rows.index(place, 0) if place >= 0 else QModelIndex()
        model = self.selectionModel()
        model.blockSignals(True)
        model.setCurrentIndex(index, QItemSelectionModel.SelectionFlag.ClearAndSelect)
        if not index.isValid():
            self.clearSelection()
        model.blockSignals(False)
        if index.isValid():
            self.scrollTo(index)
        self.viewport().update()

    def keys(self) -> list[Hashable]:
        """The eyes in order."""
        return [row.key for row in self.rows.rows if row.key is not None]

    def neighbour(self, by: int) -> Hashable | None:
        """The eye after (1) or before (-1) the one that is open."""
        keys = self.keys()
        if not keys:
            return None
        if self._shown not in keys:
            return keys[0 if by > 0 else -1]
        place = keys.index(self._shown) + by
        return keys[place] if 0 <= place < len(keys) else None

    def _moved(self, current: QModelIndex) -> None:
        row = current.data(Qt.ItemDataRole.UserRole) if current.isValid() else None
        if isinstance(row, ListRow) and row.key is not None and row.key != self._shown:
            self.wished.emit(row.key)

    def _take(self, index: QModelIndex) -> None:
        row = index.data(Qt.ItemDataRole.UserRole) if index.isValid() else None
        if isinstance(row, ListRow) and row.key is not None:
            self.wished.emit(row.key)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if not self.follows and (is_enter(event) or event.key() == Qt.Key.Key_Space):
            self._take(self.currentIndex())
            return
        super().keyPressEvent(event)

    def selectionCommand(self, index: Index, event: QEvent | None = None) -> QItemSelectionModel.SelectionFlag:
        """The eye that is open stays marked while a person moves through the others."""
        return super().selectionCommand(index, event) if self.follows else QItemSelectionModel.SelectionFlag.NoUpdate
