"""Bytes into text by the WHATWG rules.

Encoding Standard (BOM, then the transport's charset, then `meta`, then a guess);
utf-7 and whatever the standard does not list are ignored.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from typing import NamedTuple

MAX_INLINE = 1 << 20  # bytes that may be parsed in this process
_PRESCAN = 2048
_META = re.compile(
    rb"""<meta\b[^>]{0,300}?charset\s*=\s*["']?\s*([a-zA-Z0-9_:.\-]{1,40})""", re.IGNORECASE
)
_XML = re.compile(rb"""\A\s*<\?xml[^>]{0,100}encoding\s*=\s*["']([a-zA-Z0-9_:.\-]{1,40})""")
_HEADER = re.compile(r"""charset\s*=\s*["']?\s*([a-zA-Z0-9_:.\-]{1,40})""", re.IGNORECASE)
_BOMS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))
# labels of the standard -> Python codecs; latin-1 and ascii mean windows-1252 there
_LABELS: dict[str, str] = {}
for _codec, _names in {
    "utf-8": "utf-8 utf8 unicode-1-1-utf-8 unicode11utf8 unicode20utf8 x-unicode20utf8",
    "cp1252": "windows-1252 cp1252 x-cp1252 iso-8859-1 iso8859-1 iso_8859-1 iso88591 latin1 l1"
    " ascii us-ascii ansi_x3.4-1968 cp819 ibm819 iso-ir-100 csisolatin1 iso_8859-1:1987",
    "iso8859-2": "iso-8859-2 iso8859-2 iso_8859-2 iso88592 latin2 l2 csisolatin2 iso-ir-101",
    "iso8859-3": "iso-8859-3 iso8859-3 latin3 l3",
    "iso8859-4": "iso-8859-4 iso8859-4 latin4 l4",
    "iso8859-5": "iso-8859-5 iso8859-5 cyrillic csisolatincyrillic",
    "iso8859-6": "iso-8859-6 iso8859-6 arabic csisolatinarabic",
    "iso8859-7": "iso-8859-7 iso8859-7 greek greek8 csisolatingreek",
    "iso8859-8": "iso-8859-8 iso8859-8 hebrew iso-8859-8-i logical",
    "iso8859-10": "iso-8859-10 iso8859-10 latin6 l6",
    "iso8859-13": "iso-8859-13 iso8859-13",
    "iso8859-14": "iso-8859-14 iso8859-14",
    "iso8859-15": "iso-8859-15 iso8859-15 iso_8859-15 l9 csisolatin9",
    "iso8859-16": "iso-8859-16",
    "cp1250": "windows-1250 cp1250 x-cp1250",
    "cp1251": "windows-1251 cp1251 x-cp1251",
    "cp1253": "windows-1253 cp1253 x-cp1253",
    "cp1254": "windows-1254 cp1254 x-cp1254 iso-8859-9 iso8859-9 latin5 l5",
    "cp1255": "windows-1255 cp1255 x-cp1255",
    "cp1256": "windows-1256 cp1256 x-cp1256",
    "cp1257": "windows-1257 cp1257 x-cp1257",
    "cp1258": "windows-1258 cp1258 x-cp1258",
    "cp874": "windows-874 tis-620 iso-8859-11 iso8859-11 dos-874",
    "cp866": "ibm866 cp866 866 csibm866",
    "koi8-r": "koi8-r koi koi8 koi8_r cskoi8r",
    "koi8-u": "koi8-u koi8-ru",
    "mac-roman": "macintosh mac x-mac-roman csmacintosh",
    "mac-cyrillic": "x-mac-cyrillic x-mac-ukrainian",
    "gb18030": "gb18030 gbk gb2312 chinese gb_2312 gb_2312-80 x-gbk csgb2312 iso-ir-58",
    "big5hkscs": "big5 big5-hkscs cn-big5 csbig5 x-x-big5",
    "euc-jp": "euc-jp x-euc-jp cseucpkdfmtjapanese",
    "iso2022-jp": "iso-2022-jp csiso2022jp",
    "cp932": "shift_jis shift-jis sjis x-sjis ms_kanji ms932 windows-31j csshiftjis",
    "cp949": "euc-kr ks_c_5601-1987 korean windows-949 cseuckr ksc5601 ksc_5601",
    "utf-16-le": "utf-16 utf-16le unicode ucs-2 csunicode iso-10646-ucs-2 unicodefeff",
    "utf-16-be": "utf-16be unicodefffe",
}.items():
    _LABELS.update(dict.fromkeys(_names.split(), _codec))


