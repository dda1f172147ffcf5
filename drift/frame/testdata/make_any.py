#!/usr/bin/python3
"""Writes pictures built in the ways other people's are, and any_exiftool.json: what
exiftool reads in each of time, zone, exposure, lens, orientation and place.

Nothing is copied of any camera's file; makers and places are invented. Complete
DNGs of cameras and converters were not to be had: what is here has their structure
as the DNG specification gives it, and filling for pictures that are not read.
Needs Debian's python3-pil, exiftool, libheif-examples.
"""
import binascii
import io
import os
import struct
import subprocess
import zlib

from PIL import Image

import make_embedded as raw
from make_embedded import ANY, LONG, RATIO, SHORT, SIZE, TEXT, File, text

IFD, LONG8, UTF8, NOBODYS = 13, 16, 129, 77
SIZE.update({IFD: "I", LONG8: "Q", UTF8: "B", NOBODYS: "I", 9: "i"})

WANTED = ["DateTimeOriginal", "SubSecTimeOriginal", "OffsetTimeOriginal", "ExposureTime", "FNumber", "FocalLength", "FocalLengthIn35mmFormat",
          "Orientation", "GPSLatitude", "GPSLongitude", "GPSAltitude"]
written = []


def save(name, data):
    open(name, "wb").write(data)
    written.append(name)


def block(order="<", pointer=LONG, odd=False, text_type=TEXT, height=(1205, 10), orientation=1, equivalent=26, changed=None,
          more=()):
    """An EXIF block. odd puts a field of a type nobody knows into the middle of each directory, with what the directory
    needs after it."""
    f = File(order)
    strange = [(0x829E, NOBODYS, [7]), (0x0111, NOBODYS, [7]), (0x0002 - 1 + 4, NOBODYS, [7])]
    exif = f.directory([(0x829A, RATIO, [8, 1]), (0x829D, RATIO, [18, 10]), (0x9003, text_type, text("2026:03:01 21:13:05")),
                        (0x9011, text_type, text("-03:30")), (0x9291, text_type, text("045")), (0x920A, RATIO, [686, 100]),
                        ] + [(0xA405, SHORT, [equivalent])] * (equivalent > 0) + strange[:1] * odd + list(more))
    gps = f.directory([(1, TEXT, text("S")), (2, RATIO, [43, 1, 30, 1, 0, 1]), (3, TEXT, text("W")), (4, RATIO, [70, 1, 15, 1, 0, 1]),
                       (6, RATIO, list(height))] + strange[2:] * odd)
    first = f.directory([(271, text_type, text("Invented")), (272, text_type, text("Night 1")), (274, SHORT, [orientation]), (0x8769, pointer, [exif]),
                         (0x8825, pointer, [gps])] + [(306, TEXT, text(changed or ""))] * bool(changed) + strange[1:2] * odd)
    f.b[4:8] = struct.pack(order + "I", first)
    return bytes(f.b)


def segment(marker, body):
    return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body


def with_exif(jpeg, exif):
    return jpeg[:2] + segment(0xE1, b"Exif\0\0" + exif) + jpeg[2:]


def chunk(name, body):
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", binascii.crc32(name + body))


