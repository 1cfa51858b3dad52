"""The gallery holds every part of the window, each with its own picture in each theme."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from pathlib import Path

from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication, QWidget

from clinic_app.desktop import parts
from clinic_app.desktop.gallery import Gallery, main
from clinic_app.desktop.look import Look
from clinic_app.desktop.samples import SAMPLES


def part_classes() -> set[type[QWidget]]:
    """Every widget that a module of `desktop/parts` makes, and that is no base of another one."""
    found: set[type[QWidget]] = set()
    for module in pkgutil.iter_modules(parts.__path__):
        name = f"{parts.__name__}.{module.name}"
        for _, one in inspect.getmembers(importlib.import_module(name), inspect.isclass):
            if issubclass(one, QWidget) and one.__module__ == name:
                found.add(one)
    return found


def test_every_part_stands_in_the_gallery(qapp) -> None:
    page = Gallery(Look("light"))
    shown = [page, *page.findChildren(QWidget)]
    classes = part_classes()
    assert len(classes) > 30
    missing = sorted(one.__name__ for one in classes if not any(isinstance(widget, one) for widget in shown))
    assert missing == []
    page.deleteLater()


def test_nothing_is_cut_in_the_gallery_at_any_size_of_text(qapp) -> None:
    for percent in (100, 150, 200):
        page = Gallery(Look("light", percent))
        page.resize(1440, 1000)
        page.show()
        QApplication.processEvents()
        for one in page.shelf.framed:
            assert one.height() >= one.tall(one.width()), one.sample.name
            assert one.x() + one.width() <= page.shelf.width(), one.sample.name
        page.close()
        page.deleteLater()


def test_each_sample_has_a_name_of_its_own_and_its_picture_in_each_theme(tmp_path: Path, qapp) -> None:
    names = [sample.name for sample in SAMPLES]
    assert len(set(names)) == len(names)
    assert main(["--save", str(tmp_path)]) == 0
    expected = sorted(f"{name}-{theme}.png" for name in names for theme in ("light", "dark"))
    assert sorted(path.name for path in tmp_path.iterdir()) == expected
    light, dark = (QImage(str(tmp_path / f"grade-open-{theme}.png")) for theme in ("light", "dark"))
    assert light.size() == dark.size()
    assert light.pixelColor(3, 3).lightness() > 200
    assert dark.pixelColor(3, 3).lightness() < 60
