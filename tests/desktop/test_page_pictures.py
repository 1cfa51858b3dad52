"""Pictures of every page can be taken without a screen."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtGui import QImage

from clinic_app.desktop.pictures import save_pictures


def test_each_page_in_each_theme_becomes_a_picture(opened, tmp_path: Path, practice_with_model, qapp) -> None:
    written = save_pictures(
        opened(practice_with_model), tmp_path / "pictures", sizes=((1440, 900),), themes=("light", "dark")
    )
    assert [path.name for path in written[:5]] == [
        "bookings-1440x900-light.png", "theatre-1440x900-light.png", "day-one-1440x900-light.png",
        "review-1440x900-light.png", "model-1440x900-light.png",
    ]  # fmt: skip
    images = {path.name: QImage(str(path)) for path in written}
    assert {(image.width(), image.height()) for image in images.values()} == {(1440, 900)}
    light = images["bookings-1440x900-light.png"].pixelColor(3, 400).lightness()
    dark = images["bookings-1440x900-dark.png"].pixelColor(3, 400).lightness()
    assert light > 200
    assert dark < 60
