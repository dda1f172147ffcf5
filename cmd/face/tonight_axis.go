package face

import (
	"errors"
	"math"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/align"
	"trueturn/cmd/words"
	"trueturn/ephem"
	"trueturn/ephem/say"
)

// survey is where to point for the axis, clear of the Moon.
func (o *outing) survey(moon r3.Vec) []patchReport {
	eye := align.PhoneEye()
	if o.lens.FocalLengthMM > 0 && o.lens.PixelPitchUM > 0 {
		eye.Scale = unit.Angle(math.Atan(o.lens.PixelPitchUM / 1000 / o.lens.FocalLengthMM))
	}
	var list []patchReport
	for _, l := range align.Survey(*o.site, eye, moon) {
		list = append(list, patchReport{Toward: words.Quantity(say.Wind(l.At.Azimuth)), AzimuthDeg: math.Round(l.At.Azimuth.Deg()), AltitudeDeg: math.Round(l.At.Altitude.Deg()),
			SigmaArcmin: l.Tracked.Min(), SwungArcmin: l.Swung.Min()})
	}
	return list
}

// aim is where the axis best points for the target alone, over the hours from an instant on; nil where no axis serves it.
func (o *outing) aim(at time.Time) (*fieldReport, error) {
	place := o.place()
	field, err := align.NewAim(align.AimField, *o.site, o.airHere(), at, &place)
	if errors.Is(err, align.ErrAim) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	pole, err := align.NewAim(align.AimRefracted, *o.site, o.airHere(), at, nil)
	if err != nil {
		return nil, err
	}
	clockwise := math.Remainder((field.Azimuth() - pole.Azimuth()).Rad(), 2*math.Pi)
	return &fieldReport{AltitudeDeg: field.Altitude().Deg(), AzimuthDeg: field.Azimuth().Deg(),
		AboveRefractedArcmin: (field.Altitude() - pole.Altitude()).Min(), ClockwiseArcmin: unit.Angle(clockwise).Min()}, nil
}

func (o *outing) airHere() ephem.Air {
	if o.air != nil {
		return *o.air
	}
	return ephem.StandardAir(o.site.HeightM)
}