def with_profile(png, kind, exif, packed):
    """A text chunk before IDAT, as converters write it: kind, length, hexadecimal digits in lines of 72."""
    digits = binascii.hexlify(b"Exif\0\0" + exif).decode()
    words = "\n%s\n%8d\n%s\n" % (kind, len(digits) // 2, "\n".join(digits[i:i + 72] for i in range(0, len(digits), 72)))
    body = b"Raw profile type " + kind.encode() + b"\0"
    at = png.index(b"IDAT") - 4
    body += b"\0" + zlib.compress(words.encode()) if packed else words.encode()
    return png[:at] + chunk(b"zTXt" if packed else b"tEXt", body) + png[at:]


def exif_ways():
    base, png = open("base.jpg", "rb").read(), open("base.png", "rb").read()
    for name, how in {
        "plain": {},
        "unknown_type": {"odd": True},
        "unknown_type_big_endian": {"odd": True, "order": ">"},
        "ifd_pointer": {"pointer": IFD},
        "short_pointer": {"pointer": SHORT},
        "signed_pointer": {"pointer": 9, "order": ">"},
        "long8_pointer": {"pointer": LONG8},
        "text_as_bytes": {"text_type": ANY},
        "no_such_height": {"height": (4294967295, 1)},
    }.items():
        save("any_%s.jpg" % name, with_exif(base, block(**how)))
    save("any_raw_profile.png", with_profile(png, "exif", block(), True))
    save("any_raw_profile_app1.png", with_profile(png, "APP1", block(order=">"), False))


def dng(name, compression, preview, photometric=34892, pointer=LONG, enhanced=False):
    """A DNG whose raw picture of 50 by 34 is packed in a way of its own; the thumbnail is packed the same, the preview is a JPEG."""
    f = File()
    f.b += block()[8:]  # the first directory of the EXIF block is not used, its Exif and GPS directories are
    exif, gps = find(block(), 0x8769), find(block(), 0x8825)
    full = [(254, LONG, [0]), (256, LONG, [50]), (257, LONG, [34]), (258, SHORT, [12, 12, 12]), (259, SHORT, [compression]), (262, SHORT, [photometric]),
            (277, SHORT, [3]), (322, LONG, [32]), (323, LONG, [34]), (324, LONG, [f.block(raw.FILLING), f.block(raw.FILLING)]), (325, LONG, [64, 64])]
    subs = [f.directory(full)]
    if preview:
        w, h = Image.open(io.BytesIO(preview)).size
        subs.append(f.directory([(254, LONG, [1]), (256, LONG, [w]), (257, LONG, [h]), (258, SHORT, [8, 8, 8]), (259, SHORT, [7]), (262, SHORT, [6]),
                                 (273, LONG, [f.block(preview)]), (277, SHORT, [3]), (278, LONG, [h]), (279, LONG, [len(preview)])]))
    if enhanced:  # the same picture at twice the size, made by a converter (NewSubFileType 16)
        subs.append(f.directory([(a, k, [16] if a == 254 else [100] if a == 256 else [68] if a == 257 else v) for a, k, v in full]))
    first = raw.thumbnail(f) + raw.maker(1) + [(330, pointer, subs), (0x8769, pointer, [exif]), (0x8825, pointer, [gps]), (50706, 1, [1, 7, 1, 0]),
                                               (50707, 1, [1, 7, 0, 0])]
    f.write(name, f.directory(first))
    written.append(name)


def find(exif, tag):
    at = struct.unpack("<I", exif[4:8])[0]
    for i in range(struct.unpack("<H", exif[at:at + 2])[0]):
        t, _, _, value = struct.unpack("<HHII", exif[at + 2 + 12 * i:at + 14 + 12 * i])
        if t == tag:
            return value


def dng_ways():
    dng("any_jpeg_xl.dng", 52546, raw.jpeg(48, 32), pointer=IFD)
    dng("any_jpeg_xl_enhanced.dng", 52546, raw.jpeg(48, 32), enhanced=True)
    dng("any_lossy.dng", 34892, raw.jpeg(31, 21))
    dng("any_jpeg_xl_small.dng", 52546, raw.jpeg(29, 20))
    dng("any_jpeg_xl_alone.dng", 52546, None)
    for name in "any_jpeg_xl_small.dng", "any_jpeg_xl_alone.dng":  # refused: nothing to compare
        written.remove(name)


def xmp(attributes):
    return segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta xmlns:x=\"adobe:ns:meta/\"><rdf:RDF "
                   b"xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\"><rdf:Description " + attributes + b"/></rdf:RDF></x:xmpmeta>")


def mpf(first, second):
    """The index of a multi-picture file, CIPA DC-007: two pictures, where they begin and how long they are."""
    f = File()
    f.b[4:8] = struct.pack("<I", 8)
    entries = struct.pack("<IIIHH", 0x030000, first, 0, 0, 0) + struct.pack("<IIIHH", 0, second, first, 0, 0)
    fields = [(0xB000, ANY, list(b"0100")), (0xB001, LONG, [2]), (0xB002, ANY, list(entries))]
    body = struct.pack("<H", 3)
    for tag, kind, values in fields:
        data = struct.pack("<%d%s" % (len(values), SIZE[kind]), *values)
        body += struct.pack("<HHI", tag, kind, len(values)) + (data if len(data) == 4 else struct.pack("<I", 8 + 2 + 36 + 4))
    return segment(0xE2, b"MPF\0" + bytes(f.b) + body + bytes(4) + entries)


def longer_files():
    """A second picture, a map of gain, a film behind the picture."""
    base, second = with_exif(open("base.jpg", "rb").read(), block()), raw.jpeg(48, 32)
    save("any_second_picture.jpg", base[:2] + mpf(len(base), len(second)) + base[2:] + second)
    gain = xmp(b'xmlns:hdrgm="http://ns.adobe.com/hdr-gain-map/1.0/" hdrgm:Version="1.0"')
    save("any_gain_map.jpg", base[:2] + gain + mpf(len(base), len(second)) + base[2:] + second)
    film = b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom" + struct.pack(">I", 8 + 2000) + b"mdat" + b"\xff\xda\0\x04" * 500
    save("any_film.jpg", with_exif(open("progressive.jpg", "rb").read(), block()) + film)


