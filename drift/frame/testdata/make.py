#!/usr/bin/python3
"""Makes the small pictures of this folder and the reference values beside them.

Needs Debian's python3-pil, python3-numpy, python3-astropy, python3-erfa and
libimage-exiftool-perl; nothing of it is needed by `go test`. Run it here:

    /usr/bin/python3 make.py

All cameras, makers and places are invented. What each file is for stands in
README.md; reference values are written by the libraries named there.
"""
import datetime
import gzip
import os
import struct
import subprocess
import zoneinfo

import astropy
import erfa
import numpy as np
import PIL
from astropy.coordinates import EarthLocation
from astropy.io import fits
from astropy.time import Time
from PIL import Image, ImageCms, ImageOps, PngImagePlugin


def exiftool(source, target, *tags):
    if os.path.exists(target):
        os.remove(target)
    subprocess.run(["exiftool", "-q", "-n", "-o", target, *tags, source], check=True)


# --- EXIF, written by exiftool -------------------------------------------------

GREY = Image.fromarray(np.tile(np.arange(0, 256, 16, dtype=np.uint8), (8, 1)))
GREY.save("base.jpg", quality=95)
GREY.save("base.png")
GREY.save("base.tiff")

CLOCK = ["-DateTimeOriginal=2026:03:01 21:13:05"]
SUBSEC = ["-SubSecTimeOriginal=045"]
OFFSET = ["-OffsetTimeOriginal=-03:30"]
EXPOSURE = ["-ExposureTime=8"]
LENS = ["-Make=Invented", "-Model=Night 1", "-FNumber=1.8", "-FocalLength=6.86", "-FocalLengthIn35mmFormat=26",
        "-FocalPlaneXResolution=7142.857143", "-FocalPlaneYResolution=7142.857143", "-FocalPlaneResolutionUnit=3"]
PLACE = ["-GPSLatitude=43.5", "-GPSLatitudeRef=S", "-GPSLongitude=70.25", "-GPSLongitudeRef=W",
         "-GPSAltitude=120.5", "-GPSAltitudeRef=0"]
FIX = ["-GPSDateStamp=2026:03:02", "-GPSTimeStamp=00:43:01"]

for ending in "jpg", "png", "tiff":
    exiftool("base." + ending, "full." + ending, *CLOCK, *SUBSEC, *OFFSET, *EXPOSURE, *LENS, *PLACE)
exiftool("base.jpg", "big_endian.jpg", "-ExifByteOrder=MM", *CLOCK, *SUBSEC, *OFFSET, *EXPOSURE, *LENS, *PLACE)
exiftool("base.jpg", "gps_time.jpg", *CLOCK, *EXPOSURE, *FIX)
exiftool("base.jpg", "no_offset.jpg", *CLOCK, "-SubSecTimeOriginal=60", *EXPOSURE)
exiftool("base.jpg", "no_clock.jpg", *EXPOSURE)
exiftool("base.jpg", "changed_only.jpg", "-ModifyDate=2026:03:01 21:13:05", *EXPOSURE)
exiftool("base.jpg", "zeros.jpg", "-DateTimeOriginal=0000:00:00 00:00:00", *EXPOSURE)
exiftool("base.jpg", "month13.jpg", "-DateTimeOriginal=2026:13:01 21:13:05", *EXPOSURE)
exiftool("base.jpg", "digitized.jpg", "-CreateDate=2026:03:01 21:13:05", "-SubSecTimeDigitized=5",
         "-OffsetTimeDigitized=+05:45", *EXPOSURE)
exiftool("base.jpg", "change_offset.jpg", *CLOCK, "-ModifyDate=2026:03:01 21:13:14", "-OffsetTime=-03:30", *EXPOSURE)
exiftool("base.jpg", "edited_offset.jpg", *CLOCK, "-ModifyDate=2026:03:09 10:00:00", "-OffsetTime=+01:00", *EXPOSURE)
exiftool("base.jpg", "exposure_inf.jpg", *CLOCK, *OFFSET, "-ExposureTime=inf")
exiftool("base.jpg", "exposure_undef.jpg", *CLOCK, *OFFSET, "-ExposureTime=undef")
exiftool("base.jpg", "exposure_third.jpg", *CLOCK, *OFFSET, "-ExposureTime=0.3333333333")

# --- orientation: what PIL shows -----------------------------------------------

MARKER = np.kron(np.array([[0, 120, 60], [240, 90, 180]], dtype=np.uint8), np.ones((8, 8), dtype=np.uint8))
Image.fromarray(MARKER).save("marker.jpg", quality=100)
with open("orientation_pil.txt", "w") as out:
    out.write("# PIL %s, ImageOps.exif_transpose: value of EXIF Orientation, then rows of 8x8 cells as displayed\n" % PIL.__version__)
    for o in range(1, 9):
        name = "orientation_%d.jpg" % o
        exiftool("marker.jpg", name, "-Orientation=%d" % o)
        shown = np.asarray(ImageOps.exif_transpose(Image.open(name)))[4::8, 4::8]
        out.write("%d %s\n" % (o, " / ".join(" ".join(map(str, row)) for row in shown)))

