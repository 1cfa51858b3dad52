"""Tables out of files as they arrive: CSV of many kinds, workbooks with oddities, and files made to do harm."""

from __future__ import annotations

import struct
import zipfile
from pathlib import Path

import pytest
from openpyxl import Workbook

from clinic_app.errors import Refusal
from clinic_app.exchange import guard
from clinic_app.exchange.tables import Table, open_tables

HEADINGS = ("patient_id", "eye", "surgery_date", "cct_um")
ROW = ("p1", "R", "2026-03-10", "540")


def cells(table: Table) -> list[tuple[object, ...]]:
    return [row for _, row in table.rows()]


def csv_file(folder: Path, content: str | bytes) -> Path:
    path = folder / "eyes.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_delimiter_and_encoding_are_found(tmp_path: Path, delimiter: str, encoding: str) -> None:
    rows = [HEADINGS, ("p1", "R", "2026-03-10", "3,10" if delimiter != "," else "540"), ("é", "L", "2026-03-10", "µ")]
    path = csv_file(tmp_path, "\r\n".join(delimiter.join(row) for row in rows).encode(encoding))
    (table,) = open_tables(path)
    assert table.headings == HEADINGS
    assert cells(table) == rows[1:]
    assert cells(table) == rows[1:], "a table can be read again from the beginning"


def test_first_line_may_name_the_delimiter_and_counts_for_nothing(tmp_path: Path) -> None:
    (table,) = open_tables(csv_file(tmp_path, "sep=;\npatient_id;eye;note\np1;R;a,b,c,d\n"))
    assert list(table.rows()) == [(2, ("p1", "R", "a,b,c,d"))]


def test_titles_above_blank_lines_and_repeated_headings(tmp_path: Path) -> None:
    text = "Day list of the clinic\n\npatient_id,eye\np1,R\n,\npatient_id,eye\np2,L\n"
    (table,) = open_tables(csv_file(tmp_path, text))
    assert list(table.rows()) == [(4, ("p1", "R")), (7, ("p2", "L"))]


def test_a_cell_may_hold_line_ends_and_quotation_marks(tmp_path: Path) -> None:
    (table,) = open_tables(csv_file(tmp_path, 'patient_id,eye\n"a\nb","say ""R"""\np2,L\n'))
    assert list(table.rows()) == [(2, ("a\nb", 'say "R"')), (3, ("p2", "L"))]


def read_through(path: Path) -> None:
    for table in open_tables(path):
        list(table.rows())


def refused(path: Path, *words: str) -> Refusal:
    with pytest.raises(Refusal) as found:
        read_through(path)
    said = str(found.value)
    assert "nothing was changed" in said
    for word in words:
        assert word in said
    return found.value


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ("word/document.xml", ("a text or a presentation", "Copy the table in it into a spreadsheet program")),
        ("ppt/presentation.xml", ("a text or a presentation",)),
        ("eyes.csv", ("an archive", "Unpack it")),
    ],
)
def test_documents_and_archives_are_told_what_to_do(tmp_path: Path, part: str, words: tuple[str, ...]) -> None:
    path = tmp_path / "day list.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(part, "<w/>")
    refused(path, *words)


def test_other_encodings_are_named_and_not_guessed(tmp_path: Path) -> None:
    german = "patient_id,eye,note\np1,R,Müller über Größe µ\n"
    refused(csv_file(tmp_path, german.encode("cp1252")), "--encoding windows-1252", "mapping file")
    refused(csv_file(tmp_path, german.encode("cp850")), "cp850")
    refused(csv_file(tmp_path, german.encode("utf-16-le")), "utf-16-le")
    (table,) = open_tables(csv_file(tmp_path, german.encode("cp1252")), encoding="cp1252")
    assert cells(table) == [("p1", "R", "Müller über Größe µ")]
    with pytest.raises(Refusal, match="no text encoding"):
        open_tables(csv_file(tmp_path, german), encoding="zip")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", ("is empty",)),
        (b"  \n\n", ("is empty",)),
        (b"patient_id,eye\n", ("heading and no rows",)),
        (b"patient_id,eye\np\x001,R\n", ("NUL",)),
        (b'patient_id,eye\np1,"R\np2,L\n', ("none closes it", "after row")),
        (b'patient_id,eye\n"p1"x,R\n', ("quotation mark",)),
        (b"patient_id,eye\np1," + b"x" * 10_000_000 + b"\n", ("longer than any answer", "after row 1")),
        (b"%PDF-1.7 ...", ("not a table",)),
        (b"<html><table><tr><td>patient_id</td></tr></table></html>", ("web page",)),
        (b"\x00" * 128 + b"DICM" + b"\x00" * 20, ("device",)),
    ],
)
def test_faults_of_a_text_file_refuse_it_whole(tmp_path: Path, content: bytes, words: tuple[str, ...]) -> None:
    refused(csv_file(tmp_path, content), *words)


def test_folders_and_missing_files(tmp_path: Path) -> None:
    refused(tmp_path, "folder")
    refused(tmp_path / "none.csv", "no file")


