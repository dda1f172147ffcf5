"""Writes the tile-compressed FITS pictures and their values as astropy reads them."""
import os

import numpy as np
from astropy.io import fits

rng = np.random.default_rng(6)
sky = rng.normal(1000, 20, (24, 50))
sky[5, 7] = 30000
out = open("tiles_astropy.txt", "w")
out.write("# astropy: file, then the physical values, lowest stored row first\n")


def write(name, data, **how):
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(data, **how)]).writeto(name, overwrite=True)
    values = fits.getdata(name, 1).astype(np.float64)
    out.write("%s %s\n" % (name, " ".join(repr(float(v)) for v in values.ravel())))


for kind in ("RICE_1", "GZIP_1", "GZIP_2"):
    k = kind.lower()
    write("tiles_i32_%s.fits" % k, sky.astype(np.int32), compression_type=kind)
    for dither in (-1, 1, 2):
        d = sky.astype(np.float32)
        d[9, 9] = 0
        write("tiles_f32_%s_%d.fits" % (k, dither + 1), d, compression_type=kind, quantize_method=dither, dither_seed=77, tile_size=(20, 7))
write("tiles_i16_rice.fits", (sky - 1000).astype(np.int16), compression_type="RICE_1")
write("tiles_u16_rice.fits", sky.astype(np.uint16), compression_type="RICE_1", tile_size=(16, 16))
write("tiles_u8_rice.fits", (sky / 200).astype(np.uint8), compression_type="RICE_1")

# Small ones: blanks, doubles, cubes, and tiles that rounding does not suit and that stand in a column of their own.
small = rng.normal(1000, 20, (12, 20)).astype(np.float32)
holes = small.copy()
holes[2, 3], holes[7, :], holes[11, 19] = np.nan, np.nan, np.nan
for kind in ("RICE_1", "GZIP_1", "GZIP_2"):
    for dither in (-1, 1, 2):
        write("tiles_nan_%s_%d.fits" % (kind.lower(), dither + 1), holes, compression_type=kind, quantize_method=dither, dither_seed=9)
write("tiles_f64_rice.fits", holes.astype(np.float64), compression_type="RICE_1", quantize_method=1, dither_seed=9)
for kind in ("GZIP_1", "GZIP_2"):
    write("tiles_f64_lossless_%s.fits" % kind.lower(), holes.astype(np.float64) * 1.0000001, compression_type=kind, quantize_level=0)
    write("tiles_f32_lossless_%s.fits" % kind.lower(), holes, compression_type=kind, quantize_level=0)
wild = small.copy()
wild[3] *= np.float32(1e30) ** (np.arange(20) % 2)  # no step fits both ends
wild[5] = 7  # no noise
write("tiles_wild_f32.fits", wild, compression_type="RICE_1", quantize_method=1, dither_seed=3)
write("tiles_wild_f64.fits", wild.astype(np.float64), compression_type="RICE_1", quantize_method=1, dither_seed=3)
cube = np.stack([small, small * 2, small * 4])
write("tiles_cube_f32.fits", cube, compression_type="RICE_1", quantize_method=1, dither_seed=5, tile_size=(7, 5, 2))
write("tiles_cube_u16.fits", cube.astype(np.uint16), compression_type="GZIP_2", tile_size=(20, 12, 1))


def write_blank(name, data, blank, **how):
    """astropy leaves blank integers in tiles as they are: its values of the same picture without tiles are the witness."""
    header = fits.Header([("BLANK", blank)])
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(data, header, **how)]).writeto(name, overwrite=True)
    plain = fits.PrimaryHDU(data.copy(), header)
    plain.writeto("plain.fits", overwrite=True)
    with fits.open("plain.fits", do_not_scale_image_data=False) as f:
        values = f[0].data.astype(np.float64)
    os.remove("plain.fits")
    out.write("%s %s\n" % (name, " ".join(repr(float(v)) for v in values.ravel())))


blanks = (small - 1000).astype(np.int16)
blanks[4, 5:9] = -32768
write_blank("tiles_blank_i16.fits", blanks, -32768, compression_type="RICE_1")
write_blank("tiles_blank_i32.fits", blanks.astype(np.int32), -32768, compression_type="GZIP_1")

# A blank of the file's own among rounded floats: the keyword ZBLANK (FITS 4.0
# section 10.2.1), put in by hand. astropy 5.2.1 does not heed it: the pixels whose
# rounded value it is are found from astropy's values and the table's scales.
fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(small, compression_type="RICE_1", quantize_method=-1)]).writeto("tiles_zblank.fits", overwrite=True)
values = fits.getdata("tiles_zblank.fits", 1).astype(np.float64)
with fits.open("tiles_zblank.fits", disable_image_compression=True, mode="update") as f:
    rounded = np.rint((values - f[1].data["ZZERO"][:, None]) / f[1].data["ZSCALE"][:, None])
    f[1].header["ZBLANK"] = 30
values[rounded == 30] = np.nan
assert 0 < np.isnan(values).sum() < 50
out.write("tiles_zblank.fits %s\n" % " ".join(repr(float(v)) for v in values.ravel()))
out.close()
