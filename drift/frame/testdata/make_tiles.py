"""Writes the tile-compressed FITS pictures and their values as astropy reads them."""
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
