package report

import (
	"encoding/csv"
	"io"
	"strconv"

	"trueturn/align/answer"
	"trueturn/cmd/legible"
)

// column is one of the table's.
type column struct {
	name string
	cell func(f answer.FrameJSON) string
}

// columns have the names and the order of the keys of `align --json`; new ones are only ever added at the end.
var columns = []column{
	{"file", func(f answer.FrameJSON) string { return legible.Cell(f.File) }},
	{"mid_utc", func(f answer.FrameJSON) string { return deref(f.MidUTC) }},
	{"exposure_s", func(f answer.FrameJSON) string { return exact(f.ExposureS) }},
	{"used", func(f answer.FrameJSON) string { return strconv.FormatBool(f.Used) }},
	{"why_not", func(f answer.FrameJSON) string { return legible.Cell(f.WhyNot) }},
	{"stars", func(f answer.FrameJSON) string { return strconv.Itoa(f.Stars) }},
	{"matched", func(f answer.FrameJSON) string { return strconv.Itoa(f.Matched) }},
	{"rms_px", func(f answer.FrameJSON) string { return exact(f.RMSPx) }},
	{"ra_deg", func(f answer.FrameJSON) string { return exact(f.RADeg) }},
	{"dec_deg", func(f answer.FrameJSON) string { return exact(f.DecDeg) }},
	{"roll_deg", func(f answer.FrameJSON) string { return exact(f.RollDeg) }},
	{"scale_arcsec_px", func(f answer.FrameJSON) string { return exact(f.ScaleArcsecPx) }},
	{"fwhm_px", func(f answer.FrameJSON) string { return exact(f.FWHMPx) }},
	{"elongation", func(f answer.FrameJSON) string { return exact(f.Elongation) }},
	{"mirrored", func(f answer.FrameJSON) string { return strconv.FormatBool(f.Mirrored) }},
	{"signal", func(f answer.FrameJSON) string { return f.Signal }},
}

// CSV writes one row a picture, as RFC 4180 has it, beneath a row of names, which are the keys of `align --json`. What
// is not known is empty. Numbers keep all their digits; texts are cells of package legible. The error is the writer's.
func CSV(w io.Writer, a answer.Answer) error {
	c := csv.NewWriter(w)
	row := make([]string, len(columns))
	for i, k := range columns {
		row[i] = k.name
	}
	if err := c.Write(row); err != nil {
		return err
	}
	for _, f := range a.Frames {
		for i, k := range columns {
			row[i] = k.cell(f)
		}
		if err := c.Write(row); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

func deref(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func exact(v *float64) string {
	if v == nil || !finite(*v) {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}