class Text(NamedTuple):
    """Decoded text, the codec that gave it, and how many bytes had no meaning in it.

    `raw`: the same text as UTF-8 bytes where the page came so; a parser takes them as they are.
    """

    text: str
    encoding: str
    replaced: int
    raw: bytes | None = None


def codec_of(label: str | None) -> str | None:
    """The codec of an encoding label of the standard; None for any other (utf-7 too)."""
    return _LABELS.get(label.strip().lower()) if label else None


def decode(body: bytes, content_type: str | None = None) -> Text:
    """BOM > header > meta (first 2,048 bytes) > utf-8 where valid > windows-1252."""
    for mark, codec in _BOMS:
        if body.startswith(mark):
            return _decoded(body[len(mark) :], codec)
    for codec in _named(body, content_type):
        return _decoded(body, codec)
    try:
        return Text(body.decode("utf-8"), "utf-8", 0, body)
    except UnicodeDecodeError:
        pass
    nulls = body[:_PRESCAN]
    if len(nulls) > 20 and nulls.count(b"\0") > len(nulls) // 4:
        return _decoded(
            body, "utf-16-le" if nulls[1::2].count(b"\0") > nulls[::2].count(b"\0") else "utf-16-be"
        )
    cut = body.decode("utf-8", "ignore")
    if len(cut) and len(body) - len(cut.encode()) < len(body) // 2_000 + 3:
        return _decoded(body, "utf-8")
    return _decoded(body, "cp1252")


def utf8_as_it_is(body: bytes, content_type: str | None = None) -> bytes | None:
    """The bytes of a page that calls itself UTF-8, without a mark; None where it does not.

    A parser takes them as they are: to decode all of a page costs a tenth of reading it.
    """
    if body.startswith(_BOMS[0][0]):
        return body[len(_BOMS[0][0]) :]
    if body.startswith((_BOMS[1][0], _BOMS[2][0])):
        return None
    return body if next(_named(body, content_type), None) == "utf-8" else None


def _named(body: bytes, content_type: str | None) -> Iterator[str]:
    """The codecs that the header, then the page itself names."""
    header = _HEADER.search(content_type or "")
    if header and (codec := codec_of(header[1])):
        yield codec
    start = body[:_PRESCAN]
    for pattern in (_META, _XML):
        match = pattern.search(start)
        codec = codec_of(match[1].decode("ascii")) if match else None
        if codec:  # the standard: a meta that says utf-16 is itself not utf-16
            yield "utf-8" if codec.startswith("utf-16") else codec


def _decoded(body: bytes, codec: str) -> Text:
    if codec == "cp1252":
        text = codecs.charmap_decode(body, "strict", _CP1252)[0]
        return Text(text, "windows-1252", 0)
    try:
        return Text(body.decode(codec), codec, 0, body if codec == "utf-8" else None)
    except UnicodeDecodeError:
        text = body.decode(codec, "replace")
        return Text(text, codec, text.count("\ufffd"))


# the standard gives windows-1252 a meaning for every byte (the C1 controls for the five gaps)
_CP1252 = "".join(bytes([n]).decode("cp1252", "ignore") or chr(n) for n in range(256))

_MAGIC = (
    (b"%PDF-", "a PDF"), (b"\x89PNG\r\n\x1a\n", "a PNG picture"), (b"PK\x03\x04", "a zip archive"),
    (b"\xff\xd8\xff", "a JPEG picture"), (b"GIF8", "a GIF picture"), (b"RIFF", "a RIFF file"),
    (b"\x1f\x8b", "gzip data"), (b"Rar!", "an archive"), (b"7z\xbc\xaf", "an archive"),
    (b"\x7fELF", "a program"), (b"MZ\x90", "a program"), (b"ID3", "a sound file"),
    (b"OggS", "a sound file"), (b"\x00\x00\x01\x00", "an icon"), (b"\x28\xb5\x2f\xfd", "zstd data"),
)  # fmt: skip


_CONTROLS = bytes([*range(9), 11, *range(14, 27), *range(28, 32)])


def not_text(body: bytes) -> str | None:
    """What a body is that is no text at all ("a PDF"); None for text."""
    for magic, name in _MAGIC:
        if body.startswith(magic):
            return name
    start = body[:4096]
    if start.startswith((b"\xff\xfe", b"\xfe\xff")):
        return None
    controls = len(start) - len(start.translate(None, _CONTROLS))
    if controls <= max(8, len(start) // 10):
        return None
    wide = start.count(b"\0") > len(start) // 4 and b"<\0" in start
    return None if wide else "binary data"