def book(folder: Path, rows: list[tuple[object, ...]]) -> Workbook:
    made = Workbook()
    for row in rows:
        made.active.append(row)
    return made


def saved(folder: Path, made: Workbook, name: str = "eyes.xlsx") -> Path:
    path = folder / name
    made.save(path)
    return path


def test_a_workbook_gives_numbers_days_and_truth_values(tmp_path: Path) -> None:
    from datetime import date, datetime, time

    made = book(
        tmp_path, [HEADINGS, ("p1", True, date(2026, 3, 10), 3.1), (17, datetime(2026, 3, 10, 9, 30), time(8, 5), "x")]
    )
    (table,) = open_tables(saved(tmp_path, made))
    assert list(table.rows()) == [
        (2, ("p1", "TRUE", "2026-03-10", 3.1)),
        (3, (17.0, "2026-03-10T09:30", "08:05", "x")),
    ]


def test_a_table_that_begins_elsewhere_keeps_its_rows_and_columns(tmp_path: Path) -> None:
    made = Workbook()
    for place, text in {"C4": "patient_id", "D4": "eye", "C5": "p1", "D7": "L"}.items():
        made.active[place] = text
    (table,) = open_tables(saved(tmp_path, made))
    assert table.headings == ("", "", "patient_id", "eye")
    assert list(table.rows()) == [(5, ("", "", "p1", "")), (7, ("", "", "", "L"))]


def test_errors_and_unfinished_formulas_are_shown_and_hidden_things_told(tmp_path: Path) -> None:
    made = book(tmp_path, [HEADINGS, ROW, ROW, ROW])
    sheet = made.active
    sheet["D2"] = "#N/A"
    sheet["D2"].data_type = "e"
    sheet["D3"] = "=500+40"
    sheet["F9"] = "#DIV/0!"
    sheet["F9"].data_type = "e"
    sheet.column_dimensions["D"].hidden = True
    sheet.row_dimensions[4].hidden = True
    sheet.merge_cells("A12:B13")
    made.create_sheet("old").sheet_state = "hidden"
    (table,) = open_tables(saved(tmp_path, made))
    rows = dict(table.rows())
    assert rows[2][3] == "#N/A"
    assert rows[3][3] == "=500+40"
    assert rows[9][5] == "#DIV/0!"
    said = " ".join(table.notes)
    for words in ("hidden columns", "hidden rows", "merged cells", "Sheet old is hidden"):
        assert words in said


def test_a_formula_with_its_value_is_read_as_the_value(tmp_path: Path) -> None:
    path = saved(tmp_path, book(tmp_path, [HEADINGS, (*ROW[:3], "=500+40")]))
    swap(path, "xl/worksheets/sheet1.xml", b"<v />", b"<v>540</v>")
    (table,) = open_tables(path)
    assert cells(table)[0][3] == 540.0


def test_each_sheet_is_a_table(tmp_path: Path) -> None:
    made = book(tmp_path, [HEADINGS, ROW])
    made.create_sheet("second").append(HEADINGS)
    made["second"].append(ROW)
    made.create_sheet("empty")
    tables = open_tables(saved(tmp_path, made))
    assert [table.name for table in tables] == ["eyes.xlsx, Sheet", "eyes.xlsx, second"]
    assert [cells(table) for table in tables] == [[ROW], [ROW]]
    assert "empty" in " ".join(tables[0].notes)


