"""Puts a paper on pages: a PDF with its type embedded, or a printer. Ink and greys alone, so that any printer shows it.

Lengths are points of 1/72 inch, turned into the device's own dots once.
"""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QBuffer, QIODevice, QLocale, QMarginsF
from PySide6.QtGui import QPageLayout, QPageSize, QPainter, QPdfWriter
from PySide6.QtPrintSupport import QPrinter, QPrinterInfo

from clinic_app.desktop.papers.paper import INVENTED, Paper
from clinic_app.desktop.papers.setting import Setting
from clinic_app.errors import Refusal
from clinic_app.files import write_whole

SIZES = {"A4": QPageSize.PageSizeId.A4, "Letter": QPageSize.PageSizeId.Letter}
MARGIN_MM = 15.0
DOTS = 600


def usual_size() -> str:
    """The size of paper that the locale uses."""
    us = QLocale.system().measurementSystem() == QLocale.MeasurementSystem.ImperialUSSystem
    return "Letter" if us else "A4"


def layout_of(paper: Paper, size: str) -> QPageLayout:
    """The page: its size, which way it lies, its margins."""
    if size not in SIZES:
        raise ValueError(f"a paper is {' or '.join(SIZES)}, not {size}")
    way = QPageLayout.Orientation.Landscape if paper.landscape else QPageLayout.Orientation.Portrait
    margins = QMarginsF(MARGIN_MM, MARGIN_MM, MARGIN_MM, MARGIN_MM)
    return QPageLayout(QPageSize(SIZES[size]), way, margins, QPageLayout.Unit.Millimeter)


def pdf_of(paper: Paper, size: str = "A4") -> bytes:
    """The paper as a PDF with its type embedded."""
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    writer = QPdfWriter(buffer)
    writer.setResolution(DOTS)
    writer.setPageLayout(layout_of(paper, size))
    writer.setTitle(f"{paper.title} ({INVENTED})" if paper.demo else paper.title)
    writer.setCreator(paper.practice)
    _press(paper, writer)
    buffer.close()
    return bytes(buffer.data().data())


def write_pdf(paper: Paper, path: Path, size: str = "A4") -> Path:
    """Write the paper as a PDF, whole or not at all. Raises `Refusal` when the folder cannot be written."""
    return write_whole(path, pdf_of(paper, size))


def printers() -> list[str]:
    """Names of the printers that the system knows, the usual one first."""
    usual = QPrinterInfo.defaultPrinterName()
    names = list(QPrinterInfo.availablePrinterNames())
    return sorted(names, key=lambda name: (name != usual, name))


def print_paper(paper: Paper, printer_name: str, size: str = "A4") -> None:
    """Print the paper on a printer. Raises `Refusal` when the printer does not take it."""
    known = QPrinterInfo.printerInfo(printer_name)
    if known.isNull():
        raise _no_printer()
    printer = QPrinter(known, QPrinter.PrinterMode.HighResolution)
    printer.setPageLayout(layout_of(paper, size))
    printer.setDocName(paper.title)
    _press(paper, printer)


def _press(paper: Paper, device: QPdfWriter | QPrinter) -> None:
    painter = QPainter()
    if not painter.begin(device):
        raise _no_printer()
    try:
        setting = Setting(paper, device)
        for place in range(setting.pages):
            if place:
                device.newPage()
            setting.draw(painter, place)
    finally:
        painter.end()


def _no_printer() -> Refusal:
    return Refusal(
        what="Nothing was printed.",
        why="The printer does not take the page.",
        next="Look at the printer, choose another one, or save a PDF instead.",
    )
