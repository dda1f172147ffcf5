package face

import (
	"github.com/spf13/pflag"

	"trueturn/drift"
)

// lensFlags are what the user says of the lens.
type lensFlags struct{ drift.LensFlags }

// register adds all ways of giving a lens.
func (l *lensFlags) register(fs *pflag.FlagSet) {
	l.focal(fs, "focal length of the lens")
	l.equivalent(fs, "focal length as its 35 mm equivalent")
	fs.Var(between("ARCSEC_PER_PX", &l.ScaleArcsecPerPx, 0.1, 3600), "scale", "angle one pixel spans, in arcseconds")
}

func (l *lensFlags) focal(fs *pflag.FlagSet, text string) {
	fs.Var(between("MM", &l.FocalLengthMM, 0.5, 10000), "focal-length", text+", with --pixel-pitch")
	fs.Var(between("UM", &l.PixelPitchUM, 0.2, 200), "pixel-pitch", "distance of its pixels in micrometres")
}

func (l *lensFlags) equivalent(fs *pflag.FlagSet, text string) {
	fs.Var(between("MM", &l.EquivalentMM, 4, 20000), "equivalent", text)
}

// given is whether the user said anything of the lens.
func (l *lensFlags) given() bool {
	return l.FocalLengthMM > 0 || l.PixelPitchUM > 0 || l.EquivalentMM > 0 || l.ScaleArcsecPerPx > 0
}

// check refuses a lens half told, or told twice.
func (l *lensFlags) check() error {
	ways := 0
	for _, given := range []bool{l.FocalLengthMM > 0 || l.PixelPitchUM > 0, l.EquivalentMM > 0, l.ScaleArcsecPerPx > 0} {
		if given {
			ways++
		}
	}
	switch {
	case ways > 1:
		return usage("the lens is given in more than one way", "give one of --focal-length with --pixel-pitch, --equivalent, --scale", nil)
	case l.FocalLengthMM > 0 && l.PixelPitchUM == 0:
		return usage("--focal-length alone does not tell the scale", "add --pixel-pitch UM, or give --equivalent MM", nil)
	case l.PixelPitchUM > 0 && l.FocalLengthMM == 0:
		return usage("--pixel-pitch alone does not tell the scale", "add --focal-length MM", nil)
	}
	return nil
}
