"""A file is called what its first bytes say, whatever its name."""

import pytest

from routeio.findings import InputRefusedError
from routeio.firstbytes import contents, reader_for


@pytest.mark.parametrize(
    ("name", "data", "word", "code"),
    [
        ("route.dxf", b"AC1027\x00\x00\x00", "DWG", "wrong-format"),
        ("route.dxf", b"PK\x03\x04rest", "zip", "wrong-format"),
        ("route.dxf", b"%PDF-1.7\n", "PDF", "wrong-format"),
        ("route.dxf", b"\xff\xfe0\x00\n\x00", "UTF-16", "wrong-format"),
        ("route.dxf", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "office", "wrong-format"),
        ("route.dxf", b"<html><body>Sign in</body></html>", "web page", "wrong-format"),
        ("route.dxf", b"SQLite format 3\x00", "SQLite", "wrong-format"),
        ("route.dxf", b"a,b,c\n1,2,3\n", "plain text", "wrong-format"),
        ("route.dxf", b"   \n  ", "blank", "wrong-format"),
        ("route.dxf", b"", "empty", "empty-file"),
        ("route.gpkg", b"", "empty", "empty-file"),
        ("route.geojson", b'<OGRVRTDataSource><OGRVRTLayer name="a"/>', "virtual", "wrong-format"),
        ("route.geojson", b"  \n<OGRVRTDataSource>", "virtual", "wrong-format"),
        ("route.shp", b'{"type": "FeatureCollection"}', "JSON", "wrong-format"),
        ("route.gpkg", b"\x00\x00\x27\x0a", "shapefile", "wrong-format"),
        (
            "route.xml",
            b'<?xml version="1.0"?><gml:Feature xmlns:gml="x"/>',
            "its root is Feature",
            "wrong-format",
        ),
        ("route.xml", b"kind,tag\nvault,A\n", "plain text", "wrong-format"),
        ("route.csv", b"\xff\xfek\x00i\x00", "UTF-16", "wrong-format"),
        ("route.csv", b"PK\x03\x04rest", "zip", "wrong-format"),
        ("route.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old office", "wrong-format"),
        ("route.xlsx", b"kind,tag\n", "plain text", "wrong-format"),
        ("route.dwg", b"AC1027\x00\x00\x00", "DWG", "unknown-format"),
        ("route", b"  0\nSECTION\n", "DXF", "unknown-format"),
    ],
)
def test_named_as_what_it_is(tmp_path, name, data, word, code):
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(InputRefusedError, match=word) as refused:
        reader_for(path)
    assert refused.value.code == code
    assert refused.value.where.file == name
    assert refused.value.remedy


def test_missing_file_and_folder(tmp_path):
    for path in (tmp_path / "no.dxf", tmp_path):
        with pytest.raises(InputRefusedError) as refused:
            reader_for(path)
        assert refused.value.code == "no-file"


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"  0\r\nSECTION\r\n", "text DXF"),
        (b"999\ncomment\n  0\nSECTION\n", "text DXF"),
        (b"\xef\xbb\xbf  0\nSECTION\n", "text DXF"),
        (b"AutoCAD Binary DXF\r\n\x1a\x00rest", "binary DXF"),
        (b"\xef\xbb\xbf\n{}", "JSON"),
        (b"\x00\x01\x02\x03\x04", "unknown"),
    ],
)
def test_contents(tmp_path, data, word):
    path = tmp_path / "file"
    path.write_bytes(data)
    assert word in contents(path)


def test_a_file_that_may_not_be_read_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "route.dxf"
    path.write_text("0\nSECTION\n", encoding="ascii")

    def closed(self, *args, **more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "open", closed)
    with pytest.raises(InputRefusedError, match="Permission denied") as refused:
        reader_for(path)
    assert refused.value.code == "no-file"