def copies():
    """Pictures that are not as the camera took them, and show it. base.* has 16 by 8 pixels."""
    base, png = open("base.jpg", "rb").read(), open("base.png", "rb").read()
    size = lambda w, h: [(0xA002, LONG, [w]), (0xA003, LONG, [h])]
    save("any_as_taken.jpg", with_exif(base, block(more=size(16, 8), changed="2026:03:01 21:13:14")))
    save("any_turned.jpg", with_exif(base, block(more=size(8, 16))))
    save("any_smaller.jpg", with_exif(base, block(more=size(32, 16))))
    save("any_enlarged.jpg", with_exif(base, block(more=size(8, 4))))
    save("any_cut.jpg", with_exif(base, block(more=size(20, 15), equivalent=0)))
    save("any_saved_anew.jpg", with_exif(base, block(changed="2026:03:02 09:00:00")))
    save("any_panorama.jpg", with_exif(base, block(more=[(0xA401, SHORT, [6])])))
    pano = xmp(b'xmlns:GPano="http://ns.google.com/photos/1.0/panorama/" GPano:ProjectionType="equirectangular"')
    save("any_panorama_xmp.jpg", base[:2] + pano + with_exif(base, block())[2:])
    at = png.index(b"IDAT") - 4
    save("any_screenshot.png", png[:at] + chunk(b"eXIf", block(more=[(0x9286, ANY, list(b"ASCII\0\0\0Screenshot"))])) + png[at:])
    save("any_zoom.jpg", with_exif(base, block(equivalent=52, more=[(0xA404, RATIO, [2, 1])])))


def box(kind, body):
    return struct.pack(">I", 8 + len(body)) + kind + body


def full(version, flags, body):
    return struct.pack(">I", version << 24 | flags) + body


def heic_ways():
    """Encoded by libheif; and boxes alone, laid out in other lawful ways, around filling."""
    with open("any.tmp.jpg", "wb") as f:
        f.write(with_exif(raw.jpeg(96, 64), block(orientation=6)))
    subprocess.run(["heif-enc", "-q", "90", "-o", "any_encoded.heic", "any.tmp.jpg"], check=True)
    subprocess.run(["heif-convert", "any_encoded.heic", "any.tmp.png"], check=True, capture_output=True)
    picture = Image.open("any.tmp.png").convert("L")
    with open("any_heic.txt", "w") as f:
        f.write("# file, width, height, luma of libheif's PNG by PIL\n")
        f.write("any_encoded.heic %d %d %s\n" % (*picture.size, " ".join(map(str, picture.tobytes()))))
    for name in "any.tmp.jpg", "any.tmp.png":
        os.remove(name)
    written.append("any_encoded.heic")
    for name, wide, inside, brand in ("any_boxes_file.heic", False, False, b"heic"), ("any_boxes_inside.hif", True, True, b"mif1"):
        exif = struct.pack(">I", 6) + b"Exif\0\0" + block(order=">", orientation=6)
        num = ">I" if wide else ">H"
        infe = lambda i, kind: box(b"infe", full(3 if wide else 2, 0, struct.pack(num + "H", i, 0) + kind + b"\0"))
        iinf = box(b"iinf", full(1 if wide else 0, 0, struct.pack(num, 2) + infe(1, b"hvc1") + infe(2, b"Exif")))
        iprp = box(b"iprp", box(b"ipco", box(b"colr", b"nclx" + bytes(7)) + box(b"ispe", full(0, 0, struct.pack(">II", 96, 64))) + box(b"irot", b"\3"))
                   + box(b"ipma", full(1 if wide else 0, 1 if wide else 0,
                                       struct.pack(">I" + num[1] + "B", 1, 1, 2) + struct.pack(">HH" if wide else ">BB", 2, (0x8000 if wide else 0x80) | 3))))

        def meta(base):
            one = lambda i, at, n: struct.pack(num, i) + (struct.pack(">H", int(inside)) if wide else b"") + struct.pack(">HHII", 0, 1, at, n)
            iloc = box(b"iloc", full(2 if wide else 0, 0, b"\x44\x00" + struct.pack(num, 2) + one(1, base, 64) + one(2, base + 64, len(exif))))
            idat = box(b"idat", raw.FILLING + exif) if inside else b""
            return box(b"meta", full(0, 0, box(b"hdlr", full(0, 0, bytes(4) + b"pict" + bytes(13)))
                                     + box(b"pitm", full(1 if wide else 0, 0, struct.pack(num, 1))) + iinf + iprp + iloc + idat))
        head = box(b"ftyp", brand + bytes(4) + b"mif1heic")
        data = b"" if inside else box(b"mdat", raw.FILLING + exif)
        save(name, head + meta(0 if inside else len(head) + len(meta(0)) + 8) + data)
    written.remove("any_boxes_inside.hif")  # exiftool 12.57 does not read items inside the metadata


def read_by_exiftool():
    out = subprocess.run(["exiftool", "-n", "-j", *["-" + t for t in WANTED], *sorted(written)], check=True, capture_output=True, text=True).stdout
    with open("any_exiftool.json", "w") as f:
        f.write(out)


if __name__ == "__main__":
    exif_ways()
    dng_ways()
    longer_files()
    copies()
    heic_ways()
    read_by_exiftool()
