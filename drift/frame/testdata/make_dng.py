#!/usr/bin/python3
"""Writes the small DNG files of this folder with an encoder of its own, and
dng_dcraw.txt: the SHA-256 of the samples (16 bits, big endian, row after row)
that dcraw 9.28 (Debian) finds in each with -D -4, or of the samples written
where dcraw reads no such file (deflate, uncompressed tiles, several lossless strips), marked so.
dcraw leaves samples of a point transform in their low bits; T.81 moves them back up, done here."""
import hashlib
import struct
import subprocess
import zlib

W, H = 48, 36


def scene(bits):
    """A smooth slope with noise and a few full-range jumps."""
    state, top, out = 12345, (1 << bits) - 1, []
    for y in range(H):
        for x in range(W):
            state = (state * 1103515245 + 12345) & 0x7FFFFFFF
            v = top // 8 + (x * top) // 200 + (y * top) // 300 + (state >> 16) % max(2, top // 64)
            if (x * 7 + y * 13) % 97 == 0:
                v = top if x & 1 else 0
            out.append(min(v, top))
    return [out[y * W:(y + 1) * W] for y in range(H)]


def pack(rows, bits, order):
    if bits == 16:
        return b"".join(struct.pack(order + "%dH" % len(r), *r) for r in rows)
    out = b""
    for r in rows:
        s = "".join(format(v, "0%db" % bits) for v in r)
        s += "0" * (-len(s) % 8)
        out += int(s, 2).to_bytes(len(s) // 8, "big")
    return out


def ljpeg(rows, bits, predictor, comps=1, restart_rows=0, shift=0):
    """Lossless JPEG, T.81 annex H, one fixed table: 17 categories of 5 bits.
    The point transform drops the lowest bits (section H.1.1)."""
    rows = [[v >> shift for v in r] for r in rows]
    width = len(rows[0]) // comps
    counts = [0] * 16
    counts[4] = 17
    dht = bytes([0] + counts + list(range(17)))
    sof = struct.pack(">BHHB", bits, len(rows), width, comps) + b"".join(bytes([i + 1, 0x11, 0]) for i in range(comps))
    sos = bytes([comps] + [v for i in range(comps) for v in (i + 1, 0)] + [predictor, 0, shift])

    def segment(mark, body):
        return bytes([0xFF, mark]) + struct.pack(">H", len(body) + 2) + body
    head = b"\xff\xd8" + segment(0xC4, dht) + segment(0xC3, sof)
    if restart_rows:
        head += segment(0xDD, struct.pack(">H", restart_rows * width))
    head += segment(0xDA, sos)
    scan, s, mark = b"", [], 0

    def flush():
        t = "".join(s)
        t += "1" * (-len(t) % 8)
        return int(t, 2).to_bytes(len(t) // 8, "big").replace(b"\xff", b"\xff\x00")
    for y, r in enumerate(rows):
        fresh = y == 0
        if restart_rows and y and y % restart_rows == 0:
            scan += flush() + bytes([0xFF, 0xD0 + mark % 8])
            s, mark, fresh = [], mark + 1, True
        for i, v in enumerate(r):
            left = r[i - comps] if i >= comps else None
            if left is None:
                p = 1 << (bits - shift - 1) if fresh else rows[y - 1][i]
            elif fresh:
                p = left
            else:
                a, b, c = left, rows[y - 1][i], rows[y - 1][i - comps]
                p = [a, b, c, a + b - c, a + ((b - c) >> 1), b + ((a - c) >> 1), (a + b) >> 1][predictor - 1]
            d = (v - p) & 0xFFFF
            if d > 32768:
                d -= 65536
            n = abs(d).bit_length() if d != 32768 else 16
            s.append(format(n, "05b"))
            if 0 < n < 16:
                s.append(format(d if d > 0 else d + (1 << n) - 1, "0%db" % n))
    return head + scan + flush() + b"\xff\xd9"


def differences(rows):
    return [[r[0]] + [(b - a) & 0xFFFF for a, b in zip(r, r[1:])] for r in rows]


def ifd(entries, order, base):
    """One directory at base: (tag, kind, values); values beyond 4 bytes follow it."""
    size = {1: "B", 2: "B", 3: "H", 4: "I", 7: "B"}
    entries = sorted(entries)
    at = base + 2 + 12 * len(entries) + 4
    head, extra = struct.pack(order + "H", len(entries)), b""
    for tag, kind, values in entries:
        data = struct.pack(order + "%d%s" % (len(values), size[kind]), *values)
        head += struct.pack(order + "HHI", tag, kind, len(values))
        if len(data) <= 4:
            head += data.ljust(4, b"\0")
        else:
            head += struct.pack(order + "I", at + len(extra))
            extra += data + b"\0" * (len(data) & 1)
    return head + b"\0\0\0\0" + extra


def write(name, bits, code, compression=1, order="<", tile=None, strip=H, more=()):
    """A thumbnail of 8×6 pixels in the first directory, the raw picture in a SubIFD."""
    rows = scene(bits)
    parts = []
    if tile:
        tw, th = tile
        for y in range(0, H, th):
            for x in range(0, W, tw):
                part = [r[x:x + tw] + [0] * (tw - len(r[x:x + tw])) for r in rows[y:y + th]]
                parts.append(code(part + [[0] * tw] * (th - len(part))))
    else:
        parts = [code(rows[y:y + strip]) for y in range(0, H, strip)]
    data, offsets = bytes(48), []
    for p in parts:
        offsets.append(8 + len(data))
        data += p + b"\0" * (len(p) & 1)
    raw = [(254, 4, [0]), (256, 4, [W]), (257, 4, [H]), (258, 3, [bits]), (259, 3, [compression]), (262, 3, [32803]),
           (277, 3, [1]), (33421, 3, [2, 2]), (33422, 1, [0, 1, 1, 2]), (50714, 4, [0]), (50717, 4, [(1 << bits) - 1])] + list(more)
    if tile:
        raw += [(322, 4, [tile[0]]), (323, 4, [tile[1]]), (324, 4, offsets), (325, 4, [len(p) for p in parts])]
    else:
        raw += [(273, 4, offsets), (278, 4, [strip]), (279, 4, [len(p) for p in parts])]
    first = 8 + len(data)

    def thumb(sub):
        text = lambda s: list(s.encode() + b"\0")
        return [(254, 4, [1]), (256, 4, [4]), (257, 4, [4]), (258, 3, [8, 8, 8]), (259, 3, [1]), (262, 3, [2]), (273, 4, [8]), (274, 3, [1]),
                (271, 2, text("Hillside")), (272, 2, text("H-1")), (277, 3, [3]), (278, 4, [4]), (279, 4, [48]), (330, 4, [sub]),
                (50706, 1, [1, 4, 0, 0]), (50708, 2, text("Hillside H-1"))]
    sub = first + len(ifd(thumb(0), order, first))
    with open(name, "wb") as f:
        f.write((b"II*\0" if order == "<" else b"MM\0*") + struct.pack(order + "I", first) + data + ifd(thumb(sub), order, first) + ifd(raw, order, sub))
    return b"".join(struct.pack(">%dH" % W, *r) for r in rows)


def shifted(samples, by, down=False):
    values = struct.unpack(">%dH" % (len(samples) // 2), samples)
    return struct.pack(">%dH" % len(values), *[v >> by if down else v << by for v in values])


def check(name, *args, shift=0, **kw):
    want = write(name, *args, **kw)
    want = shifted(shifted(want, shift, True), shift)
    pgm = subprocess.run(["dcraw", "-D", "-4", "-c", name], capture_output=True).stdout
    if not pgm or kw.get("compression") == 8 or kw.get("compression") == 7 and kw.get("strip", H) != H:
        out.write("%s %s written\n" % (name, hashlib.sha256(want).hexdigest()))
        return
    head = b"P5\n%d %d\n65535\n" % (W, H)
    assert pgm.startswith(head), (name, pgm[:20])
    found = shifted(pgm[len(head):], shift)
    if found != want:
        print("dcraw differs from what was written:", name)
    out.write("%s %s dcraw\n" % (name, hashlib.sha256(found).hexdigest()))


out = open("dng_dcraw.txt", "w")
out.write("# SHA-256 of the samples; see make_dng.py\n")
for bits in 8, 10, 12, 14, 16:
    check("packed%d.dng" % bits, bits, lambda r, b=bits: pack(r, b, "<"))
check("big_endian16.dng", 16, lambda r: pack(r, 16, ">"), order=">", strip=7)
check("big_endian12.dng", 12, lambda r: pack(r, 12, ">"), order=">", strip=7)
check("tiles12.dng", 12, lambda r: pack(r, 12, "<"), tile=(32, 16))
for p in range(1, 8):
    check("lossless_p%d.dng" % p, 14, lambda r, p=p: ljpeg(r, 14, p), compression=7)
check("lossless_two.dng", 14, lambda r: ljpeg(r, 14, 1, comps=2), compression=7, tile=(32, 16))
check("lossless_four.dng", 12, lambda r: ljpeg(r, 12, 6, comps=4), compression=7, tile=(16, 16))
check("lossless_16.dng", 16, lambda r: ljpeg(r, 16, 1), compression=7)
check("lossless_restart.dng", 14, lambda r: ljpeg(r, 14, 1, restart_rows=4), compression=7)
check("lossless_strips.dng", 16, lambda r: ljpeg(r, 16, 1), compression=7, strip=10)
check("deflate16.dng", 16, lambda r: zlib.compress(pack(r, 16, "<"), 9), compression=8)
check("deflate_differences.dng", 16, lambda r: zlib.compress(pack(differences(r), 16, "<"), 9), compression=8, tile=(16, 16), more=[(317, 3, [2])])
for p, shift in (1, 2), (7, 1), (6, 3):
    check("lossless_shift%d_p%d.dng" % (shift, p), 14, lambda r: ljpeg(r, 14, p, shift=shift), compression=7, shift=shift)
check("lossless_shift_restart.dng", 16, lambda r: ljpeg(r, 16, 1, comps=2, restart_rows=4, shift=4), compression=7, tile=(32, 16), shift=4)
out.close()
