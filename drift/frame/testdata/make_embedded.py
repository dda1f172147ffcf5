#!/usr/bin/python3
"""Writes raw files of invented makers that hold a JPEG beside the raw picture,
in the ways such files are laid out, and embedded_pil.txt: PIL's luma of the
JPEG in each, row after row, as stored; "exiftool" where exiftool 12.57 takes
the very same JPEG out of the file, "written" where it names no such tag for a
maker it does not know.

The raw data themselves are a few bytes of filling: they are not read. The
clock stands in the raw's own EXIF. Needs Debian's python3-pil, exiftool.
"""
import io
import struct
import subprocess

from PIL import Image

SHORT, LONG, TEXT, RATIO, ANY = 3, 4, 2, 5, 7
SIZE = {1: "B", TEXT: "B", SHORT: "H", LONG: "I", RATIO: "I", ANY: "B"}


def text(s):
    return list(s.encode() + b"\0")


class File:
    """Blocks one after the other; directories name them by their offsets."""

    def __init__(self, order="<", magic=None, head=8):
        self.order = order
        self.b = bytearray((magic or (b"II*\0" if order == "<" else b"MM\0*")).ljust(head, b"\0"))

    def block(self, data):
        at = len(self.b)
        self.b += data + b"\0" * (len(data) & 1)
        return at

    def directory(self, entries, following=0):
        fields = []
        for tag, kind, values in sorted(entries):
            data = struct.pack(self.order + "%d%s" % (len(values), SIZE[kind]), *values)
            count = len(values) // (2 if kind == RATIO else 1)
            value = data.ljust(4, b"\0") if len(data) <= 4 else struct.pack(self.order + "I", self.block(data))
            fields.append(struct.pack(self.order + "HHI", tag, kind, count) + value)
        return self.block(struct.pack(self.order + "H", len(fields)) + b"".join(fields) + struct.pack(self.order + "I", following))

    def exif(self, more=()):
        return self.directory([(0x829A, RATIO, [8, 1]), (0x829D, RATIO, [28, 10]), (0x9003, TEXT, text("2026:03:01 21:13:05")),
                               (0x9011, TEXT, text("-03:30")), (0x9291, TEXT, text("045")), (0x920A, RATIO, [50, 1])] + list(more))

    def write(self, name, first):
        self.b[4:8] = struct.pack(self.order + "I", first)
        open(name, "wb").write(self.b)