# --- kinds of JPEG, PNG, TIFF ---------------------------------------------------

y, x = np.mgrid[0:12, 0:20]
RGB = np.stack([x * 12, y * 20, 255 - x * 12], -1).astype(np.uint8)
rgb = Image.fromarray(RGB)
rgb.save("rgb_420.jpg", quality=95, subsampling=2)
rgb.save("rgb_444.jpg", quality=95, subsampling=0)
rgb.save("progressive.jpg", quality=95, progressive=True)
rgb.convert("CMYK").save("cmyk.jpg", quality=95)
# Red, green and blue stored directly: an Adobe segment with transform 0 says so.
jpeg = open("rgb_444.jpg", "rb").read()
adobe = b"\xff\xee\x00\x0eAdobe\x00\x64\x00\x00\x00\x00\x00"
open("rgb_direct.jpg", "wb").write(jpeg[:2] + adobe + jpeg[20:])
with open("luma_pil.txt", "w") as out:
    out.write("# PIL %s (libjpeg): file, then its luma, row by row\n" % PIL.__version__)
    for name in "rgb_420.jpg", "rgb_444.jpg", "progressive.jpg", "base.jpg", "marker.jpg":
        picture = Image.open(name)
        picture.draft("L", picture.size)
        out.write("%s %s\n" % (name, " ".join(map(str, np.asarray(picture).ravel()))))
rgb.save("rgb8.png")
rgb.convert("RGBA").save("rgba8.png")
rgb.quantize(16).save("palette.png")
rgb.convert("1").save("one_bit.png")
GREY16 = (np.arange(16 * 8, dtype=np.uint16) * 512).reshape(8, 16)
Image.fromarray(GREY16).save("grey16.png")
linear = PngImagePlugin.PngInfo()
linear.add(b"gAMA", (100000).to_bytes(4, "big"))
GREY.save("linear8.png", pnginfo=linear)
profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
profile = profile[:24] + struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + profile[36:]  # its date, so that a new run gives the same file
GREY.save("icc_srgb.png", icc_profile=profile)
rgb.save("rgb8.tiff")
rgb.save("rgb8_lzw.tiff", compression="tiff_lzw")
rgb.save("rgb8_deflate.tiff", compression="tiff_adobe_deflate")
Image.fromarray(GREY16).save("grey16.tiff")
subprocess.run(["convert", "grey16.png", "-endian", "MSB", "-depth", "16", "grey16_big_endian.tiff"], check=True)
Image.fromarray(GREY16.astype(np.float32)).save("float.tiff")
exiftool("grey16.tiff", "dng_tag.tiff", "-IFD0:DNGVersion=1 4 0 0")
with open("luminance_imagemagick.txt", "w") as out:
    version = subprocess.run(["convert", "-version"], check=True, capture_output=True, text=True).stdout.split("\n")[0].split(" http")[0]
    out.write("# %s, -colorspace RGB (linear); weighted 1:2:1: file, then linear light in 1/65535, row by row\n" % version)
    for name in "rgb8.png", "rgba8.png", "palette.png", "one_bit.png", "rgb_direct.jpg", "rgb8.tiff", "rgb8_lzw.tiff", "rgb8_deflate.tiff", "icc_srgb.png":
        raw = subprocess.run(["convert", name, "-alpha", "off", "-colorspace", "RGB", "-set", "colorspace", "sRGB", "-depth", "16", "-endian", "MSB", "rgb:-"],
                             check=True, capture_output=True).stdout
        light = np.frombuffer(raw, ">u2").reshape(-1, 3) @ np.array([0.25, 0.5, 0.25])
        out.write("%s %s\n" % (name, " ".join("%.1f" % v for v in light)))
rgb.save("picture.gif")
rgb.save("picture.webp")

# --- FITS, written by astropy ---------------------------------------------------

out = open("fits_astropy.txt", "w")
out.write("# astropy %s: file, then the physical values, lowest stored row first\n" % astropy.__version__)
BASE = np.arange(12).reshape(3, 4)


def write(name, data, scale=None, header=(), hdu=fits.PrimaryHDU):
    h = hdu(data)
    for k, v in header:
        h.header[k] = v
    if scale:
        h.scale(**scale)
    h.writeto(name, overwrite=True)
    values = fits.getdata(name).astype(np.float64)
    out.write("%s %s\n" % (name, " ".join(repr(float(v)) for v in values.ravel())))