def swap(path: Path, part: str, old: bytes, new: bytes) -> None:
    """Change one part of a zipped file."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    assert old in parts[part]
    parts[part] = parts[part].replace(old, new)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)


def add(path: Path, name: str, content: bytes) -> None:
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, content)


def good(folder: Path) -> Path:
    return saved(folder, book(folder, [HEADINGS, ROW]))


def test_a_cell_at_the_far_corner_is_refused_before_it_is_read(tmp_path: Path) -> None:
    made = book(tmp_path, [HEADINGS, ROW])
    made.active["XFD1048576"] = "x"
    refused(saved(tmp_path, made), "XFD1048576")


def test_a_far_cell_without_value_does_no_harm(tmp_path: Path) -> None:
    path = good(tmp_path)
    swap(
        path, "xl/worksheets/sheet1.xml", b"</sheetData>", b'<row r="1048576"><c r="A1048576" s="0"/></row></sheetData>'
    )
    (table,) = open_tables(path)
    assert cells(table) == [ROW]


def test_a_merge_of_the_whole_sheet_is_refused(tmp_path: Path) -> None:
    path = good(tmp_path)
    merge = b'</sheetData><mergeCells count="1"><mergeCell ref="A3:XFD1048576"/></mergeCells>'
    swap(path, "xl/worksheets/sheet1.xml", b"</sheetData>", merge)
    refused(path, "merges cells")


def test_a_document_type_is_refused(tmp_path: Path) -> None:
    path = good(tmp_path)
    swap(path, "xl/workbook.xml", b"<workbook ", b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><workbook ')
    refused(path, "document type")


def test_a_document_type_across_two_pieces_is_noticed(tmp_path: Path) -> None:
    path = good(tmp_path)
    filler = b"<!-- -->" * ((guard._CHUNK - 4) // 8)
    add(path, "xl/extra.xml", filler + b"<!DOCTYPE x>")
    refused(path, "document type")


def test_macros_are_refused(tmp_path: Path) -> None:
    path = good(tmp_path)
    add(path, "xl/vbaProject.bin", b"x")
    refused(path, "macros")


def test_a_bomb_is_refused_while_counting(tmp_path: Path) -> None:
    path = good(tmp_path)
    add(path, "xl/media/image1.bin", b"\0" * (3 * 2**20))
    refused(path, "unpacks to far more")


def test_unpacked_size_is_capped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = good(tmp_path)
    monkeypatch.setattr(guard, "MAX_UNPACKED", 2000)
    with pytest.raises(Refusal, match="unpacks to more"):
        guard.check_zip(path)


def test_parts_that_climb_repeat_or_are_too_many(tmp_path: Path) -> None:
    climbing = good(tmp_path)
    add(climbing, "../evil.xml", b"<a/>")
    refused(climbing, "outside the file")
    many = saved(tmp_path, book(tmp_path, [HEADINGS, ROW]), "many.xlsx")
    with zipfile.ZipFile(many, "a") as archive:
        for number in range(guard.MAX_MEMBERS):
            archive.writestr(f"xl/x{number}.xml", b"<a/>")
    refused(many, "more than 400 parts")
    twice = saved(tmp_path, book(tmp_path, [HEADINGS, ROW]), "twice.xlsx")
    with pytest.warns(UserWarning, match="Duplicate name"):
        add(twice, "xl/workbook.xml", b"<workbook/>")
    refused(twice, "the same part twice")


def test_deep_nesting_and_endless_text_are_refused(tmp_path: Path) -> None:
    deep = good(tmp_path)
    add(deep, "xl/deep.xml", b"<a>" * 500 + b"</a>" * 500)
    refused(deep, "nested deeper")
    text = saved(tmp_path, book(tmp_path, [HEADINGS, ROW]), "text.xlsx")
    import random

    words = bytes(random.Random(1).choices(b"abcdefghijklmnopqrstuvwxyz ", k=300_000))
    add(text, "xl/sharedStrings2.xml", b"<t>" + words + b"</t>")
    refused(text, "a cell of more than")


def test_another_encoding_inside_is_refused(tmp_path: Path) -> None:
    path = good(tmp_path)
    add(path, "xl/other.xml", '<?xml version="1.0" encoding="utf-16"?><a/>'.encode("utf-16"))
    refused(path, "not UTF-8")


def test_a_damaged_part_is_refused(tmp_path: Path) -> None:
    path = good(tmp_path)
    content = path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        info = archive.getinfo("xl/worksheets/sheet1.xml")
    at = info.header_offset + 30 + len(info.filename)
    path.write_bytes(content[: at + 20] + bytes([content[at + 20] ^ 0xFF]) + content[at + 21 :])
    refused(path, "damaged")
    path.write_bytes(content[:400])
    refused(path, "damaged")


def test_a_password_file_gets_a_clear_sentence(tmp_path: Path) -> None:
    path = tmp_path / "locked.xlsx"
    path.write_bytes(
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 500 + "EncryptedPackage".encode("utf-16-le") + b"\0" * 99
    )
    refused(path, "locked with a password", "without a password")


def test_an_encrypted_zip_part_is_refused(tmp_path: Path) -> None:
    path = good(tmp_path)
    content = bytearray(path.read_bytes())
    at = content.rindex(b"PK\x01\x02")
    struct.pack_into("<H", content, at + 8, struct.unpack_from("<H", content, at + 8)[0] | 1)
    path.write_bytes(content)
    refused(path, "locked with a password")


def test_a_broken_old_workbook_is_refused_and_harms_nothing(tmp_path: Path) -> None:
    path = tmp_path / "old.xls"
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(range(256)) * 8)
    refused(path, "old.xls")


def test_binary_workbooks_and_other_archives_are_named(tmp_path: Path) -> None:
    binary = tmp_path / "b.xlsb"
    with zipfile.ZipFile(binary, "w") as archive:
        archive.writestr("xl/workbook.bin", b"x")
    refused(binary, "XLSB")
    other = tmp_path / "o.zip"
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("letter.txt", b"x")
    refused(other, "archive")


ODS = """<?xml version="1.0" encoding="UTF-8"?><office:document-content
 xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"
 xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" office:version="1.3"><office:body><office:spreadsheet>
 <table:table table:name="eyes">%s</table:table></office:spreadsheet></office:body></office:document-content>"""


def test_an_open_document_sheet_is_read(tmp_path: Path) -> None:
    def line(values: tuple[str, ...]) -> str:
        inner = "".join(
            f'<table:table-cell office:value-type="string"><text:p>{one}</text:p></table:table-cell>' for one in values
        )
        return f"<table:table-row>{inner}</table:table-row>"

    path = tmp_path / "eyes.ods"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
        archive.writestr("content.xml", ODS % (line(HEADINGS) + line(ROW)))
    (table,) = open_tables(path)
    assert table.headings == HEADINGS
    assert cells(table) == [ROW]