def jpeg(width, height, orientation=0, marker=False):
    if marker:
        picture = Image.open("marker.jpg")
    else:
        picture = Image.new("RGB", (width, height))
        picture.putdata([(x * 255 // width, y * 255 // height, (x * 7 + y * 5) % 256) for y in range(height) for x in range(width)])
    extra = {}
    if orientation:
        e = Image.Exif()
        e[0x0112], e[0x0110] = orientation, "of the JPEG"
        extra["exif"] = e
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=90, **extra)
    return out.getvalue()


def maker(orientation):
    return [(271, TEXT, text("Hillside")), (272, TEXT, text("H-2"))] + ([(274, SHORT, [orientation])] if orientation else [])


FILLING = bytes(range(64))
RAW_W, RAW_H = 50, 34


def cfa(f, width=RAW_W, height=RAW_H, compression=34713):
    return [(254, LONG, [0]), (256, LONG, [width]), (257, LONG, [height]), (258, SHORT, [14]), (259, SHORT, [compression]), (262, SHORT, [32803]),
            (273, LONG, [f.block(FILLING)]), (277, SHORT, [1]), (278, LONG, [height]), (279, LONG, [len(FILLING)])]


def thumbnail(f):
    return [(254, LONG, [1]), (256, LONG, [4]), (257, LONG, [4]), (258, SHORT, [8, 8, 8]), (259, SHORT, [1]), (262, SHORT, [2]),
            (273, LONG, [f.block(bytes(48))]), (277, SHORT, [3]), (278, LONG, [4]), (279, LONG, [48])]


def interchange(f, data):
    return [(254, LONG, [1]), (259, SHORT, [6]), (513, LONG, [f.block(data)]), (514, LONG, [len(data)])]


def in_subifds(name, data, order="<", orientation=0, raw=(RAW_W, RAW_H), exif=(), more=(), compression=34713):
    """Thumbnail first; JPEG and raw in its SubIFDs."""
    f = File(order)
    subs = [f.directory(interchange(f, data)), f.directory(cfa(f, *raw, compression))]
    first = f.directory(thumbnail(f) + maker(orientation) + [(330, LONG, subs), (0x8769, LONG, [f.exif(exif)])] + list(more))
    f.write(name, first)


def in_first(name, data, orientation=0):
    """JPEG as the first directory's strip; the raw, lossless, in the third."""
    f = File(magic=b"II*\0\0\0\0\0CR\x02\0", head=16)
    lossless = b"\xff\xd8\xff\xc3\x00\x0e" + struct.pack(">BHHB", 14, RAW_H, RAW_W // 2, 2) + bytes([1, 0x11, 0, 2, 0x11, 0]) + FILLING
    third = f.directory([(259, SHORT, [6]), (273, LONG, [f.block(lossless)]), (279, LONG, [len(lossless)])])
    small = jpeg(12, 8)
    second = f.directory([(513, LONG, [f.block(small)]), (514, LONG, [len(small)])], third)
    f.write(name, f.directory(maker(orientation) + [(256, SHORT, [48]), (257, SHORT, [32]), (258, SHORT, [8, 8, 8]), (259, SHORT, [6]),
                                                    (273, LONG, [f.block(data)]), (279, LONG, [len(data)]), (0x8769, LONG, [f.exif()])], second))


def in_chain(name, data, order="<", orientation=0):
    """Raw first, the JPEG two directories on."""
    f = File(order)
    third = f.directory(interchange(f, data))
    second = f.directory(interchange(f, jpeg(12, 8)), third)
    f.write(name, f.directory(cfa(f, compression=65535) + maker(orientation) + [(0x8769, LONG, [f.exif()])], second))


def in_field(name, data, orientation=0):
    """A magic number of its own, the size in tags 2 and 3, the JPEG as the content of field 0x2e."""
    f = File(magic=b"IIU\0", head=24)
    f.write(name, f.directory(maker(orientation) + [(2, SHORT, [RAW_W]), (3, SHORT, [RAW_H]), (0x2E, ANY, list(data)), (0x8769, LONG, [f.exif()])]))


def in_note(name, data, orientation=0):
    """Another magic number, the JPEG somewhere inside the maker's note."""
    f = File(magic=b"IIRO", head=8)
    note = f.exif([(0x927C, ANY, list(b"HILLSIDE\0" + bytes(31) + b"\xff\xd8\xff not a picture " + data + bytes(9)))])
    raw = [(a, k, [1] if a == 262 else v) for a, k, v in cfa(f, compression=1)]
    f.write(name, f.directory(raw + maker(orientation) + [(0x8769, LONG, [note])]))


def witness(name, data):
    for tag in "JpgFromRaw", "PreviewImage", "OtherImage", "ThumbnailImage":
        for n in "", "IFD0:", "IFD1:", "IFD2:", "SubIFD:":
            if subprocess.run(["exiftool", "-b", "-m", "-" + n + tag, name], capture_output=True).stdout == data:
                return "exiftool"
    return "written"


def check(name, layout, data, **how):
    layout(name, data, **how)
    picture = Image.open(io.BytesIO(data))
    picture.draft("L", picture.size)
    out.write("%s %s %d %d %s\n" % (name, witness(name, data), *picture.size, " ".join(map(str, picture.convert("L").tobytes()))))


if __name__ == "__main__":
    out = open("embedded_pil.txt", "w")
    out.write("# file, witness of where the JPEG is, width, height, PIL's luma as stored\n")
    check("embedded_subifds.raw", in_subifds, jpeg(48, 32))
    check("embedded_subifds_big_endian.raw", in_subifds, jpeg(48, 32), order=">")
    check("embedded_first.raw", in_first, jpeg(48, 32))
    check("embedded_chain.raw", in_chain, jpeg(48, 32))
    check("embedded_chain_big_endian.raw", in_chain, jpeg(48, 32), order=">")
    check("embedded_field.raw", in_field, jpeg(48, 32, orientation=1))
    check("embedded_note.raw", in_note, jpeg(36, 24))
    check("embedded_lossy.dng", in_subifds, jpeg(48, 32), compression=34892, more=[(50706, 1, [1, 4, 0, 0])])
    out.close()

    # The pitch is told for the raw's 50 columns: 250 of them a millimetre, 4 µm.
    in_subifds("embedded_pitch.raw", jpeg(40, 27), exif=[(0xA20E, RATIO, [250, 1]), (0xA20F, RATIO, [250, 1]), (0xA210, SHORT, [4])])
    # Sizes: the JPEG has 61 % of the raw's width, or 59 %.
    in_subifds("embedded_61.raw", jpeg(61, 41), raw=(100, 68))
    in_subifds("embedded_59.raw", jpeg(59, 40), raw=(100, 68))
    # Orientation in the raw alone, in both; and contradicting, where the JPEG was turned before it was put in.
    for o in range(1, 9):
        in_subifds("embedded_o%d_raw.raw" % o, jpeg(0, 0, marker=True), orientation=o, raw=(26, 18))
        in_field_size = RAW_W, RAW_H
        RAW_W, RAW_H = 26, 18
        in_field("embedded_o%d_both.raw" % o, jpeg(0, 0, orientation=o, marker=True), orientation=o)
        RAW_W, RAW_H = in_field_size
    in_subifds("embedded_upright.raw", jpeg(32, 48, orientation=1), orientation=6)
    in_subifds("embedded_upright_untagged.raw", jpeg(32, 48), orientation=6)