write("u8.fits", (BASE * 20).astype(np.uint8))
write("i8.fits", (BASE * 20 - 120).astype(np.int8))
write("i16.fits", (BASE * 2000 - 1000).astype(np.int16))
write("u16.fits", (BASE * 5957).astype(np.uint16))
write("i32.fits", (BASE * 100000 - 300000).astype(np.int32))
write("u32.fits", (BASE * 390000000).astype(np.uint32))
write("i64.fits", (BASE.astype(np.int64) * 10**11))
write("f32.fits", (BASE / 7.0).astype(np.float32))
write("f64.fits", BASE / 7.0)
nan = (BASE / 7.0).astype(np.float32)
nan[1, 2] = np.nan
write("nan.fits", nan)
write("scaled.fits", BASE * 0.125 + 3, scale={"type": "int16", "bscale": 0.125, "bzero": 3})
write("blank.fits", BASE.astype(np.int16), header=[("BLANK", 5)])
write("cube.fits", np.stack([BASE, BASE * 2, BASE * 3]).astype(np.float32))
write("top_down.fits", BASE.astype(np.float32), header=[("ROWORDER", "TOP-DOWN")])
write("bottom_up.fits", BASE.astype(np.float32), header=[("ROWORDER", "BOTTOM-UP")])
write("saturate.fits", (BASE * 300).astype(np.uint16), header=[("SATURATE", 3000)])
write("packed.fits.gz", BASE.astype(np.float32))
with gzip.open("packed.fits.gz") as f:
    packed = gzip.compress(f.read(), mtime=0)  # so that a new run gives the same file
with open("packed.fits.gz", "wb") as f:
    f.write(packed)
primary = fits.PrimaryHDU()
primary.header["DATE-OBS"] = "2026-03-01T21:13:05.250"
primary.header["EXPTIME"] = 8.0
fits.HDUList([primary, fits.ImageHDU(BASE.astype(np.float32))]).writeto("extension.fits", overwrite=True)
out.write("extension.fits %s\n" % " ".join(repr(float(v)) for v in BASE.ravel()))
fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU((BASE * 100).astype(np.int16))]).writeto("tiled.fits", overwrite=True)
table = fits.BinTableHDU.from_columns([fits.Column("x", "E", array=[1.0, 2.0])])
fits.HDUList([fits.PrimaryHDU(), table]).writeto("table.fits", overwrite=True)
out.close()

# --- time scales, places --------------------------------------------------------

with open("time_astropy.txt", "w") as out:
    out.write("# astropy / ERFA: scale, stamp in it, the same instant in UTC\n")
    for scale, stamp in [("tai", "2026-03-01T21:13:42.250"), ("tt", "2026-03-01T21:14:14.434"), ("tdb", "2026-03-01T21:14:14.434"),
                         ("tai", "2016-12-31T23:59:00"), ("tai", "2017-01-01T00:00:40"), ("tt", "1999-01-01T00:01:04.184"),
                         ("tai", "1990-06-01T00:00:00")]:
        out.write("%s %s %s\n" % (scale, stamp, Time(stamp, scale=scale).utc.isot))
    for mjd in "61100.884085", "58693.5":
        out.write("mjd %s %s\n" % (mjd, Time(float(mjd), format="mjd", scale="utc").isot))
    for jd in "2461101.384085", "2458694.0":
        out.write("jd %s %s\n" % (jd, Time(float(jd), format="jd", scale="utc").isot))
with open("leap_seconds_erfa.txt", "w") as out:
    out.write("# erfa.leap_seconds.get(): year month TAI-UTC\n")
    for row in erfa.leap_seconds.get():
        if row["year"] >= 1972:
            out.write("%d %d %g\n" % (row["year"], row["month"], row["tai_utc"]))
offsets = set()
for name in sorted(zoneinfo.available_timezones()):
    zone = zoneinfo.ZoneInfo(name)
    for year in range(2000, 2027):
        for month in 1, 4, 7, 10:
            offset = datetime.datetime(year, month, 15, tzinfo=zone).utcoffset()
            offsets.add(int(offset.total_seconds()) // 60)
with open("offsets_iana.txt", "w") as out:
    out.write("# IANA time zone database: every offset from UTC kept since 2000, in minutes; then its number of minutes past a whole hour\n")
    for minutes in sorted(offsets):
        out.write("%d %d\n" % (minutes, minutes % 60))
with open("place_astropy.txt", "w") as out:
    out.write("# astropy EarthLocation (WGS84): latitude longitude height, x y z in metres\n")
    for lat, lon, height in [(46.02, 7.75, 1620.0), (-43.987, 170.465, 1029.0), (0.0, -120.0, 0.0), (84.9, 179.5, 10.0)]:
        e = EarthLocation.from_geodetic(lon, lat, height)
        out.write("%r %r %r %r %r %r\n" % (lat, lon, height, e.x.value, e.y.value, e.z.value))
