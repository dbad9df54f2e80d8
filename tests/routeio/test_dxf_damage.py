"""Damaged drawings and texts in other encodings: flagged or refused, never read short in silence."""

import ezdxf
import pytest

from routeio.findings import InputRefusedError

DUCT = {"layer": "DUCT"}


@pytest.fixture
def path(drawing, saved):
    for k in range(40):
        drawing.modelspace().add_line((k, 0), (k + 1, 0), dxfattribs=DUCT)
    return saved(drawing)


def flagged(read, path, **options):
    """Whether a cut file is refused, or read with an error finding that says so."""
    try:
        survey = read(path, ducts="DUCT", units="m", **options)
    except InputRefusedError as refusal:
        return refusal.code in {"damaged-drawing", "nothing-to-read", "empty-file", "wrong-format"}
    return any(f.code == "file-cut" and f.severity == "error" for f in survey.findings)


@pytest.mark.parametrize("form", ["asc", "bin"])
@pytest.mark.parametrize("recover", [False, True])
def test_every_cut_is_flagged(path, drawing, raw, form, recover):
    drawing.saveas(path, fmt=form)
    whole = path.read_bytes()
    assert not flagged(raw, path)
    for part in range(1, 20):
        path.write_bytes(whole[: len(whole) * part // 20])
        assert flagged(raw, path, recover=recover), part


def test_a_cut_just_before_the_end_mark(path, raw):
    whole = path.read_bytes()
    path.write_bytes(whole[: whole.rindex(b"EOF")])
    assert flagged(raw, path)


def test_what_stands_after_the_end_mark_is_no_damage(path, raw):
    path.write_bytes(path.read_bytes() + b"\x1a\r\n\r\n")
    assert not [f for f in raw(path, ducts="DUCT").findings if f.code == "file-cut"]


def test_recovery_only_when_asked_for(path, raw, codes):
    text = path.read_text(encoding="utf-8").replace("ENTITIES", "ENTITYS", 1)
    path.write_text(text, encoding="utf-8")
    broken = path.read_bytes()[:-200]
    path.write_bytes(broken)
    with pytest.raises(InputRefusedError, match="recover = true"):
        raw(path, ducts="DUCT")


def test_recovery_is_on_record(path, raw, codes):
    assert codes(raw(path, ducts="DUCT", recover=True))["recovered"] == 1


def _named(version, layer, encoding=None):
    drawing = ezdxf.new(version, units=6)
    drawing.modelspace().add_line((0, 0), (1, 0), dxfattribs={"layer": layer})
    if encoding:
        drawing.encoding = encoding
    return drawing


def test_code_page_and_utf8_names(saved, raw, codes):
    for version in ("R2000", "R2013"):
        read = raw(saved(_named(version, "Kanäle-Ø5")), ducts="kanäle*", units="m")
        assert list(read.layers) == ["Kanäle-Ø5"]


def test_utf8_inside_an_old_drawing_is_read_as_what_it_is(saved, raw, codes):
    path = saved(_named("R2000", "DUCT-XX"))
    path.write_bytes(path.read_bytes().replace(b"DUCT-XX", "DUCT-Ä€".encode()))
    read = raw(path, ducts="DUCT*", units="m")
    assert list(read.layers) == ["DUCT-Ä€"]
    assert codes(read)["encoding-differs"] == 1


def test_code_page_of_several_bytes(saved, raw):
    path = saved(_named("R2000", "DUCT-XX"))
    data = path.read_bytes().replace(b"DUCT-XX", "DUCT-電力".encode("cp932"))
    path.write_bytes(data.replace(b"ANSI_1252", b"ANSI_932"))
    assert list(raw(path, ducts="DUCT*", units="m").layers) == ["DUCT-電力"]
    # the same without a word on the code page is read as the commonest one, and said; or as stated
    path.write_bytes(data.replace(b"$DWGCODEPAGE", b"$DWGCODEPAXX"))
    assert [f for f in raw(path, ducts="DUCT*", units="m").findings if f.code == "encoding-assumed"]
    assert list(raw(path, ducts="DUCT*", units="m", encoding="cp932").layers) == ["DUCT-電力"]


def test_names_that_the_encoding_does_not_know_are_not_garbled(saved, raw):
    path = saved(_named("R2013", "DUCT-XX"))
    path.write_bytes(path.read_bytes().replace(b"DUCT-XX", b"DUCT-\xe4\xf6"))
    with pytest.raises(InputRefusedError, match="state encoding") as refused:
        raw(path, ducts="DUCT*", units="m")
    assert refused.value.code == "unknown-encoding"
    assert list(raw(path, ducts="DUCT*", units="m", encoding="cp1252").layers) == ["DUCT-äö"]
    with pytest.raises(InputRefusedError, match="not known"):
        raw(path, ducts="DUCT*", units="m", encoding="klingon")


def test_byte_order_mark(path, raw, codes):
    data = path.read_bytes().replace(b"DUCT", "DÜCT".encode())
    path.write_bytes(b"\xef\xbb\xbf" + data)
    read = raw(path, ducts="DÜCT", units="m")
    assert len(read.lines) == 40
    assert codes(read)["byte-order-mark"] == 1


def test_an_empty_model_space_is_said(drawing, saved, raw):
    drawing.layout("Layout1").add_line((0, 0), (1, 1), dxfattribs=DUCT)
    with pytest.raises(InputRefusedError, match="model space") as refused:
        raw(saved(drawing), ducts="DUCT")
    assert refused.value.code == "nothing-to-read"


def test_recovery_of_a_binary_drawing_is_its_plain_reading(path, drawing, raw):
    drawing.saveas(path, fmt="bin")
    assert len(raw(path, ducts="DUCT", recover=True).lines) == 40
    path.write_bytes(path.read_bytes()[:-400])
    with pytest.raises(InputRefusedError, match="text only"):
        raw(path, ducts="DUCT", recover=True)
